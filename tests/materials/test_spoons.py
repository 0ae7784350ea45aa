"""What a spoon of a material weighs: the maker's own weighing before any density."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from formulary.materials.model import SpoonMass
from formulary.materials.register import read_builtin_register
from formulary.materials.spoons import is_measurable, mass_by_volume_g

SIZES = {"tsp": Decimal(5), "tbsp": Decimal(15), "cup": Decimal(250), "fl_oz": Decimal("29.5735")}
CLAY = read_builtin_register()["rose-clay"]


def test_the_makers_own_weighing_comes_first() -> None:
    calibrated = replace(CLAY, measures={"tsp": SpoonMass(2.1, 3)})
    assert mass_by_volume_g(calibrated, 2, "tsp", SIZES) == pytest.approx(4.2)
    assert mass_by_volume_g(calibrated, 1, "tbsp", SIZES) == pytest.approx(15 * 0.6)


def test_a_powder_goes_by_its_loose_density_and_a_liquid_by_its_own() -> None:
    # USDA SR28: 1 tablespoon (1/16 of a cup of 236.588 ml) of salt weighs 18.25 g, of honey 21 g
    register = read_builtin_register()
    us_spoon = {"tbsp": Decimal("236.588") / 16}
    assert mass_by_volume_g(register["salt"], 1, "tbsp", us_spoon) == pytest.approx(18, rel=0.02)
    assert mass_by_volume_g(register["honey"], 1, "tbsp", us_spoon) == pytest.approx(21, rel=0.02)
    assert mass_by_volume_g(register["water"], 1, "l", SIZES) == pytest.approx(998)


def test_a_material_of_which_no_weight_is_known_is_not_measurable() -> None:
    unknown = replace(CLAY, bulk_density_g_per_ml=None)
    assert mass_by_volume_g(unknown, 1, "tsp", SIZES) is None
    assert not is_measurable(unknown, "tsp")
    assert is_measurable(replace(unknown, measures={"tsp": SpoonMass(2.1)}), "tsp")
    assert not is_measurable(replace(unknown, measures={"tsp": SpoonMass(2.1)}), "cup")
