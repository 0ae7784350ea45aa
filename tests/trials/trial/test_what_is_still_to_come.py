"""What is recorded of a day that is still to come has not been done: it mends nothing, and nothing is sold by it."""

from __future__ import annotations

from datetime import date, timedelta
from types import MappingProxyType

import pytest

from formulary.errors import InputError, StopError
from formulary.finding import Severity
from tests.trials.examples import MIDWINTER_CLOVE, outcomes, plan_of, trial_of
from trials.checks.checks import check_trial
from trials.checks.sale import check_sale, demand_possible_day, demand_sellable, fit_to_sell
from trials.due.due import USUAL_FOLLOW_UP, find_due
from trials.record.after_entry import find_after_entry
from trials.trial.on_day import as_it_stood
from trials.trial_text import render_trial

UNSCENTED = plan_of(MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("scent:")])
MADE = date(2026, 10, 3)  # as the examples say
TOO_MUCH = "as_made: [{line: sodium-hydroxide, weighed: 150 g}]\n"
REBATCHED = "after_pour: [{at: %s, what: rebatched, with: {olive-oil: 100 g}}]\n"
TESTED = "observations: [{age: %s, outcome: free alkali, value: none}]\n"
SOLD = "release: {decision: sell, who: R, why: mild, on: %s}\n"


def day(age_days: int) -> date:
    return MADE + timedelta(days=age_days)


def stops_of(text: str, today: date) -> set[str]:
    found = check_trial(trial_of(text, UNSCENTED), outcomes(), today)
    return {finding.code for finding in found if finding.severity is Severity.STOP}


def told_of(text: str, today: date) -> set[str]:
    return {finding.code for finding in check_trial(trial_of(text, UNSCENTED), outcomes(), today)}


@pytest.mark.parametrize(("at", "done_at"), [("200 d", 200), ("30 h", 1), ("90 d", 90)])
def test_a_rebatch_takes_up_no_lye_before_its_day(at: str, done_at: int) -> None:
    text = TOO_MUCH + REBATCHED % at
    assert "lye-excess" in stops_of(text, day(done_at - 1))
    assert "ahead-of-today" in told_of(text, day(done_at - 1))
    assert "lye-excess" not in stops_of(text, day(done_at))
    assert "ahead-of-today" not in told_of(text, day(done_at))


def test_a_rebatch_that_lasts_counts_when_it_has_ended() -> None:
    text = TOO_MUCH + (REBATCHED % "20 h").replace("what", "for: 6 h, what")
    assert "lye-excess" in stops_of(text, day(0))
    assert "lye-excess" not in stops_of(text, day(1))


def test_whatever_is_done_after_pouring_is_told_when_it_is_of_a_day_to_come() -> None:
    text = "after_pour: [{at: 40 d, what: stamped}]\n"
    assert "ahead-of-today" in told_of(text, day(39))
    assert "ahead-of-today" not in told_of(text, day(40))
    assert "ahead-of-today" in told_of("after_pour: [{at: 999999999 d, what: stamped}]\n", day(40))


def test_lye_that_a_rebatch_would_bring_is_told_at_once_as_what_is_to_come() -> None:
    text = "after_pour: [{at: 90 d, what: rebatched, with: {sodium-hydroxide: 40 g}}]\n"
    for age_days, is_ahead in ((5, True), (90, False)):
        found = {each.code: each for each in check_trial(trial_of(text, UNSCENTED), outcomes(), day(age_days))}
        assert found["lye-excess"].severity is Severity.STOP
        assert ("rebatch that lies ahead of today" in found["lye-excess"].what) is is_ahead
        assert ("do not rebatch it so" in found["lye-excess"].do) is is_ahead
        assert ("ahead-of-today" in found) is is_ahead
        assert not is_ahead or "nothing that it takes in counts" not in found["ahead-of-today"].what


def test_a_warning_of_today_hides_no_stop_of_what_a_rebatch_would_bring() -> None:
    text = "as_made: [{line: sodium-hydroxide, weighed: 110 g}]\n"
    text += "after_pour: [{at: 90 d, what: rebatched, with: {olive-oil: 300 g}}]\n"
    found = [
        each for each in check_trial(trial_of(text, UNSCENTED), outcomes(), day(5)) if each.code == "superfat-high"
    ]
    assert [each.severity for each in found] == [Severity.WARN, Severity.STOP]
    assert "rebatch that lies ahead of today" in found[1].what


def refused(text: str, today: date) -> str:
    with pytest.raises(StopError) as refusal:
        demand_sellable(trial_of(text, UNSCENTED), today, register=MappingProxyType({}))
    return " ".join(f"{finding.code} {finding.do}" for finding in refusal.value.findings)


def test_neither_a_rebatch_nor_a_test_of_a_later_day_sells_a_loaf() -> None:
    text = TOO_MUCH + REBATCHED % "200 d" + TESTED % "201 d" + "release: {decision: sell, who: R, why: mild}\n"
    assert "lye-excess" in refused(text, day(86))
    demand_sellable(trial_of(text, UNSCENTED), day(230), register=MappingProxyType({}))


def test_free_alkali_that_was_found_at_an_age_to_come_is_a_slip_of_the_age_and_stops_a_sale() -> None:
    slip = (TESTED % "28 d").replace("]", ", {age: 400 d, outcome: free alkali, value: present}]")
    assert "free-alkali" in stops_of(slip, day(45))
    for on in (day(45), day(40)):
        assert "present at 400 d, an age that is still to come" in fit_words(slip + SOLD % on.isoformat(), day(45))
        assert "correct its age" in refused(slip + SOLD % on.isoformat(), day(45))
    trace = slip.replace("value: present", "value: trace") + SOLD % day(45).isoformat()
    assert "free-alkali" not in stops_of(trace, day(45))
    assert "free-alkali" in refused(trace, day(45))
    named = trial_of(trace.replace("mild", "mild, despite: [free-alkali]"), UNSCENTED)
    demand_sellable(named, day(45), register=MappingProxyType({}))


