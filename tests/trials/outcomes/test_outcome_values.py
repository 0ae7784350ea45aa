"""The values of outcomes: censored times, working time by portion, ages matched and never extrapolated."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.trials.examples import MIDWINTER_CLOVE, TRIAL, outcomes, plan_of, trial_of
from trials.outcomes.find import find_values, outcome_values
from trials.outcomes.known import find_outcome
from trials.outcomes.value import Missing, OutcomeValue
from trials.trial.model import Observation, Reading, Trial
from trials.trial_text import render_trial

WHOLE_BATTER = MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("portions:")]
UNSCENTED = WHOLE_BATTER[: WHOLE_BATTER.index("scent:")]


def values(trial: Trial, asked: str) -> tuple[OutcomeValue, ...]:
    outcome, age = find_outcome(asked, outcomes())
    return outcome_values(trial, outcome, age)


def why_missing(trial: Trial, asked: str) -> tuple[Missing, ...]:
    outcome, age = find_outcome(asked, outcomes())
    return tuple(found for found in find_values(trial, outcome, age) if isinstance(found, Missing))


def whole(events: str, recipe: str = WHOLE_BATTER) -> Trial:
    """A trial whose batter stayed whole, with the events given."""
    return trial_of(f"events: [{events}]\n", plan_of(recipe))


def noted(**stages: str) -> Trial:
    """A batter that was poured at 9:30, with the stages given by their time."""
    events = [f'{{at: "{at}", what: {stage.replace("_", " ")}}}' for stage, at in stages.items()]
    return whole(", ".join([*events, '{at: "9:30", what: poured}']))


def test_a_portion_poured_before_a_stage_of_which_all_thinner_ones_were_noted_is_later_than_never_exact() -> None:
    later = (OutcomeValue(None, "above", 9.5, None),)
    assert values(noted(emulsion="2:00"), "time to light trace") == later
    assert values(noted(emulsion="unknown", light_trace="4:10"), "time to medium trace") == later
    every = noted(emulsion="1:00", light_trace="4:10", medium_trace="8:00")
    for told in (noted(), noted(light_trace="4:10"), every):
        assert values(told, "time to thick trace") == later, "what holds a peak is not poured"


@pytest.mark.parametrize(
    ("stage", "stages"),
    [
        ("emulsion", {}),
        ("light trace", {}),
        ("medium trace", {}),
        ("medium trace", {"light_trace": "4:10"}),
        ("medium trace", {"emulsion": "2:00"}),
    ],
)
def test_a_stage_that_nobody_wrote_down_is_no_stage_that_had_not_come(stage: str, stages: dict[str, str]) -> None:
    trial = noted(**stages)
    assert values(trial, f"time to {stage}") == ()
    (missing,) = why_missing(trial, f"time to {stage}")
    assert missing.why == f"{stage} was not recorded, nor that it had not come when it was poured"


def test_that_a_stage_had_not_come_can_be_said_in_words() -> None:
    text = "observations: [{age: 0 d, outcome: time to medium trace, value: later than 9:30}]\n"
    events = 'events: [{at: "4:10", what: light trace}, {at: "9:30", what: poured}]\n'
    trial = trial_of(events + text, plan_of(WHOLE_BATTER))
    assert values(trial, "time to medium trace") == (OutcomeValue(None, "above", 9.5, None),)


def test_a_stage_is_in_minutes_since_lye_in() -> None:
    trial = whole('{at: "4:10", what: light trace}, {at: "9:30", what: poured}')
    assert values(trial, "time to light trace") == (OutcomeValue(pytest.approx(250 / 60)),)


def test_a_stage_that_was_passed_unseen_lies_before_the_thicker_one_and_after_the_thinner() -> None:
    trial = whole('{at: "1:00", what: emulsion}, {at: "5:00", what: medium trace}, {at: "9:00", what: poured}')
    assert values(trial, "time to light trace") == (OutcomeValue(3.0, "between", 1.0, 5.0),)
    assert values(trial, "time to emulsion") == (OutcomeValue(1.0),)


def test_times_known_within_limits_stay_within_them() -> None:
    trial = whole('{at: "3-5 min", what: light trace}, {at: "9:00", what: poured}')
    assert values(trial, "time to light trace") == (OutcomeValue(4.0, "between", 3.0, 5.0),)


def test_a_stage_of_unknown_time_is_missing_and_says_so() -> None:
    trial = whole("{at: unknown, what: light trace}")
    assert values(trial, "time to light trace") == ()
    assert why_missing(trial, "time to light trace") == (Missing("no time was recorded for light trace"),)


def test_working_time_runs_from_scent_in_to_too_thick_to_pour() -> None:
    trial = whole('{at: "2:40", what: scent in}, {at: "7:10", what: too thick to pour}')
    assert values(trial, "working time") == (OutcomeValue(4.5),)


def test_working_time_is_later_than_pouring_when_it_was_poured_before() -> None:
    trial = whole('{at: "2:40", what: scent in}, {at: "9:40", what: poured}')
    assert values(trial, "working time") == (OutcomeValue(None, "above", 7.0, None),)


def test_working_time_between_two_uncertain_times_is_as_wide_as_both() -> None:
    trial = whole('{at: "2-3 min", what: scent in}, {at: "6-8 min", what: too thick to pour}')
    assert values(trial, "working time") == (OutcomeValue(4.5, "between", 3.0, 6.0),)


def test_an_unscented_portion_counts_from_when_its_siblings_got_their_scent() -> None:
    plain, clove = values(trial_of(TRIAL), "working time")
    # In the example plain is poured at 8:00 and clove, scented at 2:40, at 9:30.
    assert (plain.portion, plain.bound, plain.low) == ("plain", "above", pytest.approx(8 - 160 / 60))
    assert (clove.portion, clove.bound, clove.low) == ("clove", "above", pytest.approx(9.5 - 160 / 60))


def test_an_unscented_batter_counts_from_light_trace() -> None:
    trial = whole('{at: "4:00", what: light trace}, {at: "10:00", what: too thick to pour}', UNSCENTED)
    assert values(trial, "working time") == (OutcomeValue(6.0),)


def test_scent_that_went_in_without_its_time_leaves_working_time_missing() -> None:
    trial = whole('{at: "4:00", what: light trace}, {at: "10:00", what: poured}')
    assert why_missing(trial, "working time") == (Missing("scent went in, but not recorded when"),)


@pytest.mark.parametrize(
    ("events", "recipe", "most"),
    [
        ('{at: "3:00", what: light trace}, {at: "9:00", what: too thick to pour}', WHOLE_BATTER, 6.0),
        ('{at: "1:00", what: emulsion}, {at: "9:00", what: too thick to pour}', WHOLE_BATTER, 8.0),
        ('{at: "8-9 min", what: too thick to pour}', WHOLE_BATTER, 9.0),
        (
            "{at: 3 min, what: light trace}, {at: unknown, what: scent in}, {at: 9 min, what: too thick to pour}",
            WHOLE_BATTER,
            6.0,
        ),
        ('{at: "9:00", what: too thick to pour}', UNSCENTED, 9.0),
    ],
)
def test_where_nobody_wrote_when_it_began_working_time_was_at_most_what_was_left(
    events: str, recipe: str, most: float
) -> None:
    trial = whole(events, recipe)
    assert values(trial, "working time") == (OutcomeValue(None, "below", None, most),)
    shown = " ".join(render_trial(trial, (), outcomes()).split())
    assert "recorded" in shown[shown.index("working time before", shown.index("what was observed")) :][:90]


@pytest.mark.parametrize(
    ("events", "recipe", "told"),
    [
        ('{at: "4:00", what: light trace}, {at: "10:00", what: poured}', WHOLE_BATTER, '"scent in" --at TIME`'),
        ('{at: unknown, what: scent in}, {at: "9:00", what: poured}', WHOLE_BATTER, '"scent in" --at TIME --correct`'),
        ('{at: "10:00", what: poured}', UNSCENTED, '"light trace" --at TIME`'),
    ],
)
def test_a_trial_without_working_time_says_why_and_what_would_tell_it(events: str, recipe: str, told: str) -> None:
    trial = whole(events, recipe)
    (missing,) = why_missing(trial, "working time")
    shown = " ".join(render_trial(trial, (), outcomes()).split())
    assert f"no working time: {missing.why}; `formulary trial event k7wq {told} would tell it" in shown
    assert "no working time" not in render_trial(whole('{at: "4:00", what: light trace}', recipe), (), outcomes())


def test_a_batter_that_seized_when_nobody_noted_says_what_would_tell_its_working_time() -> None:
    begun = whole('{at: "4:00", what: light trace}, {at: "5:00", what: scent in}', WHOLE_BATTER)
    seen = Observation(Decimal(0), "seized", (Reading("lost", Decimal(2)),))
    shown = " ".join(render_trial(replace(begun, observations=(seen,)), (), outcomes()).split())
    assert "no working time: it seized, lost, and nobody noted when" in shown
    assert '`formulary trial event k7wq "too thick to pour" --at TIME` would tell it' in shown


def test_scent_that_went_in_with_the_oils_counts_from_lye_in() -> None:
    early = WHOLE_BATTER.replace("rate: 1.2 % of oils, at: trace", "rate: 1.2 % of oils, at: oils")
    assert values(whole('{at: "5:00", what: too thick to pour}', early), "working time") == (OutcomeValue(5.0),)


def divided(shared: str, **portions: str) -> Trial:
    """A trial in portions of equal share, with the events given, of a recipe that is not scented."""
    share = 100 / len(portions)
    lines = "".join(
        f"  - {{name: {name}, share: {share:g}, events: [{events}]}}\n" for name, events in portions.items()
    )
    return trial_of(f"events: [{shared}]\nportions:\n{lines}", plan_of(UNSCENTED))


def test_a_shared_beginning_with_ends_of_their_own_gives_each_portion_its_value() -> None:
    trial = divided('{at: "2:00", what: scent in}', a='{at: "8:00", what: poured}', b='{at: "9:00", what: poured}')
    assert values(trial, "working time") == (
        OutcomeValue(None, "above", 6.0, portion="a"),
        OutcomeValue(None, "above", 7.0, portion="b"),
    )


def test_beginnings_of_their_own_with_a_shared_end_give_each_portion_its_value() -> None:
    trial = divided('{at: "8:00", what: poured}', a='{at: "2:00", what: scent in}', b='{at: "3:00", what: scent in}')
    assert [(value.portion, value.low) for value in values(trial, "working time")] == [("a", 6.0), ("b", 5.0)]


def test_an_unscented_portion_counts_from_the_first_sibling_that_got_its_scent() -> None:
    trial = divided(
        "",
        plain='{at: "9:00", what: poured}',
        late='{at: "4:00", what: scent in}, {at: "9:00", what: poured}',
        early='{at: "2:00", what: scent in}, {at: "9:00", what: poured}',
        vague='{at: "1-4 min", what: scent in}, {at: "9:00", what: poured}',
    )
    plain = values(trial, "working time")[0]
    assert (plain.portion, plain.low) == ("plain", 7.0)


def test_what_is_shown_says_since_when_the_working_time_of_an_unscented_portion_is_counted() -> None:
    parts = {"plain": '{at: "9:00", what: poured}', "clove": '{at: "3:00", what: scent in}, {at: "9:00", what: poured}'}
    shown = " ".join(render_trial(divided("", **parts), (), outcomes()).split())
    assert "min, plain portion, since 3:00, when the clove portion got its scent" in shown
    assert shown.count("got its scent") == 1, "its own scent needs no word"
    unscented = divided('{at: "2:00", what: light trace}', plain=parts["plain"])
    assert "plain portion, since light trace at 2:00" in " ".join(render_trial(unscented, (), outcomes()).split())


def test_the_first_of_two_events_of_one_word_counts() -> None:
    trial = divided(
        '{at: "3:00", what: scent in}',
        a='{at: "2:00", what: scent in}, {at: "9:00", what: poured}',
        b='{at: "1-5 min", what: scent in}, {at: "9:00", what: poured}',
    )
    a, b = values(trial, "working time")
    assert (a.low, b.low) == (7.0, 4.0)


def test_a_passed_stage_is_bounded_by_the_next_that_was_seen() -> None:
    trial = whole('{at: "5:00", what: medium trace}, {at: "7:00", what: thick trace}, {at: "9:00", what: poured}')
    assert values(trial, "time to light trace") == (OutcomeValue(None, "below", None, 5.0),)
    assert values(trial, "time to thick trace") == (OutcomeValue(7.0),)


def test_scents_that_were_all_in_the_oils_count_from_lye_in() -> None:
    twice = WHOLE_BATTER.replace(
        "  - {material: clove-bud-oil, rate: 1.2 % of oils, at: trace}",
        "  - {material: clove-bud-oil, rate: 1.2 % of oils, at: oils}\n"
        "  - {material: lavender-oil, rate: 1 % of oils, at: oils}",
    )
    assert values(whole('{at: "5:00", what: too thick to pour}', twice), "working time") == (OutcomeValue(5.0),)


def test_a_scent_at_nothing_is_no_scent() -> None:
    none = WHOLE_BATTER.replace("rate: 1.2 % of oils, at: trace", "rate: 0 % of oils, at: trace")
    trial = whole('{at: "4:00", what: light trace}, {at: "10:00", what: too thick to pour}', none)
    assert values(trial, "working time") == (OutcomeValue(6.0),)


@pytest.mark.parametrize("end", ["too thick to pour", "poured"])
def test_no_working_time_at_all_is_missing_and_says_why(end: str) -> None:
    trial = whole(f'{{at: "2:40", what: scent in}}, {{at: "2:40", what: {end}}}')
    assert values(trial, "working time") == ()
    assert end in why_missing(trial, "working time")[0].why


def test_uncertain_times_that_overlap_leave_only_an_upper_limit() -> None:
    trial = whole('{at: "2-3 min", what: scent in}, {at: "3-5 min", what: too thick to pour}')
    assert values(trial, "working time") == (OutcomeValue(None, "below", None, 3.0),)
    pouring = whole('{at: "2-3 min", what: scent in}, {at: "3-5 min", what: poured}')
    assert values(pouring, "working time") == ()


def test_what_happened_before_the_batter_was_divided_counts_once() -> None:
    text = """\
