"""One reading of an outcome: what its text says in the outcome's unit, and what is refused."""

from __future__ import annotations

from decimal import Decimal

import pytest

from formulary.errors import InputError
from formulary.quantity import NotAQuantity
from tests.trials.examples import outcomes, trial_of
from trials.outcomes.find import find_values
from trials.outcomes.known import find_outcome
from trials.outcomes.outcome import Outcome, Scale, outcome_label
from trials.outcomes.reading import OffScale, parse_reading
from trials.outcomes.value import Missing, OutcomeValue
from trials.trial.model import Reading

D = Decimal
COUNT = Outcome(name="stars", scale=Scale.COUNT, unit="stars")
OWN_UNIT = Outcome(name="froth", scale=Scale.MEASURED, unit="bubbles/cm", low=D(0))


def parse(name: str, text: str) -> Reading:
    own = {"stars": COUNT, "froth": OWN_UNIT}
    return parse_reading(text, own.get(name) or outcomes()[name])


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [
        ("hardness", "3.1 mm", D("3.1")),
        ("hardness", "0.31 cm", D("3.10")),
        ("hardness", "~3 mm", D(3)),
        ("gel", "100 %", D(100)),
        ("gel", "40", D(40)),
        ("gel", "0.5 %", D("0.5")),
        ("peak temperature", "72 °C", D(72)),
        ("time of peak", "90 min", D("1.5")),
        ("time of peak", "2:30:00", D("2.5")),
        ("time above", "4 h", D(4)),
        ("time above", "0:30:00", D("0.5")),
        ("working time", "4:30", D("4.5")),
        ("cracked", "yes", D(1)),
        ("cracked", "no", D(0)),
        ("riced", "none", D(0)),
        ("riced", "lost", D(2)),
        ("free alkali", "trace", D(1)),
        ("ash", "0 %", D(0)),
        ("ash", "25 %", D(1)),
        ("ash", "25.5 %", D(2)),
        ("ash", "100 %", D(3)),
        ("ash", "up to a half", D(2)),
        ("pH", "9.4", D("9.4")),
        ("first rancid spot", "no", D(0)),
        ("first rancid spot", "20 weeks", D(140)),
        ("stars", "4", D(4)),
        ("stars", "4 stars", D(4)),
        ("froth", "12.5 bubbles/cm", D("12.5")),
    ],
)
def test_a_reading_says_this_in_the_outcomes_unit(name: str, text: str, value: Decimal) -> None:
    reading = parse(name, text)
    assert (reading.text, reading.value, reading.bound) == (text, value, "exact")


@pytest.mark.parametrize(
    ("name", "text", "bound", "low", "high"),
    [
        ("hardness", "> 9 mm", "above", D(9), None),
        ("hardness", "more than 9 mm", "above", D(9), None),
        ("working time", "later than 9 min", "above", D(9), None),
        ("hardness", "<0.5 mm", "below", None, D("0.5")),
        ("hardness", "under 0.5 mm", "below", None, D("0.5")),
        ("hardness", "3-5 mm", "between", D(3), D(5)),
        ("hardness", "between 3 and 5 mm", "between", D(3), D(5)),
        ("gel", "40 to 60 %", "between", D(40), D(60)),
    ],
)
def test_a_limit_stays_a_limit(name: str, text: str, bound: str, low: Decimal | None, high: Decimal | None) -> None:
    reading = parse(name, text)
    assert (reading.bound, reading.low, reading.high) == (bound, low, high)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("hardness", "3.1"),
        ("hardness", "3.1 g"),
        ("hardness", "5-3 mm"),
        ("gel", "0.4"),
        ("peak temperature", "72"),
        ("working time", "unknown"),
        ("working time", "0:00"),
        ("froth", "12.5"),
        ("froth", "12.5 mm"),
        ("stars", "4.5"),
        ("stars", "-1"),
        ("colour", "brown"),
        ("colour", "Lab 300 0 0"),
        ("colour", "#c8b49"),
    ],
)
def test_another_kind_of_unit_is_refused_with_what_to_write(name: str, text: str) -> None:
    with pytest.raises(NotAQuantity) as caught:
        parse(name, text)
    assert not isinstance(caught.value, OffScale)
    assert caught.value.do


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("riced", "a bit"),
        ("cracked", "perhaps"),
        ("gel", "120 %"),
        ("ash", "120 %"),
        ("hardness", "-1 mm"),
        ("pH", "15"),
        ("peak temperature", "400 °C"),
    ],
)
def test_what_is_off_the_scale_is_said_to_be(name: str, text: str) -> None:
    with pytest.raises(OffScale):
        parse(name, text)


