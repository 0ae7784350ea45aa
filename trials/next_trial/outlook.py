"""What each explanation expects of a pour: a figure with its range, or of grades how likely each is."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from math import inf, log2
from statistics import NormalDist
from typing import TYPE_CHECKING

from trials.answer.answer import Answer
from trials.pours.even_scale import from_scale
from trials.pours.sentences import places

if TYPE_CHECKING:
    from trials.explain.next_run import Outlook

_PARTS = 20  # of a face, as shares of it are read by eye
_WORTH_A_LINE = 0.05
_WORTH_A_LINE_BESIDES = 0.02
_MOST_LINES = 4
WORTH_A_WORD = 0.1  # a grade less likely is not foretold
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Expected:
    """What an explanation expects of a trial.

    causes: groups of names, two that act together in one; none where nothing recorded did it. probability: of the
    explanation. value, low, high: the outcome in its unit with the interval that holds it with 90 %; None for grades
    and yes / no. grades: for these each that was seen so far, by its step (yes is 1), with how likely it is.
    """

    causes: tuple[tuple[str, ...], ...]
    probability: float
    value: float | None
    low: float | None
    high: float | None
    grades: tuple[tuple[int, float], ...] = ()

    def to_json(self) -> dict[str, object]:
        return {
            "causes": list(dict.fromkeys(name for group in self.causes for name in group)),
            "together": [list(group) for group in self.causes if len(group) > 1],
            "probability": self.probability,
            "value": self.value,
            "low": self.low,
            "high": self.high,
            "grades": [{"grade": grade, "probability": chance} for grade, chance in self.grades],
        }


def make_expected(answer: Answer, outlooks: Sequence[Outlook]) -> tuple[Expected, ...]:
    """Outlooks on the even scale in the outcome's own unit, or in its grades."""
    if answer.outcome.scale.is_ordinal:
        cuts = _cuts(answer)
        return tuple(
            Expected(one.causes, one.probability, None, None, None, _grades(cuts, one.middle, one.spread))
            for one in outlooks
        )
    found = []
    for one in outlooks:
        told = one.outcome
        value, start, end = (from_scale(figure, answer.outcome.scale) for figure in (told.middle, told.low, told.high))
        found.append(Expected(one.causes, one.probability, value, start, end))
    return tuple(found)


def choose_told(
    answer: Answer, expected: Sequence[Expected], tests: Sequence[Collection[str]], besides: Collection[str] = ()
) -> tuple[Expected, ...]:
    """The explanations that a maker is told of, likeliest first.

    The likeliest ones; of what the pour tests always the likeliest that holds it responsible, and the likeliest that
    holds none of it so, however unlikely; and where all these expect the same, the one that expects what is most
    different. tests: sets of names, of each of which one is enough. besides: names of what else is unusual in the pour,
    of which one is told that is not all too unlikely.
    """
    told = {place for place, item in enumerate(expected) if item.probability >= _WORTH_A_LINE and place < _MOST_LINES}
    named = [{name for group in item.causes for name in group} for item in expected]
    for names in tests:
        told.update([place for place, one in enumerate(named) if not one.isdisjoint(names)][:1])
    also = [place for place, one in enumerate(named) if not one.isdisjoint(besides)][:1]
    told.update(place for place in also if expected[place].probability >= _WORTH_A_LINE_BESIDES)
    tested = {name for names in tests for name in names}
    told.update([place for place, one in enumerate(named) if one.isdisjoint(tested)][:1])
    shown = [_shown(answer, item) for item in expected]
    first = min(told, default=0)
    if len({shown[place] for place in told}) == 1:
        others = [place for place, one in enumerate(shown) if one != shown[first]]
        told.update(sorted(others, key=lambda place: -_apart(expected[place], expected[first]))[:1])
    return tuple(expected[place] for place in sorted(told))


def _shown(answer: Answer, expected: Expected) -> tuple[object, ...]:
    """What an explanation expects, as finely as it is told."""
    if expected.value is None:
        return tuple((grade, round(chance, 2)) for grade, chance in expected.grades if chance >= WORTH_A_WORD)
    figures = (expected.value, expected.low or 0.0, expected.high or 0.0)
    return tuple(round(figure, places(answer.outcome)) for figure in figures)


def _apart(one: Expected, other: Expected) -> float:
    """How far two explanations are apart in what they expect."""
    grades = sum(abs(chance - rest) for (_, chance), (_, rest) in zip(one.grades, other.grades, strict=True))
    return grades + abs((one.value or 0.0) - (other.value or 0.0))


def grade_bits(expected: Sequence[Expected]) -> float:
    """Bits that the grade of a pour is expected to tell about which explanation is true.

    A grade is all that is seen of its hidden value: a pour that would show the same one whatever is true tells nothing.
    """
    return _bits([(item.probability, [chance for _, chance in item.grades]) for item in expected])


def share_bits(outlooks: Sequence[Outlook]) -> float:
    """The same of a share of the face, as it is read: none, all, or to the next of twenty parts between."""
    cuts = [100.0 * (part + 0.5) / _PARTS for part in range(_PARTS)]
    read = []
    for one in outlooks:
        below = [0.0, *(_NORMAL.cdf((cut - one.middle) / one.spread) for cut in cuts), 1.0]
        read.append((one.probability, [end - start for start, end in pairwise(below)]))
    return _bits(read)


def _bits(read: Sequence[tuple[float, Sequence[float]]]) -> float:
    """Of each explanation its probability, and how likely each thing that can be read is under it."""
    whole = sum(probability for probability, _ in read)
    bits = 0.0
    for chances in zip(*(under for _, under in read), strict=True):
        mixed = sum(probability * chance for (probability, _), chance in zip(read, chances, strict=True))
        bits += sum(
            probability * chance * log2(chance * whole / mixed)
            for (probability, _), chance in zip(read, chances, strict=True)
            if chance > 0
        )
    return max(bits, 0.0)


def _grades(
    levels_and_cuts: tuple[Sequence[int], Sequence[float]], middle: float, spread: float
) -> tuple[tuple[int, float], ...]:
    """How likely each grade that was seen is, for a hidden value with that mean and standard deviation."""
    levels, cuts = levels_and_cuts
    below = [0.0, *(_NORMAL.cdf((cut - middle) / spread) for cut in cuts), 1.0]
    return tuple((level, end - start) for level, (start, end) in zip(levels, pairwise(below), strict=True))


def _cuts(answer: Answer) -> tuple[list[int], list[float]]:
    """The grades that were seen, and the borders between them on the hidden scale: halfway between their pours."""
    if answer.in_numbers is None:
        return [], []
    posterior = answer.in_numbers.posterior
    hidden = [float(value) for value in posterior.values[posterior.rows]]
    bounds = [item.value.bounds for item in answer.seen]
    levels = sorted({round(end) for pair in bounds for end in pair if abs(end) < inf})
    cuts: list[float] = []
    for lower, upper in pairwise(levels):
        under = [value for value, (_, high) in zip(hidden, bounds, strict=True) if high <= lower]
        over = [value for value, (low, _) in zip(hidden, bounds, strict=True) if low >= upper]
        cuts.append(0.5 * (max(under, default=min(hidden)) + min(over, default=max(hidden))))
    return levels, list(accumulate(cuts, max))
