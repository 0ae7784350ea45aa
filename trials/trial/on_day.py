"""A trial as it stood on a day: what is recorded of a later one has not been done yet, and counts for nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import TypeVar

from trials.trial.model import Handling, Observation, Trial

_Recorded = TypeVar("_Recorded", Handling, Observation)


def days_until_seen(seen: Observation) -> int:
    """The whole days from the making of a soap to when something was observed."""
    return int(seen.age_days)


def days_until_done(step: Handling) -> int | None:
    """The whole days from pouring to when something had been done; None where its time is not recorded."""
    return None if step.ended_h is None else int(step.ended_h / 24)


def find_ahead(trial: Trial, day: date) -> tuple[tuple[Handling, ...], tuple[Observation, ...]]:
    """What is recorded as done, and as seen, on a later day than this one."""
    age_days = (day - trial.made).days
    steps = tuple(step for step in trial.after_pour if _is_later(days_until_done(step), age_days))
    return steps, tuple(seen for seen in trial.observations if days_until_seen(seen) > age_days)


def as_done(trial: Trial, day: date | None) -> Trial:
    """The trial without what is recorded as done on a later day, its readings kept: as trials are compared.

    A reading of a day to come is as often of a trial whose own day is written wrong. day: None for no day in
    particular.
    """
    steps = () if day is None else find_ahead(trial, day)[0]
    return replace(trial, after_pour=_without(trial.after_pour, steps)) if steps else trial


def _without(recorded: Sequence[_Recorded], ahead: Sequence[_Recorded]) -> tuple[_Recorded, ...]:
    return tuple(each for each in recorded if not any(each is one for one in ahead))


def _is_later(days: int | None, age_days: int) -> bool:
    return days is not None and days > age_days


def as_it_stood(trial: Trial, day: date | None) -> Trial:
    """The trial without what is recorded of a later day: the same object where there is nothing of that kind.

    A rebatch that is still to come has taken up no lye, and a test that is still to come has found nothing. day: None
    for no day in particular, where everything that is recorded counts.
    """
    if day is None:
        return trial
    steps, seen = find_ahead(trial, day)
    if not steps and not seen:
        return trial
    return replace(
        trial,
        after_pour=_without(trial.after_pour, steps),
        observations=_without(trial.observations, seen),
    )