events: [{at: "0:00", what: lye in}, {at: "3:00", what: light trace}]
portions:
  - {name: plain, share: 50, events: [{at: "8:00", what: poured}]}
  - {name: clove, share: 50, events: [{at: "3:30", what: scent in}, {at: "9:00", what: poured}]}
"""
    assert values(trial_of(text), "time to light trace") == (OutcomeValue(3.0),)
    assert [value.portion for value in values(trial_of(text), "time to thick trace")] == ["plain", "clove"]


def hardness(*readings: tuple[int, str]) -> Trial:
    lines = "".join(f"  - {{age: {age} d, outcome: hardness, value: {text}}}\n" for age, text in readings)
    return trial_of(f"observations:\n{lines}")


def test_a_reading_at_the_age_is_taken_as_it_is() -> None:
    assert values(hardness((28, "3.1 mm"), (42, "2.5 mm")), "hardness at 28 d") == (OutcomeValue(3.1),)


def test_an_age_outside_the_readings_is_missing_and_never_extrapolated() -> None:
    trial = hardness((28, "3.1 mm"), (35, "2.9 mm"))
    for asked, side in (("hardness at 42 d", "after"), ("hardness at 14 d", "before")):
        assert values(trial, asked) == ()
        assert side in why_missing(trial, asked)[0].why


@given(
    st.lists(st.tuples(st.integers(1, 90), st.integers(5, 95)), min_size=2, max_size=6, unique_by=lambda pair: pair[0]),
    st.integers(0, 1000),
)
def test_between_two_readings_the_value_is_what_numpy_interpolates(points: list[tuple[int, int]], part: int) -> None:
    ages = sorted(age for age, _ in points)
    asked = Decimal(ages[0]) + (Decimal(ages[-1]) - ages[0]) * part / 1000
    trial = hardness(*((age, f"{Decimal(tenths) / 10} mm") for age, tenths in points))
    outcome, _ = find_outcome("hardness", outcomes())
    (value,) = outcome_values(trial, outcome, asked)
    by_age = dict(points)
    expected = np.interp(float(asked), ages, [by_age[age] / 10 for age in ages])
    assert value.value == pytest.approx(float(expected), rel=1e-12)


def test_repeat_readings_keep_their_spread_and_hardness_is_their_median() -> None:
    trial = trial_of("observations: [{age: 28 d, outcome: hardness, values: [3.1 mm, 3.3 mm, 3.0 mm]}]\n")
    (value,) = values(trial, "hardness at 28 d")
    assert (value.value, value.n) == (3.1, 3)
    assert value.spread == pytest.approx(float(np.std([3.1, 3.3, 3.0], ddof=1)))


def test_ages_in_any_unit_agree() -> None:
    days, hours, weeks = (
        trial_of(f"observations: [{{age: {age}, outcome: hardness, value: 3.1 mm}}]\n")
        for age in ("28 d", "672 h", "4 weeks")
    )
    assert (
        values(days, "hardness at 28 d") == values(hours, "hardness at 4 weeks") == values(weeks, "hardness at 672 h")
    )


def test_units_of_a_reading_agree() -> None:
    assert values(hardness((28, "3.1 mm")), "hardness") == values(hardness((28, "0.31 cm")), "hardness")


def test_mass_loss_is_worked_out_bar_by_bar() -> None:
    trial = trial_of(
        "observations:\n"
        "  - {age: 1 d, outcome: mass, values: [100 g, 110 g, 120 g]}\n"
        "  - {age: 28 d, outcome: mass, values: [90 g, 99 g, 108 g]}\n"
    )
    (value,) = values(trial, "mass loss at 28 d")
    assert (value.value, value.n, value.spread) == (pytest.approx(10.0), 3, pytest.approx(0.0))


def test_a_first_spot_lies_between_the_last_look_without_and_the_first_with() -> None:
    looks = "".join(
        f"  - {{age: {age} d, outcome: first rancid spot, value: {seen}}}\n"
        for age, seen in ((90, "no"), (180, "no"), (365, "yes"))
    )
    trial = trial_of(f"observations:\n{looks}")
    assert values(trial, "first rancid spot") == (OutcomeValue(272.5, "between", 180.0, 365.0, n=3),)


def test_a_bar_never_found_rancid_is_later_than_the_last_look() -> None:
    trial = trial_of("observations: [{age: 365 d, outcome: first rancid spot, value: no}]\n")
    assert values(trial, "first rancid spot") == (OutcomeValue(None, "above", 365.0, None),)


def test_colour_change_is_from_the_trials_own_first_colour_and_beyond_its_own_control() -> None:
    text = """\
