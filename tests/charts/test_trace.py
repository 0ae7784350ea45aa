"""Thickening as a chart: a row a portion, open where it was poured, times no better than they are known."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.charts.layout import find_faults
from tests.trials.invented import trial, version
from trials.charts import draw_trace, find_trace
from trials.trial.elapsed import parse_elapsed
from trials.trial.model import Event, Trial

SHARED = (("0:00", "lye in"), ("1:50", "emulsion"), ("4:00", "light trace"))


def events(*listed: tuple[str, str]) -> tuple[Event, ...]:
    return tuple(Event(what, parse_elapsed(at)) for at, what in listed)


def halves(code: str, day: int = 0) -> Trial:
    """A trial whose scented half seized while the plain one was poured at medium trace."""
    made = trial(version(), code, day, portions={"plain": {}, "clove": {}})
    plain, clove = made.portions
    return replace(
        made,
        events=events(*SHARED),
        portions=(
            replace(plain, events=events(("9:00", "medium trace"), ("14:30", "poured"))),
            replace(
                clove, events=events(("5:00", "scent in"), ("6-8 min", "thick trace"), ("9:00", "too thick to pour"))
            ),
        ),
    )


def test_each_portion_has_what_happened_to_all_and_to_itself() -> None:
    plain, clove = find_trace([halves("aaaa")]).rows
    assert (plain.label, clove.label) == ("aaaa plain", "aaaa clove")
    assert [mark.stage for mark in plain.marks] == ["emulsion", "light trace", "medium trace"]
    assert [mark.stage for mark in clove.marks] == ["emulsion", "light trace", "thick trace", "too thick to pour"]
    assert plain.marks[0].minutes == pytest.approx(1 + 50 / 60)
    assert (plain.scent_in, clove.scent_in) == (None, 5.0)


def test_a_portion_poured_while_it_could_be_is_open_and_one_that_was_too_thick_is_not() -> None:
    plain, clove = find_trace([halves("aaaa")]).rows
    assert (plain.is_open, plain.poured, plain.end) == (True, 14.5, 14.5)
    assert not clove.is_open
    late = replace(trial(version(), "bbbb"), events=events(("9:00", "too thick to pour"), ("9:30", "poured")))
    assert [row.is_open for row in find_trace([late]).rows] == [False]


def test_a_time_that_is_only_about_keeps_its_ends_and_one_unknown_is_named() -> None:
    mark = find_trace([halves("aaaa")]).rows[1].marks[2]
    assert (mark.low, mark.minutes, mark.high) == (6.0, 7.0, 8.0)
    vague = replace(trial(version(), "bbbb"), events=events(("unknown", "light trace"), ("9:00", "poured")))
    trace = find_trace([vague])
    assert trace.untimed == ("light trace of bbbb",)
    assert [row.marks for row in trace.rows] == [()]


def test_a_trial_without_events_is_named_and_none_at_all_is_said() -> None:
    bare = replace(trial(version(), "cccc"), events=())
    assert find_trace([halves("aaaa"), bare]).without_events == ("cccc",)
    empty = find_trace([bare])
    assert empty.nothing is not None
    assert draw_trace(empty).to_bytes("png")


def test_what_seized_when_nobody_noted_is_marked_at_the_end_of_its_line() -> None:
    timed = (("2:10", "light trace"), ("2:40", "scent in"))
    lost = replace(trial(version(), "lost", seen={"seized": "2"}), events=events(*timed))
    fine = replace(trial(version(), "fine", seen={"seized": "0"}), events=events(*timed))
    thick = replace(
        trial(version(), "late", seen={"seized": "2"}), events=events(*timed, ("9:00", "too thick to pour"))
    )
    trace = find_trace([lost, fine, thick])
    assert [row.has_seized for row in trace.rows] == [True, False, False]  # of the last its mark tells it
    chart = draw_trace(trace)
    assert "seized, after what was timed" in {text.get_text() for axes in chart.axes for text in axes.texts}
    for width_mm in (80.0, 160.0):
        assert find_faults(draw_trace(trace, width_mm=width_mm)) == []


def test_every_stage_that_was_reached_is_in_the_legend() -> None:
    chart = draw_trace(find_trace([halves("aaaa")]))
    words = {text.get_text() for axes in chart.axes for text in axes.texts}
    assert {"emulsion", "light trace", "medium trace", "thick trace", "too thick to pour", "scent in"} <= words
    assert "poured: too thick to pour would have come later" in words
    assert "poured" not in words  # none was poured after it was too thick


@pytest.mark.parametrize("width_mm", [80.0, 120.0, 160.0, 240.0])
@pytest.mark.parametrize("count", [1, 6])
def test_nothing_overlaps_or_is_cut_off_at_any_width(width_mm: float, count: int) -> None:
    trace = find_trace([halves(f"aaa{'bcdefg'[number]}", number) for number in range(count)])
    assert find_faults(draw_trace(trace, width_mm=width_mm)) == []


def test_a_long_name_of_a_portion_is_broken_rather_than_cut() -> None:
    made = halves("aaaa")
    long = replace(made.portions[0], name="the-one-with-a-name-that-goes-on-for-very-long")
    trace = find_trace([replace(made, portions=(long, made.portions[1]))])
    assert find_faults(draw_trace(trace, width_mm=80.0)) == []


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_the_same_trials_give_the_same_file(ending: str) -> None:
    drawn = [find_trace([halves("aaaa")]).draw().to_bytes(ending) for _ in range(2)]
    assert drawn[0] == drawn[1]


def test_loaves_of_several_soaps_are_named_with_them_and_those_of_one_by_the_title() -> None:
    first = trial(version("harbour-base"), "aaaa", working="9:00")
    other = trial(version("winter"), "bbbb", 1, working="8:00")
    assert [row.label for row in find_trace([first, other]).rows] == ["harbour-base aaaa", "winter bbbb"]
    assert find_trace([first]).title == "How harbour-base thickened: the wider, the thicker"
    assert [row.label for row in find_trace([first]).rows] == ["aaaa"]
