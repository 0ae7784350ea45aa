"""Where one way of going on gives way to another, and the size that helps; worked out once more from grams.

Molar masses and the saponification value as in `test_rescue_in_grams`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

import pytest

from formulary.batch.rescue import Rescue, work_out_rescue
from formulary.batch.weigh_out import work_out_batch
from formulary.batch.weighed import parse_weighed
from formulary.errors import InputError
from formulary.finding import stops
from formulary.materials.read import parse_material
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.model import Recipe
from formulary.recipes.read import parse_recipe
from formulary.settings import Settings
from tests.batch.finding_cases import addition, fragrance, scented
from tests.batch.recipes import PLAIN
from tests.batch.test_rescue_in_grams import (
    ACID,
    CITRIC,
    FINE,
    KOH,
    NAOH,
    READY_MADE,
    batch_of,
    in_pot,
    pure_g,
    rescue,
    sv,
)

BARE = PLAIN.replace("superfat: 5", "superfat: 0")


def fat_mol(grams: Mapping[str, float]) -> float:
    return sum(grams[name] * sv(name) for name in ("olive-oil", "coconut-oil", "sunflower-oil")) / 1000 / KOH


@pytest.mark.parametrize(("over_g", "way"), [(0.0, "as-it-is"), (5e-8, "as-it-is"), (1e-5, "more-oil")])
def test_with_no_superfat_alkali_to_the_last_digit_is_right_and_any_more_is_over(over_g: float, way: str) -> None:
    assert rescue(BARE, {"sodium-hydroxide": pure_g(600, superfat=0) + over_g}).way == way


@pytest.mark.parametrize(("superfat", "way"), [("1", "as-it-is"), ("0.9", "more-oil")])
def test_a_step_of_the_scale_over_is_excused_from_one_point_of_superfat_on(superfat: str, way: str) -> None:
    text = PLAIN.replace("superfat: 5", f"superfat: {superfat} %")
    due_g = pure_g(600, superfat=float(superfat))
    assert rescue(text, {"sodium-hydroxide": due_g + 0.09}, Settings()).way == way


def test_acid_rises_with_the_oils_that_take_what_alkali_is_too_much() -> None:
    found = rescue(ACID, {"sodium-hydroxide": 200.0, "olive-oil": 900.0})
    whole = in_pot(found)
    times = whole["coconut-oil"] / 250
    assert times > 1
    assert whole["citric-acid-anhydrous"] == pytest.approx(20 * times)
    due_mol = 0.95 * fat_mol(whole) + 3 * whole["citric-acid-anhydrous"] / CITRIC
    assert due_mol * NAOH == pytest.approx(200, rel=1e-9)


def test_more_of_an_oil_than_the_scale_for_alkali_shows_needs_new_alkali_and_less_of_it_none() -> None:
    planned_g = batch_of(PLAIN, Settings()).lye[0].grams
    to_next_step_g = (planned_g + 0.1 - pure_g(600)) / (pure_g(601) - pure_g(600))
    assert rescue(PLAIN, {"olive-oil": 600 + to_next_step_g - 0.01}, Settings()).way == "as-it-is"
    more = rescue(PLAIN, {"olive-oil": 600 + to_next_step_g + 0.01}, Settings())
    assert more.way == "new-alkali"
    assert in_pot(more)["sodium-hydroxide"] == pytest.approx(planned_g + 0.1)


def test_the_water_of_a_batch_that_is_larger_now_follows_the_alkali_that_is_there() -> None:
    alkali_g = pure_g(600) * 1.2 + 0.04
    found = rescue(PLAIN, {"sodium-hydroxide": alkali_g}, Settings())
    assert in_pot(found)["water"] == pytest.approx(alkali_g * 67 / 33)


@pytest.mark.parametrize("weighed", [{"olive-oil": 700.0}, {"sodium-hydroxide-solution-50": 400.0}])
def test_a_ready_made_lye_that_is_used_as_it_is_asks_for_no_water_afterwards(weighed: Mapping[str, float]) -> None:
    found = rescue(READY_MADE.replace("lye_concentration: 33", "lye_concentration: 50"), weighed)
    assert found.way != "as-it-is"
    assert in_pot(found)["water"] == 0
    assert found.effective_percent == pytest.approx(50)


def test_a_scale_never_leaves_a_hair_to_add() -> None:
    whole_percents = PLAIN.replace("olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15", "olive-oil: 42\n  lard: 58")
    batch = work_out_batch(read(whole_percents, REGISTER), REGISTER, FINE, oil_mass_g=1000.1)
    planned = {line.material: line.grams for line in batch.pot.lines}
    for hair in (1e-13, 1e-8):
        weighed = {name: grams - hair for name, grams in planned.items()}
        found = work_out_rescue(batch, weighed, REGISTER, FINE)
        assert {line.remaining_grams for line in found.remaining} == {0.0}
    lacking = work_out_rescue(batch, {"olive-oil": planned["olive-oil"] - 1e-5}, REGISTER, FINE)
    olive = next(line for line in lacking.remaining if line.material == "olive-oil")
    assert olive.remaining_grams == pytest.approx(1e-5, rel=1e-3)


def test_what_nothing_was_planned_of_counts_once_in_all_its_lines() -> None:
    """A rate of 0 % keeps a place in a recipe; citric acid takes 3 mol of alkali a mole, wherever it goes in."""
    none = "  - {material: citric-acid-anhydrous, rate: 0 % of oils, at: "
    text = PLAIN + f"additions:\n{none}oils}}\n{none}trace}}\n"
    found = rescue(text, {"citric-acid-anhydrous": 12.0})
    assert in_pot(found)["citric-acid-anhydrous"] == 12
    free_mol = pure_g(600) / NAOH - 3 * 12 / CITRIC
    assert found.superfat_percent == pytest.approx(100 * (1 - free_mol * NAOH / pure_g(600, superfat=0)), abs=1e-4)


REGISTER = read_builtin_register()


def read(text: str, register: Register) -> Recipe:
    recipe, findings = parse_recipe(text, "plain", "recipes/plain.yaml", materials=register)
    assert recipe is not None, [str(finding) for finding in findings]
    return recipe


def limited(*names: str, limit: float = 2.0) -> Register:
    """The register with invented scents whose certificates allow so much of the bar."""
    makers = []
    for name in names:
        scent, _ = parse_material(fragrance(limit), f"materials/{name}.yaml", name)
        assert scent is not None
        makers.append(scent)
    return REGISTER.combined_with(makers)


SCENTED = PLAIN + scented(("one", 2))


def rescued(oils_g: float, weighed: Mapping[str, float], text: str = SCENTED, *, lye_is_in: bool = False) -> Rescue:
    register = limited("one")
    batch = work_out_batch(read(text, register), register, FINE, oil_mass_g=oils_g)
    assert not stops(batch.findings)
    return work_out_rescue(batch, weighed, register, FINE, lye_is_in=lye_is_in)


def size_told(found: Rescue) -> float:
    (size_g,) = map(float, re.findall(r"of ([0-9]+) g of oils", found.way_out))
    return size_g


@pytest.mark.parametrize(
    ("oils_g", "scent_g"), [(1000.0, 40.0), (1000.0, 400.0), (1003.0, 41.0), (96.0, 6.0), (100.0, 5.3), (12.0, 0.9)]
)
def test_the_size_that_helps_is_the_least_in_tens_of_grams_that_does(oils_g: float, scent_g: float) -> None:
    found = rescued(oils_g, {"one": scent_g})
    assert found.is_stopped
    size_g = size_told(found)
    assert size_g > oils_g
    assert size_g % 10 == 0
    assert not rescued(size_g, {"one": scent_g}).is_stopped
    assert size_g - 10 <= oils_g or rescued(size_g - 10, {"one": scent_g}).is_stopped


@pytest.mark.parametrize(("oils_g", "next_g"), [(1000.0, 1010.0), (1003.0, 1010.0)])
def test_what_is_a_little_over_is_helped_by_the_next_size(oils_g: float, next_g: float) -> None:
    over = next(tenths / 10 for tenths in range(200, 400) if rescued(oils_g, {"one": tenths / 10}).is_stopped)
    assert size_told(rescued(oils_g, {"one": over})) == next_g


def test_a_scent_that_stands_at_its_limit_needs_a_batch_as_many_times_as_large() -> None:
    planned = work_out_batch(read(SCENTED, limited("one")), limited("one"), FINE, oil_mass_g=1000.0)
    register = limited("one", limit=round(planned.scent[0].percent_of_cured + 5e-4, 3))
    batch = work_out_batch(read(SCENTED, register), register, FINE, oil_mass_g=1000.0)
    assert size_told(work_out_rescue(batch, {"one": 40.0}, register, FINE)) == 2000


def test_a_size_that_helps_is_found_though_alkali_went_over_too() -> None:
    weighed = {"one": 60.0, "sodium-hydroxide": 300.0}
    found = rescued(1000.0, weighed)
    size_g = size_told(found)
    assert not rescued(size_g, weighed).is_stopped
    assert rescued(size_g - 10, weighed).is_stopped


def test_where_no_size_helps_only_discarding_does() -> None:
    # beyond what is stated at any size, since all of it was meant to be in one portion
    text = SCENTED + "portions:\n  - {name: a, share: 50, gets: {one: 50}}\n  - {name: b, share: 50, gets: {one: 50}}\n"
    register = limited("one")
    batch = work_out_batch(read(text, register), register, FINE, oil_mass_g=1000.0)
    without = replace(batch.pot, portions=tuple(replace(each, by_eye=0.45) for each in batch.pot.portions))
    found = work_out_rescue(replace(batch, pot=without), {"one": 40.0}, register, FINE)
    assert found.is_stopped
    assert found.way_out == (
        "What helps is this alone: as long as what went over is by itself, discard it and weigh it again."
    )


def test_only_what_a_stop_says_of_scent_points_to_the_way_out() -> None:
    found = rescued(1000.0, {"one": 60.0, "water": pure_g(600) * 67 / 33 * 4})
    pointing = [finding.code for finding in found.findings if "take the way out" in finding.do]
    assert pointing == [finding.code for finding in found.findings if finding.severity.value == "stop"]
    assert len(pointing) < len(found.findings)
    # a scent of no known limit is a warning, which keeps what it says to do
    both = limited("one", "two")
    recipe = read(SCENTED + "  - {material: two, rate: 1 % of oils, at: trace}\n", both)
    batch = work_out_batch(recipe, both, FINE, oil_mass_g=1000.0)
    register = {**both, "two": replace(both["two"], limit=None)}
    mixed = work_out_rescue(batch, {"one": 60.0}, register, FINE)
    of_scent = [finding for finding in mixed.findings if finding.code.startswith("scent")]
    assert {finding.severity.value for finding in of_scent} >= {"stop", "warn"}
    for finding in mixed.findings:
        assert ("take the way out" in finding.do) == (finding.severity.value == "stop")


def superfats(remarks: tuple[str, ...]) -> list[str]:
    return [remark for remark in remarks if "no longer" in remark]


@pytest.mark.parametrize(("points", "is_told"), [(0.15, False), (0.25, True), (1.1, True)])
def test_a_superfat_is_told_that_moves_by_more_than_a_fifth_of_a_point(points: float, *, is_told: bool) -> None:
    """pure_g is a straight line of the olive oil, so the oil that gives a superfat is found on it."""
    wanted_g = pure_g(600) / (1 - (5 + points) / 100)
    slope = pure_g(601, superfat=0) - pure_g(600, superfat=0)
    olive_g = 600 + (wanted_g - pure_g(600, superfat=0)) / slope
    found = work_out_rescue(batch_of(PLAIN), {"olive-oil": olive_g}, REGISTER, FINE, lye_is_in=True)
    assert found.superfat_percent == pytest.approx(5 + points, abs=1e-6)
    assert bool(superfats(found.remarks)) == is_told


@pytest.mark.parametrize(("olive_g", "is_told"), [(1199.0, False), (1200.0, True), (1300.0, True)])
def test_twice_the_plan_may_be_a_slip_of_the_pen(olive_g: float, *, is_told: bool) -> None:
    assert any("slip of the pen" in remark for remark in rescue(PLAIN, {"olive-oil": olive_g}).remarks) == is_told


def test_half_a_gram_in_the_jug_is_alkali_or_water_already() -> None:
    dry = rescue(PLAIN, {"sodium-hydroxide": 0.5})
    assert dry.remarks[0].startswith("Never pour water onto the alkali that is weighed already")
    assert any("heats it again" in remark for remark in dry.remarks)
    wetted = rescue(PLAIN, {"sodium-hydroxide": 0.5, "water": 0.5})
    assert wetted.remarks[0].startswith("Never pour water onto alkali or lye")


def test_twice_a_pinch_may_be_a_slip_of_the_pen_too() -> None:
    found = rescue(PLAIN + addition("kaolin", "0.05 % of oils", "oils"), {"kaolin": 1.2})
    assert any(remark.startswith("Kaolin: 1.2 g is 2.4 times") for remark in found.remarks)


@pytest.mark.parametrize(("times", "is_told"), [(1.04, False), (1.06, True)])
def test_a_batter_a_twentieth_larger_asks_for_a_look_at_the_mould(times: float, *, is_told: bool) -> None:
    batch = batch_of(PLAIN)
    water_g = batch.water.weigh_grams + (times - 1) * batch.batter_grams
    found = work_out_rescue(batch, {"water": water_g}, REGISTER, FINE)
    assert sum(in_pot(found).values()) == pytest.approx(times * batch.batter_grams)
    assert any("larger now" in remark for remark in found.remarks) == is_told


def test_only_a_lye_that_still_wants_water_is_warned_of_as_it_is() -> None:
    strong = PLAIN.replace("lye_concentration: 33", "lye_concentration: 45")
    alkali_g, water_g = pure_g(600), pure_g(600) * 55 / 45

    def told_now(**weighed: float) -> list[str]:
        named = {name.replace("_", "-"): grams for name, grams in weighed.items()}
        found = rescue(strong, named).findings
        return [
            finding.code for finding in found if finding.code.startswith("jug") and finding.severity.value == "warn"
        ]

    assert told_now(sodium_hydroxide=alkali_g, water=water_g - 0.06) == ["jug-strong"]
    assert told_now(sodium_hydroxide=alkali_g, water=water_g - 0.04) == []
    assert told_now(sodium_hydroxide=alkali_g, water=water_g, olive_oil=100.0) == []
    # dry alkali is no lye, nor is water
    assert told_now(sodium_hydroxide=alkali_g) == []
    assert told_now(water=50.0) == []
    assert told_now(sodium_hydroxide=alkali_g, water=0.5) == ["jug-saturated"]


def test_nothing_and_half_a_gram_can_be_in_a_vessel_and_less_or_a_tonne_cannot() -> None:
    assert parse_weighed("castor-oil 0 g") == ("castor-oil", 0.0)
    assert parse_weighed("castor-oil 0.5 g") == ("castor-oil", 0.5)
    for text, named in (("castor-oil -0.5 g", "'-0.5 g'"), ("castor-oil 1001 kg", "1001 kg is more")):
        with pytest.raises(InputError) as raised:
            parse_weighed(text)
        assert raised.value.findings[0].what.startswith(named)


def test_a_slip_in_ounces_is_asked_about_in_grams_as_a_scale_shows_them() -> None:
    # 70 oz are 1984.47 g (the international avoirdupois ounce, NIST Handbook 44, appendix C)
    (asked,) = (each for each in rescue(PLAIN, {"olive-oil": 70 * 28.349523125}).remarks if "slip" in each)
    assert asked.startswith("Olive oil: 1984.5 g is 3.3 times")