portions: [{name: plain, share: 50}, {name: clove, share: 50}]
observations:
  - {age: 1 d, outcome: colour, value: "Lab 50 2.6772 -79.7751", portion: clove}
  - {age: 28 d, outcome: colour, value: "Lab 50 0 -82.7485", portion: clove}
  - {age: 1 d, outcome: colour, value: "Lab 50 0 0", portion: plain}
  - {age: 28 d, outcome: colour, value: "Lab 50 0 0", portion: plain}
"""
    trial = trial_of(text)
    # Pair 1 of Sharma, Wu, Dalal 2005, Table 1.
    plain, clove = values(trial, "colour change at 28 d")
    assert (plain.value, clove.value) == (0.0, pytest.approx(2.0425, abs=5e-5))
    (beyond,) = values(trial, "colour change beyond control at 28 d")
    assert (beyond.portion, beyond.value) == ("clove", pytest.approx(2.0425, abs=5e-5))


def test_grades_are_the_step_and_a_defect_once_seen_stays() -> None:
    trial = trial_of(
        "observations:\n"
        "  - {age: 0 d, outcome: riced, value: stirred out}\n"
        "  - {age: 1 d, outcome: cracked, value: yes}\n"
        "  - {age: 7 d, outcome: ash, value: 30 %}\n"
    )
    assert values(trial, "riced") == (OutcomeValue(1.0),)
    assert values(trial, "cracked") == (OutcomeValue(1.0),)
    assert values(trial, "ash at 7 d") == (OutcomeValue(2.0),)


EVENTS = [
    '{at: "0:00", what: lye in}',
    '{at: "1:10", what: emulsion}',
    '{at: "2:00", what: scent in}',
    '{at: "4:10", what: light trace}',
    '{at: "6:20", what: too thick to pour}',
]
READINGS = [
    "{age: 7 d, outcome: hardness, values: [5.1 mm, 5.3 mm]}",
    "{age: 28 d, outcome: hardness, value: 3.1 mm}",
    "{age: 28 d, outcome: hardness, value: 3.4 mm}",
    "{age: 42 d, outcome: hardness, value: 2.9 mm}",
    "{age: 1 d, outcome: gel, value: 40 %}",
    "{age: 1 d, outcome: mass, value: 101 g}",
    "{age: 28 d, outcome: mass, value: 93 g}",
    "{age: 1 d, outcome: mass, value: 107 g}",
    "{age: 28 d, outcome: mass, value: 99 g}",
]
ASKED = ["time to light trace", "working time", "hardness at 28 d", "hardness at 21 d", "gel", "mass loss at 28 d"]


@given(st.integers(0, 2**32))
def test_any_order_of_entry_gives_the_same_values(seed: int) -> None:
    plan = plan_of(WHOLE_BATTER)
    readings = list(READINGS)
    Random(seed).shuffle(readings)
    listed = "\n".join(f"  - {reading}" for reading in readings)
    events = f"events: [{', '.join(EVENTS)}]\n"
    shuffled = trial_of(f"{events}observations:\n{listed}\n", plan)
    ordered = trial_of(events + "observations:\n" + "\n".join(f"  - {reading}" for reading in READINGS) + "\n", plan)
    for asked in ASKED:
        outcome, age = find_outcome(asked, outcomes())
        assert find_values(shuffled, outcome, age) == find_values(ordered, outcome, age)
    assert values(shuffled, "working time") == (OutcomeValue(pytest.approx(260 / 60)),)


@given(st.integers(1, 600), st.integers(1, 1200))
def test_times_in_any_unit_agree(scent_s: int, later_s: int) -> None:
    def both(write: Callable[[int], str]) -> tuple[OutcomeValue, ...]:
        events = (
            f'{{at: "{write(scent_s)}", what: scent in}}, {{at: "{write(scent_s + later_s)}", what: too thick to pour}}'
        )
        return values(whole(events), "working time")

    clock = both(lambda seconds: f"{seconds // 60}:{seconds % 60:02d}")
    assert both(lambda seconds: f"{seconds} s") == clock
    assert both(lambda seconds: f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}") == clock
    assert clock == (OutcomeValue(pytest.approx(later_s / 60)),)
