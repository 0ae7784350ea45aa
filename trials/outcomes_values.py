"""The values of an outcome in one trial, by portion: worked out from its events, or read from its observations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import inf

from trials.model import Observation, Reading, Trial
from trials.outcomes import Outcome, Scale, outcome_label
from trials.outcomes_times import Span, find_span

_INFINITE = Decimal("Infinity")


@dataclass(frozen=True, slots=True)
class OutcomeValue:
    """One value of an outcome, in the outcome's unit.

    value: the figure; None where only a limit is known. For grades it is the step (0 the first), for yes / no 1 or 0.
    bound: "exact", "above" (later than, more than `low`), "below" (`high`), or "between" the two.
    n: readings it rests on. spread: their standard deviation, None for one. portion: None for the whole trial.
    is_interpolated: whether it was read between two ages.
    """

    value: float | None
    bound: str = "exact"
    low: float | None = None
    high: float | None = None
    n: int = 1
    spread: float | None = None
    portion: str | None = None
    is_interpolated: bool = False

    @property
    def bounds(self) -> tuple[float, float]:
        """From and to, in the outcome's unit; the same where the value is exact, infinite where it is open."""
        if self.bound == "exact" and self.value is not None:
            return self.value, self.value
        return -inf if self.low is None else self.low, inf if self.high is None else self.high

    def to_json(self) -> dict[str, object]:
        return {
            "value": self.value,
            "bound": self.bound,
            "low": self.low,
            "high": self.high,
            "n": self.n,
            "spread": self.spread,
            "portion": self.portion,
            "is_interpolated": self.is_interpolated,
        }


@dataclass(frozen=True, slots=True)
class Missing:
    """Why a trial, or one portion of it, has no value of an outcome."""

    why: str
    portion: str | None = None


def outcome_values(trial: Trial, outcome: Outcome, age_days: Decimal | None = None) -> tuple[OutcomeValue, ...]:
    """The values that the trial has of an outcome: one a portion where portions differed, else one for the whole.

    age_days: for an outcome with ages; None for the first age of its definition. A value at an age is read, or
    interpolated between this trial's own readings before and after it, and never extrapolated.
    """
    found = find_values(trial, outcome, age_days)
    return tuple(value for value in found if isinstance(value, OutcomeValue))


def missing_values(trial: Trial, outcome: Outcome, age_days: Decimal | None = None) -> tuple[Missing, ...]:
    """The portions that have no value of an outcome, each with the reason."""
    found = find_values(trial, outcome, age_days)
    return tuple(value for value in found if isinstance(value, Missing))


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
    if outcome.name in ("mass loss", "colour change", "colour change beyond control"):
        from trials.outcomes_derived import derived_values

        return derived_values(trial, outcome, age_days or outcome.ages_days[0])
    return observed


def _observed(trial: Trial, outcome: Outcome, age_days: Decimal | None) -> tuple[OutcomeValue | Missing, ...]:
    """From what was written down: the whole trial's value, and those of the portions that have their own."""
    values: list[OutcomeValue | Missing] = []
    for portion in observed_portions(trial, outcome.name):
        series = [item for item in trial.observations if item.outcome == outcome.name and item.portion == portion]
        values.append(value_at(series, outcome, age_days, portion))
    return tuple(values) or (Missing(f"no {outcome.name} was recorded"),)


def observed_portions(trial: Trial, outcome: str) -> tuple[str | None, ...]:
    """The portions that have observations of an outcome, None for the whole trial first, then the trial's order."""
    have = {observation.portion for observation in trial.observations if observation.outcome == outcome}
    names: list[str | None] = [None, *(portion.name for portion in trial.portions)]
    return tuple(name for name in names if name in have)


def value_at(
    series: Sequence[Observation], outcome: Outcome, age_days: Decimal | None, portion: str | None
) -> OutcomeValue | Missing:
    """One series of observations of one portion, read at an age."""
    by_age: dict[Decimal, list[Reading]] = {}
    for observation in series:
        by_age.setdefault(observation.age_days, []).extend(observation.readings)
    if not any(by_age.values()):
        return Missing(f"no {outcome.name} was recorded", portion)
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
    if before is None or after is None:
        side = "before" if before is None else "after"
        label = outcome_label(outcome, age_days)
        return Missing(f"{label} is neither recorded nor between two readings: none {side} it", portion)
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
    if outcome.scale in (Scale.GRADED, Scale.YES_NO):
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


def from_interval(low: float | None, high: float | None, *, portion: str | None, n: int = 1) -> OutcomeValue:
    """A value known only to lie from `low` to `high`; None is no limit on that side."""
    if low is not None and high is not None:
        if low == high:
            return OutcomeValue(low, n=n, portion=portion)
        return OutcomeValue((low + high) / 2.0, "between", low, high, n=n, portion=portion)
    if low is not None:
        return OutcomeValue(None, "above", low, None, n=n, portion=portion)
    return OutcomeValue(None, "below", None, high, n=n, portion=portion)


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
