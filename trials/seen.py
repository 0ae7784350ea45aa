"""One outcome over many trials: which pour showed what, and which trials cannot speak about it and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import exp, inf, log, sqrt
from statistics import stdev

from trials.model import Trial
from trials.outcomes import Outcome, Scale
from trials.outcomes_values import Missing, OutcomeValue, find_values
from trials.portion_facts import Pour, find_facts, has_no_oils
from trials.repeats import find_repeats


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What one pour showed of an outcome."""

    pour: Pour
    value: OutcomeValue

    @property
    def bounds(self) -> tuple[float, float]:
        """From and to, in the outcome's unit; the same where the value is exact, infinite where it is open."""
        value = self.value
        if value.bound == "exact" and value.value is not None:
            return value.value, value.value
        return -inf if value.low is None else value.low, inf if value.high is None else value.high


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A trial, or one portion of it, that says nothing of the outcome, and why."""

    trial: str
    why: str
    portion: str | None = None

    def to_json(self) -> dict[str, object]:
        return {"trial": self.trial, "portion": self.portion, "why": self.why}


class PourBook:
    """The facts of every pour of some trials, each worked out once, and which of them repeat one another."""

    def __init__(self, trials: Sequence[Trial]) -> None:
        unique = {trial.id: trial for trial in trials}
        self.trials = tuple(sorted(unique.values(), key=lambda trial: (trial.made, trial.id)))
        self._known: dict[tuple[str, str | None], Pour] = {}
        self._groups: dict[tuple[str, str | None], int] = {}

    def pour(self, trial: Trial, portion: str | None) -> Pour:
        """The facts of one portion, or of the whole batter (None)."""
        key = trial.id, portion
        if key not in self._known:
            self._known[key] = find_facts(trial, portion)
        return self._known[key]

    def pours(self, trial: Trial) -> tuple[Pour, ...]:
        """One pour a portion; the whole batter when it was not divided."""
        return tuple(self.pour(trial, part.name if trial.is_divided else None) for part in trial.parts())

    def all_pours(self) -> tuple[Pour, ...]:
        """Every portion of every trial, in the order of their dates; those without any oil are passed over."""
        wanted = [(trial, part.name if trial.is_divided else None) for trial in self.trials for part in trial.parts()]
        return tuple(self.pour(trial, portion) for trial, portion in wanted if not has_no_oils(trial, portion))

    def repeat_group(self, pour: Pour) -> int:
        """A number that only pours share that repeat one another."""
        if not self._groups:
            pours = list(self.all_pours())
            divided = [trial for trial in self.trials if trial.is_divided]
            pours += [self.pour(trial, None) for trial in divided if not has_no_oils(trial, None)]
            for number, group in enumerate(find_repeats(pours)):
                for row in group:
                    self._groups[pours[row].trial.id, pours[row].portion] = number
        return self._groups[pour.trial.id, pour.portion]


def find_seen(
    book: PourBook, outcome: Outcome, age_days: Decimal | None
) -> tuple[tuple[Seen, ...], tuple[LeftOut, ...]]:
    """What every trial shows of an outcome at an age, and those that show nothing; in the order of their dates.

    A value of the whole trial belongs to the whole batter, portions and all.
    """
    seen: list[Seen] = []
    left_out: list[LeftOut] = []
    for trial in book.trials:
        for found in find_values(trial, outcome, age_days):
            if isinstance(found, Missing):
                left_out.append(LeftOut(trial.id, found.why, found.portion))
                continue
            if has_no_oils(trial, found.portion):
                left_out.append(LeftOut(trial.id, "no oil went in, as it is recorded", found.portion))
                continue
            item = Seen(book.pour(trial, found.portion), found)
            if item.bounds == (-inf, inf):
                left_out.append(LeftOut(trial.id, f"its {outcome.name} says nothing on either side", found.portion))
            else:
                seen.append(item)
    return tuple(seen), tuple(left_out)


def to_scale(value: float, scale: Scale) -> float:
    """A value on the scale on which its noise is even: the logarithm of a time, twice the root of a count."""
    if scale is Scale.LOG_TIME:
        return log(max(value, 1e-3))
    if scale is Scale.COUNT:
        return 2.0 * sqrt(max(value, 0.0) + 0.375)
    return value


def from_scale(value: float, scale: Scale) -> float:
    """A value on the even scale in the outcome's own unit: the inverse of `to_scale`."""
    if scale is Scale.LOG_TIME:
        return exp(value)
    if scale is Scale.COUNT:
        return max(value, 0.0) ** 2 / 4.0 - 0.375
    return value


def noise_in_unit(sd: float, scale: Scale, level: float) -> float:
    """A standard deviation on the even scale, in the outcome's own unit about a level."""
    if scale is Scale.LOG_TIME:
        return abs(level) * sd
    if scale is Scale.COUNT:
        return sd * sqrt(max(level, 0.0) + 0.375)
    return sd


def value_of(pour: Pour, found: Sequence[OutcomeValue | Missing]) -> OutcomeValue | Missing:
    """The value of a portion: its own, else that of the whole trial."""
    by_portion = {item.portion: item for item in found}
    return by_portion.get(pour.portion) or by_portion.get(None) or Missing("nothing was recorded for it")


def short_names(ids: Sequence[str]) -> dict[str, str]:
    """The shortest ending of each id that tells it from the others: `k7wq`."""
    endings = {name: name.rpartition("-")[2] for name in ids}
    taken = list(endings.values())
    return {name: ending if taken.count(ending) == 1 else name for name, ending in endings.items()}


def scent_percent(pour: Pour) -> float:
    """All scent in a pour, in percent of its oils."""
    return sum(value for aspect, value in pour.facts.items() if aspect.kind == "scent" and isinstance(value, float))


def aggregate(values: Sequence[OutcomeValue], outcome: Outcome) -> OutcomeValue | None:
    """The values of repeats as one: their mean, n and spread; a limit among them makes the whole a limit."""
    if len(values) < 2:
        return values[0] if values else None
    portion = values[0].portion
    if all(value.bound == "exact" and value.value is not None for value in values):
        figures = [value.value for value in values if value.value is not None]
        return OutcomeValue(mean_of(figures, outcome), n=len(figures), spread=stdev(figures), portion=portion)
    lows = [value.value if value.bound == "exact" else value.low for value in values]
    highs = [value.value if value.bound == "exact" else value.high for value in values]
    known_lows = [low for low in lows if low is not None]
    known_highs = [high for high in highs if high is not None]
    low = mean_of(known_lows, outcome) if len(known_lows) == len(lows) else None
    high = mean_of(known_highs, outcome) if len(known_highs) == len(highs) else None
    if low is None and high is None:
        return None
    bound = "between" if low is not None and high is not None else "above" if low is not None else "below"
    middle = None if low is None or high is None else (low + high) / 2
    return OutcomeValue(middle, bound, low, high, n=len(values), portion=portion)


def mean_of(figures: Sequence[float], outcome: Outcome) -> float:
    """The mean of some figures on the scale on which their noise is even."""
    if outcome.scale is Scale.LOG_TIME and min(figures) > 0:
        return exp(sum(log(figure) for figure in figures) / len(figures))
    return sum(figures) / len(figures)


def pours_label(pours: Sequence[Pour], names: Mapping[str, str]) -> str:
    """What repeats are called together: `k7wq +2`, `k7wq clove`. names: trial id -> short name."""
    label = names[pours[0].trial.id]
    if len(pours) > 1:
        label += f" +{len(pours) - 1}"
    return label if pours[0].portion is None else f"{label} {pours[0].portion}"
