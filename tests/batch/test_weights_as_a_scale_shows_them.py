"""Every weight of a sheet is one that the maker's scale can show, errs on the safe side, and adds up as printed."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from formulary.batch.figures import superfat_band
from formulary.batch.model import Batch, PotLine
from formulary.batch.remaining import Remaining
from formulary.batch.scale import Scale, format_shown, share_out
from formulary.batch.sheet_weights import oils_of, shown_parts, shown_weights
from formulary.batch.sitting import plan_sitting
from formulary.batch.sitting_text import render_sitting
from formulary.batch.sitting_weights import printed_loaf, weigh_sitting
from formulary.batch.weigh_out import work_out_batch
from formulary.batch.weigh_out_text import render_batch
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings, parse_settings
from tests.batch.finding_cases import coarse
from tests.batch.recipes import PLAIN, weigh_out

STEPS = st.sampled_from([0.01, 0.1, 0.5, 1.0, 2.0, 5.0])
THIRDS = PLAIN.replace(
    "olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15", "olive-oil: 33.34\n  coconut-oil: 33.33\n  lard: 33.33"
)


def in_steps(grams: float, step_g: float) -> bool:
    return abs(grams / step_g - round(grams / step_g)) < 1e-6


@settings(max_examples=150, deadline=None)
@given(st.lists(st.floats(0.1, 2000), min_size=1, max_size=8), STEPS)
def test_sharing_out_keeps_every_part_within_a_step_and_the_total_exact(parts: list[float], step_g: float) -> None:
    total_g = step_g * round(sum(parts) / step_g)
    shared = share_out(dict(enumerate(parts)), total_g, step_g)
    assert sum(shared.values()) == pytest.approx(total_g, abs=1e-6)
    for number, grams in enumerate(parts):
        assert in_steps(shared[number], step_g)
        assert abs(shared[number] - grams) < step_g + 1e-6


def test_what_stands_on_a_step_stays_there_though_the_total_is_less() -> None:
    assert share_out({"a": 3.0, "b": 2.0}, 4.0, 1.0) == {"a": 3.0, "b": 2.0}
    assert share_out({"a": 0.3, "b": 0.3, "c": 0.3}, 0.9, 0.1) == pytest.approx({"a": 0.3, "b": 0.3, "c": 0.3})


@settings(max_examples=60, deadline=None)
@given(st.floats(40, 5000), STEPS, st.sampled_from([0.01, 0.1, 1.0]))
@example(52.25, 2.0, 1.0)  # all of them on the finer scale, and each a little above a step of it
def test_oils_total_what_was_asked_for_and_every_weight_is_one_of_a_scale(
    oils_g: float, step_g: float, alkali_step_g: float
) -> None:
    text = f"format: 1\nscale: {{step: {step_g} g, alkali_step: {alkali_step_g} g}}\n"
    batch = weigh_out(THIRDS, oil_mass_g=oils_g, settings=parse_settings(text)[0])
    shown = shown_weights(batch.pot.lines, batch.scale)
    finest_g = min(step_g, alkali_step_g)
    for line in batch.pot.lines:
        grams = shown[line.material, line.role, line.at]
        assert in_steps(grams, finest_g)
        if line.role == "alkali":
            assert grams == line.grams
        elif line.grams >= 10 * step_g:
            assert in_steps(grams, step_g)
    total_g = sum(grams for (_, role, _), grams in shown.items() if role == "oil")
    assert abs(total_g - oils_g) <= step_g / 2 + 1e-6


@settings(max_examples=100, deadline=None)
@given(st.floats(40, 5000), st.sampled_from([1.0, 2.0, 5.0, 10.0]), st.integers(1, 400))
def test_oils_miss_what_was_asked_for_by_no_more_than_half_a_step_though_some_are_weighed_finer(
    oils_g: float, step_g: float, hundredths: int
) -> None:
    little = hundredths / 100
    text = THIRDS.replace("olive-oil: 33.34", f"olive-oil: {33.34 - little:.2f}\n  castor-oil: {little} %")
    settings_ = parse_settings(f"format: 1\nscale: {{step: {step_g:g} g, alkali_step: 0.01 g}}\n")[0]
    batch = weigh_out(text, oil_mass_g=oils_g, settings=settings_)
    shown = [line for line in shown_weights(batch.pot.lines, batch.scale).items() if line[0][1] == "oil"]
    # where all of them are weighed finer, each misses by half a step of that scale
    most_g = step_g / 2 if any(in_steps(grams, step_g) for _, grams in shown) else 0.005 * len(shown)
    assert abs(sum(grams for _, grams in shown) - oils_g) <= most_g + 1e-6


@given(st.floats(0.01, 500), STEPS, STEPS)
def test_scent_is_never_shown_above_what_its_limit_was_checked_at_nor_as_nothing(
    grams: float, step_g: float, alkali_step_g: float
) -> None:
    shown_g = Scale(step_g, alkali_step_g).shown("scent", grams)
    assert 0 < shown_g <= grams + 1e-3 * step_g


@given(st.floats(0.5, 80), st.floats(0.5, 80), st.floats(0.5, 80))
@example(10.0, 10.0, 10.25)  # the last quarter comes off all three, and leaves two below ten
def test_parts_for_portions_add_up_to_their_line(first: float, second: float, third: float) -> None:
    parts = [
        PotLine("mica", "addition", "trace", grams, portion)
        for grams, portion in ((first, "a"), (second, "b"), (third, "c"))
    ]
    shown_g = Scale().shown("addition", first + second + third)
    shown = shown_parts(parts, shown_g, Scale())
    assert sum(shown) == pytest.approx(shown_g)
    assert all(in_steps(grams, 0.1 if min(shown) < 10 else 1.0) for grams in shown)


def parts_of(role: str, *grams: float) -> list[PotLine]:
    return [PotLine("some", role, "trace", each, f"portion {number}") for number, each in enumerate(grams)]


def test_a_little_of_a_scent_is_never_rounded_up_for_a_portion_so_that_the_whole_comes_out() -> None:
    shown = shown_parts(parts_of("scent", 9.19, 0.19, 0.19), 9.3, Scale())
    assert shown == pytest.approx([9.1, 0.1, 0.1])


def test_what_is_no_scent_adds_up_however_little_it_is() -> None:
    assert sum(shown_parts(parts_of("addition", 0.29, 0.29), 0.6, Scale())) == pytest.approx(0.6)
    assert shown_parts(parts_of("addition", 0.0, 0.0), 0.0, Scale()) == [0.0, 0.0]


def test_no_portion_gets_more_scent_than_it_was_checked_with() -> None:
    split = "scent:\n  - {material: clove-bud-oil, rate: 1.2 % of oils}\n" + (
        "portions:\n  - {name: plain, share: 50, gets: {clove-bud-oil: 25}}\n"
        "  - {name: clove, share: 50, gets: {clove-bud-oil: 75}}\n"
    )
    batch = weigh_out(PLAIN + split, oil_mass_g=777.7)
    parts = [line for line in batch.pot.lines if line.role == "scent"]
    whole_g = shown_weights(batch.pot.lines, batch.scale)["clove-bud-oil", "scent", "trace"]
    shown = shown_parts(parts, whole_g, batch.scale)
    assert sum(shown) == pytest.approx(whole_g)
    for part, grams in zip(parts, shown, strict=True):
        assert part.grams - 0.1 < grams <= part.grams
    assert "Into the plain portion g clove bud oil 2.3" in " ".join(render_batch(batch).split())


def test_the_sheet_shows_what_the_scale_of_the_settings_shows_and_json_stays_exact() -> None:
    batch = weigh_out(THIRDS, oil_mass_g=1000.0, settings=parse_settings("format: 1\nscale: {step: 1 g}\n")[0])
    text = render_batch(batch)
    assert re.search(r"olive oil +334\b", text)
    assert re.search(r"coconut oil +333\b", text)
    assert "1000 g of oils" in text
    assert batch.to_json()["oils"][0]["grams"] == pytest.approx(333.4)  # type: ignore[index]
    fine = render_batch(weigh_out(THIRDS, settings=parse_settings("format: 1\nscale: {step: 0.1 g}\n")[0]))
    assert re.search(r"olive oil +333\.4", fine)


def test_little_is_shown_as_the_finer_scale_shows_it() -> None:
    text = render_batch(weigh_out(PLAIN + "additions:\n  - {material: kaolin, rate: 0.36 % of oils, at: oils}\n"))
    assert re.search(r"kaolin +3\.6", text)
    assert "[weight-small]" in text
    assert Scale.of(Settings()) == Scale() == Scale(1.0, 0.1)


@pytest.mark.parametrize(
    ("grams", "shown"),
    [
        *((450.0, "450"), (139.45, "139.45"), (9.600000000001, "9.6"), (9.60001, "9.6"), (0, "0"), (0.45, "0.45")),
        *((0.0125, "0.0125"), (0.00042, "0.0004"), (0.00004, "0.00004")),
        *((139.456, "139.456"), (1.001, "1.001"), (126.15541, "126.15"), (9.0718474, "9.07"), (0.9999, "0.9999")),
    ],
)
def test_grams_are_written_with_the_digits_that_they_have(grams: float, shown: str) -> None:
    assert format_shown(grams) == shown


@pytest.mark.parametrize(
    ("role", "there_g", "lacking_g", "shown_g"),
    [
        ("oil", 599.7, 0.3, 0.0),  # the scale that weighed the oil shows 600 already
        ("oil", 599.5, 0.5, 1.0),
        ("oil", 599.4, 0.6, 1.0),
        ("oil", 598.4, 1.6, 2.0),
        ("oil", 5.0, 1.64, 1.6),  # so little in all is weighed on the finer one
        ("oil", 100.0, 500.3, 500.0),
        ("addition", 0.0, 0.3, 0.3),
        ("addition", 0.0, 0.03, 0.03),  # finer than any scale, yet not nothing
        ("addition", 0.5, 0.03, 0.0),
        ("scent", 20.0, 0.3, 0.3),
        ("scent", 20.0, 0.38, 0.3),
        ("alkali", 100.0, 30.09, 30.0),
        ("alkali", 130.0, 0.09, 0.0),
    ],
)
def test_what_is_still_to_add_is_what_a_scale_shows_of_it(
    role: str, there_g: float, lacking_g: float, shown_g: float
) -> None:
    remaining = Remaining("kaolin", role, there_g + lacking_g, there_g, lacking_g)
    assert remaining.shown_g(Scale(1.0, 0.1)) == pytest.approx(shown_g)


@settings(max_examples=80, deadline=None)
@given(st.integers(60, 400), st.integers(10, 80), st.sampled_from([1.0, 2.0, 5.0, 10.0]), st.sampled_from([0, 2, 5]))
def test_no_sheet_is_printed_whose_own_weights_leave_free_lye(
    oils_g: int, first: int, step_g: float, superfat: int
) -> None:
    text = PLAIN.replace("olive-oil: 60", f"olive-oil: {first}").replace("sunflower-oil: 15", f"lard: {75 - first}")
    if first >= 75:
        text = text.replace(f"  lard: {75 - first}\n", "").replace(f"olive-oil: {first}", "olive-oil: 75")
    text = text.replace("superfat: 5", f"superfat: {superfat}")
    kitchen = parse_settings(f"format: 1\nscale: {{step: {step_g:g} g, alkali_step: 0.1 g}}\n")[0]
    batch = weigh_out(text, oil_mass_g=float(oils_g), settings=kitchen)
    register = read_builtin_register()
    fat_mol = alkali_g = 0.0
    for (name, role, _), grams in shown_weights(batch.pot.lines, batch.scale).items():
        value = register[name].saponification_value
        if role == "oil" and value is not None:
            fat_mol += grams * value.working / 1000 / 56.105
        elif role == "alkali":
            alkali_g += grams
    printed = 100 * (1 - alkali_g / 39.997 / fat_mol)
    said = {finding.severity.value for finding in batch.findings if finding.code == "oils-rounded"}
    if printed < -1e-6:
        assert batch.is_stopped
    elif batch.superfat.effective - printed > 0.5 + 1e-6:
        assert said == {"warn"}
    elif printed > 1e-6 and batch.superfat.effective - printed < 0.5 - 1e-6:
        assert said == set()


SOLD_STEPS_G = (5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)  # what kitchen and jewellery scales show (from memory)


def superfat_as_printed(batch: Batch, scale: Scale) -> float:
    """By moles, with SV in mg KOH for 1 g (ISO 3657) and molar masses of CIAAW weights."""
    register = read_builtin_register()
    fat_mol = alkali_mol = 0.0
    for (name, role, _), grams in shown_weights(batch.pot.lines, scale).items():
        value = register[name].saponification_value
        if role == "oil" and value is not None:
            fat_mol += grams * value.working / 1000 / 56.105
        elif role == "alkali":
            alkali_mol += grams / 39.997
    return 100 * (1 - alkali_mol / fat_mol)


def proposed_scale_g(oils_g: float, castor: int, step_g: float, superfat: int) -> float | None:
    """The step that is proposed for the oils, if any, once it is the coarsest that is sold and keeps the superfat."""
    text = THIRDS.replace("olive-oil: 33.34", f"olive-oil: {50 - castor}.34\n  castor-oil: {castor}")
    text = text.replace("coconut-oil: 33.33", "coconut-oil: 16.33").replace("superfat: 5", f"superfat: {superfat}")
    kitchen = parse_settings(f"format: 1\nscale: {{step: {step_g:g} g, alkali_step: 0.1 g}}\n")[0]
    batch = weigh_out(text, oil_mass_g=oils_g, settings=kitchen)
    exact = batch.superfat.effective

    def lost(sold_g: float) -> bool:
        printed = superfat_as_printed(batch, batch.scale._replace(step_g=sold_g))
        return printed < -1e-6 or exact - printed > 0.5 + 1e-6

    for finding in batch.findings:
        if finding.code == "oils-rounded":
            (proposed_g,) = map(float, re.findall(r"shows ([0-9.]+) g", finding.do))
            assert not lost(proposed_g)
            assert all(lost(sold_g) for sold_g in SOLD_STEPS_G if proposed_g < sold_g < step_g)
            return proposed_g
    return None


@settings(max_examples=60, deadline=None)
@given(st.integers(40, 300), st.integers(5, 40), st.sampled_from([2.0, 5.0, 10.0, 20.0]), st.sampled_from([0, 2, 5]))
def test_the_scale_that_is_proposed_for_the_oils_is_the_coarsest_sold_that_keeps_the_superfat(
    oils_g: int, castor: int, step_g: float, superfat: int
) -> None:
    assert proposed_scale_g(float(oils_g), castor, step_g, superfat) in (None, *SOLD_STEPS_G)


@pytest.mark.parametrize(
    ("oils_g", "castor", "step_g", "superfat", "proposed_g"),
    [
        *((260, 11, 10, 5, 5), (138, 37, 5, 5, 2), (55, 5, 2, 5, 1), (60, 39, 1, 2, 0.5)),
        *((59, 14, 1, 0, 0.2), (24, 8, 1, 2, 0.1), (2.05, 5, 20, 5, 0.05), (21, 34, 10, 0, 0.02)),
    ],
)
def test_every_scale_that_is_sold_is_proposed_where_it_is_enough(
    oils_g: float, castor: int, step_g: float, superfat: int, proposed_g: float
) -> None:
    assert proposed_scale_g(oils_g, castor, step_g, superfat) == proposed_g


@pytest.mark.parametrize("oils_g", [65, 97, 166, 233])
def test_a_sheet_whose_weights_leave_a_hundredth_of_a_point_of_free_lye_is_stopped(oils_g: int) -> None:
    bare = PLAIN.replace("superfat: 5", "superfat: 0").replace("sunflower-oil", "castor-oil")
    batch = weigh_out(bare, oil_mass_g=float(oils_g))
    assert batch.superfat.effective >= 0
    assert -0.4 < superfat_as_printed(batch, batch.scale) < -0.005
    assert [finding.code for finding in batch.findings if finding.severity.value == "stop"] == ["oils-rounded"]


def test_where_no_scale_that_is_sold_helps_the_finest_and_a_larger_batch_are_named() -> None:
    bare = PLAIN.replace("superfat: 5", "superfat: 0").replace("sunflower-oil", "castor-oil")
    (said,) = (each for each in weigh_out(bare, oil_mass_g=2.05).findings if each.code == "oils-rounded")
    assert "shows 0.01 g" in said.do
    assert "larger batch" in said.do


def test_household_soap_that_coarse_weights_leave_free_lye_in_is_warned_of() -> None:
    kitchen = coarse("3", "10 g")
    household = replace(kitchen, recipe=f"{kitchen.recipe}purpose: household\n")
    (said,) = (finding for finding in household.find() if finding.code == "oils-rounded")
    assert said.severity.value == "warn"
    assert "never use it on skin" in said.do


@pytest.mark.parametrize(("alkali_step", "is_told"), [("1 g", True), ("0.05 g", False)])
def test_scent_that_is_rounded_down_by_more_than_a_twentieth_is_told(alkali_step: str, *, is_told: bool) -> None:
    halves = "portions:\n  - {name: one, share: 50, gets: {lavender-oil: 50}}\n"
    halves += "  - {name: two, share: 50, gets: {lavender-oil: 50}}\n"
    text = PLAIN + "scent:\n  - {material: lavender-oil, rate: 0.9 % of oils}\n" + halves
    scale = parse_settings(f"format: 1\nscale: {{step: 1 g, alkali_step: {alkali_step}}}\n")[0]
    batch = weigh_out(text, oil_mass_g=333.3, settings=scale)
    told = [finding for finding in batch.findings if "rounds scent down" in finding.what]
    assert bool(told) == is_told
    for finding in told:
        assert "lavender oil 2 g of 3.00 g" in finding.what
        assert "alkali_step: 0.01 g" in finding.do
        finer = parse_settings("format: 1\nscale: {step: 1 g, alkali_step: 0.01 g}\n")[0]
        assert "rounds scent down" not in str(weigh_out(text, oil_mass_g=333.3, settings=finer).findings)


def test_scent_that_no_scale_shows_is_told() -> None:
    text = PLAIN + "scent:\n  - {material: lavender-oil, rate: 0.02 % of oils}\n"
    coarser = parse_settings("format: 1\nscale: {step: 1 g, alkali_step: 1 g}\n")[0]
    (said,) = (each for each in weigh_out(text, settings=coarser).findings if "rounds scent down" in each.what)
    # a twentieth of 0.2 g is 0.01 g
    assert "alkali_step: 0.01 g" in said.do


def test_of_what_a_recipe_only_keeps_a_place_for_nothing_is_said() -> None:
    text = PLAIN + "additions:\n  - {material: kaolin, rate: 0 % of oils, at: oils}\n"
    batch = weigh_out(text + "scent:\n  - {material: lavender-oil, rate: 0 % of oils, at: trace}\n")
    assert "weight-small" not in {finding.code for finding in batch.findings}
    assert re.search(r"kaolin +0\b", render_batch(batch))


@pytest.mark.parametrize(
    ("percent", "is_told"),
    [("0", False), ("0.01", False), ("0.0099", True), ("0.0109", True), ("0.2099", False), ("0.1949", False)],
)
def test_scent_of_one_step_of_the_scale_is_shown_and_less_of_it_is_told(percent: str, *, is_told: bool) -> None:
    text = PLAIN + f"scent:\n  - {{material: lavender-oil, rate: {percent} % of oils}}\n"
    assert ("rounds scent down" in str(weigh_out(text).findings)) == is_told


def test_the_note_of_a_small_weight_says_which_scale_the_sheet_is_for() -> None:
    text = PLAIN + "additions:\n  - {material: kaolin, rate: 0.36 % of oils, at: oils}\n"
    (said,) = (finding for finding in weigh_out(text).findings if finding.code == "weight-small")
    assert "as the scale of 0.1 g shows it" in said.what
    one_scale = parse_settings("format: 1\nscale: {step: 1 g, alkali_step: 1 g}\n")[0]
    (said,) = (finding for finding in weigh_out(text, settings=one_scale).findings if finding.code == "weight-small")
    assert "the sheet has it" not in said.what


def test_a_sitting_whose_own_weights_leave_free_lye_in_a_loaf_is_stopped() -> None:
    kitchen = coarse("2", "10 g")
    recipe, register = kitchen.read_recipe(), read_builtin_register()
    fine, coarser = (
        parse_settings(f"format: 1\nscale: {{step: {step}, alkali_step: 0.1 g}}\n")[0] for step in ("1 g", "10 g")
    )
    batches = [work_out_batch(recipe, register, fine, oil_mass_g=size) for size in (150.0, 153.0)]
    assert not plan_sitting(batches, register, fine).is_stopped
    batches = [replace(batch, scale=Scale.of(coarser)) for batch in batches]
    sitting = plan_sitting(batches, register, coarser)
    assert sitting.is_stopped
    (said,) = {finding.code for finding in sitting.findings}
    assert said == "oils-rounded"
    (loaf,) = {finding.what.partition(":")[0] for finding in sitting.findings}
    weights = weigh_sitting(sitting)
    printed = [superfat_band(printed_loaf(sitting, weights, number), register, coarser).working for number in range(2)]
    # the loaf whose weights as printed leave free lye, counted from one
    assert loaf == f"loaf {1 + printed.index(min(printed))}"
    assert min(printed) < 0 <= max(printed)
    sheet = render_sitting(sitting)
    assert "STOP" in sheet
    assert "In the pot" not in sheet
    tree = sitting.to_json()
    assert tree["own"] != []
    assert '"grams": ' not in json.dumps(tree).replace('"grams": null', "")


STRONGER = THIRDS.replace("lye_concentration: 33", "lye_concentration: 36")
LARD = PLAIN.replace("olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15", "lard: 100")


@settings(max_examples=60, deadline=None)
@given(st.sampled_from([THIRDS, STRONGER, LARD]), st.integers(200, 2000), st.integers(200, 2000))
def test_a_sitting_weighed_as_its_sheet_says_keeps_the_superfat_of_each_loaf(
    other: str, first: int, second: int
) -> None:
    register = read_builtin_register()
    batches = [weigh_out(text, oil_mass_g=float(size)) for text, size in ((PLAIN, first), (other, second))]
    sitting = plan_sitting(batches, register)
    assert (sitting.jug is None, sitting.pot is None) == (other == STRONGER, other == LARD)
    weights = weigh_sitting(sitting)
    for number, batch in enumerate(batches):
        loaf = printed_loaf(sitting, weights, number)
        assert loaf.grams("oil") == pytest.approx(weights.loaves[number].oils_g)
        assert loaf.grams("oil") == pytest.approx(batch.oil_mass_g, abs=1.0 if sitting.pot else 0.5)
        assert sum(line.grams for line in loaf.lines) == pytest.approx(weights.loaves[number].batter_g)
        printed = superfat_band(loaf, register, Settings()).working
        assert printed == pytest.approx(batch.superfat.effective, abs=0.5)
    assert not sitting.is_stopped


@settings(max_examples=60, deadline=None)
@given(st.floats(100, 3000))
def test_an_oil_that_gives_way_to_the_total_says_what_it_is_unrounded_and_no_other_does(oils_g: float) -> None:
    batch = weigh_out(THIRDS, oil_mass_g=oils_g)
    shown = shown_weights(batch.pot.lines, batch.scale)
    text = " ".join(render_batch(batch).split())
    for line in batch.pot.lines:
        shown_g = shown[line.material, line.role, line.at]
        off_g = abs(shown_g - line.grams)
        if line.role == "oil" and abs(off_g - 0.5) > 1e-3:
            row = f"{line.material.replace('-', ' ')} {format_shown(shown_g)}"
            said = f"{row} {line.grams:.2f} g, rounded so that the oils add up"
            assert (said in text) == (off_g > 0.5)


@pytest.mark.parametrize(("oils_g", "castor_g"), [(100.0, 0.09), (5.0, 0.08)])
def test_an_oil_of_less_than_a_step_is_taken_off_what_the_others_make(oils_g: float, castor_g: float) -> None:
    # A scale of 0.1 g for the oils, and one of 1 g that is too coarse for all of five grams.
    for scale in (Scale(0.1, 0.1), Scale(1.0, 0.1)):
        lines = [
            PotLine("olive-oil", "oil", "oils", oils_g - castor_g),
            PotLine("castor-oil", "oil", "oils", castor_g),
        ]
        shown = shown_weights(lines, scale)
        assert shown["castor-oil", "oil", "oils"] == 0.1
        step_g = scale.step_for(oils_g)
        assert oils_of(shown) == pytest.approx(oils_g, abs=step_g / 2 + 1e-9)
