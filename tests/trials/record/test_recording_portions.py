"""How a batter was really divided is said in a line, and nothing that happened to a portion is lost by it."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from formulary.errors import InputError
from tests.trials.examples import HEAD, MIDWINTER_CLOVE, TRIAL_ID, outcomes, plan_of, trial_of
from trials.read.trial import parse_trial
from trials.record.file_text import write_entries
from trials.record.new_trial_text import render_new_trial
from trials.record.portions import portions_entry
from trials.trial.model import Event, Trial

WHOLE_BATTER = MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("portions:")]
LINES = {
    "as it starts": render_new_trial(TRIAL_ID, plan_of(), date(2026, 10, 3)),
    "braces": HEAD.replace("VERSION", plan_of().version)
    + 'portions: [{name: plain, share: 50}, {name: clove, share: 50, events: [{at: "9:30", what: poured}]}]\n',
    "no line": HEAD.replace("VERSION", plan_of().version),
    "left empty": HEAD.replace("VERSION", plan_of().version) + "portions:   # not yet\nevents:\n",
}


def recorded(text: str, *said: str, by_eye: str | None = None) -> tuple[str, Trial]:
    after = write_entries(text, [portions_entry(trial_of(text), said, by_eye=by_eye)])
    return after, trial_of(after)


def happenings(trial: Trial) -> list[Event]:
    return [event for portion in trial.portions for event in portion.events]


def is_readable(text: str) -> bool:
    return parse_trial(text, TRIAL_ID, plan=plan_of(), outcomes=outcomes())[0] is not None


def shares(trial: Trial) -> list[tuple[str, float]]:
    return [(portion.name, float(portion.share)) for portion in trial.portions]


@given(st.sampled_from(sorted(LINES)), st.integers(1, 99), st.sampled_from([None, "0", "0.5"]))
def test_a_split_reads_back_as_it_was_said_and_happenings_stay(layout: str, first: int, by_eye: str | None) -> None:
    text = LINES[layout]
    after, trial = recorded(text, f"plain {first}", f"clove {100 - first} %", by_eye=by_eye)
    assert shares(trial) == [("plain", first), ("clove", 100 - first)]
    was = {portion.name: float(portion.by_eye) for portion in trial_of(text).portions}
    for portion in trial.portions:  # a share that is corrected is no better known than before
        assert float(portion.by_eye) == (was.get(portion.name, 0.0) if by_eye is None else float(by_eye))
    assert [portion.events for portion in trial.portions if portion.events] == [
        portion.events for portion in trial_of(text).portions if portion.events
    ]
    assert recorded(after, f"clove {100 - first}", f"plain {first}", by_eye=by_eye)[0] == after


def test_another_name_keeps_what_happened_under_the_planned_one() -> None:
    before = trial_of(LINES["braces"])
    _, trial = recorded(LINES["braces"], "plain 70", "swirl 30 instead of clove")
    assert [(one.name, one.instead_of) for one in trial.portions] == [("plain", None), ("swirl", "clove")]
    assert trial.portions[1].events == before.portions[1].events


def test_the_planned_name_or_a_third_one_keeps_what_happened_under_the_last() -> None:
    swirl, _ = recorded(LINES["braces"], "plain 70", "swirl 30 instead of clove")
    happened = trial_of(swirl).portions[1].events
    assert happened
    for said, stands in (("clove 40", ("clove", None)), ("wave 40 instead of clove", ("wave", "clove"))):
        _, trial = recorded(swirl, "plain 60", said)
        assert [(one.name, one.instead_of) for one in trial.portions] == [("plain", None), stands]
        assert trial.portions[1].events == happened


NAMING = """\
as_made:
  - {line: clove-bud-oil, weighed: 7 g, portion: clove}   # by eye
after_pour: [{at: 20 h, what: rebatched, portion: clove, with: {olive-oil: 5 g}}]
observations:
  - age: 7 d
    outcome: free alkali
    portion: clove
    value: none
