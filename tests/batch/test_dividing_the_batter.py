"""A sheet says what to pour off for each portion, and the portions are the batter that it tells."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.model import Batch
from formulary.batch.portion_weights import PortionWeights, weigh_portions
from formulary.batch.rescue import work_out_rescue
from formulary.batch.sheet_weights import shown_weights
from formulary.batch.sitting import plan_sitting
from formulary.batch.sitting_text import render_rescue, render_sitting
from formulary.batch.weigh_out_text import render_batch
from formulary.batch.working_steps import find_steps
from formulary.settings import Settings, parse_settings
from tests.batch.recipes import PLAIN, weigh_out

CLOVE = "additions:\n  - {material: rose-clay, rate: 2 % of oils, at: trace}\n"
CLOVE += "  - {material: poppy-seeds, rate: 1 % of oils, at: top}\n"
CLOVE += "scent:\n  - {material: clove-bud-oil, rate: 1 % of oils}\n"


def portions_of(batch: Batch) -> tuple[tuple[PortionWeights, ...], float]:
    weights = shown_weights(batch.pot.lines, batch.scale)
    batter_g = sum(grams for (_, _, stage), grams in weights.items() if stage != "top")
    return weigh_portions(batch.pot.portions, batch.pot.lines, weights, batter_g, batch.scale), batter_g


def divided(share: int, clove: int, by_eye: int = 0) -> str:
    first, second = f"{{percent: {share}, by_eye: {by_eye}}}", f"{{percent: {100 - share}, by_eye: {by_eye}}}"
    return (
        f"{PLAIN}{CLOVE}portions:\n"
        f"  - {{name: white, share: {first}, gets: {{clove-bud-oil: {clove}, poppy-seeds: 0}}}}\n"
        f"  - {{name: red, share: {second}, gets: {{clove-bud-oil: {100 - clove}, poppy-seeds: 100}}}}\n"
    )


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 99), st.integers(0, 100), st.floats(90, 3000), st.sampled_from(["1 g", "5 g", "0.1 g"]))
def test_the_portions_add_up_to_the_batter_and_are_as_large_as_their_shares(
    share: int, clove: int, oils_g: float, step: str
) -> None:
    scale = parse_settings(f"format: 1\nscale: {{step: {step}, alkali_step: 0.1 g}}\n")[0]
    batch = weigh_out(divided(share, clove), oil_mass_g=oils_g, settings=scale)
    (white, red), batter_g = portions_of(batch)
    assert white.total_g + red.total_g == pytest.approx(batter_g)
    shared_g = white.of_batter_g + red.of_batter_g
    assert white.of_batter_g == pytest.approx(shared_g * share / 100, abs=float(scale.scale_step_g) + 1e-6)
    # Each is what the batch knows of it, but for what the scales round.
    known = {portion.name: portion.grams for portion in batch.portions}
    assert white.total_g == pytest.approx(known["white"], abs=8 * float(scale.scale_step_g))


@settings(max_examples=60, deadline=None)
@given(st.sampled_from([1, 2, 97, 98, 99]), st.floats(15, 400), st.sampled_from(["1 g", "5 g", "0.1 g"]))
def test_a_small_part_of_a_small_batter_is_never_less_than_nothing(share: int, oils_g: float, step: str) -> None:
    scale = parse_settings(f"format: 1\nscale: {{step: {step}, alkali_step: 0.1 g}}\n")[0]
    (white, red), _ = portions_of(weigh_out(divided(share, 50), oil_mass_g=oils_g, settings=scale))
    shared_g = white.of_batter_g + red.of_batter_g
    for portion, part in ((white, share), (red, 100 - share)):
        assert portion.of_batter_g >= 0
        small = part * shared_g / 100 < float(scale.scale_step_g) * 10
        within_g = 0.2 if small else float(scale.scale_step_g) + 0.2
        assert portion.of_batter_g == pytest.approx(part * shared_g / 100, abs=within_g)


def test_the_sheet_tells_the_grams_and_the_share_of_each_portion_before_what_goes_on_top() -> None:
    # Of the batter in the heading 10 g are clove, all of it in the red portion.
    batch = weigh_out(divided(60, 0, by_eye=10))
    sheet = render_batch(batch)
    batter = re.search(r"([\d.]+) g of batter", sheet)
    assert batter is not None
    shared_g = float(batter.group(1)) - 10.0
    first, second = round(0.6 * shared_g), shared_g - round(0.6 * shared_g)
    rows = " ".join(sheet.split())
    assert f"Divide the batter g white {first} 60 %, give or take 10 red {second:g} 40 %, give or take 10;" in rows
    assert f"{second + 10:g} g with what goes into it alone" in rows
    own = "Into the red portion g clove bud oil 10"
    assert rows.index("At trace g rose clay 20") < rows.index("Divide the batter") < rows.index(own)
    assert rows.index(own) < rows.index("On top g poppy seeds 10 ") < rows.index("all of it in the red portion")


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 99), st.integers(0, 100), st.floats(90, 3000))
def test_what_one_portion_gets_alone_is_weighed_after_the_dividing_and_all_of_it(
    share: int, clove: int, oils_g: float
) -> None:
    batch = weigh_out(divided(share, clove), oil_mass_g=oils_g)
    weights = shown_weights(batch.pot.lines, batch.scale)
    batter_g = sum(grams for (_, _, stage), grams in weights.items() if stage != "top")
    steps = find_steps(batch.pot, batch.scale, weights, batter_g)
    division = next(number for number, step in enumerate(steps) if step.portions)
    before = [each.line for step in steps[:division] for each in step.lines]
    assert all(line.portion is None and line.material != "clove-bud-oil" for line in before)
    after = [each for step in steps[division:] for each in step.lines if each.line.material == "clove-bud-oil"]
    assert sum(each.grams for each in after) == pytest.approx(weights["clove-bud-oil", "scent", "trace"])
    assert sum(each.part for each in after) == pytest.approx(1.0)
    # Each weighing of the batch stands on the sheet once, or once for each portion that gets of it.
    stated = sum(each.grams for step in steps for each in step.lines)
    assert stated == pytest.approx(sum(weights.values()))


def test_a_share_is_told_to_a_hundredth_of_a_percent_and_what_goes_in_alone_from_the_first_tenth_of_a_gram() -> None:
    text = PLAIN + "scent:\n  - {material: lavender-oil, rate: 0.06 % of oils}\nportions:\n"
    text += "  - {name: white, share: {percent: 33.333, by_eye: 2.126}, gets: {lavender-oil: 0}}\n"
    text += "  - {name: red, share: {percent: 66.667, by_eye: 2.126}, gets: {lavender-oil: 100}}\n"
    rows = " ".join(render_batch(weigh_out(text)).split())
    assert "33.33 %, give or take 2.13 red" in rows
    assert re.search(r"66\.67 %, give or take 2\.13; [\d.]+ g with what goes into it alone", rows)


def test_where_nothing_is_shared_at_trace_the_dividing_says_when_it_is() -> None:
    text = divided(60, 0).replace("at: trace", "at: oils")
    rows = " ".join(render_batch(weigh_out(text)).split())
    assert rows.index("3 At trace, divide the batter") < rows.index("4 Into the red portion")


def test_what_each_portion_gets_of_a_measured_and_wet_addition_is_told_as_its_own() -> None:
    # 60 and 40 % of 30 ml of oat milk, of which a millilitre weighs 1.03 g and 90 % are water (the built-in values).
    text = (
        divided(50, 0)
        .replace("gets: {", "gets: {oat-milk: 60, ", 1)
        .replace("gets: {clove", "gets: {oat-milk: 40, clove")
    )
    text = text.replace("scent:", "  - {material: oat-milk, rate: 30 ml per kg oils, at: trace, water: extra}\nscent:")
    rows = " ".join(render_batch(weigh_out(text)).split())
    white, red = rows.partition("Into the white portion")[2].split("Into the red portion")
    assert "oat milk 19 adds 17 g of water; 18 ml" in white
    assert "oat milk 12 adds 11 g of water; 12 ml" in red
    assert "30 ml" not in rows


@pytest.mark.parametrize(("oils_g", "white_spoons", "red_spoons"), [(1000.0, "1 1/2", "1/2"), (50.0, "0.08", "0.03")])
def test_a_pinch_that_is_divided_is_divided_in_spoons_too(oils_g: float, white_spoons: str, red_spoons: str) -> None:
    text = divided(50, 0).replace("rose-clay, rate: 2 % of oils", "rose-clay, rate: 2 tsp per kg oils")
    text = text.replace("gets: {", "gets: {rose-clay: 75, ", 1).replace("gets: {clove", "gets: {rose-clay: 25, clove")
    sheet = " ".join(render_batch(weigh_out(text, oil_mass_g=oils_g)).split())
    white, red = sheet.partition("Into the white portion")[2].split("Into the red portion")
    assert f" {white_spoons} level tsp" in white
    assert f" {red_spoons} level tsp" in red


def test_a_line_of_nothing_is_shown_as_nothing_in_each_portion() -> None:
    text = divided(50, 0).replace("rose-clay, rate: 2 % of oils", "rose-clay, rate: 0 % of oils")
    text = text.replace("gets: {", "gets: {rose-clay: 75, ", 1).replace("gets: {clove", "gets: {rose-clay: 25, clove")
    sheet = " ".join(render_batch(weigh_out(text)).split())
    assert sheet.count("rose clay 0 ") == 2


def test_a_sitting_divides_each_loaf_by_what_it_pours() -> None:
    batch = weigh_out(divided(50, 100))
    sheet = render_sitting(plan_sitting([batch, batch], batch.materials))
    sizes = [float(found) for found in re.findall(r"([\d.]+) g of batter\n", sheet)]
    halves = re.findall(r" (?:white|red) +([\d.]+) +50 %", sheet)
    assert len(halves) == 4
    for number, size in enumerate(sizes):
        assert sum(map(float, halves[2 * number : 2 * number + 2])) == pytest.approx(size - 10.0)


def test_what_is_measured_by_spoons_says_how_many_beside_its_grams() -> None:
    # Common practice, no source: a metric teaspoon is 5 ml; the built-in loose heap of rose clay is 0.6 g/ml.
    text = PLAIN + "additions:\n  - {material: rose-clay, rate: 2 tsp per kg oils, at: oils}\n"
    text += "  - {material: oat-milk, rate: 30 ml per kg oils, at: trace, water: extra}\n"
    batch = weigh_out(text, oil_mass_g=750.0)
    rows = " ".join(render_batch(batch).split())
    assert "rose clay 4.5 1 1/2 level tsp" in rows
    assert "22.5 ml" in rows
    clay, milk = batch.to_json()["additions"]  # type: ignore[misc]
    assert (clay["measured_amount"], clay["measured_unit"]) == (1.5, "tsp")
    assert (milk["measured_amount"], milk["measured_unit"]) == (22.5, "ml")
    weighed = weigh_out(PLAIN + CLOVE).to_json()["additions"]
    assert {line["measured_unit"] for line in weighed} == {None}  # type: ignore[attr-defined]


def test_spoons_for_a_kilogram_of_batter_are_counted_by_the_batter() -> None:
    batch = weigh_out(PLAIN + "additions:\n  - {material: rose-clay, rate: 2 tsp per kg batter, at: oils}\n")
    (clay,) = batch.additions
    assert clay.measured_amount == pytest.approx(2 * batch.batter_grams / 1000)
    assert clay.grams == pytest.approx(3 * clay.measured_amount)  # as above, 3 g of it are a teaspoon


def test_while_a_stop_stands_no_spoon_is_shown_either() -> None:
    text = PLAIN.replace("superfat: 5", "superfat: -5")
    text += "additions:\n  - {material: rose-clay, rate: 2 tsp per kg oils, at: oils}\n"
    (clay,) = weigh_out(text).to_json()["additions"]  # type: ignore[misc]
    assert (clay["grams"], clay["measured_amount"]) == (None, None)


def test_a_rescue_says_the_spoons_that_the_sheet_said() -> None:
    # Common practice, no source: a metric teaspoon is 5 ml; the built-in loose heap of rose clay is 0.6 g/ml.
    text = divided(50, 100).replace("rose-clay, rate: 2 % of oils", "rose-clay, rate: 4 tsp per kg oils")
    text = text.replace("gets: {clove-bud-oil: 100,", "gets: {rose-clay: 75, clove-bud-oil: 100,")
    text = text.replace("gets: {clove-bud-oil: 0,", "gets: {rose-clay: 25, clove-bud-oil: 0,")
    text += "process: {lye_temperature: 38 °C}\n"
    batch = weigh_out(text)
    for weighed_g, left in ((0.0, "4 level tsp"), (3.0, "3 level tsp"), (12.0, "")):
        rescue = work_out_rescue(batch, {"olive-oil": 600.0, "rose-clay": weighed_g}, batch.materials, Settings())
        sheet = " ".join(render_rescue(rescue).split())
        before, _, after = sheet.partition("Divide the batter")
        assert re.search(r"rose clay 12 [\d.]+ [\d.]+ ?(\d level tsp)?", before).group(1) == (left or None)  # type: ignore[union-attr]
        assert "rose clay 9 3 level tsp" in after
        assert "rose clay 3 1 level tsp" in after
        (clay,) = (line for line in rescue.to_json()["remaining"] if line["material"] == "rose-clay")  # type: ignore[attr-defined]
        assert (clay["measured_amount"], clay["measured_unit"]) == (pytest.approx((12 - weighed_g) / 3), "tsp")
    heaps = text.replace("at: trace}", "at: trace}\n  - {material: rose-clay, rate: 5 g per kg oils, at: oils}", 1)
    mixed = work_out_rescue(weigh_out(heaps), {"olive-oil": 600.0}, batch.materials, Settings())
    assert "tsp" not in render_rescue(mixed)  # it goes in by spoons and by weight: no count would be true


def test_a_rescue_divides_in_steps_of_the_scales_what_was_typed_in_ounces() -> None:
    batch = weigh_out(divided(50, 100))
    ounce_g = 28.349523125  # the international avoirdupois ounce (NIST Handbook 44, appendix C)
    weighed = {"olive-oil": 20 * ounce_g, "sodium-hydroxide": 3.1 * ounce_g}
    rescue = work_out_rescue(batch, weighed, batch.materials, Settings())
    said = render_rescue(rescue).partition("Divide the batter")[2].partition("Superfat")[0]
    assert {len(number) for number in re.findall(r"\d\.(\d+)", said)} <= {1}
    for portion in rescue.divided:
        assert portion.total_g * 10 == pytest.approx(round(portion.total_g * 10))


def test_a_rescue_says_the_spoons_of_a_pinch_too() -> None:
    text = PLAIN + "additions:\n  - {material: rose-clay, rate: 4 tsp per kg oils, at: oils}\n"
    batch = weigh_out(text, oil_mass_g=50.0)
    rescue = work_out_rescue(batch, {"olive-oil": 30.0}, batch.materials, Settings())
    assert "rose clay 0.6 0 0.6 0.2 level tsp" in " ".join(render_rescue(rescue).split())


def test_nothing_and_what_is_measured_in_two_ways_has_no_count_in_a_rescue() -> None:
    nothing = PLAIN + "additions:\n  - {material: rose-clay, rate: 0 tsp per kg oils, at: oils}\n"
    both = nothing.replace("0 tsp", "4 tsp") + "  - {material: rose-clay, rate: 1 tbsp per kg oils, at: trace}\n"
    for text in (nothing, both):
        batch = weigh_out(text)
        rescue = work_out_rescue(batch, {"olive-oil": 600.0}, batch.materials, Settings())
        (clay,) = (line for line in rescue.remaining if line.material == "rose-clay")
        assert clay.measured_unit is None
        assert "sp" not in " ".join(render_rescue(rescue).split()).partition("rose clay")[2][:30]


def test_json_says_what_of_a_line_goes_into_each_portion_alone() -> None:
    text = divided(60, 25).replace("gets: {clove-bud-oil: 25,", "gets: {rose-clay: 100, clove-bud-oil: 25,")
    batch = weigh_out(text.replace("gets: {clove-bud-oil: 75,", "gets: {rose-clay: 0, clove-bud-oil: 75,"))
    tree = batch.to_json()
    loaves = plan_sitting([batch, batch], batch.materials)
    rescue = work_out_rescue(batch, {"olive-oil": 600.0}, batch.materials, Settings())
    clay, clove, poppy = ("rose-clay", "addition", "trace"), ("clove-bud-oil", "scent", "trace"), "poppy-seeds"
    wanted = {
        "white": {clay: 20.0, clove: 2.5},
        "red": {clove: 7.5, (poppy, "addition", "top"): 10.0},
    }
    for portions in (tree["portions"], rescue.to_json()["portions"]):
        found = {
            portion["name"]: {(line["material"], line["role"], line["at"]): line["grams"] for line in portion["own"]}
            for portion in portions  # type: ignore[attr-defined]
        }
        assert found.keys() == wanted.keys()
        for name, lines in wanted.items():
            assert found[name] == pytest.approx(lines)
    for own in loaves.to_json()["own"]:  # type: ignore[attr-defined]
        alone = {name: {} for name in wanted}  # type: dict[str, dict[object, float]]
        for line in own:
            if line["portion"] is not None:
                alone[line["portion"]][line["material"], line["role"], line["at"]] = line["grams"]
        for name, lines in wanted.items():
            assert alone[name] == pytest.approx(lines)
    (whole,) = weigh_out(PLAIN + CLOVE).to_json()["portions"]  # type: ignore[misc]
    assert (whole["name"], whole["own"]) == ("whole", [])


def test_what_the_cure_is_expected_to_leave_is_all_but_that_part_of_the_water() -> None:
    half = parse_settings("format: 1\ncure: {days: 35, water_lost: 50 %}\n")[0]
    batch = weigh_out(PLAIN + CLOVE, settings=half)
    poured_g = sum(line.grams for line in batch.pot.lines)
    lost_g = 0.5 * batch.water.total_grams
    assert batch.cured is not None
    assert batch.cured.grams == pytest.approx(poured_g - lost_g)
    assert batch.cured.mass_loss_percent == pytest.approx(100 * lost_g / poured_g)
    assert batch.to_json()["cured"] == batch.cured.to_json()
    assert replace(batch, cured=None).to_json()["cured"] is None
    assert "After 35 days about" in render_batch(batch)
    assert "if 50 % of the water is lost" in " ".join(render_batch(batch).split())