def test_the_nearest_grade_is_offered() -> None:
    with pytest.raises(OffScale) as caught:
        parse("riced", "stired out")
    assert "stirred out" in caught.value.do


@pytest.mark.parametrize(
    ("asked", "name", "age", "label"),
    [
        ("hardness at 28 d", "hardness", D(28), "hardness at 28 d"),
        ("hardness at 4 weeks", "hardness", D(28), "hardness at 28 d"),
        ("hardness", "hardness", D(28), "hardness at 28 d"),
        ("working time", "working time", None, "working time"),
        ("mass loss at 36 h", "mass loss", D("1.5"), "mass loss at 1.5 d"),
    ],
)
def test_an_outcome_is_asked_for_by_name_with_its_age(asked: str, name: str, age: Decimal | None, label: str) -> None:
    outcome, found = find_outcome(asked, outcomes())
    assert (outcome.name, found) == (name, age)
    assert outcome_label(outcome, found) == label


@pytest.mark.parametrize(
    ("asked", "code"),
    [("hardnes at 28 d", "unknown-outcome"), ("hardness at 28", "bad-age"), ("working time at 3 d", "outcome-age")],
)
def test_an_outcome_that_is_none_is_refused(asked: str, code: str) -> None:
    with pytest.raises(InputError) as caught:
        find_outcome(asked, outcomes())
    assert [finding.code for finding in caught.value.findings] == [code]


def read_at(asked: str, *observations: str) -> tuple[OutcomeValue | Missing, ...]:
    lines = "".join(f"  - {{{text}}}\n" for text in observations)
    outcome, age = find_outcome(asked, outcomes())
    return find_values(trial_of(f"observations:\n{lines}"), outcome, age)


def test_limits_are_interpolated_as_limits() -> None:
    found = read_at(
        "hardness at 21 d",
        "age: 14 d, outcome: hardness, value: more than 8 mm",
        "age: 28 d, outcome: hardness, value: 4 mm",
    )
    assert found == (OutcomeValue(None, "above", 6.0, None, is_interpolated=True),)
    between = read_at(
        "hardness at 21 d",
        "age: 14 d, outcome: hardness, value: 6-8 mm",
        "age: 28 d, outcome: hardness, value: 4 mm",
    )
    assert between == (OutcomeValue(5.5, "between", 5.0, 6.0, is_interpolated=True),)


def test_limits_on_opposite_sides_say_nothing_in_between() -> None:
    (found,) = read_at(
        "hardness at 21 d",
        "age: 14 d, outcome: hardness, value: more than 8 mm",
        "age: 28 d, outcome: hardness, value: less than 4 mm",
    )
    assert isinstance(found, Missing)


def test_a_grade_between_two_ages_lies_between_their_grades() -> None:
    same = read_at("ash at 14 d", "age: 7 d, outcome: ash, value: none", "age: 28 d, outcome: ash, value: none")
    assert same == (OutcomeValue(0.0, is_interpolated=True),)
    grown = read_at(
        "ash at 14 d", "age: 7 d, outcome: ash, value: none", "age: 28 d, outcome: ash, value: up to a half"
    )
    assert grown == (OutcomeValue(1.0, "between", 0.0, 2.0, is_interpolated=True),)


def test_what_is_looked_at_once_counts_at_its_highest_or_latest() -> None:
    assert read_at(
        "riced", "age: 0 d, outcome: riced, value: stirred out", "age: 1 d, outcome: riced, value: none"
    ) == (OutcomeValue(1.0),)
    assert read_at(
        "peak temperature",
        "age: 2 h, outcome: peak temperature, value: 71 °C",
        "age: 5 h, outcome: peak temperature, value: 64 °C",
    ) == (OutcomeValue(71.0),)
    assert read_at(
        "time of peak", "age: 1 d, outcome: time of peak, value: 2 h", "age: 2 d, outcome: time of peak, value: 3 h"
    ) == (OutcomeValue(3.0),)


