"""The values of an outcome in one trial, by portion: worked out from its events, or read from its observations."""

from __future__ import annotations

from decimal import Decimal

from trials.outcomes.derived import DERIVED, derived_values
from trials.outcomes.observed import not_recorded, observed_portions, value_at
from trials.outcomes.outcome import Outcome
from trials.outcomes.times import Span, find_span
from trials.outcomes.value import Missing, OutcomeValue, from_interval
from trials.trial.model import Trial
from trials.trial.rebatch import rebatches_days


def outcome_values(trial: Trial, outcome: Outcome, age_days: Decimal | None = None) -> tuple[OutcomeValue, ...]:
    """The values that the trial has of an outcome: one a portion where portions differed, else one for the whole.

    age_days: for an outcome with ages; None for the first age of its definition. A value at an age is read, or
    interpolated between this trial's own readings before and after it, and never extrapolated, nor over a rebatch,
    which makes another loaf of it. What a safety test finds is only ever read.
    """
    found = find_values(trial, outcome, age_days)
    return tuple(value for value in found if isinstance(value, OutcomeValue))


def find_values(trial: Trial, outcome: Outcome, age_days: Decimal | None = None) -> tuple[OutcomeValue | Missing, ...]:
    """Values and reasons for missing ones, by portion in the trial's order; the whole trial (None) first."""
    if age_days is None and outcome.ages_days:
        age_days = outcome.ages_days[0]
    observed = _observed(trial, outcome, age_days)
    known = {value.portion for value in observed if isinstance(value, OutcomeValue)}
    if None in known or (known and not outcome.from_events):
        return observed
    if outcome.from_events:
        timed = [value for value in _timed(trial, outcome) if value.portion not in known]
        written = [value for value in observed if isinstance(value, OutcomeValue)]
        order: list[str | None] = [None, *(portion.name for portion in trial.portions)]
        return tuple(sorted([*written, *timed], key=lambda value: order.index(value.portion)))
    if outcome.name in DERIVED:
        return derived_values(trial, outcome, age_days or outcome.ages_days[0])
    return observed


def _observed(trial: Trial, outcome: Outcome, age_days: Decimal | None) -> tuple[OutcomeValue | Missing, ...]:
    """From what was written down: the whole trial's value, and those of the portions that have their own."""
    values: list[OutcomeValue | Missing] = []
    for portion in observed_portions(trial, outcome.name):
        series = [item for item in trial.observations if item.outcome == outcome.name and item.portion == portion]
        values.append(value_at(series, outcome, age_days, portion, rebatched_days=rebatches_days(trial, portion)))
    return tuple(values) or (Missing(not_recorded(outcome)),)


def _timed(trial: Trial, outcome: Outcome) -> tuple[OutcomeValue | Missing, ...]:
    """From the timed events of each portion; what happened before the batter was divided counts once."""
    found: list[OutcomeValue | Missing] = []
    for part in trial.parts():
        span = find_span(trial, part, outcome.name)
        portion = part.name if trial.is_divided else None
        if isinstance(span, str):
            found.append(Missing(span, portion))
            continue
        value = _minutes(span, None if span.is_shared else portion)
        if value not in found:
            found.append(value)
    return tuple(found)


def _minutes(span: Span, portion: str | None) -> OutcomeValue:
    low = None if span.low_s is None else float(span.low_s / 60)
    high = None if span.high_s is None else float(span.high_s / 60)
    return from_interval(low, high, portion=portion)
