"""What is due comes late ones first, goes when it is done, and into any calendar; when to pour for a market."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.settings import Settings, parse_settings
from tests.trials.examples import TRIAL, outcomes, plan_of, trial_of
from trials.due.due import USUAL_FOLLOW_UP, Due, find_due, read_follow_up
from trials.due.ready import plan_ready_by, render_ready_by
from trials.due.text import render_calendar, render_due
from trials.trial.model import Trial

MADE = date(2026, 10, 3)


def due_on(trial: Trial, day: int, **more: int) -> list[tuple[str, Decimal, int]]:
    found = find_due([trial], MADE + timedelta(days=day), USUAL_FOLLOW_UP, outcomes(), **more)
    return [(item.task, item.age_days, item.late_days) for item in found]


def test_late_ones_come_first_then_by_date() -> None:
    found = due_on(trial_of("notes: none\n"), 8, days_ahead=10)
    assert found == [
        ("cut", 1, 7),
        ("mass", 1, 7),
        ("colour", 7, 1),
        ("free alkali", 7, 1),
        ("colour", 14, -6),
    ]


def test_what_was_done_is_not_due() -> None:
    trial = trial_of(
        "after_pour: [{at: 20 h, what: cut}]\n"
        "observations:\n"
        "  - {age: 1 d, outcome: mass, values: [100 g, 101 g]}\n"
        "  - {age: 6.5 d, outcome: free alkali, value: none}\n"
        "  - {age: 8 d, outcome: colour, value: '#c8b496'}\n"
    )
    assert due_on(trial, 9, days_ahead=0) == []


def test_only_the_portions_that_lack_a_look_are_named() -> None:
    text = TRIAL + "  - {age: 7 d, outcome: free alkali, value: none, portion: clove}\n"
    found = find_due([trial_of(text)], MADE + timedelta(days=7), {"free alkali": (Decimal(7),)}, outcomes())
    assert [item.portions for item in found] == [("plain",)]


def test_a_missed_look_is_asked_for_until_the_next_of_its_kind() -> None:
    trial = trial_of("notes: none\n")
    assert ("free alkali", 2, 4) in due_on(trial, 6)
    assert [item for item in due_on(trial, 7) if item[0] == "free alkali"] == [("free alkali", 7, 0)]


def test_what_was_missed_long_ago_is_told_by_its_kind_and_stands_in_no_calendar() -> None:
    plan = {"free alkali": (Decimal(7),), "mass": (Decimal(28),)}
    today = MADE + timedelta(days=50)
    found = find_due([trial_of("notes: none\n")], today, plan, outcomes())
    assert {item.task: item.is_missed for item in found} == {"free alkali": True, "mass": False}
    text = " ".join(render_due(found, today).split())
    assert "1 late" in text
    assert "Missed long ago, too late for the age that was planned: free alkali of 1 loaf." in text
    assert "before a sale" in text
    assert "2 late" in render_due(found, today, show_all=True)
    assert len(list(icalendar.Calendar.from_ical(render_calendar(found, NOW)).walk("VEVENT"))) == 1


def test_a_discarded_batch_is_left_alone() -> None:
    assert due_on(trial_of("release: {decision: discard, who: R, why: lye}\n"), 30) == []


REBATCHED = 'after_pour: [{at: 9 d, what: rebatched, note: "with water"}]\n'
TESTED = "observations:\n  - {age: 2 d, outcome: free alkali, value: none}\n"


def test_free_alkali_is_to_be_looked_for_again_after_a_rebatch() -> None:
    def free_alkali(text: str, day: int) -> list[tuple[str, Decimal, int]]:
        return [item for item in due_on(trial_of(text), day, days_ahead=0) if item[0] == "free alkali"]

    before = f"{TESTED}  - {{age: 7 d, outcome: free alkali, value: none}}\n"
    assert free_alkali(before, 12) == []
    assert free_alkali(REBATCHED + before, 10) == []
    assert free_alkali(REBATCHED + before, 12) == [("free alkali", 11, 1)]
    assert free_alkali(f"{REBATCHED}{before}  - {{age: 11 d, outcome: free alkali, value: none}}\n", 12) == []
    assert free_alkali(REBATCHED + before, 16) == [("free alkali", 16, 0)]


def test_what_is_to_be_reworked_is_left_alone_until_it_is() -> None:
    decided = "release: {decision: rework, who: R, why: lye-heavy}\n"
    assert due_on(trial_of(decided), 30) == []
    assert ("free alkali", 16, 14) in due_on(trial_of(REBATCHED + decided), 30)


def test_looks_whose_names_have_no_plain_letter_stand_apart_in_a_calendar() -> None:
    day = Decimal(28)
    both = [Due("2026-10-03-bar-k7wq", "bar", task, day, MADE, 0) for task in ("мягкость", "твёрдость", "scent left")]
    events = icalendar.Calendar.from_ical(render_calendar(both, NOW)).walk("VEVENT")
    assert len({str(event["UID"]) for event in events}) == 3
    assert str(events[2]["UID"]) == "2026-10-03-bar-k7wq-scent-left-28d@soap-formulary"


def test_a_spot_once_found_need_not_be_looked_for() -> None:
    trial = trial_of("observations: [{age: 90 d, outcome: first rancid spot, value: yes}]\n")
    assert "first rancid spot" not in [task for task, _, _ in due_on(trial, 400)]


def test_the_plan_is_the_makers() -> None:
    settings, findings = parse_settings(
        "format: 1\nfollow_up: {hardness: [35 d, 5 weeks, 60 d], colour: [], pH: 28 d, wobble: 3 d}\n"
    )
    assert findings == ()
    plan, findings = read_follow_up(settings, outcomes())
    assert plan["hardness"] == (Decimal(35), Decimal(60))
    assert plan["colour"] == ()
    assert plan["pH"] == (Decimal(28),)
    assert plan["cut"] == USUAL_FOLLOW_UP["cut"]
    assert [finding.code for finding in findings] == ["unknown-outcome"]


NOW = datetime(2026, 10, 11, 8, 0, tzinfo=UTC)


def test_a_general_calendar_library_reads_every_entry_back() -> None:
    """Against the `icalendar` package, which implements RFC 5545 independently."""
    found = find_due([trial_of(TRIAL)], NOW.date(), USUAL_FOLLOW_UP, outcomes(), days_ahead=400)
    text = render_calendar(found, NOW)
    calendar = icalendar.Calendar.from_ical(text)
    events = calendar.walk("VEVENT")
    assert [event.decoded("DTSTART") for event in events] == [max(item.on, NOW.date()) for item in found]
    assert [item.task in str(event["SUMMARY"]) for item, event in zip(found, events, strict=True)] == [True] * len(
        found
    )
    assert [item.how in str(event["DESCRIPTION"]) for item, event in zip(found, events, strict=True)] == [True] * len(
        found
    )
    assert len({str(event["UID"]) for event in events}) == len(events)
    assert not calendar.errors


@given(st.text(max_size=200), st.text(alphabet="äö€🌿,;\\\n abc", max_size=200))
def test_any_text_survives_a_calendar_in_lines_of_75_octets(task: str, how: str) -> None:
    item = Due("2026-10-03-bar-k7wq", "bar", task.replace("\r", ""), Decimal(7), NOW.date(), 0, (), how)
    text = render_calendar([item], NOW)
    assert all(len(line.encode("utf-8")) <= 75 for line in text.split("\r\n"))
    if any(ord(character) < 32 and character != "\n" for character in task + how):
        return  # control characters are not allowed in a calendar's text; no outcome's name can hold one
    (event,) = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert str(event["DESCRIPTION"]) == f"2026-10-03-bar-k7wq: {how}"


def test_the_list_says_first_how_much_there_is() -> None:
    found = find_due([trial_of(TRIAL)], NOW.date(), USUAL_FOLLOW_UP, outcomes())
    text = render_due(found, NOW.date())
    assert text.startswith("To look at: 4 late, 1 later.")
    assert max(len(line) for line in text.split("\n")) <= 80
    assert render_due([], NOW.date()) == "Nothing is due."


def test_the_last_day_to_pour_leaves_drying_cure_and_labels() -> None:
    # By hand: 12 December less 2 days for labels is 10, less 28 of cure 12 November, less 2 to dry 10 November.
    ready = plan_ready_by(
        date(2026, 12, 12), plan_of().recipe, Settings(), date(2026, 11, 1), bars=60, bars_per_loaf=11
    )
    assert (ready.cured, ready.cut, ready.pour) == (date(2026, 12, 10), date(2026, 11, 12), date(2026, 11, 10))
    assert (ready.days_left, ready.is_too_late, ready.loaves) == (9, False, 6)
    assert render_ready_by(ready).startswith("Pour by 2026-11-10 (in 9 days): 60 bars of midwinter-clove, 6 loaves")


def test_it_says_when_it_is_already_too_late_and_when_today_would_be_ready() -> None:
    ready = plan_ready_by(date(2026, 12, 12), plan_of().recipe, Settings(), date(2026, 11, 25), bars=60)
    assert ready.is_too_late
    text = render_ready_by(ready)
    assert text.startswith("Too late by 15 days")
    assert "ready on 2026-12-27" in text


@given(st.dates(date(2026, 1, 1), date(2030, 1, 1)), st.integers(0, 90))
def test_poured_on_the_last_day_it_is_ready_on_the_day_and_not_before(on: date, cure: int) -> None:
    settings = Settings(cure_days=Decimal(cure))
    ready = plan_ready_by(on, plan_of().recipe, settings, on, bars=1)
    again = plan_ready_by(on, plan_of().recipe, settings, ready.pour, bars=1)
    assert again.days_left == 0
    assert again.earliest == on


def test_a_recipes_own_cure_counts() -> None:
    text = "format: 1\nname: x\noils: {olive-oil: 100}\nlye: {alkali: sodium-hydroxide, superfat: 5}\n"
    plan = plan_of(text + "water: {lye_concentration: 33}\nprocess: {cure: 8 weeks}\n")
    ready = plan_ready_by(date(2026, 12, 12), plan.recipe, Settings(), date(2026, 1, 1), bars=1)
    assert ready.cure_days == 56
    assert ready.pour == date(2026, 12, 12) - timedelta(days=60)


@pytest.mark.parametrize("task", USUAL_FOLLOW_UP)
def test_everything_in_the_usual_plan_can_be_recorded(task: str) -> None:
    from trials.trial.model import HANDLING_WORDS

    assert task in outcomes() or task in HANDLING_WORDS


@pytest.mark.parametrize("width", [50, 80])
def test_what_is_due_names_the_soap_as_the_shelf_does(width: int) -> None:
    trial = trial_of("notes: none\n")
    text = render_due(find_due([trial], MADE, {"mass": (Decimal(1),)}, outcomes()), MADE, width=width)
    assert f"{trial.recipe} {trial.id[-4:]}" in text
    assert max(map(len, text.splitlines())) <= width


def test_what_is_due_of_one_loaf_on_one_day_stands_in_as_few_lines_as_fit() -> None:
    def due(task: str, days: int, code: str = "k7wq", portions: tuple[str, ...] = ()) -> Due:
        return Due(f"2026-10-03-bar-{code}", "bar", task, Decimal(days), NOW.date(), 0, portions)

    text = render_due(
        [
            due("cut", 1),
            due("mass", 1),
            due("mass", 28),
            due("colour", 28),
            due("hardness", 28),
            due("mass", 28, "m3hd"),
            due("colour", 28, "m3hd", ("clove",)),
            due("wear under a long name", 28, "m3hd"),
        ],
        NOW.date(),
        width=120,
    )
    lines = [" ".join(line.split()) for line in text.split("\n")[3:]]
    day = NOW.date().isoformat()
    assert lines == [
        f"cut, mass at 1 d {day} bar k7wq today",
        f"mass, colour at 28 d {day} bar k7wq today",
        f"hardness at 28 d {day} bar k7wq today",
        f"mass at 28 d {day} bar m3hd today",
        f"colour at 28 d {day} bar m3hd today; still lacking: clove",
        f"wear under a long name at 28 d {day} bar m3hd today",
    ]
    assert text.startswith("To look at: 8 today.")
