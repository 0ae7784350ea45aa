"""Minutes that no batter has, and masses that no curing bar has, are told when they are recorded and in `check`."""

from __future__ import annotations

import pytest

from tests.trials.examples import MIDWINTER_CLOVE, plan_of, trial_of
from trials.checks.checks import check_trial

PLAN = plan_of(MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("portions:")])


def said(text: str) -> list[str]:
    wanted = ("after-pouring", "event-twice", "unlikely-time", "mass-gained")
    return [finding.code for finding in check_trial(trial_of(text, PLAN)) if finding.code in wanted]


def events(*lines: tuple[str, str]) -> str:
    written = [f'{{at: "{at}", what: {what}}}' for at, what in lines]
    return f"events: [{', '.join(written)}]\n"


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ((("4:00", "light trace"), ("5:00", "scent in"), ("6:00", "poured")), []),
        ((("5:00", "scent in"), ("6:00", "scent in"), ("7:00", "poured")), []),  # two scents, one after the other
        ((("6:00", "poured"), ("6:00", "too thick to pour")), []),
        ((("6:00", "poured"), ("12:00", "light trace")), ["after-pouring"]),
        ((("6:00", "poured"), ("20:00", "scent in")), ["after-pouring"]),
        ((("4:00", "light trace"), ("5:00", "light trace")), ["event-twice"]),
        ((("6:00", "poured"), ("9000 min", "poured")), ["event-twice", "unlikely-time"]),
        ((("13 h", "poured"),), ["unlikely-time"]),
        ((("12 h", "poured"),), []),
    ],
)
def test_events_that_batter_cannot_have_are_told(lines: tuple[tuple[str, str], ...], told: list[str]) -> None:
    assert said(events(*lines)) == told


@pytest.mark.parametrize(
    ("second", "is_told"), [('"0:20", what: blending, for: 15 s', True), ('"0:50", what: blending, for: 15 s', False)]
)
def test_a_blending_that_is_written_down_twice_is_told_since_both_count(second: str, is_told: bool) -> None:
    text = f'events: [{{at: "0:20", what: blending, for: 15 s}}, {{at: {second}}}]\n'
    assert ("event-twice" in said(text)) == is_told


def masses(*readings: tuple[str, str]) -> str:
    return f"observations: [{', '.join(f'{{age: {age}, outcome: mass, value: {mass}}}' for age, mass in readings)}]\n"


@pytest.mark.parametrize(
    ("readings", "told"),
    [
        ((("1 d", "100 g"), ("28 d", "90 g")), []),
        ((("1 d", "100 g"), ("28 d", "100.9 g")), []),
        ((("1 d", "100 g"), ("28 d", "101.1 g")), ["mass-gained"]),
        ((("1 d", "100 g"), ("7 d", "90 g"), ("28 d", "95 g")), ["mass-gained"]),
    ],
)
def test_a_bar_that_gains_mass_is_told(readings: tuple[tuple[str, str], ...], told: list[str]) -> None:
    assert said(masses(*readings)) == told