def test_a_timed_outcome_written_down_by_hand_counts_for_its_portion_and_the_others_keep_their_events() -> None:
    from tests.trials.examples import TRIAL

    trial = trial_of(TRIAL + "  - {age: 0 d, outcome: working time, value: 5:30, portion: clove}\n")
    outcome, _ = find_outcome("working time", outcomes())
    plain, clove = find_values(trial, outcome)
    assert isinstance(plain, OutcomeValue)
    assert (plain.portion, plain.bound) == ("plain", "above")
    assert clove == OutcomeValue(5.5, portion="clove")


@pytest.mark.parametrize(
    ("texts", "middle"), [("3.1 mm, 3.4 mm", 3.25), ("3.0 mm, 3.6 mm, 3.1 mm", 3.1), ("4 mm, 1 mm, 3 mm, 2 mm", 2.5)]
)
def test_hardness_is_the_median_of_its_readings(texts: str, middle: float) -> None:
    (value,) = read_at("hardness", f"age: 28 d, outcome: hardness, values: [{texts}]")
    assert isinstance(value, OutcomeValue)
    assert (value.value, value.n) == (middle, texts.count("mm"))


def test_other_measures_are_the_mean_and_mixed_limits_are_averaged_as_limits() -> None:
    (value,) = read_at("lather", "age: 28 d, outcome: lather, values: [30 mm, 40 mm, 56 mm]")
    assert isinstance(value, OutcomeValue)
    assert value.value == 42.0
    mixed = read_at("lather", "age: 28 d, outcome: lather, values: [30 mm, more than 40 mm]")
    assert mixed == (OutcomeValue(None, "above", 35.0, None, n=2),)
    ranges = read_at("lather", "age: 28 d, outcome: lather, values: [30 mm, 40-50 mm]")
    assert ranges == (OutcomeValue(37.5, "between", 35.0, 40.0, n=2),)


def test_one_limit_among_many_readings_does_not_move_their_median() -> None:
    found = read_at("hardness", "age: 28 d, outcome: hardness, values: [3 mm, more than 9 mm, 3.2 mm]")
    assert found == (OutcomeValue(3.2, n=3),)
    found = read_at("hardness", "age: 28 d, outcome: hardness, values: [more than 9 mm, more than 8 mm, 3.2 mm]")
    assert found == (OutcomeValue(None, "above", 8.0, None, n=3),)
    found = read_at("hardness", "age: 28 d, outcome: hardness, values: [less than 1 mm, less than 2 mm]")
    assert found == (OutcomeValue(None, "below", None, 1.5, n=2),)


def test_several_entries_of_one_age_are_repeats() -> None:
    (value,) = read_at(
        "hardness",
        "age: 28 d, outcome: hardness, value: 3 mm",
        "age: 28 d, outcome: hardness, value: 4 mm",
        "age: 4 weeks, outcome: hardness, value: 5 mm",
    )
    assert value == OutcomeValue(4.0, n=3, spread=1.0)


def test_an_interpolated_value_rests_on_the_fewer_readings_and_has_a_spread_in_between() -> None:
    (value,) = read_at(
        "hardness at 21 d",
        "age: 14 d, outcome: hardness, values: [5 mm, 6 mm, 7 mm]",
        "age: 28 d, outcome: hardness, values: [1 mm, 3 mm]",
    )
    assert isinstance(value, OutcomeValue)
    assert (value.value, value.n, value.is_interpolated) == (4.0, 2, True)
    assert value.spread == pytest.approx((1.0 + 2**0.5) / 2)


def test_readings_of_a_portion_and_of_the_whole_trial_stand_side_by_side() -> None:
    found = read_at(
        "hardness",
        "age: 28 d, outcome: hardness, value: 3 mm",
    )
    assert found == (OutcomeValue(3.0),)
    both = trial_of(
        "portions: [{name: plain, share: 50}, {name: clove, share: 50}]\n"
        "observations:\n"
        "  - {age: 28 d, outcome: hardness, value: 4 mm, portion: clove}\n"
        "  - {age: 28 d, outcome: hardness, value: 3 mm}\n"
    )
    outcome, age = find_outcome("hardness", outcomes())
    assert find_values(both, outcome, age) == (OutcomeValue(3.0), OutcomeValue(4.0, portion="clove"))


