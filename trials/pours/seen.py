"""One outcome over many trials: which pour showed what, and which trials cannot speak about it and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import inf
from statistics import stdev

from trials.as_made.unknown_weights import why_nothing_compares
from trials.factors.portion_facts import Pour
from trials.outcomes.find import find_values
from trials.outcomes.outcome import Outcome
from trials.outcomes.value import Missing, OutcomeValue
from trials.pours.even_scale import mean_of
from trials.pours.pour_book import PourBook


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What one pour showed of an outcome."""

    pour: Pour
    value: OutcomeValue


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A trial, or one portion of it, that says nothing of the outcome, and why."""

    trial: str
    why: str
    portion: str | None = None

    def to_json(self) -> dict[str, object]:
        return {"trial": self.trial, "portion": self.portion, "why": self.why}


def left_out_labels(left_out: Sequence[LeftOut], names: Mapping[str, str]) -> tuple[str, ...]:
    """What was left out as it is called: `k7wq`, or `k7wq clove` for one portion. names: trial id -> short name."""
    found = (f"{names.get(item.trial, item.trial)} {item.portion or ''}".rstrip() for item in left_out)
    return tuple(dict.fromkeys(found))


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
            unlike = why_nothing_compares(trial, found.portion)
            if unlike:
                left_out.append(LeftOut(trial.id, unlike, found.portion))
                continue
            item = Seen(book.pour(trial, found.portion), found)
            if found.bounds == (-inf, inf):
                left_out.append(LeftOut(trial.id, f"its {outcome.name} says nothing on either side", found.portion))
            else:
                seen.append(item)
    return tuple(seen), tuple(left_out)


def value_of(pour: Pour, found: Sequence[OutcomeValue | Missing]) -> OutcomeValue | Missing:
    """The value of a portion: its own, else that of the whole trial."""
    by_portion = {item.portion: item for item in found}
    return by_portion.get(pour.portion) or by_portion.get(None) or Missing("nothing was recorded for it")


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
