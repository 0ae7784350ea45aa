"""The answer: how likely each candidate is to have done it, what it did, and how far to trust that."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np

from trials.explain.aliases import NearAlias
from trials.explain.latent import from_working_scale
from trials.explain.normal import FloatArray
from trials.explain.posterior import Posterior
from trials.explain.problem import Scale

ENOUGH = 0.8  # a group must reach this to be named as the cause
SUSPECTED = 0.9  # chance that the suspect set holds a cause

Why: TypeAlias = Literal["no-rows", "one-row", "two-rows", "no-factors", "nothing-varies", "all-equal", "all-censored"]

_WORDS: dict[Why, str] = {
    "no-rows": "this outcome was never observed",
    "one-row": "one trial alone cannot be compared with anything",
    "two-rows": "two trials show a difference, but not how much repeats differ",
    "no-factors": "no factor is recorded",
    "nothing-varies": "nothing that is recorded differed between these trials",
    "all-equal": "every trial gave the same result, so there is nothing to explain",
    "all-censored": "the outcome was never reached in any trial, so no difference was seen",
}


@dataclass(frozen=True, slots=True)
class NoAnswer:
    """A plain reason why there is nothing to answer. `what` is a sentence without its full stop."""

    why: Why
    rows: int

    @property
    def what(self) -> str:
        """The reason in words."""
        return _WORDS[self.why]


@dataclass(frozen=True, slots=True)
class Effect:
    """A middle value with the interval that holds the truth with 90 %."""

    middle: float
    low: float
    high: float

    def scaled(self, factor: float) -> Effect:
        """The same effect per `factor` times as much."""
        ends = sorted((self.low * factor, self.high * factor))
        return Effect(self.middle * factor, ends[0], ends[1])


@dataclass(frozen=True, slots=True)
class Candidate:
    """Factors that moved together in every row: one candidate.

    names: all of them; more than one cannot be told apart. probability: that it is a cause, alone or together
    with another. alone: that it acts by itself. effects: for each name the effect of one step on the working
    scale, given that it is a cause; None when it was practically never one. or_together: pairs of candidates
    whose acting only together would look exactly the same in these rows.
    """

    names: tuple[str, ...]
    probability: float
    alone: float
    effects: tuple[Effect, ...] | None
    or_together: tuple[tuple[int, int], ...] = ()

    @property
    def effect(self) -> Effect | None:
        """The effect of one step of the first name."""
        return None if self.effects is None else self.effects[0]


@dataclass(frozen=True, slots=True)
class Together:
    """Two candidates that act only, or more, when both are off base. effect: of one step of each, beyond their own."""

    first: int
    second: int
    probability: float
    effect: Effect | None
    or_together: tuple[tuple[int, int], ...] = ()

    @property
    def pairs(self) -> tuple[tuple[int, int], ...]:
        """The two, and all other pairs that would look exactly the same in these rows."""
        return ((self.first, self.second), *self.or_together)


@dataclass(frozen=True, slots=True)
class Cause:
    """An entry of the answer: one candidate, or two that act together. Numbers index `EngineAnswer.candidates`."""

    candidates: tuple[int, ...]
    names: tuple[tuple[str, ...], ...]
    probability: float
    effect: Effect | None
    or_together: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Suspects:
    """The fewest candidates of which at least one is a cause with the probability given."""

    candidates: tuple[int, ...]
    probability: float


@dataclass(frozen=True, slots=True)
class NoiseFound:
    """How much pours differ when nothing differs, on the working scale; `repeats` tells whether repeats were known."""

    sd: Effect
    repeats: bool
    prior_sd: float


@dataclass(frozen=True, slots=True)
class RowSupport:
    """A row that speaks for (above 0) or against (below 0) a candidate, in natural log units of odds."""

    row: int
    weight: float


@dataclass(frozen=True, slots=True)
class MainReason:
    """Which of the changes between two rows moved the outcome most.

    chances: (candidate, probability) of those that changed, most likely first; nothing: that none moved it
    noticeably.
    """

    chances: tuple[tuple[int, float], ...]
    nothing: float


@dataclass(frozen=True, slots=True, eq=False)
class EngineAnswer:
    """What did it, with honest odds. Rows and names are in the order in which the problem gave them.

    candidates: most likely first. together: pairs with a probability above 1 %. nothing: that nothing
    recorded did it. botched: for each row the chance that its whole batch went wrong. level: the outcome at
    the base, working scale. suspects: None when a cause at all is less likely than 90 %. error: Monte
    Carlo standard error of the probabilities (0 when summed exactly).
    """

    scale: Scale
    rows: int
    candidates: tuple[Candidate, ...]
    together: tuple[Together, ...]
    nothing: float
    noise: NoiseFound
    botched: tuple[float, ...]
    level: Effect
    suspects: Suspects | None
    near_aliases: tuple[NearAlias, ...]
    error: float
    posterior: Posterior = field(repr=False)

    @property
    def enough_evidence(self) -> bool:
        """Whether a cause reaches 80 %."""
        return any(cause.probability >= ENOUGH for cause in self.causes)

    @property
    def causes(self) -> tuple[Cause, ...]:
        """The candidates as entries of an answer, most likely first; two that act only together are one entry."""
        pairs = [
            pair
            for pair in self.together
            if pair.probability
            >= 0.5 * max(self.candidates[pair.first].probability, self.candidates[pair.second].probability)
        ]
        taken: set[int] = set()
        found: list[Cause] = []
        for pair in sorted(pairs, key=lambda pair: -pair.probability):
            if pair.first in taken or pair.second in taken:
                continue
            taken |= {pair.first, pair.second}
            both = (pair.first, pair.second)
            names = tuple(self.candidates[k].names for k in both)
            found.append(Cause(both, names, pair.probability, pair.effect, pair.or_together))
        for k, candidate in enumerate(self.candidates):
            if k not in taken:
                found.append(
                    Cause((k,), (candidate.names,), candidate.probability, candidate.effect, candidate.or_together)
                )
        return tuple(sorted(found, key=lambda cause: (-cause.probability, cause.candidates)))

    def in_own_unit(self, effect: Effect) -> Effect:
        """An effect of one step from the base in the outcome's own unit (minutes, counts); grades stay hidden units."""
        start = np.array([self.level.middle] * 3)
        moved = from_working_scale(start + np.array([effect.middle, effect.low, effect.high]), self.scale)
        change = moved - from_working_scale(start, self.scale)
        return Effect(float(change[0]), float(change[1]), float(change[2]))

    def support(self, candidate: int) -> tuple[RowSupport, ...]:
        """The rows that speak for and against a candidate, strongest first."""
        weights = self.posterior.row_support(candidate)
        order = np.argsort(-np.abs(weights), kind="stable")
        return tuple(RowSupport(int(row), float(weights[row])) for row in order if abs(weights[row]) > 0.05)

    def main_reason(self, row: int, against: int) -> MainReason:
        """Which change moved `row` against the row `against`; below half a noise sd nothing did."""
        chances, nothing = self.posterior.main_reason(row, against)
        order = sorted(chances, key=lambda item: (-item[1], item[0]))
        return MainReason(tuple(order), nothing)


def interval(values: FloatArray, weights: FloatArray | None = None) -> Effect:
    """The weighted mean with the 5 % and 95 % points of drawn values."""
    if weights is None:
        low, high = np.quantile(values, [0.05, 0.95])
        return Effect(float(values.mean()), float(low), float(high))
    order = np.argsort(values, kind="stable")
    ladder = np.cumsum(weights[order])
    place = (ladder - 0.5 * weights[order]) / ladder[-1]
    low, high = np.interp([0.05, 0.95], place, values[order])
    return Effect(float(np.average(values, weights=weights)), float(low), float(high))
