"""What remains to weigh when something went over, worked out here once more from grams and definitions.

Molar masses NaOH 39.997, KOH 56.105 g/mol (CIAAW abridged weights); a saponification value is mg KOH for 1 g (ISO
3657); citric acid 192.123 g/mol, three protons (general chemistry, from memory).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

import pytest

from formulary.batch.model import Batch
from formulary.batch.overriding import override_rescue_stops
from formulary.batch.rescue import Rescue, work_out_rescue
from formulary.batch.scale import Scale
from formulary.batch.sitting_text import render_rescue
from formulary.batch.weigh_out import work_out_batch
from formulary.batch.weighed import parse_all_weighed, parse_weighed
from formulary.errors import InputError
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from formulary.recipes.read import parse_recipe
from formulary.settings import Settings, parse_settings
from tests.batch.finding_cases import addition, coarse, fragrance, scented
from tests.batch.recipes import PLAIN, codes, read_recipe

NAOH, KOH, CITRIC = 39.997, 56.105, 192.123
REGISTER = read_builtin_register()
FINE = Settings(alkali_step_g=Decimal("0.000001"))
READY_MADE = PLAIN.replace("sodium-hydroxide", "sodium-hydroxide-solution-50")
BOTH = PLAIN.replace("alkali: sodium-hydroxide", "alkali: {by: moles, sodium-hydroxide: 90, potassium-hydroxide: 10}")
ACID = PLAIN + addition("citric-acid-anhydrous", "2 % of oils", "oils")
MILK = PLAIN + addition("oat-milk", "10 % of oils", "oils", water="replaces")


def sv(name: str) -> float:
    value = REGISTER[name].saponification_value
    assert value is not None
    return value.working


def batch_of(text: str, settings: Settings = FINE) -> Batch:
    return work_out_batch(read_recipe(text), REGISTER, settings, oil_mass_g=1000.0)


def rescue(text: str, weighed_g: Mapping[str, float], settings: Settings = FINE) -> Rescue:
    return work_out_rescue(batch_of(text, settings), weighed_g, REGISTER, settings)


def in_pot(found: Rescue) -> dict[str, float]:
    """Grams of everything once the rest is weighed."""
    return {line.material: line.weighed_grams + line.remaining_grams for line in found.remaining}


def pure_g(olive_g: float, *, superfat: float = 5.0, acid_g: float = 0.0) -> float:
    fat_mol = (olive_g * sv("olive-oil") + 250 * sv("coconut-oil") + 150 * sv("sunflower-oil")) / 1000 / KOH
    return (fat_mol * (1 - superfat / 100) + acid_g / CITRIC * 3) * NAOH


@pytest.mark.parametrize("olive_g", [601.0, 700.0, 1500.0])
def test_more_of_an_oil_gets_the_alkali_and_the_water_of_a_recipe_with_so_much_of_it(olive_g: float) -> None:
    found = rescue(PLAIN, {"olive-oil": olive_g})
    lye_g = pure_g(olive_g)
    assert found.way == "new-alkali"
    assert in_pot(found) == pytest.approx(
        {
            "olive-oil": olive_g,
            "coconut-oil": 250,
            "sunflower-oil": 150,
            "sodium-hydroxide": lye_g,
            "water": lye_g * 67 / 33,
        },
        rel=1e-6,
    )
    assert found.superfat_percent == pytest.approx(5, abs=1e-4)
    assert found.in_jug_percent == pytest.approx(33)
    assert found.effective_percent == pytest.approx(33)


def test_more_of_an_oil_gets_its_alkali_also_when_every_other_oil_is_in_already() -> None:
    every_oil = {"olive-oil": 700.0, "coconut-oil": 250.0, "sunflower-oil": 150.0}
    found = rescue(PLAIN, every_oil)
    assert found.way == "new-alkali"
    assert in_pot(found)["sodium-hydroxide"] == pytest.approx(pure_g(700.0), rel=1e-6)


def test_the_new_alkali_is_rounded_down_to_the_scale() -> None:
    found = rescue(PLAIN, {"olive-oil": 700.0}, Settings())
    assert in_pot(found)["sodium-hydroxide"] == pytest.approx(math.floor(pure_g(700) * 10) / 10)


def test_acid_keeps_its_own_alkali_and_milk_its_water() -> None:
    assert in_pot(rescue(ACID, {"olive-oil": 700.0}))["sodium-hydroxide"] == pytest.approx(pure_g(700, acid_g=20))
    planned = batch_of(MILK)
    found = in_pot(rescue(MILK, {"olive-oil": 700.0}))
    milk_water_g = 100 * (REGISTER["oat-milk"].water_percent or 0.0) / 100
    assert planned.water.weigh_grams == pytest.approx(pure_g(600) * 67 / 33 - milk_water_g)
    assert found["water"] == pytest.approx(pure_g(700) * 67 / 33 - milk_water_g)
    assert found["oat-milk"] == pytest.approx(100)


def test_ready_made_lye_brings_its_own_water() -> None:
    found = rescue(READY_MADE, {"olive-oil": 700.0})
    lye_g = pure_g(700)
    assert in_pot(found)["sodium-hydroxide-solution-50"] == pytest.approx(2 * lye_g)
    assert in_pot(found)["water"] == pytest.approx(lye_g * 67 / 33 - lye_g)
    assert found.effective_percent == pytest.approx(33)


def test_two_alkalis_keep_their_moles() -> None:
    found = in_pot(rescue(BOTH, {"olive-oil": 700.0}))
    mol = found["sodium-hydroxide"] / NAOH, found["potassium-hydroxide"] / KOH
    assert sum(mol) == pytest.approx(pure_g(700) / NAOH)
    assert mol[0] / sum(mol) == pytest.approx(0.9)


def test_alkali_that_went_over_makes_everything_larger_by_the_same_part() -> None:
    for text, alkali in (
        (PLAIN, "sodium-hydroxide"),
        (MILK, "sodium-hydroxide"),
        (ACID, "sodium-hydroxide"),
        (BOTH, "potassium-hydroxide"),
    ):
        batch = batch_of(text)
        planned = {line.material: line.planned_grams for line in rescue(text, {}).remaining}
        found = rescue(text, {alkali: planned[alkali] * 1.25})
        assert found.way == "more-oil"
        assert in_pot(found) == pytest.approx({name: grams * 1.25 for name, grams in planned.items()})
        assert found.superfat_percent == pytest.approx(batch.superfat.effective)
        assert "mould" in found.remarks[-1]


def test_of_two_alkalis_that_went_over_the_one_further_over_counts() -> None:
    planned = {line.material: line.planned_grams for line in rescue(BOTH, {}).remaining}
    weighed = {"sodium-hydroxide": planned["sodium-hydroxide"] * 1.1, "potassium-hydroxide": 0.0}
    weighed["potassium-hydroxide"] = planned["potassium-hydroxide"] * 1.3
    found = in_pot(rescue(BOTH, weighed))
    assert found == pytest.approx({name: grams * 1.3 for name, grams in planned.items()})


def test_alkali_that_went_over_by_less_than_the_oil_takes_is_no_excess() -> None:
    planned = {line.material: line.planned_grams for line in rescue(PLAIN, {}).remaining}
    found = rescue(PLAIN, {"sodium-hydroxide": planned["sodium-hydroxide"] * 1.1, "olive-oil": 900.0})
    assert found.way == "new-alkali"
    assert in_pot(found)["sodium-hydroxide"] == pytest.approx(pure_g(900), rel=1e-6)
    assert (in_pot(found)["olive-oil"], in_pot(found)["coconut-oil"]) == (pytest.approx(900), pytest.approx(250))
    assert found.superfat_percent == pytest.approx(5, abs=1e-4)
    assert not any("superfat" in remark for remark in found.remarks)


@pytest.mark.parametrize("alkali_g", [190.0, 200.0, 260.0])
def test_alkali_that_is_too_much_for_the_oil_that_went_over_gets_just_the_oils_that_take_it(alkali_g: float) -> None:
    found = rescue(PLAIN, {"sodium-hydroxide": alkali_g, "olive-oil": 900.0})
    assert found.way == "more-oil"
    whole = in_pot(found)
    fat_mol = sum(whole[name] * sv(name) for name in ("olive-oil", "coconut-oil", "sunflower-oil")) / 1000 / KOH
    assert whole["sodium-hydroxide"] == pytest.approx(alkali_g)
    assert 0.95 * fat_mol * NAOH == pytest.approx(alkali_g, rel=1e-6)
    assert whole["olive-oil"] == pytest.approx(max(900, 600 * whole["coconut-oil"] / 250))
    assert whole["water"] == pytest.approx(alkali_g * 67 / 33)
    assert found.superfat_percent == pytest.approx(5, abs=1e-4)


@pytest.mark.parametrize(("over_g", "way"), [(0.1, "as-it-is"), (0.3, "more-oil")])
def test_alkali_that_is_a_step_of_the_scale_over_is_not_over(over_g: float, way: str) -> None:
    planned_g = math.floor(pure_g(600) * 10) / 10
    found = rescue(PLAIN, {"sodium-hydroxide": planned_g + over_g}, Settings())
    assert found.way == way
    assert found.superfat_percent == pytest.approx(5, abs=0.1)
    without = PLAIN.replace("superfat: 5", "superfat: 0")
    due_g = math.floor(pure_g(600, superfat=0) * 10) / 10
    assert rescue(without, {"sodium-hydroxide": due_g + 0.1}, Settings()).way == "more-oil"


def test_a_coarse_scale_excuses_no_more_than_half_a_point_of_the_superfat() -> None:
    coarse_step = Settings(alkali_step_g=Decimal(2))
    due_g = pure_g(600)
    assert rescue(PLAIN, {"sodium-hydroxide": due_g * 1.004}, coarse_step).way == "as-it-is"
    assert rescue(PLAIN, {"sodium-hydroxide": due_g * 1.006}, coarse_step).way == "more-oil"


WET = PLAIN + addition("olive-oil", "1 % of oils", "trace")


@pytest.mark.parametrize(
    ("olive_g", "way", "in_the_end_g"),
    [(600.0, "as-it-is", 610.0), (610.0, "as-it-is", 610.0), (590.0, "as-it-is", 610.0), (640.0, "new-alkali", 640.0)],
)
def test_no_gram_counts_twice_where_a_material_stands_in_two_lines(
    olive_g: float, way: str, in_the_end_g: float
) -> None:
    found = rescue(WET, {"olive-oil": olive_g})
    olive = {line.role: line for line in found.remaining if line.material == "olive-oil"}
    assert found.way == way
    assert sum(line.weighed_grams for line in olive.values()) == pytest.approx(olive_g)
    assert olive["oil"].weighed_grams == pytest.approx(olive_g if olive_g <= 600 else olive_g - 10)
    whole_g = sum(line.weighed_grams + line.remaining_grams for line in olive.values())
    assert whole_g == pytest.approx(in_the_end_g)
    # ten grams of it are given no alkali
    with_alkali_g, fat_g = pure_g(max(600.0, olive_g - 10)), pure_g(whole_g, superfat=0)
    assert found.superfat_percent == pytest.approx(100 * (1 - with_alkali_g / fat_g), abs=1e-3)


def test_an_excess_of_lye_is_seen_though_a_material_stands_in_two_lines() -> None:
    text = WET.replace("superfat: 5", "superfat: 0")
    found = rescue(text, {"olive-oil": 600.0, "sodium-hydroxide": pure_g(600, superfat=0) * 1.1})
    assert found.way == "more-oil"
    assert found.superfat_percent < 2


def test_what_sums_of_floats_leave_is_nothing_to_add() -> None:
    thirds = PLAIN.replace("olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15", "olive-oil: 88.3\n  lard: 11.7")
    found = rescue(thirds, {"olive-oil": 900.0, "lard": 117.00000000000001})
    assert [line.remaining_grams for line in found.remaining if line.role == "oil"] == [0.0, 0.0]
    sheet = " ".join(render_rescue(rescue(PLAIN, {"coconut-oil": 249.7}, Settings())).split())
    assert "coconut oil 250 249.7 0 " in sheet


def test_a_superfat_that_is_no_longer_the_recipes_is_told() -> None:
    found = rescue(ACID, {"citric-acid-anhydrous": 30.0})
    assert found.superfat_percent > 8
    assert any("no longer the 5.0 %" in remark for remark in found.remarks)


def test_what_else_went_over_stays_and_nothing_is_changed_for_it() -> None:
    planned = {line.material: line.planned_grams for line in rescue(MILK, {}).remaining}
    found = rescue(MILK, {"water": planned["water"] + 50, "oat-milk": 120.0, "olive-oil": 600.0})
    assert found.way == "as-it-is"
    assert in_pot(found) == pytest.approx({**planned, "water": planned["water"] + 50, "oat-milk": 120.0})
    assert any(remark.startswith("Water that is in") for remark in found.remarks)


def test_what_is_just_as_planned_is_not_over() -> None:
    planned = {line.material: line.planned_grams for line in rescue(PLAIN, {}).remaining}
    found = rescue(PLAIN, planned)
    assert (found.way, found.remarks) == ("as-it-is", ())
    assert all(line.remaining_grams == pytest.approx(0) for line in found.remaining)


def test_an_oil_that_is_not_all_in_yet_is_counted_in_full_when_another_went_over() -> None:
    found = in_pot(rescue(PLAIN, {"olive-oil": 200.0, "coconut-oil": 300.0}))
    fat_mol = (600 * sv("olive-oil") + 300 * sv("coconut-oil") + 150 * sv("sunflower-oil")) / 1000 / KOH
    assert found["sodium-hydroxide"] == pytest.approx(0.95 * fat_mol * NAOH)
    assert (found["olive-oil"], found["coconut-oil"]) == (pytest.approx(600), pytest.approx(300))


def test_a_tiny_batch_is_rescued_like_any_other() -> None:
    tiny = work_out_batch(read_recipe(PLAIN), REGISTER, FINE, oil_mass_g=1.0)
    as_planned = work_out_rescue(tiny, {"water": 0.1}, REGISTER, FINE)
    assert as_planned.way == "as-it-is"
    assert in_pot(as_planned)["sunflower-oil"] == pytest.approx(0.15)
    twice = MILK + "  - {material: oat-milk, rate: 5 % of oils, at: top, water: extra}\n"
    milky = work_out_batch(read_recipe(twice), REGISTER, FINE, oil_mass_g=1.0)
    assert in_pot(work_out_rescue(milky, {"oat-milk": 0.3}, REGISTER, FINE))["oat-milk"] == pytest.approx(0.3)
    more = work_out_rescue(tiny, {"coconut-oil": 0.5}, REGISTER, FINE)
    assert (more.way, in_pot(more)["coconut-oil"]) == ("new-alkali", pytest.approx(0.5))


def test_water_that_none_was_planned_of_counts() -> None:
    none = READY_MADE.replace("lye_concentration: 33", "lye_concentration: 50")
    assert batch_of(none).water.weigh_grams == pytest.approx(0, abs=1e-3)
    found = rescue(none, {"water": 80.0})
    assert in_pot(found)["water"] == pytest.approx(80)
    assert found.in_jug_percent == pytest.approx(100 * pure_g(600) / (2 * pure_g(600) + 80), rel=1e-4)


def test_what_is_not_all_in_yet_remains() -> None:
    found = rescue(PLAIN, {"olive-oil": 200.0, "sodium-hydroxide": 0.0})
    assert found.way == "as-it-is"
    remaining = {line.material: line for line in found.remaining}
    olive = remaining["olive-oil"]
    assert (olive.role, olive.planned_grams, olive.weighed_grams) == ("oil", pytest.approx(600), 200)
    assert olive.remaining_grams == pytest.approx(400)
    assert remaining["coconut-oil"].remaining_grams == pytest.approx(250)
    assert remaining["coconut-oil"].weighed_grams == 0
    assert in_pot(found)["sodium-hydroxide"] == pytest.approx(pure_g(600))


def test_lines_of_one_addition_share_what_was_weighed_of_it() -> None:
    twice = MILK + "  - {material: oat-milk, rate: 5 % of oils, at: top, water: extra}\n"
    found = rescue(twice, {"oat-milk": 300.0})
    assert in_pot(found)["oat-milk"] == pytest.approx(300)
    # a third of it lies on top, where it brings no water to the lye
    water_g = pure_g(600) * 67 / 33 + 2 * 100 * (REGISTER["oat-milk"].water_percent or 0.0) / 100
    assert found.effective_percent < 100 * pure_g(600) / (pure_g(600) + water_g)


@pytest.mark.parametrize(("over_g", "is_told"), [(0.04, False), (0.06, True)])
def test_water_is_spoken_of_when_a_scale_could_tell_it(over_g: float, *, is_told: bool) -> None:
    planned = {line.material: line.planned_grams for line in rescue(PLAIN, {}).remaining}
    found = rescue(PLAIN, {"water": planned["water"] + over_g})
    assert bool(found.remarks) == is_told
    assert rescue(PLAIN, {"olive-oil": 600.0}).remarks == ()


@pytest.mark.parametrize(("less_g", "is_told"), [(0.049, False), (0.051, True), (5.0, True)])
def test_alkali_that_is_added_to_lye_is_warned_of(less_g: float, *, is_told: bool) -> None:
    planned = {line.material: line.planned_grams for line in rescue(PLAIN, {}).remaining}
    found = rescue(PLAIN, {"sodium-hydroxide": planned["sodium-hydroxide"] - less_g})
    assert any("heats it again" in remark for remark in found.remarks) == is_told
    # nothing is in the jug yet: all of it is weighed at once
    assert not any("heats" in remark for remark in rescue(PLAIN, {"olive-oil": 700.0}).remarks)


def test_scent_stays_as_planned_in_a_larger_batch_and_that_is_said() -> None:
    text = PLAIN + scented(("lavender-oil", 2))
    found = rescue(text, {"olive-oil": 700.0})
    assert in_pot(found)["lavender-oil"] == pytest.approx(20)
    assert any(remark.startswith("Scent and additions stay") for remark in found.remarks)
    assert not any("Scent" in remark for remark in rescue(PLAIN, {"olive-oil": 700.0}).remarks)
    assert not any("Scent" in remark for remark in rescue(text, {"olive-oil": 600.0}).remarks)


def test_the_rest_of_the_batch_keeps_its_stage_its_portion_and_its_settings() -> None:
    small = Settings(alkali_step_g=Decimal("0.1"), vessels_ml={"pot": Decimal(1500)})
    found = rescue(MILK, {"olive-oil": 900.0}, small)
    assert "pot-small" in {finding.code for finding in found.findings}
    assert found.scale == batch_of(MILK, small).scale
    strong = rescue(PLAIN.replace("lye_concentration: 33", "lye_concentration: 45"), {"olive-oil": 700.0})
    assert "jug-strong" in {finding.code for finding in strong.findings}


def test_what_was_weighed_is_read_and_must_be_in_the_batch() -> None:
    assert parse_weighed("  olive-oil   490 g ") == ("olive-oil", 490.0)
    assert parse_weighed("water 1.5 kg") == ("water", 1500.0)
    for text in ("olive-oil", "490 g", ""):
        with pytest.raises(InputError):
            parse_weighed(text)
    with pytest.raises(InputError) as raised:
        rescue(PLAIN, {"olive-oil": 600.0, "soot": 5.0})
    assert raised.value.findings[0].code == "unknown-line"
    assert not codes(batch_of(PLAIN), "stop")


@pytest.mark.parametrize("lye_g", [0.0, 300.0])
def test_a_rescue_that_ends_in_a_stop_shows_no_gram_and_the_size_that_helps(lye_g: float) -> None:
    scent, _ = parse_material(fragrance(2.5), "materials/one.yaml", "one")
    assert scent is not None
    register = REGISTER.combined_with([scent])
    weighed = {"one": 90.0, "sodium-hydroxide": lye_g}

    def rescue_of(oils_g: float) -> Rescue:
        recipe, _ = parse_recipe(PLAIN + scented(("one", 2)), "plain", "recipes/plain.yaml", materials=register)
        assert recipe is not None
        return work_out_rescue(work_out_batch(recipe, register, FINE, oil_mass_g=oils_g), weighed, register, FINE)

    found = rescue_of(1000.0)
    assert found.is_stopped
    remaining = found.to_json()["remaining"]
    assert isinstance(remaining, list)
    for line in remaining:
        assert (line["planned_grams"], line["weighed_grams"], line["remaining_grams"]) == (None, None, None)
    sheet = " ".join(render_rescue(found).split())
    assert sheet.startswith("STOP")
    assert "to add" not in sheet
    assert "lower it" not in sheet
    assert "discard it" in sheet
    (oils_g,) = map(float, re.findall(r"of ([0-9]+) g of oils", found.way_out))
    assert not rescue_of(oils_g).is_stopped
    assert rescue_of(oils_g - 20).is_stopped
    overridden = override_rescue_stops(found, ["scent-limit"])
    assert not overridden.is_stopped
    assert overridden.way_out == ""


@pytest.mark.parametrize("water_g", [0.0, 100.0])
def test_water_is_never_poured_onto_alkali_that_is_weighed(water_g: float) -> None:
    found = rescue(PLAIN, {"sodium-hydroxide": 160.0, "water": water_g})
    assert found.remarks[0].startswith("Never pour water onto")
    assert ("second tall vessel" in found.remarks[0]) == (water_g > 0)
    roles = [line.role for line in found.remaining]
    assert roles.index("water") < roles.index("alkali") < roles.index("oil")
    assert not any("Never pour" in remark for remark in rescue(PLAIN, {"olive-oil": 700.0}).remarks)
    all_in = {"sodium-hydroxide": pure_g(600), "water": pure_g(600) * 67 / 33}
    assert not any("Never pour" in remark for remark in rescue(PLAIN, all_in).remarks)


@pytest.mark.parametrize(("water_g", "code"), [(100.0, "jug-saturated"), (190.0, "jug-strong"), (260.0, None)])
def test_a_lye_that_is_too_strong_as_it_stands_is_warned_of(water_g: float, code: str | None) -> None:
    found = rescue(PLAIN, {"sodium-hydroxide": pure_g(600), "water": water_g})
    said = {finding.code: finding for finding in found.findings if finding.code.startswith("jug")}
    assert set(said) == ({code} if code else set())
    assert all(finding.severity.value == "warn" and "now" in finding.what for finding in said.values())
    assert not found.is_stopped


def test_what_a_rescue_leads_to_is_judged_like_a_plan() -> None:
    text = PLAIN + addition("kaolin", "1 % of oils", "oils")
    found = {finding.code for finding in rescue(text, {"kaolin": 400.0, "water": 2000.0}).findings}
    assert {"clay-much", "lye-weak"} <= found
    assert not {"clay-much", "lye-weak"} & {finding.code for finding in rescue(text, {"kaolin": 11.0}).findings}


def test_what_is_many_times_the_plan_may_be_a_slip_and_a_larger_batch_is_told() -> None:
    remarks = " ".join(rescue(PLAIN, {"olive-oil": 64000.0}).remarks)
    assert "Olive oil: 64000 g is 106.7 times what was planned" in remarks
    assert "The batch is larger now" in remarks
    assert "slip" not in " ".join(rescue(PLAIN, {"olive-oil": 700.0}).remarks)


@pytest.mark.parametrize(("percent", "severity"), [("2", "stop"), ("5", "warn")])
def test_what_a_rescue_prints_is_judged_as_the_scale_shows_it(percent: str, severity: str) -> None:
    kitchen = coarse(percent, "10 g")
    settings = parse_settings(kitchen.settings)[0]
    batch = work_out_batch(kitchen.read_recipe(), REGISTER, FINE, oil_mass_g=150.0)
    batch = replace(batch, scale=Scale.of(settings))
    found = work_out_rescue(batch, {"olive-oil": 101.0, "coconut-oil": 22.5, "castor-oil": 22.5}, REGISTER, settings)
    olive = next(line for line in found.remaining if line.material == "olive-oil")
    # a scale of 10 g does not show the 4 g that lack: more than two points of superfat
    assert (olive.remaining_grams, olive.shown_g(found.scale)) == (pytest.approx(4), 0.0)
    (said,) = (each for each in found.findings if each.code == "oils-rounded")
    assert (said.severity.value, "that shows 1 g" in said.do) == (severity, True)


def test_a_material_that_is_given_twice_is_asked_back() -> None:
    assert parse_all_weighed(["olive-oil 400 g", "water 1 kg"]) == {"olive-oil": 400.0, "water": 1000.0}
    with pytest.raises(InputError) as raised:
        parse_all_weighed(["olive-oil 400 g", "olive-oil 200 g"])
    assert "olive-oil 600 g" in raised.value.findings[0].do


def test_water_that_comes_besides_the_stated_is_not_counted_as_a_weak_lye() -> None:
    extra = PLAIN + addition("oat-milk", "30 % of oils", "trace", water="extra")
    assert "lye-weak" not in {finding.code for finding in rescue(extra, {"olive-oil": 700.0}).findings}
    replaces = PLAIN + addition("oat-milk", "15 % of oils", "trace", water="replaces")
    found = {finding.code for finding in rescue(replaces, {"oat-milk": 400.0}).findings}
    assert "lye-weak" in found


@pytest.mark.parametrize(
    ("at", "weighed", "said"),
    [
        ("lye water", 0.0, "frozen and chilled, lye in slowly"),
        ("lye water", 40.0, "frozen and chilled, lye in slowly"),
        ("lye water", 100.0, None),
        ("oils", 0.0, "frozen and chilled"),
    ],
)
def test_how_a_liquid_goes_in_is_said_as_long_as_some_of_it_is_to_add(at: str, weighed: float, said: str) -> None:
    text = PLAIN + addition("oat-milk", "10 % of oils", at, water="replaces", prepared="[frozen, chilled]")
    found = rescue(text, {"olive-oil": 640.0, "oat-milk": weighed})
    (row,) = re.findall(r"oat milk +100 +[\d.]+ +[\d.]+ *(.*)\n", render_rescue(found, width=120))
    assert row == (said or "")
    (milk,) = (line for line in found.to_json()["remaining"] if line["material"] == "oat-milk")  # type: ignore[attr-defined]
    assert milk["prepared"] == ["frozen", "chilled"]


@pytest.mark.parametrize("text", [PLAIN, BOTH, MILK.replace("at: oils", "at: lye water, prepared: frozen")])
def test_of_a_lye_that_was_spilled_what_is_left_is_all_that_it_is_mixed_of_alike(text: str) -> None:
    jug = {line.material: line.grams for line in batch_of(text).pot.lines if line.at == "lye water"}
    left = {name: grams * 0.75 for name, grams in jug.items()}
    found = rescue(text, {"lye": 0.75 * sum(jug.values())})
    assert {line.material: line.weighed_grams for line in found.remaining if line.material in jug} == pytest.approx(
        left
    )
    assert found.superfat_percent == pytest.approx(rescue(text, left).superfat_percent)
    assert in_pot(found) == pytest.approx(in_pot(rescue(text, left)))


@pytest.mark.parametrize("part", [0.2, 1.0, 1.02, 1.25])
@pytest.mark.parametrize("text", [PLAIN, BOTH, READY_MADE])
def test_so_little_lye_that_the_alkali_alone_may_be_meant_is_not_filled_up_with_more_alkali(
    text: str, part: float
) -> None:
    dry_g = sum(line.grams for line in batch_of(text).pot.lines if line.role == "alkali")
    with pytest.raises(InputError, match="may be the alkali by itself") as refused:
        rescue(text, {"lye": part * dry_g})
    (finding,) = refused.value.findings
    assert "for mixed lye each part of it" in finding.do


def test_an_empty_jug_and_a_lye_that_was_bought_ready_made_are_no_dry_alkali() -> None:
    assert in_pot(rescue(PLAIN, {"lye": 0.0})) == pytest.approx(in_pot(rescue(PLAIN, {})))
    none = READY_MADE.replace("lye_concentration: 33", "lye_concentration: 50")
    (solution,) = [line for line in batch_of(none).pot.lines if line.role == "alkali"]
    assert rescue(none, {"lye": 0.5 * solution.grams}).remaining


def test_the_mixed_lye_and_a_part_of_it_are_not_both_given() -> None:
    with pytest.raises(InputError, match="water in it by itself"):
        rescue(PLAIN, {"lye": 300.0, "water": 200.0})


def test_so_much_too_much_is_never_read_as_all_that_is_in_the_vessel() -> None:
    for text in ("sodium-hydroxide +5 g", "coconut-oil +20 g"):
        with pytest.raises(InputError) as raised:
            parse_weighed(text)
        assert raised.value.findings[0].do == "write all of it, without the plus"


def test_a_name_with_spaces_is_told_as_it_is_written_with_its_weight() -> None:
    with pytest.raises(InputError) as raised:
        parse_weighed("olive oil 640 g")
    (finding,) = raised.value.findings
    assert (finding.what, finding.do) == (
        "'olive oil' is not how a name is written here",
        'write "olive-oil 640 g"',
    )
