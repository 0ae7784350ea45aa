"""Chemistry of the blend, and the ingredient lists."""

from __future__ import annotations

import pytest

from formulary.batch.blend import describe_blend
from formulary.batch.ingredients import list_ingredients
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.batch.recipes import PLAIN, codes, weigh_out

REGISTER = read_builtin_register()
MILKY = (
    PLAIN
    + "additions:\n  - {material: goat-milk, rate: 10 % of oils, at: oils, water: replaces}\n"
    + "scent:\n  - {material: lavender-oil, rate: 2 % of oils}\n"
)


def test_the_two_routes_to_a_saponification_value_agree_within_two_percent() -> None:
    blend = describe_blend(weigh_out(PLAIN), REGISTER)
    assert blend.saponification_value_weighed is not None
    assert blend.saponification_value_calculated == pytest.approx(blend.saponification_value_weighed, rel=0.02)
    assert blend.saturated_percent + blend.monounsaturated_percent + blend.polyunsaturated_percent == pytest.approx(100)
    assert sum(blend.chain_groups.values()) == pytest.approx(100)
    assert blend.known_percent == pytest.approx(100)


def test_what_milk_brings_is_counted_per_kilogram_of_oils() -> None:
    # Goat milk has 87.03 g of water and 4.45 g of sugars in 100 g (USDA SR28, NDB 01106).
    plain, milky = describe_blend(weigh_out(PLAIN), REGISTER), describe_blend(weigh_out(MILKY), REGISTER)
    assert milky.sugars_g_per_kg_oils - plain.sugars_g_per_kg_oils == pytest.approx(4.45, abs=0.1)


def test_the_lists_are_in_descending_order_and_total_100() -> None:
    batch = weigh_out(MILKY)
    lists = list_ingredients(batch, REGISTER, Settings())
    for listed in (lists.in_pot, lists.in_bar):
        percents = [line.percent for line in listed]
        assert percents == sorted(percents, reverse=True)
        assert sum(percents) == pytest.approx(100)
        assert all(line.any_order == (line.percent < 1) for line in listed)
    assert lists.in_pot[0].inci == "OLEA EUROPAEA FRUIT OIL"
    assert "SODIUM HYDROXIDE" in [line.inci for line in lists.in_pot]
    assert "SODIUM HYDROXIDE" not in [line.inci for line in lists.in_bar]
    assert lists.in_bar[0].inci == "SODIUM OLIVATE"
    assert ("milk", ("goat-milk",)) in lists.origins
    assert "label-duty" in [finding.code for finding in lists.findings]


def test_the_bar_holds_what_the_pot_held_less_the_water_that_left() -> None:
    # Conservation of mass: tristearin and sodium hydroxide give soap and glycerol (worked example C04).
    batch = weigh_out(PLAIN)
    lists = list_ingredients(batch, REGISTER, Settings())
    bar = {line.inci: line.percent for line in lists.in_bar}
    glycerol = bar["GLYCERIN"] / 100
    cured_g = batch.batter_grams - 0.6 * batch.water.total_grams
    # A third of a mole of glycerol (92.094 g/mol) for each mole of hydroxide (39.997 g/mol) that found a fat.
    assert glycerol * cured_g == pytest.approx(batch.lye[0].pure_grams / 39.997 / 3 * 92.094, rel=0.01)


@pytest.mark.parametrize(
    ("line", "code", "severity"),
    [
        ("{material: honey, rate: 2 % of oils, at: lye water, water: replaces}", "sugar-in-lye", "stop"),
        ("{material: sugar, rate: 2 % of oils, at: lye water}", "sugar-in-lye", "stop"),
        ("{material: goat-milk, rate: 10 % of oils, at: lye water, water: replaces}", "milk-not-frozen", "warn"),
    ],
)
def test_what_heats_or_scorches_in_the_lye_is_said(line: str, code: str, severity: str) -> None:
    assert code in codes(weigh_out(PLAIN + f"additions:\n  - {line}\n"), severity)
    later = line.replace("lye water", "oils")
    assert code not in codes(weigh_out(PLAIN + f"additions:\n  - {later}\n"), severity)


def test_frozen_milk_in_the_lye_is_not_warned_of() -> None:
    line = "{material: goat-milk, rate: 10 % of oils, at: lye water, water: replaces, prepared: frozen}"
    assert "milk-not-frozen" not in codes(weigh_out(PLAIN + f"additions:\n  - {line}\n"), "warn")
