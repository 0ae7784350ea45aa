"""When a loaf was rebatched: what was tested before says nothing of it any more."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from trials.trial.model import REBATCHED, Handling, Trial


@dataclass(frozen=True, slots=True)
class Rebatch:
    """The last rebatch of a loaf. begun_h, ended_h: hours since pouring, None where that of any was not recorded."""

    begun_h: Decimal | None
    ended_h: Decimal | None

    @property
    def ended_days(self) -> Decimal | None:
        """The first whole day of the loaf's age that is surely after it."""
        return None if self.ended_h is None else (self.ended_h / 24).to_integral_value(ROUND_CEILING)

    def is_surely_before(self, age_days: Decimal) -> bool:
        """Whether what was seen at an age is of the loaf that it made: not at the same age, which may be either."""
        return self.ended_h is not None and age_days * 24 > self.ended_h

    def is_surely_after(self, age_days: Decimal) -> bool:
        """Whether what was seen at an age is of the loaf that there was before it."""
        return self.begun_h is not None and age_days * 24 < self.begun_h


def rebatched_alone(trial: Trial) -> frozenset[str]:
    """The portions that were rebatched by themselves, so that their bars are of another making than the rest."""
    steps = (step for step in trial.after_pour if step.what == REBATCHED)
    return frozenset(step.portion for step in steps if step.portion is not None)


def is_rebatched_in_part(trial: Trial) -> bool:
    """Whether a rebatch worked something into one portion alone, so that its bars are of more than one batter."""
    return any(step.what == REBATCHED and step.portion is not None and step.taken_in for step in trial.after_pour)


def rebatches_days(trial: Trial, portion: str | None = None) -> tuple[tuple[Decimal, Decimal], ...]:
    """From and to, in days of age, of each rebatch of a loaf, or of one portion; all days where no time is known."""
    return tuple(
        (Decimal(0), Decimal("Infinity"))
        if step.at_h is None or step.ended_h is None
        else (step.at_h / 24, step.ended_h / 24)
        for step in _rebatches(trial, portion)
    )


def find_last_rebatch(trial: Trial, portion: str | None = None) -> Rebatch | None:
    """The last rebatch of a trial, or of any of its portions; None for a loaf that never was.

    portion: one portion, to which only what was done to it or to the whole counts.
    """
    steps = _rebatches(trial, portion)
    if not steps:
        return None
    times = [(step.ended_h, step.at_h) for step in steps if step.ended_h is not None]
    ended_h, begun_h = max(times) if len(times) == len(steps) else (None, None)
    return Rebatch(begun_h, ended_h)


def _rebatches(trial: Trial, portion: str | None) -> list[Handling]:
    """All of a trial, or those of one portion and of the whole."""
    return [
        step
        for step in trial.after_pour
        if step.what == REBATCHED and (portion is None or step.portion in (None, portion))
    ]
