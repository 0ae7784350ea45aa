"""An outcome as it was observed in one portion of a trial: repeat readings summed up, and read at an age."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from trials.outcomes.outcome import Outcome, Scale, outcome_label
from trials.outcomes.value import Missing, OutcomeValue, from_interval
from trials.trial.model import Observation, Reading, Trial

_INFINITE = Decimal("Infinity")


def not_recorded(outcome: Outcome) -> str:
    """Why a trial says nothing of an outcome of which nobody wrote anything down."""
    return f"{outcome.name} was not recorded"


def observed_portions(trial: Trial, outcome: str) -> tuple[str | None, ...]:
    """The portions that have observations of an outcome, None for the whole trial first, then the trial's order."""
    have = {observation.portion for observation in trial.observations if observation.outcome == outcome}
    names: list[str | None] = [None, *(portion.name for portion in trial.portions)]
    return tuple(name for name in names if name in have)


def value_at(
    series: Sequence[Observation],
    outcome: Outcome,
    age_days: Decimal | None,
    portion: str | None,
    *,
    rebatched_days: Sequence[tuple[Decimal, Decimal]] = (),
) -> OutcomeValue | Missing:
    """One series of observations of one portion, read at an age.

    rebatched_days: from and to, of each rebatch; no value is worked out between readings from before and after.
    """
    by_age: dict[Decimal, list[Reading]] = {}
    for observation in series:
        by_age.setdefault(observation.age_days, []).extend(observation.readings)
    if not any(by_age.values()):
        return Missing(not_recorded(outcome), portion)
    if outcome.name == "first rancid spot":
        return _first_seen(by_age, portion)
    if outcome.at_any_age or age_days is None:
        ages = sorted(by_age)
        summed = [_sum_up(by_age[age], outcome, portion) for age in ages]
        return max(summed, key=_height) if outcome.at_any_age else summed[-1]
    if age_days in by_age:
        return _sum_up(by_age[age_days], outcome, portion)
    before = max((age for age in by_age if age < age_days), default=None)
    after = min((age for age in by_age if age > age_days), default=None)
    if outcome.is_safety_test:
        label = outcome_label(outcome, age_days)
        return Missing(f"{label} was not tested, and a test for safety is never worked out between others", portion)
    if before is None or after is None:
        side = "before" if before is None else "after"
        label = outcome_label(outcome, age_days)
        return Missing(f"{label} is neither recorded nor between two readings: none {side} it", portion)
    if any(begun <= after and before <= ended for begun, ended in rebatched_days):
        label = outcome_label(outcome, age_days)
        return Missing(f"{label} lies between readings from before and after it was rebatched", portion)
    first, second = (_sum_up(by_age[age], outcome, portion) for age in (before, after))
    return _between_ages(first, second, outcome, part=float((age_days - before) / (after - before)))


def _height(value: OutcomeValue) -> float:
    known = [figure for figure in (value.value, value.low, value.high) if figure is not None]
    return max(known, default=0.0)


def _sum_up(readings: Sequence[Reading], outcome: Outcome, portion: str | None) -> OutcomeValue:
    """Repeat readings of one age as one value; any limit among them makes the whole a limit."""
    limits = [reading for reading in readings if reading.bound != "exact"]
    numbers = sorted(reading.value for reading in readings if reading.bound == "exact" and reading.value is not None)
    if limits:
        sides = sorted(_low(reading) for reading in readings), sorted(_high(reading) for reading in readings)
        ends = [_median(side) if outcome.median else sum(side, Decimal(0)) / len(side) for side in sides]
        low, high = (float(end) if end.is_finite() else None for end in ends)
        return from_interval(low, high, portion=portion, n=len(readings))
    if not numbers:
        return OutcomeValue(None, n=len(readings), portion=portion)
    spread = _spread(numbers)
    if outcome.scale.is_ordinal:
        return OutcomeValue(float(numbers[-1]), n=len(numbers), spread=spread, portion=portion)
    middle = _median(numbers) if outcome.median else sum(numbers, Decimal(0)) / len(numbers)
    return OutcomeValue(float(middle), n=len(numbers), spread=spread, portion=portion)


def _low(reading: Reading) -> Decimal:
    low = reading.value if reading.bound == "exact" else reading.low
    return -_INFINITE if low is None else low


def _high(reading: Reading) -> Decimal:
    high = reading.value if reading.bound == "exact" else reading.high
    return _INFINITE if high is None else high


def _median(numbers: Sequence[Decimal]) -> Decimal:
    half = len(numbers) // 2
    return numbers[half] if len(numbers) % 2 else (numbers[half - 1] + numbers[half]) / 2


def _spread(numbers: Sequence[Decimal]) -> float | None:
    """The standard deviation of the readings (n - 1), None for a single one."""
    if len(numbers) < 2:
        return None
    mean = sum(numbers, Decimal(0)) / len(numbers)
    squares = sum(((number - mean) ** 2 for number in numbers), Decimal(0))
    return float((squares / (len(numbers) - 1)).sqrt())


def _between_ages(
    first: OutcomeValue, second: OutcomeValue, outcome: Outcome, *, part: float
) -> OutcomeValue | Missing:
    """The value a `part` of the way from one age's to the next: straight-line for what is measured, else in between."""
    portion, n = first.portion, min(first.n, second.n)
    if not outcome.is_interpolated:
        if first.value is None or second.value is None:
            return Missing(f"{outcome.name} is only known as limits around that age", portion)
        low, high = sorted((first.value, second.value))
        value = from_interval(low, high, portion=portion, n=n)
        return OutcomeValue(value.value, value.bound, value.low, value.high, n, None, portion, is_interpolated=True)
    low_ends = _mix(_lower(first), _lower(second), part)
    high_ends = _mix(_upper(first), _upper(second), part)
    if low_ends is None and high_ends is None:
        return Missing(f"{outcome.name} is only known as limits around that age", portion)
    value = from_interval(low_ends, high_ends, portion=portion, n=n)
    spread = _mix(first.spread, second.spread, part)
    return OutcomeValue(value.value, value.bound, value.low, value.high, n, spread, portion, is_interpolated=True)


def _lower(value: OutcomeValue) -> float | None:
    return value.value if value.bound == "exact" else value.low


def _upper(value: OutcomeValue) -> float | None:
    return value.value if value.bound == "exact" else value.high


def _mix(first: float | None, second: float | None, part: float) -> float | None:
    if first is None or second is None:
        return None
    return first + (second - first) * part


def _first_seen(by_age: dict[Decimal, list[Reading]], portion: str | None) -> OutcomeValue:
    """Between the last look that found nothing and the first that found it."""
    given = [
        reading for readings in by_age.values() for reading in readings if reading.text.strip() not in ("yes", "no")
    ]
    if given:
        return _sum_up(given, _DAYS, portion)
    seen = [age for age, readings in by_age.items() if any(reading.value for reading in readings)]
    first = min(seen, default=None)
    unseen = [age for age in by_age if age not in seen and (first is None or age < first)]
    last = max(unseen, default=None)
    n = len(by_age)
    return from_interval(
        None if last is None else float(last), None if first is None else float(first), portion=portion, n=n
    )


_DAYS = Outcome(name="first rancid spot", scale=Scale.LOG_TIME, unit="d")
