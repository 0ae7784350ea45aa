"""Whether a pot and a jug hold what goes into them: how full they may be is common practice, no source."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from formulary.batch.model import Pot, PotLine
from formulary.batch.vessel_checks import DRY_ALKALI_G_PER_ML, check_shared_vessels, check_vessels
from formulary.chemistry.alkali import Alkali
from formulary.chemistry.density import lye_density_g_per_ml
from formulary.finding import Finding
from formulary.materials.model import Known, Material, MaterialKind, ValueRange
from formulary.settings import Settings

MATERIALS = {
    each.slug: each
    for each in (
        Material("oil", "Oil", MaterialKind.OIL, density_g_per_ml=0.9),
        Material("lye", "Lye", MaterialKind.ALKALI, alkali=Alkali.SODIUM_HYDROXIDE),
        Material("water", "Water", MaterialKind.LIQUID, water_percent=100.0),
        Material("milk", "Milk", MaterialKind.LIQUID, water_percent=90.0),
    )
}
OILS = Pot((PotLine("oil", "oil", "oils", 720.0),))  # 800 ml
JUG = Pot(
    (
        PotLine("lye", "alkali", "lye water", 150.0),
        PotLine("water", "water", "lye water", 250.0),
        PotLine("milk", "addition", "lye water", 200.0),
        PotLine("milk", "addition", "oils", 500.0),
    )
)


def settings(**vessels: float) -> Settings:
    return Settings(vessels_ml={name: Decimal(str(size)) for name, size in vessels.items()})


def told(found: list[Finding]) -> list[str]:
    return [f"{finding.code}: {finding.do}" for finding in found]


@pytest.mark.parametrize(("size_ml", "is_small"), [(1000, False), (1000.1, False), (999.9, True)])
def test_a_pot_is_at_most_four_fifths_full(size_ml: float, *, is_small: bool) -> None:
    found = list(check_vessels(OILS, MATERIALS, settings(pot=size_ml)))
    assert bool(found) == is_small
    if found:
        assert found[0].what.endswith("would hold 800 ml: it should be at most 80 % full")
        assert told(found) == [
            "pot-small: take one of 1000 ml or more (and set `vessels`), or make at most 99 % of this"
        ]


@pytest.mark.parametrize(("size_ml", "is_small"), [(875, False), (874, True)])
def test_a_jug_is_at_most_three_fifths_full_of_what_is_in_the_lye(size_ml: float, *, is_small: bool) -> None:
    found = list(check_vessels(JUG, MATERIALS, settings(jug=size_ml)))
    assert bool(found) == is_small
    if found:
        assert found[0].what == "the jug of 874 ml would hold 525 ml: it should be at most 60 % full"


def test_a_jug_holds_each_thing_by_its_density_and_dry_alkali_by_its_own() -> None:
    known = {**MATERIALS, "lye": replace(MATERIALS["lye"], density_g_per_ml=1.5)}
    (solution,) = check_vessels(JUG, known, settings(jug=100))
    assert "would hold 550 ml" in solution.what  # 150 g of a ready-made lye are 100 ml
    # The crystals of sodium hydroxide have 2.13 g/ml, those of potassium hydroxide 2.04 (from memory).
    assert 1.9 < DRY_ALKALI_G_PER_ML < 2.04


@pytest.mark.parametrize(("percent", "ml"), [(33.0, 1106), (50.0, 989), (60.0, 989)])
def test_a_ready_made_lye_of_unknown_density_takes_the_room_of_lye_of_its_strength(percent: float, ml: int) -> None:
    # 1.36 and 1.52 g/ml at 33 and 50 % (from memory); of more than 50 % no more is known.
    label = ValueRange(percent - 2.0, percent + 2.0, percent, Known("maker", "label"))
    ready_made = replace(MATERIALS["lye"], group="lye-solution", assay_percent=label)
    pot = Pot((PotLine("lye", "alkali", "lye water", 1500.0),))
    (jug,) = check_vessels(pot, {"lye": ready_made}, settings(jug=100))
    assert f"would hold {ml} ml" in jug.what


@pytest.mark.parametrize("alkali", list(Alkali))
@pytest.mark.parametrize("percent", range(10, 51, 5))
def test_a_jug_is_never_told_to_hold_less_than_its_lye_takes(alkali: Alkali, percent: int) -> None:
    # The densities of lyes stand against published tables in tests/outside.
    lye = Pot(
        (
            PotLine("lye", "alkali", "lye water", 10.0 * percent),
            PotLine("water", "water", "lye water", 1000.0 - 10.0 * percent),
        )
    )
    known = {**MATERIALS, "lye": replace(MATERIALS["lye"], alkali=alkali)}
    (jug,) = check_vessels(lye, known, settings(jug=1))
    told_ml = float(jug.what.split("would hold ")[1].split()[0])
    assert 1000.0 / lye_density_g_per_ml(alkali, percent) <= told_ml < 1000.0


def test_half_a_vessel_takes_half_of_the_batch() -> None:
    (pot,) = check_vessels(OILS, MATERIALS, settings(pot=500))
    assert pot.do == "take one of 1000 ml or more (and set `vessels`), or make at most 50 % of this"
    (jug,) = check_vessels(JUG, MATERIALS, settings(jug=650))
    assert jug.do == "take one of 880 ml or more (and set `vessels`), or make at most 74 % of this"
    (tiny,) = check_vessels(OILS, MATERIALS, settings(pot=4))  # less than a percent of it is no advice
    assert tiny.do == "take one of 1000 ml or more (and set `vessels`)"


def test_a_vessel_that_nobody_measured_is_not_judged() -> None:
    assert list(check_vessels(JUG, MATERIALS, settings())) == []
    assert list(check_vessels(OILS, MATERIALS, settings(jug=10))) == []


def test_what_a_sitting_shares_is_judged_where_it_shares_it() -> None:
    both = settings(pot=10, jug=10)
    assert [finding.code for finding in check_shared_vessels(OILS, JUG, MATERIALS, both)] == ["pot-small", "jug-small"]
    assert [finding.code for finding in check_shared_vessels(OILS, None, MATERIALS, both)] == ["pot-small"]
    assert [finding.code for finding in check_shared_vessels(None, JUG, MATERIALS, both)] == ["jug-small"]
    assert list(check_shared_vessels(None, None, MATERIALS, both)) == []


@pytest.mark.parametrize(("mould_ml", "times"), [(100, "8"), (155, "5"), (160, None), (800, None)])
def test_a_batch_for_more_than_five_of_the_largest_mould_may_be_a_slip(mould_ml: int, times: str | None) -> None:
    moulds = {"small": "50 ml", "large": f"{mould_ml} ml", "broken": "7 cm wide"}
    found = [each for each in check_vessels(OILS, MATERIALS, Settings(moulds=moulds)) if each.code == "size-unlikely"]
    said = [f"this fills the largest mould of the settings, large, {times} times"] if times else []
    assert [each.what for each in found] == said
