"""A pot in the terms of a recipe: that recipe makes the pot again, and of a pot as planned it is the plan's own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.figures import work_out_pot
from formulary.batch.model import Batch, Pot, PotLine
from formulary.batch.pot_as_recipe import PlannedPot, describe_pot, oil_rates
from formulary.batch.weigh_out import work_out_batch
from formulary.materials.register import read_builtin_register
from formulary.rate import parse_rate
from formulary.recipes.model import OilLine, Recipe, Water
from formulary.settings import Settings
from tests.batch.recipes import PLAIN, read_recipe

REGISTER = read_builtin_register()
DIVIDED = (
    PLAIN.replace("sunflower-oil: 15", "castor-oil: {percent: 15, at: trace}")
    .replace("olive-oil: 60\n  coconut-oil: 25", "olive-oil: 59.995\n  coconut-oil: 25.005")
    .replace("lye_concentration: 33", "water_to_lye: 2")
    + "additions:\n  - {material: oat-milk, rate: 8 % of oils, at: lye water, water: replaces, prepared: frozen}\n"
    + "  - {material: rose-clay, rate: 12 g per kg oils, at: oils}\n"
    + "  - {material: honey, rate: 3 % of oils, at: trace, water: extra}\n"
    + "  - {material: poppy-seeds, rate: 1 % of oils, at: top}\n"
    + "scent:\n  - {material: lavender-oil, rate: 1.4 % of oils}\n"
    + "  - {material: clove-bud-oil, rate: 0.2 % of batter}\n"
    + "portions:\n  - {name: red, share: 40, gets: {poppy-seeds: 100, lavender-oil: 33.333}}\n"
    + "  - {name: plain, share: 60, gets: {poppy-seeds: 0, lavender-oil: 66.667}}\n"
    + "process: {lye_temperature: 38 °C, mould: tall-loaf}\n"
)
RECIPE = replace(read_recipe(DIVIDED), formerly=("old-name",))
BATCH = work_out_batch(RECIPE, REGISTER, oil_mass_g=800.0)
PLANNED = PlannedPot(recipe=RECIPE, pot=BATCH.pot, version_id="1" * 40, label="as poured")


def describe(pot: Pot, **more: object) -> tuple[Recipe, Batch]:
    return describe_pot(pot, PLANNED, REGISTER, Settings(), portions=RECIPE.portions, **more)  # type: ignore[arg-type]


def weighed_otherwise(**grams: float) -> Pot:
    """The planned pot with so many grams of some lines, by material."""
    lines = (replace(line, grams=grams.get(line.material.replace("-", "_"), line.grams)) for line in BATCH.pot.lines)
    return replace(BATCH.pot, lines=tuple(lines))


def grams_of(pot: Pot) -> dict[tuple[str, str, str, str | None], float]:
    return {(line.material, line.role, line.at, line.portion): line.grams for line in pot.lines}


@pytest.mark.parametrize("oils_g", [800.0, 1000.0, 37.0])
def test_what_was_weighed_as_planned_is_the_recipe_as_it_is_written(oils_g: float) -> None:
    recipe, batch = describe(BATCH.pot, oil_mass_g=oils_g)
    assert replace(recipe, formerly=RECIPE.formerly) == RECIPE
    assert recipe.formerly == ()
    assert (batch.version_id, batch.version_label) == ("1" * 40, "as poured")
    again = work_out_batch(RECIPE, REGISTER, oil_mass_g=oils_g)
    # Alkali is rounded down to a tenth of a gram, and the water follows it.
    assert grams_of(batch.pot) == pytest.approx(grams_of(again.pot), abs=0.3)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.sampled_from([0.0, 0.5, 0.9, 1.0, 1.25, 3.0]), min_size=len(BATCH.pot.lines), max_size=len(BATCH.pot.lines)
    )
)
def test_worked_out_again_the_recipe_makes_what_was_weighed(times: list[float]) -> None:
    lines = tuple(
        replace(
            line, grams=line.grams * (1.0 if line.material in ("olive-oil", "water") or line.role == "alkali" else each)
        )
        for line, each in zip(BATCH.pot.lines, times, strict=True)
    )
    pot = Pot(lines, BATCH.pot.portions)
    recipe, described = describe(pot)
    assert sum(line.percent for line in recipe.oils) == 100
    wanted, found = grams_of(described.pot), grams_of(work_out_batch(recipe, REGISTER, oil_mass_g=1000.0).pot)
    for key, grams in wanted.items():
        material, role, _, portion = key
        if role in ("alkali", "water"):  # these are the rule's
            continue
        if material == "clove-bud-oil":  # as planned it stays a rate of the batter, whatever else that lacks
            continue
        # Percentages have two digits, and a divided line has them twice.
        assert found.get(key, 0.0) == pytest.approx(grams, abs=0.06, rel=2e-4 if portion else 1e-9), material
    assert {key for key in found if key[1] not in ("alkali", "water")} <= wanted.keys()


@settings(max_examples=30, deadline=None)
@given(st.floats(0.5, 2), st.floats(0.5, 2))
def test_the_water_is_the_plans_rule_while_it_came_out_so_and_else_the_strength_that_it_made(
    water: float, alkali: float
) -> None:
    as_planned_g = BATCH.pot.grams("water")
    pot = weighed_otherwise(water=as_planned_g * water, sodium_hydroxide=BATCH.pot.grams("alkali") * alkali)
    recipe, batch = describe(pot)
    # 8 % of 800 g is oat milk, of which 90 % are water (the built-in value).
    pure_g = batch.lye[0].pure_grams * 0.8
    percent = 100 * pure_g / (pure_g + as_planned_g * water + 0.08 * 800 * 0.9)
    assert batch.water.nominal_percent == pytest.approx(percent)
    if abs(water - 1) > 2e-4:
        assert (recipe.water.method, float(recipe.water.value)) == (
            "lye_concentration",
            pytest.approx(percent, abs=0.005),
        )
    elif abs(water - 1) < 0.5e-4:
        assert recipe.water == RECIPE.water


@pytest.mark.parametrize(("off_g", "is_same"), [(0.02, True), (-0.02, True), (0.06, False), (-0.06, False)])
def test_a_weighing_that_no_scale_tells_from_the_plan_is_no_difference(off_g: float, is_same: bool) -> None:
    # A ten-thousandth of 280 g of water, of 800 g of oils, of 9.6 g of clay.
    for name, planned_g, times in (
        ("water", BATCH.pot.grams("water"), 1.0),
        ("olive_oil", 0.59995 * 800, 5.0),
        ("rose_clay", 9.6, 0.02),
    ):
        changed_g = off_g * times * (BATCH.pot.grams("water") / 280 if name == "water" else 1.0)
        recipe, _ = describe(weighed_otherwise(**{name: planned_g + changed_g}))
        kept = {
            "water": recipe.water == RECIPE.water,
            "olive_oil": recipe.oils == RECIPE.oils,
            "rose_clay": recipe.additions[1].rate == RECIPE.additions[1].rate,
        }
        assert kept[name] == is_same, name


def test_the_figures_are_those_of_the_pot() -> None:
    pot = weighed_otherwise(olive_oil=500.0, water=300.0, honey=10.0)
    _, batch = describe(pot, oil_mass_g=pot.grams("oil"))
    figures = work_out_pot(pot, REGISTER, Settings())
    assert batch.superfat.effective == pytest.approx(figures.superfat_effective)
    assert (batch.superfat.nominal, batch.superfat.low) == (5.0, pytest.approx(figures.superfat_low))
    oils_g = 500 + 200.04 + 120
    assert (batch.oil_mass_g, batch.batter_grams) == (pytest.approx(oils_g), pytest.approx(figures.batter_grams))
    assert {oil.material: oil.percent for oil in batch.oils} == pytest.approx(
        {"olive-oil": 100 * 500 / oils_g, "coconut-oil": 100 * 200.04 / oils_g, "castor-oil": 100 * 120 / oils_g}
    )
    assert batch.water.weigh_grams == pytest.approx(300.0)
    assert batch.lye[0].grams == pytest.approx(BATCH.lye[0].grams)


def test_alkali_counts_by_its_purity_and_what_went_in_at_two_stages_in_all() -> None:
    pot = Pot((*BATCH.pot.lines, PotLine("sodium-hydroxide-solution-50", "alkali", "trace", 10.0)), BATCH.pot.portions)
    pot = replace(pot, lines=(*pot.lines, PotLine("sodium-hydroxide-solution-50", "alkali", "oils", 30.0)))
    _, batch = describe(pot, oil_mass_g=800.0)
    dry, ready = batch.lye
    assert (ready.grams, ready.pure_grams, ready.assay_percent) == (40.0, 20.0, 50.0)
    assert dry.pure_grams == dry.grams
    assert {dry.for_acids_grams, ready.for_acids_grams} == {0.0}  # of what is in the pot nobody can say


def test_an_oil_at_two_stages_is_one_line_with_both() -> None:
    pot = Pot((*BATCH.pot.lines, PotLine("castor-oil", "oil", "oils", 200.0)), BATCH.pot.portions)
    recipe, _ = describe(pot)
    (castor,) = (oil for oil in recipe.oils if oil.material == "castor-oil")
    # 120 g at trace and 200 g with the oils, of 1000 g.
    assert castor.parts == (("oils", Decimal(20)), ("trace", Decimal(12)))
    assert (castor.percent, castor.at) == (Decimal(32), "oils")


def test_what_was_weighed_otherwise_is_told_to_a_hundredth_of_a_percent_of_the_oils() -> None:
    # 500 g, 200.04 g and 120 g are 60.973, 24.394 and 14.633 % of 820.04 g; 10.01 g of honey are 1.2207 %.
    recipe, _ = describe(weighed_otherwise(olive_oil=500.0, honey=10.01))
    assert recipe.oils == (
        OilLine("olive-oil", Decimal("60.97")),
        OilLine("coconut-oil", Decimal("24.4")),
        OilLine("castor-oil", Decimal("14.63"), "trace"),
    )
    assert next(line.rate for line in recipe.additions if line.material == "honey") == parse_rate("1.22 % of oils")


def gets(recipe: Recipe) -> Mapping[str, dict[str, float]]:
    return {
        portion.name: {material: float(percent) for material, percent in portion.gets} for portion in recipe.portions
    }


def test_what_a_portion_got_besides_is_said_as_its_part_of_all_of_it() -> None:
    # Of 24 g of honey red follows its share, 40 %, and gets 6 g more: 15.6 g of 30 g.
    pot = Pot((*BATCH.pot.lines, PotLine("honey", "addition", "trace", 6.0, "red")), BATCH.pot.portions)
    recipe, _ = describe(pot)
    assert gets(recipe) == {
        "red": {"lavender-oil": 33.333, "poppy-seeds": 100.0, "honey": 52.0},
        "plain": {"lavender-oil": 66.667, "poppy-seeds": 0.0, "honey": 48.0},
    }
    honey = next(line for line in recipe.additions if line.material == "honey")
    assert honey.rate == parse_rate("3.75 % of oils")


def test_what_one_portion_got_alone_says_nothing_of_the_others_and_what_was_left_out_is_none() -> None:
    lines = (*BATCH.pot.lines, PotLine("kaolin", "addition", "trace", 4.0, "plain"))
    lines = tuple(replace(line, grams=0.0) if line.material == "poppy-seeds" else line for line in lines)
    recipe, _ = describe(Pot(lines, BATCH.pot.portions))
    assert gets(recipe) == {
        "red": {"lavender-oil": 33.333, "poppy-seeds": 0.0},
        "plain": {"lavender-oil": 66.667, "poppy-seeds": 0.0, "kaolin": 100.0},
    }
    assert "poppy-seeds" not in recipe.materials()


@pytest.mark.parametrize(("part", "told"), [(33.338, 33.333), (33.346, 33.35)])
def test_a_part_that_is_stated_stays_as_stated_within_a_hundredth_of_a_percent(part: float, told: float) -> None:
    grams = BATCH.pot.grams("scent") - next(line.grams for line in BATCH.pot.lines if line.material == "clove-bud-oil")
    parts = {"red": grams * part / 100, "plain": grams * (100 - part) / 100}
    lines = (
        replace(line, grams=parts[line.portion]) if line.portion and line.role == "scent" else line
        for line in BATCH.pot.lines
    )
    recipe, _ = describe(Pot(tuple(lines), BATCH.pot.portions))
    assert gets(recipe)["red"]["lavender-oil"] == told


def test_rates_in_percent_of_the_oils_are_of_all_additions_and_scents() -> None:
    (clove_g,) = (line.grams for line in BATCH.pot.lines if line.material == "clove-bud-oil")
    rates = {material: str(rate) for (material, _), rate in oil_rates(BATCH.pot).items()}
    assert rates["rose-clay"] == "1.2 % of oils"
    assert rates["oat-milk"] == "8 % of oils"
    assert rates["lavender-oil"] == "1.4 % of oils"
    assert rates["clove-bud-oil"] == f"{round(clove_g / 8, 2):g} % of oils"
    assert rates.keys() == {line.material for line in (*RECIPE.additions, *RECIPE.scent)}


def test_how_a_line_went_in_stays_with_it() -> None:
    pot = Pot((*BATCH.pot.lines, PotLine("oat-milk", "addition", "trace", 8.0, None, "extra")), BATCH.pot.portions)
    recipe, batch = describe(pot, oil_mass_g=800.0, process={"lye_temperature": "35 °C"})
    milks = [line for line in recipe.additions if line.material == "oat-milk"]
    assert [(line.at, line.water, line.prepared) for line in milks] == [
        ("lye water", "replaces", ("frozen",)),
        ("trace", "extra", ()),
    ]
    assert [line.water_grams for line in batch.additions if line.material == "oat-milk"] == pytest.approx(
        [0.9 * 64.0, 0.9 * 8.0]
    )
    assert recipe.process == {"lye_temperature": "35 °C", "mould": "tall-loaf"}


def test_without_water_in_the_plan_none_is_no_difference() -> None:
    # All of it came with the ready-made lye.
    text = PLAIN.replace("sodium-hydroxide", "sodium-hydroxide-solution-33").replace(
        "lye_concentration: 33", "lye_concentration: 33"
    )
    batch = work_out_batch(read_recipe(text), REGISTER, oil_mass_g=800.0)
    assert batch.pot.grams("water") == pytest.approx(0.0, abs=1e-9)
    planned = PlannedPot(recipe=read_recipe(text), pot=batch.pot, version_id=None, label=None)
    recipe, _ = describe_pot(batch.pot, planned, REGISTER, Settings())
    assert recipe.water == Water("lye_concentration", Decimal(33))
