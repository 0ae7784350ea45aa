"""Whatever a record leaves open counts at its worst: no superfat is better than one that the record allows."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.batch.figures import work_out_pot
from formulary.batch.model import Pot, pot_portions
from formulary.finding import Severity
from formulary.materials.model import FragranceLimit, Known, Lot, Material, ValueRange
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.trials.examples import MIDWINTER_CLOVE, faults, outcomes, plan_of, trial_of
from trials.as_made.as_made_recipe import describe_as_made
from trials.as_made.effective import effective_portion
from trials.as_made.lots_used import materials_of
from trials.as_made.portions_text import render_portions
from trials.as_made.recalculate import recalculate
from trials.as_made.unknown_weights import is_unknown_line
from trials.checks.checks import check_trial
from trials.checks.sale import check_before_sale, is_never_sold
from trials.comparison.compare import compare_trials
from trials.trial.model import Trial

PLAN = plan_of(MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("scent:")])
SCENTED = plan_of(MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("portions:")])
DAY = date(2027, 1, 1)
REGISTER = read_builtin_register()


def superfat(trial: Trial) -> float:
    return effective_portion(trial, as_bars=True).figures.superfat_effective


def made(*entries: str, more: str = "") -> Trial:
    trial = trial_of(f"as_made: [{', '.join(f'{{{entry}}}' for entry in entries)}]\n{more}", PLAN)
    return replace(trial, added=MappingProxyType({name: REGISTER[name] for name in trial.brought}))


@pytest.mark.parametrize(
    "entry",
    [
        "line: water, weighed: unknown",
        "line: water, instead: honey, weighed: unknown",
        "extra: rose-clay, at: lye water, weighed: unknown",
    ],
)
def test_of_so_much_mixed_lye_nobody_knows_the_alkali_where_anything_else_in_the_jug_was_not_weighed(
    entry: str,
) -> None:
    trial = made(entry, "line: lye, weighed: 320 g")
    assert "weight-unknown" in [each.code for each in check_trial(trial)]
    assert "weight-unknown" in [each.code for each in check_before_sale(trial, DAY) if is_never_sold(each)]
    assert is_unknown_line(trial, "sodium-hydroxide", "lye water")  # so that no grams of it are told
    assert not is_unknown_line(made(entry), "sodium-hydroxide", "lye water")
    # Where all of the jug went in it is no matter how much else there was.
    assert "weight-unknown" not in [each.code for each in check_trial(made(entry))]


@given(
    st.sampled_from(
        [
            "line: water",
            "line: sodium-hydroxide",
            "extra: clove-bud-oil, at: lye water",
            "extra: citric-acid-anhydrous, at: lye water",
            "extra: sodium-hydroxide-solution-33, at: lye water",
        ]
    ),
    st.integers(50, 200),
    st.integers(1, 60),
    st.integers(200, 320),
)
def test_what_was_in_the_jug_counts_at_the_end_that_makes_the_weighed_lye_stronger(
    entry: str, low: int, wide: int, lye: int
) -> None:
    poured = f"line: lye, weighed: {lye} g"
    told = superfat(made(f"{entry}, weighed: {low}-{low + wide} g", poured))
    ends = [superfat(made(f"{entry}, weighed: {low + off} g", poured)) for off in (0, wide)]
    assert told == pytest.approx(min(ends), abs=1e-9)


OLIVE = PLAN.materials["olive-oil"]


def of_lots(certificates: dict[str, float], lots: str, weighed: int) -> Trial:
    """A loaf of so much olive oil, of lots whose certificates give these saponification values."""
    known = {
        lot: Lot(lot, overrides={"saponification_value": ValueRange(value, value, value, Known("maker", "invented"))})
        for lot, value in certificates.items()
    }
    trial = made(f"line: olive-oil, weighed: {weighed} g", more=f"lots: {{olive-oil: {{{lots}}}}}\n")
    return replace(trial, lot_values=MappingProxyType({"olive-oil": known}))


@given(st.floats(184, 196), st.integers(50, 400))
def test_oil_that_is_of_no_recorded_lot_is_not_believed_to_be_as_good_as_the_lot_beside_it(
    value: float, grams: int
) -> None:
    told = superfat(of_lots({"OL-1": value}, f"OL-1: {grams} g", 450))
    every = superfat(of_lots({"OL-1": value}, "OL-1: 450 g", 450))
    rest = superfat(of_lots({"OL-1": value}, f"OL-1: {grams} g, OL-2: {450 - grams} g", 450))  # nothing known of OL-2
    assert told == pytest.approx(min(every, rest), abs=1e-9)


@given(st.floats(184, 196), st.floats(184, 196), st.integers(1, 220), st.integers(1, 220))
def test_what_lots_do_not_make_up_may_be_more_of_either(one: float, two: float, first: int, second: int) -> None:
    values = {"OL-1": one, "OL-2": two}
    told = superfat(of_lots(values, f"OL-1: {first} g, OL-2: {second} g", 450))
    more_of_one, more_of_two = (
        superfat(of_lots(values, f"OL-1: {grams} g, OL-2: {450 - grams} g", 450)) for grams in (450 - second, first)
    )
    assert told <= min(more_of_one, more_of_two) + 1e-9


def limit_of(lots: str, limits: dict[str, float], general: float) -> float:
    """The limit that counts for a loaf with 12 g of clove bud oil, some of lots with certificates of their own."""
    known = Known("maker", "invented certificate")
    limit = {lot: FragranceLimit(percent, None, None, known) for lot, percent in {**limits, "": general}.items()}
    plan = plan_of(MIDWINTER_CLOVE)
    clove = replace(plan.materials["clove-bud-oil"], limit=limit[""])
    plan = replace(plan, materials={**plan.materials, "clove-bud-oil": clove})
    lot_values = {lot: Lot(lot, overrides={"limit": limit[lot]}) for lot in limits}
    trial = replace(trial_of(f"lots: {{clove-bud-oil: {lots}}}\n", plan), lot_values={"clove-bud-oil": lot_values})
    counts = materials_of(trial)["clove-bud-oil"].limit
    assert counts is not None
    return counts.percent_of_product


def test_scent_of_no_recorded_lot_is_not_believed_to_be_allowed_as_much_of_as_the_lot_beside_it() -> None:
    assert limit_of("{CB-1: 12 g}", {"CB-1": 3.0}, 0.5) == 3.0
    assert limit_of("{CB-1: 5 g}", {"CB-1": 3.0}, 0.5) == 0.5
    assert limit_of("{CB-1: 5 g}", {"CB-1": 0.3}, 0.5) == 0.3
    assert limit_of("{CB-1: 15 g, CB-2: 5 g}", {"CB-1": 3.0, "CB-2": 0.5}, 4.0) == 0.5


def test_lots_of_what_took_an_oils_place_may_differ_from_it_as_far_as_it_is_known() -> None:
    def codes(lots: str) -> list[str]:
        entry = "line: olive-oil, instead: sunflower-oil, weighed: 430-470 g"
        return [each.code for each in check_trial(made(entry, more=f"lots: {{{lots}}}\n"))]

    assert "lots-total" not in codes("sunflower-oil: {SF-1: 300 g, SF-2: 165 g}")
    assert "lots-total" in codes("sunflower-oil: {SF-1: 300 g, SF-2: 185 g}")


@given(st.floats(184, 196), st.floats(184, 196), st.integers(300, 440), st.integers(200, 440))
def test_lots_that_weigh_more_than_went_in_count_with_as_much_of_the_worse_as_there_may_be(
    one: float, two: float, first: int, second: int
) -> None:
    values = {"OL-1": one, "OL-2": two}
    told = superfat(of_lots(values, f"OL-1: {first} g, OL-2: {second} g", 450))
    possible = [
        superfat(of_lots(values, f"OL-1: {grams} g, OL-2: {450 - grams} g", 450))
        for grams in (first, 450 - second, 450 * first // (first + second))
    ]
    assert told <= min(possible) + 1e-9


@given(st.integers(1, 20), st.integers(1, 80))
def test_a_rebatch_of_unknown_time_that_stands_twice_counts_as_often_as_is_worse(lye: int, oil: int) -> None:
    for taken_in in (f"sodium-hydroxide: {lye} g", f"olive-oil: {oil} g"):
        line = f"{{what: rebatched, at: unknown, with: {{{taken_in}}}}}"
        once, twice, two = (
            superfat(trial_of(f"after_pour: [{lines}]\n", PLAN))
            for lines in (line, f"{line}, {line}", f"{line}, {line.replace('unknown', '20 h')}")
        )
        assert twice == pytest.approx(min(once, two))


def test_a_rebatch_that_stands_twice_for_one_time_is_one_and_what_counts_is_told() -> None:
    lye = "{what: rebatched, at: TIME, with: {olive-oil: 20 g, sodium-hydroxide: 5 g}}"
    for time, words in (("20 h", "counts once"), ("unknown", "counts once, but sodium hydroxide each time")):
        line = lye.replace("TIME", time)
        trial = trial_of(f"after_pour: [{line}, {line}]\n", PLAN)
        (told,) = [each for each in check_trial(trial) if each.code == "done-twice"]
        assert words in told.what


@given(st.integers(1, 99), st.integers(1, 99))
def test_what_is_not_known_of_a_material_is_as_much_however_many_lines_it_is_written_in(oil: int, lye: int) -> None:
    parts = {"olive-oil": oil / 100, "sodium-hydroxide": lye / 100}
    lines = [
        replace(line, grams=line.grams * part, at=at)
        for line in PLAN.pot.lines
        for part, at in (
            [(parts[line.material], line.at), (1 - parts[line.material], "trace")]
            if line.material in parts
            else [(1.0, line.at)]
        )
    ]
    settings = replace(Settings(), alkali_step_g=Decimal(0))  # of each weighing the scale's step is another doubt
    one, two = (work_out_pot(pot, PLAN.materials, settings) for pot in (PLAN.pot, Pot(tuple(lines))))
    assert two.superfat_low == pytest.approx(one.superfat_low, abs=1e-9)
    assert two.superfat_high == pytest.approx(one.superfat_high, abs=1e-9)


def test_what_took_the_place_of_a_line_in_a_portion_that_was_to_get_none_of_it_went_in_all_the_same() -> None:
    scented = plan_of(MIDWINTER_CLOVE)
    portions = "portions: [{name: plain, share: 50}, {name: clove, share: 50}]\n"
    instead = "{line: clove-bud-oil, instead: sodium-hydroxide, weighed: 9 g, portion: plain}"
    extra = "{extra: sodium-hydroxide, weighed: 9 g, at: trace, portion: plain}"
    one, two = (trial_of(f"{portions}as_made: [{entry}]\n", scented) for entry in (instead, extra))
    assert superfat(one) == pytest.approx(superfat(two))
    assert superfat(one) < superfat(trial_of(portions, scented)) - 5


def test_a_lot_that_is_known_only_of_part_keeps_the_material_beside_it_as_it_was() -> None:
    trial = of_lots({"OL-1": 195.0}, "OL-1: 100 g", 450)
    value = materials_of(trial)["olive-oil"].saponification_value
    assert value is not None
    assert OLIVE.saponification_value is not None
    assert OLIVE.saponification_value.working < value.working < 195.0


def in_clove(shares: str) -> tuple[float, float]:
    """The superfat and the scent, in percent of the cured bar, of the portion that got all the scent and some lye."""
    own = "{extra: sodium-hydroxide, weighed: 2 g, at: trace, portion: clove}"
    trial = trial_of(f"portions: [{shares}]\nas_made: [{own}]\n", plan_of(MIDWINTER_CLOVE))
    (part,) = [each for each in effective_portion(trial, as_bars=True).figures.portions if each.name == "clove"]
    assert part.superfat_percent is not None
    return part.superfat_percent, sum(line.percent_of_cured for line in part.scent)


@given(st.integers(20, 80), st.integers(0, 15))
def test_what_one_of_two_portions_has_too_much_the_other_has_too_little(clove: int, eye: int) -> None:
    plain = f"{{name: plain, share: {{percent: {100 - clove}, by_eye: {eye}}}}}"
    exact, less = (
        in_clove(f"{plain}, {{name: clove, share: {text}}}") for text in (clove, f"{{percent: {clove}, by_eye: {eye}}}")
    )
    assert exact == pytest.approx(less)


def test_only_the_portions_that_are_said_to_be_split_by_eye_are_where_there_are_two_of_them() -> None:
    shares = [("one", Decimal(40), Decimal(5)), ("two", Decimal(30), Decimal(5)), ("three", Decimal(30), Decimal(0))]
    assert [portion.by_eye for portion in pot_portions(shares)] == [0.05, 0.05, 0.0]
    one = [("one", Decimal(94), Decimal(10)), ("two", Decimal(6), Decimal(0))]
    assert all(portion.by_eye < portion.share for portion in pot_portions(one))


def with_own_fat_and_lye(lye: float, more: str = "") -> Trial:
    """A loaf of two halves; one got 60 g of stearic acid and so much lye of its own."""
    at = "at: trace, portion: clove"
    own = f"extra: stearic-acid, weighed: 60 g, {at}", f"extra: sodium-hydroxide, weighed: {lye} g, {at}"
    return made(*own, more=f"portions: [{{name: plain, share: 50}}, {{name: clove, share: 50}}]\n{more}")


def today(**values: float) -> dict[str, Material]:
    """The register with other saponification values of these."""
    known = Known("maker", "invented")
    changed = {
        name: replace(REGISTER[name], saponification_value=ValueRange(value - 1, value + 1, value, known))
        for name, value in ((key.replace("_", "-"), value) for key, value in values.items())
    }
    return {**REGISTER, **changed}


def test_a_portion_that_todays_register_finds_worse_is_told_though_all_of_the_bars_are_better_by_it() -> None:
    trial = with_own_fat_and_lye(12)
    register = today(stearic_acid=143, olive_oil=202.5)
    found = recalculate(trial, register)
    assert found.after.superfat_effective > found.before.superfat_effective
    assert "lye-excess" not in [each.code for each in check_trial(trial)]
    told = [each for each in check_trial(trial, register=register) if each.code == "lye-excess"]
    assert ["of the clove portion" in each.what for each in told] == [True]


def test_a_portion_that_has_little_superfat_by_todays_register_is_cleared_by_a_test_of_itself_alone() -> None:
    register = today(stearic_acid=143)
    tested = "observations: [{age: 40 d, outcome: free alkali, value: none}MORE]\n"
    whole, itself = (
        with_own_fat_and_lye(8.5, tested.replace("MORE", more))
        for more in ("", ", {age: 40 d, outcome: free alkali, value: none, portion: clove}")
    )
    assert untested(whole, {}) == untested(itself, register) == []
    assert untested(whole, register) == ["free alkali was not looked for in clove, and there may be some"]


def test_a_loaf_that_was_lye_heavy_as_poured_by_todays_register_is_not_sold_untested_after_its_rebatch() -> None:
    trial = trial_of("after_pour: [{what: rebatched, at: 10 d, with: {olive-oil: 150 g}}]\n", PLAN)
    register = today(olive_oil=160)
    assert [each.severity for each in check_before_sale(trial, DAY) if each.code == "free-alkali-untested"] == [
        Severity.WARN
    ]
    (told,) = [each for each in check_before_sale(trial, DAY, register=register) if each.code == "free-alkali-untested"]
    assert told.severity is Severity.STOP


def untested(trial: Trial, register: dict[str, Material]) -> list[str]:
    found = check_before_sale(trial, DAY, register=register or None)
    return [each.what for each in found if each.code == "free-alkali-untested"]


def test_the_give_or_take_that_counts_for_a_portion_is_the_one_that_is_shown() -> None:
    parts = "portions: [{name: plain, share: {percent: 60, by_eye: 5}}, {name: clove, share: 40}]\n"
    shown = render_portions(trial_of(parts, PLAN))
    assert sum("give or take 5 %" in line for line in shown) == 2


@pytest.mark.parametrize(
    "entry",
    ["line: olive-oil, weighed: 0-1000 g", "line: olive-oil, instead: honey", "line: olive-oil, left_out: true"],
)
def test_a_record_by_which_no_oil_may_have_gone_in_is_a_fault_of_its_file(entry: str) -> None:
    text = MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("scent:")]
    oils = text[text.index("oils:") : text.index("lye:")]
    alone = plan_of(text.replace(oils, "oils: {olive-oil: 100}\n"))
    # Nothing else is kept from being read by it: what cannot be worked out is told, and raises nothing later.
    assert faults(f"as_made: [{{{entry}}}]\n", alone) == ["no-oils"]


def test_of_the_bars_of_a_rebatched_portion_that_was_split_by_eye_the_worst_is_told_beside_a_comparison() -> None:
    parts = "portions: [{name: plain, share: {percent: 50, by_eye: 20}}, {name: clove, share: 50}]\n"
    own = "as_made: [{extra: sodium-hydroxide, weighed: 9 g, at: trace, portion: clove}]\n"
    done = "after_pour: [{what: rebatched, at: 20 h, portion: clove, with: {olive-oil: 40 g}}]\n"
    trial = trial_of(parts + own + done, PLAN)
    (worst,) = [each for each in effective_portion(trial, as_bars=True).figures.portions if each.name == "clove"]
    assert worst.superfat_percent is not None
    assert worst.superfat_percent < effective_portion(trial, "clove", as_bars=True).figures.superfat_effective - 0.5
    shown = " ".join(str(compare_trials([trial], [trial], outcomes(), portions={trial.id: ["clove"]})).split())
    assert f"effective superfat of the bars: k7wq clove {worst.superfat_percent:.1f} %" in shown


@given(
    st.sampled_from(["line: sodium-hydroxide", "line: lye", "line: water", "line: olive-oil", "line: clove-bud-oil"]),
    st.integers(200, 450),
    st.integers(1, 80),
)
def test_a_scent_is_the_most_of_a_bar_that_is_the_least(entry: str, low: int, wide: int) -> None:
    def percents(weighed: str) -> list[float]:
        text = f"as_made: [{{{entry}, weighed: {weighed}}}]\n"
        figures = effective_portion(trial_of(text, SCENTED), as_bars=True).figures
        return [each.percent_of_cured for each in (*figures.scent, *figures.portions[0].scent)]

    grams = (low / 30, (low + wide) / 30) if "clove" in entry else (low, low + wide)
    ends = [percents(f"{each:.2f} g") for each in grams]
    told = percents(f"{grams[0]:.2f}-{grams[1]:.2f} g")
    assert told == pytest.approx([max(each) for each in zip(*ends, strict=True)])


@given(st.integers(1, 60), st.integers(1, 60))
def test_each_of_two_scents_that_are_known_about_is_the_most_beside_the_least_of_the_other(
    clove: int, more: int
) -> None:
    lavender = REGISTER["lavender-oil"]
    plan = replace(SCENTED, materials={**SCENTED.materials, "lavender-oil": lavender})
    lavender_oil, clove_oil = "{extra: lavender-oil, weighed: %s, at: trace}", "{line: clove-bud-oil, weighed: %s}"

    def told(one: str, two: str) -> dict[str, float]:
        text = f"as_made: [{lavender_oil % one}, {clove_oil % two}]\n"
        figures = effective_portion(trial_of(text, plan), as_bars=True).figures
        assert figures.scent == figures.portions[0].scent
        return {line.material: line.percent_of_cured for line in figures.scent}

    either = told(f"10-{10 + more} g", f"10-{10 + clove} g")
    assert either["lavender-oil"] == pytest.approx(told(f"{10 + more} g", "10 g")["lavender-oil"])
    assert either["clove-bud-oil"] == pytest.approx(told("10 g", f"{10 + clove} g")["clove-bud-oil"])


@pytest.mark.parametrize(("portions", "portion"), [("", None), ("plain, clove", None), ("plain, clove", "clove")])
def test_a_scent_over_its_limit_in_the_least_of_a_bar_is_told_beside_a_difference_too(
    portions: str, portion: str | None
) -> None:
    shares = ", ".join(f"{{name: {name}, share: 50}}" for name in portions.split(", ") if name)
    text = f"portions: [{shares}]\nas_made: [{{line: sodium-hydroxide, weighed: 60-125 g}}]\n"
    plan = plan_of(MIDWINTER_CLOVE)
    figures = effective_portion(trial_of(text, plan), as_bars=True).figures
    percent = max(line.percent_of_cured for part in figures.portions for line in part.scent)
    limit = FragranceLimit(round(0.99 * percent, 3), None, None, Known("maker", "invented certificate"))
    clove = replace(plan.materials["clove-bud-oil"], limit=limit)
    trial = trial_of(text, replace(plan, materials={**plan.materials, "clove-bud-oil": clove}))
    assert "scent-limit" in [each.code for each in check_trial(trial)]
    assert "scent-limit" in [each.code for each in describe_as_made(trial, portion=portion).findings]