def fit_words(text: str, today: date) -> str:
    return " ".join(finding.what for finding in fit_to_sell(trial_of(text, UNSCENTED), today))


def test_a_sale_counts_no_test_that_came_after_it() -> None:
    text = TESTED % "60 d"
    said = refused(text + SOLD % day(40).isoformat(), day(80))
    assert "free-alkali-untested" in said
    assert f"of a later day than {day(40).isoformat()}" in said
    sold = trial_of(text + SOLD % day(60).isoformat(), UNSCENTED)
    demand_sellable(sold, day(80), register=MappingProxyType({}))


def test_a_decision_is_of_a_day_on_which_the_soap_was_there() -> None:
    for wrong in (day(-1), day(81)):
        with pytest.raises(InputError):
            demand_possible_day(trial_of(SOLD % wrong.isoformat(), UNSCENTED), day(80))
    for right in (day(0), day(80)):
        demand_possible_day(trial_of(SOLD % right.isoformat(), UNSCENTED), day(80))


def sale_of(text: str, today: date) -> list[tuple[str, Severity]]:
    found = check_sale(trial_of(text, UNSCENTED), today)
    return [(finding.code, finding.severity) for finding in found]


@pytest.mark.parametrize("grade", ["trace", "present"])
def test_free_alkali_in_a_loaf_that_is_sold_is_a_stop_with_what_to_do(grade: str) -> None:
    later = f", {{age: 40 d, outcome: free alkali, value: {grade}}}]"
    text = (TESTED % "28 d").replace("]", later) + SOLD % day(32).isoformat()
    # At an age to come it is a slip of the age, and was found all the same: also where only sales are listed.
    assert sale_of(text, day(39)) == [("sold-unfit", Severity.STOP)]
    assert sale_of(text, day(45)) == [("sold-unfit", Severity.STOP)]
    for lots, where in (("", "no lot of it is recorded"), ('lots: {olive-oil: "OL-7"}\n', "materials where OL-7")):
        told = check_trial(trial_of(lots + text, UNSCENTED), outcomes(), day(45))
        (found,) = [each for each in told if each.code == "sold-unfit"]
        for words in ("hold", where, "formulary trial release"):
            assert words in found.do
        assert f"free alkali: {grade} at 40 d" in found.what
    assert sale_of(text.replace("decision: sell", "decision: hold"), day(45)) == []
    mended = text.replace("]", ", {age: 60 d, outcome: free alkali, value: none}]")
    assert sale_of(mended, day(65)) == []


def test_a_stop_that_comes_up_after_the_sale_is_told_and_one_that_was_set_aside_is_not() -> None:
    text = TESTED % "28 d" + SOLD % day(32).isoformat()
    assert sale_of(text, day(45)) == []
    assert sale_of(TOO_MUCH + text, day(45)) == [("sold-unfit", Severity.STOP)]
    early = TESTED % "7 d" + (SOLD % day(9).isoformat()).replace("mild", "mild, despite: [cure-short]")
    assert sale_of(early, day(10)) == []


def test_a_sale_that_was_written_of_a_day_before_its_test_is_told() -> None:
    text = TESTED % "60 d"
    for on in (day(40), day(-3), day(99)):
        assert sale_of(text + SOLD % on.isoformat(), day(80)) == [("sold-early", Severity.WARN)]
    assert sale_of(text + SOLD % day(60).isoformat(), day(80)) == []


def test_a_sale_is_told_every_warning_of_the_bars_again_and_another_entry_is_not() -> None:
    lean = "as_made: [{line: sodium-hydroxide, weighed: 144 g}]\n" + TESTED % "28 d"
    trials = [trial_of(lean + more, UNSCENTED) for more in ("", SOLD % day(60), "who: R\n")]
    warned = {each.code for each in check_trial(trials[0], outcomes(), day(60)) if each.severity is Severity.WARN}
    assert warned == {"superfat-low"}
    register = trials[0].plan.materials
    sold, other = (
        {each.code for each in find_after_entry(trials[0], after, outcomes(), day(60), register=register).new}
        for after in trials[1:]
    )
    assert (sold, other) == (warned, set())


def test_what_is_shown_and_asked_for_goes_by_what_was_done_until_today() -> None:
    trial = trial_of(TOO_MUCH + REBATCHED % "200 d" + TESTED % "201 d", UNSCENTED)
    then, later = (" ".join(render_trial(trial, (), outcomes(), today=day(age)).split()) for age in (86, 230))
    assert "before it was rebatched" not in then
    assert "lye" in then.partition("not fit to sell:")[2]
    assert "before it was rebatched" in later
    asked = find_due([trial], day(7), USUAL_FOLLOW_UP, outcomes())
    assert ("free alkali", 7) in [(item.task, item.age_days) for item in asked]


def test_a_trial_with_nothing_to_come_is_the_same() -> None:
    trial = trial_of(TOO_MUCH + REBATCHED % "20 h" + TESTED % "7 d", UNSCENTED)
    assert as_it_stood(trial, day(7)) is trial
    assert as_it_stood(trial, day(6)).observations == ()
    assert [each.code for each in fit_to_sell(trial, day(6))].count("free-alkali-untested") == 1