def mass_loss(asked: str, *masses: tuple[str, str]) -> OutcomeValue | Missing:
    (found,) = read_at(asked, *(f"age: {age}, outcome: mass, values: [{texts}]" for age, texts in masses))
    return found


def test_mass_loss_is_read_between_two_weighings_on_a_straight_line() -> None:
    found = mass_loss("mass loss at 14 d", ("0 d", "100 g, 200 g"), ("28 d", "90 g, 180 g"))
    assert isinstance(found, OutcomeValue)
    assert (found.value, found.is_interpolated) == (pytest.approx(5.0), True)


def test_bars_that_were_not_all_weighed_again_count_by_their_mean() -> None:
    found = mass_loss("mass loss at 28 d", ("1 d", "100 g, 120 g"), ("28 d", "99 g"))
    assert isinstance(found, OutcomeValue)
    assert found.value == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("masses", "why"),
    [
        ((("3.5 d", "100 g"), ("28 d", "90 g")), "first 3 days"),
        ((("1 d", "0 g"), ("28 d", "90 g")), "0 g"),
        ((("1 d", "100 g"), ("14 d", "95 g")), "none after it"),
        ((("1 d", "more than 90 g"), ("28 d", "more than 80 g")), "plain weight"),
    ],
)
def test_a_mass_loss_that_cannot_be_said_says_why(masses: tuple[tuple[str, str], ...], why: str) -> None:
    found = mass_loss("mass loss at 28 d", *masses)
    assert isinstance(found, Missing)
    assert why in found.why


def test_a_first_weighing_on_the_third_day_still_counts() -> None:
    found = mass_loss("mass loss at 28 d", ("3 d", "100 g"), ("28 d", "90 g"))
    assert isinstance(found, OutcomeValue)
    assert found.value == pytest.approx(10.0)


def test_a_colour_between_two_ages_is_read_on_a_straight_line() -> None:
    from trials.outcomes.colour import colour_difference

    found = read_at(
        "colour change at 7 d",
        'age: 1 d, outcome: colour, value: "Lab 80 0 10"',
        'age: 4 d, outcome: colour, value: "Lab 70 4 20"',
        'age: 10 d, outcome: colour, value: "Lab 60 8 30"',
    )
    assert found == (OutcomeValue(colour_difference((80, 0, 10), (65, 6, 25)), is_interpolated=True),)


def test_repeats_of_a_colour_are_averaged() -> None:
    from trials.outcomes.colour import colour_difference

    (found,) = read_at(
        "colour change at 7 d",
        'age: 1 d, outcome: colour, values: ["Lab 80 0 10", "Lab 82 2 12"]',
        'age: 7 d, outcome: colour, values: ["Lab 60 0 20", "Lab 62 2 24"]',
    )
    assert found == OutcomeValue(colour_difference((81, 1, 11), (61, 1, 22)), n=2)


@pytest.mark.parametrize(
    ("ages", "why"), [(("7 d", "14 d"), "first colour"), (("1 d", "2 d"), "at or after"), ((), "nor colour")]
)
def test_a_colour_change_that_cannot_be_said_says_why(ages: tuple[str, ...], why: str) -> None:
    (found,) = read_at("colour change at 7 d", *(f'age: {age}, outcome: colour, value: "#c8b496"' for age in ages))
    assert isinstance(found, Missing)
    assert why in found.why


def test_without_an_unscented_portion_there_is_no_control() -> None:
    (found,) = read_at(
        "colour change beyond control at 7 d",
        'age: 1 d, outcome: colour, value: "#c8b496"',
        'age: 7 d, outcome: colour, value: "#b8a486"',
    )
    assert isinstance(found, Missing)
    assert "control" in found.why


def test_a_control_without_its_colour_leaves_the_others_missing() -> None:
    trial = trial_of(
        "portions: [{name: plain, share: 50}, {name: clove, share: 50}]\n"
        "observations:\n"
        '  - {age: 1 d, outcome: colour, value: "#c8b496", portion: clove}\n'
        '  - {age: 7 d, outcome: colour, value: "#b8a486", portion: clove}\n'
    )
    outcome, age = find_outcome("colour change beyond control at 7 d", outcomes())
    (found,) = find_values(trial, outcome, age)
    assert isinstance(found, Missing)
    assert "plain" in found.why
