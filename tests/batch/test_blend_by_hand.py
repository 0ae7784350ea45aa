"""The chemistry of a blend, worked by hand from fats of one acid each, beside handbook formulas and factors."""

from __future__ import annotations

from dataclasses import replace

import pytest

from formulary.batch.blend import Blend, describe_blend
from formulary.materials.register import read_builtin_register
from tests.batch.kitchen import Kitchen
from tests.batch.recipes import PLAIN

REGISTER = read_builtin_register()


def fat(saponification: float, more: str, kind: str = "oil") -> str:
    return f"format: 1\nname: Invented\nkind: {kind}\nsaponification_value: {saponification}\n{more}\n"


# Invented: two fats of one acid each, a free acid, and an oil of which no acid is known.
FATS = {
    "oleic-fat": fat(190, "fatty_acids: {C18:1: 100}\niodine_value: 80"),
    "linoleic-fat": fat(191, "fatty_acids: {C18:2: 100}\niodine_value: 170"),
    "free-stearic": fat(197, "fatty_acids: {C18:0: 100}\niodine_value: 2", kind="fatty-acid"),
    "unknown-fat": fat(180, "iodine_value: 100"),
    "wet-sugar": "format: 1\nname: Wet sugar\nkind: additive\nwater: 20 %\nsugars: 40 %\n",
    "sweet-scent": "format: 1\nname: Sweet scent\nkind: fragrance\nvanillin: 10 %\nsugars: 5 %\n",
}
OILS = "  oleic-fat: 30\n  linoleic-fat: 20\n  free-stearic: 25\n  unknown-fat: 25\n"
RECIPE = PLAIN.replace("  olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15\n", OILS) + (
    "additions:\n  - {material: wet-sugar, rate: 5 % of oils, at: trace, water: extra}\n"
    "scent:\n  - {material: sweet-scent, rate: 2 % of oils}\n"
)
# Sizes other than a kilogram, so that what is told by the kilogram is.
KITCHEN = Kitchen(RECIPE, materials=FATS, oils_g=2000.0)


def blend(kitchen: Kitchen = KITCHEN) -> Blend:
    return describe_blend(kitchen.weigh_out(), REGISTER)


def test_fatty_acids_are_told_of_the_oils_whose_acids_are_known() -> None:
    found = blend()
    assert found.known_percent == pytest.approx(75)
    # 30, 20 and 25 of 75
    assert found.fatty_acids == pytest.approx({"C18:0": 100 / 3, "C18:1": 40, "C18:2": 80 / 3})
    assert found.saturated_percent == pytest.approx(100 / 3)
    assert found.monounsaturated_percent == pytest.approx(40)
    assert found.polyunsaturated_percent == pytest.approx(80 / 3)
    assert list(found.chain_groups.values()) == pytest.approx([100 / 3, 40, 80 / 3])


def test_values_by_the_oils_are_means_by_weight() -> None:
    found = blend()
    # .30 x 190 + .20 x 191 + .25 x 197 + .25 x 180, and .30 x 80 + .20 x 170 + .25 x 2 + .25 x 100
    assert found.saponification_value_weighed == pytest.approx(189.45)
    assert found.iodine_value_weighed == pytest.approx(83.5)


def test_values_by_the_acids_are_of_glycerol_s_esters_in_an_oil_and_of_the_acid_itself_where_it_is_free() -> None:
    # Triolein 885.45 and trilinolein 879.40 g/mol take three hydroxides, stearic acid 284.48 g/mol takes one (general
    # chemistry; the molar masses as handbooks have them).
    values = (3 * 56_105 / 885.45, 3 * 56_105 / 879.40, 56_105 / 284.48)
    found = blend()
    calculated = (30 * values[0] + 20 * values[1] + 25 * values[2]) / 75
    assert found.saponification_value_calculated == pytest.approx(calculated, rel=1e-4)
    # AOCS Cd 1c-85: 0.860 for oleic and 1.732 for linoleic acid, as triglycerides.
    assert found.iodine_value_calculated == pytest.approx((30 * 86.0 + 20 * 173.2) / 75, rel=1e-4)


def test_what_is_in_a_kilogram_of_oils_is_what_the_additions_and_scents_bring_to_it() -> None:
    batch, found = KITCHEN.weigh_out(), blend()
    # 50 g of wet sugar: 40 % sugars, 20 % water, and 80 % is no water; 20 g of scent: 5 % sugars, 10 % vanillin.
    assert found.sugars_g_per_kg_oils == pytest.approx(20 + 1)
    assert found.solids_g_per_kg_oils == pytest.approx(40)
    assert found.vanillin_g_per_kg_oils == pytest.approx(2)
    assert found.water_g_per_kg_oils == pytest.approx(batch.water.weigh_grams / 2 + 10)


def test_a_value_that_one_oil_lacks_is_not_told_of_the_blend() -> None:
    without = FATS | {"unknown-fat": fat(180, "")}
    assert blend(replace(KITCHEN, materials=without)).iodine_value_weighed is None


def test_of_oils_whose_acids_are_not_known_nothing_is_calculated() -> None:
    found = blend(replace(KITCHEN, recipe=RECIPE.replace(OILS, "  unknown-fat: 100\n")))
    assert (found.known_percent, found.fatty_acids, found.chain_groups) == (0, {}, {})
    assert (found.saturated_percent, found.monounsaturated_percent, found.polyunsaturated_percent) == (0, 0, 0)
    assert (found.saponification_value_calculated, found.iodine_value_calculated) == (None, None)
    assert found.saponification_value_weighed == pytest.approx(180)


def test_the_certificate_of_the_lot_that_a_batch_is_made_from_counts() -> None:
    lots = FATS | {"oleic-fat": FATS["oleic-fat"] + "lots:\n  A: {saponification_value: 192, iodine_value: 90}\n"}
    found = blend(replace(KITCHEN, materials=lots, lots={"oleic-fat": "A"}))
    assert found.saponification_value_weighed == pytest.approx(189.45 + 0.30 * 2)
    assert found.iodine_value_weighed == pytest.approx(83.5 + 0.30 * 10)