"""


def of_portions(trial: Trial) -> set[str | None]:
    named = {entry.portion for entry in trial.as_made} | {step.portion for step in trial.after_pour}
    return named | {seen.portion for seen in trial.observations}


@pytest.mark.parametrize(("said", "name"), [("swirl 30 instead of clove", "swirl"), ("clove 30", "clove")])
def test_all_that_is_recorded_of_a_portion_goes_with_its_name(said: str, name: str) -> None:
    text = LINES["braces"] + NAMING
    after, trial = recorded(text, "plain 70", said)
    assert of_portions(trial) == {name}
    assert "# by eye" in after
    assert of_portions(recorded(after, "plain 60", "clove 40")[1]) == {"clove"}


@pytest.mark.parametrize("section", ["as_made", "after_pour", "observations"])
def test_a_portion_is_not_dropped_while_anything_is_recorded_of_it(section: str) -> None:
    begin = NAMING.index(section)
    end = min((at for other in ("after_pour", "observations") if (at := NAMING.find(other)) > begin), default=None)
    text = HEAD.replace("VERSION", plan_of().version)
    text += "portions: [{name: plain, share: 50}, {name: clove, share: 50}]\n" + NAMING[begin:end]
    with pytest.raises(InputError, match="what is recorded of clove would be lost"):
        portions_entry(trial_of(text), [])


NAMES = st.sampled_from(["plain", "clove", "swirl", "wave"])


@given(st.lists(st.tuples(NAMES, NAMES), min_size=2, max_size=2), st.lists(st.tuples(NAMES, NAMES), max_size=2))
@example([("plain", "clove"), ("clove", "plain")], [("plain", "plain"), ("clove", "plain")])
def test_nothing_that_happened_goes_whatever_is_renamed_after_whatever(
    first: list[tuple[str, str]], then: list[tuple[str, str]]
) -> None:
    """Said twice of two portions: each either keeps every event, or is refused.

    A name by itself is the portion of that name, whatever it was planned as, and says nothing of that.
    """
    text = LINES["braces"]
    for names in (first, then):
        said = [f"{name} 50" + (f" instead of {planned}" if planned != name else "") for name, planned in names]
        before = happenings(trial_of(text))
        planned_as = {portion.name: portion.planned_name for portion in trial_of(text).portions}
        meant = {(name, planned if planned != name else planned_as.get(name, name)) for name, planned in names}
        try:
            after = write_entries(text, [portions_entry(trial_of(text), said)])
        except InputError:
            continue
        if not is_readable(after):  # `Bench.record` refuses it
            continue
        text = after
        assert happenings(trial_of(text)) == before
        assert {(portion.name, portion.planned_name) for portion in trial_of(text).portions} == meant


def test_comments_and_all_other_lines_stay() -> None:
    before = LINES["as it starts"].splitlines()
    after = recorded(LINES["as it starts"], "plain 60", "clove 40")[0].splitlines()
    changed = [one for one, two in zip(before, after, strict=True) if one != two]
    assert all("share:" in line for line in changed)
    assert len(changed) == 2


def test_what_was_planned_in_portions_and_poured_whole_has_none() -> None:
    _, trial = recorded(LINES["as it starts"])
    assert trial.portions == ()
    with pytest.raises(InputError, match="would be lost"):
        recorded(LINES["braces"])
    with pytest.raises(InputError, match="would be lost"):
        recorded(LINES["braces"], "plain 100")


@pytest.mark.parametrize("said", ["plain", "plain half", "60 plain 3 4", ""])
def test_what_does_not_say_a_portion_is_refused(said: str) -> None:
    with pytest.raises(InputError):
        recorded(LINES["no line"], said, "clove 40")


def test_shares_of_what_was_planned_whole_are_said_too() -> None:
    plan = plan_of(WHOLE_BATTER)
    text = render_new_trial(TRIAL_ID, plan, date(2026, 10, 3))
    entry = portions_entry(trial_of(text, plan), ["left 30", "right 70"])
    assert shares(trial_of(write_entries(text, [entry]), plan)) == [("left", 30), ("right", 70)]
