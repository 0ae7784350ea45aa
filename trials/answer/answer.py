"""The answer to "which tweak did it" as data: causes with chances, effects in the outcome's unit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from trials.factors.factors import Factor, FactorTable
from trials.outcomes.outcome import Outcome
from trials.outcomes.value import OutcomeValue
from trials.pours.noise import RepeatNoise
from trials.pours.seen import LeftOut, Seen
from trials.trial.model import Trial

if TYPE_CHECKING:
    from trials.explain.result import EngineAnswer

ENOUGH = 0.8  # a group must reach this to be called the likely cause
WORTH_A_LINE = 0.02
SEVERAL_AT_WORK = "Several can be at work at once, so chances need not add to 100 %."
INTERVALS = "Intervals hold the true effect in 9 of 10 cases (90 %)."


@dataclass(frozen=True, slots=True)
class Counts:
    """In how many of the pours with something, and in how many of the rest, a grade or a yes was seen.

    what: `yes`, `up to a quarter or more`. words, rest_words: which pours these are.
    """

    what: str
    seen: int
    of: int
    words: str
    rest_seen: int
    rest_of: int
    rest_words: str

    def to_json(self) -> dict[str, object]:
        return {
            "what": self.what,
            "seen": self.seen,
            "of": self.of,
            "which": self.words,
            "rest_seen": self.rest_seen,
            "rest_of": self.rest_of,
            "rest": self.rest_words,
        }


@dataclass(frozen=True, slots=True)
class FactorEffect:
    """What one step of a factor does when it is a cause.

    effect, low, high: in the outcome's own unit at the usual level, with the interval that holds it with 90 %; None
    where the outcome has grades and so no unit. direction: "up", "down" or "" where it cannot be said.
    per: the step in words. even_chance_becomes: for grades, the chance of passing one after a step where it was one
    half before, with its interval; None elsewhere. counts: of grades and yes / no, how often a
    higher grade, or yes, was seen.
    """

    factor: str
    effect: float | None
    low: float | None
    high: float | None
    per: str
    direction: str
    even_chance_becomes: tuple[float, float, float] | None = None
    counts: Counts | None = None

    def to_json(self) -> dict[str, object]:
        chance = self.even_chance_becomes
        return {
            "factor": self.factor,
            "effect": self.effect,
            "low": self.low,
            "high": self.high,
            "per": self.per,
            "direction": self.direction,
            "even_chance_becomes": None
            if chance is None
            else {"chance": chance[0], "low": chance[1], "high": chance[2]},
            "counts": None if self.counts is None else self.counts.to_json(),
        }


@dataclass(frozen=True, slots=True)
class Support:
    """A pour that speaks for a cause (weight above 0) or against it, in natural log units of odds."""

    trial: str
    portion: str | None
    weight: float

    def to_json(self) -> dict[str, object]:
        return {"trial": self.trial, "portion": self.portion, "weight": self.weight}


@dataclass(frozen=True, slots=True)
class Partner:
    """Factors that cannot be told apart, only or more together with which something else may act.

    probability: how likely that is. effect: of one step of each, beyond what they do by themselves. rests_on: ids of
    the one trial, or the trials of one sitting, without which it would not be likelier than not.
    """

    names: tuple[str, ...]
    probability: float
    effect: FactorEffect | None = None
    rests_on: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        effect = None if self.effect is None else self.effect.to_json()
        return {
            "factors": list(self.names),
            "probability": self.probability,
            "effect": effect,
            "rests_on": list(self.rests_on),
        }


@dataclass(frozen=True, slots=True)
class LikelyCause:
    """One candidate: factors that cannot be told apart, or two groups that act only together.

    groups: one group of names, or two that act only together. effects: one a factor of the first group.
    rests_on: ids of the one trial, or the trials of one sitting, without which it would not be likelier than not, since
    it moved far in these and hardly elsewhere. Then it is not called the likely cause, however likely: it cannot be
    told from the luck of that day.
    alone: of a single one, how likely it acts by itself; partners: what it may act only, or more, together with, most
    likely first. is_partner: that it is likely only as the partner of one that is surer, and so not named by itself.
    or_pairs: of two that act only together, other pairs that would look exactly the same in these trials.
    """

    groups: tuple[tuple[str, ...], ...]
    probability: float
    effects: tuple[FactorEffect, ...]
    speaks_for: tuple[Support, ...]
    speaks_against: tuple[Support, ...]
    rests_on: tuple[str, ...] = ()
    alone: float | None = None
    partners: tuple[Partner, ...] = ()
    is_partner: bool = False
    or_pairs: tuple[tuple[tuple[str, ...], tuple[str, ...]], ...] = ()

    @property
    def is_likely(self) -> bool:
        """Whether it may be called the likely cause: 80 % and more, and not from one trial or sitting alone."""
        return self.probability >= ENOUGH and not self.rests_on and not self.is_partner

    @property
    def is_mostly_together(self) -> bool:
        """Whether most of its chance is that it acts only with something else."""
        return bool(self.partners) and self.alone is not None and self.alone < 0.5 * self.probability

    @property
    def is_told_apart(self) -> bool:
        """Whether it is one thing, or one pair, and nothing else would look the same."""
        return not self.or_pairs and all(len(group) == 1 for group in self.groups)

    @property
    def rests_on_one_trial(self) -> bool:
        """Whether one trial alone speaks for it."""
        return len(self.rests_on) == 1

    @property
    def factors(self) -> tuple[str, ...]:
        """All names, also of what would look the same."""
        pairs = (self.groups, *self.or_pairs)
        return tuple(dict.fromkeys(name for groups in pairs for group in groups for name in group))

    @property
    def is_together(self) -> bool:
        """Whether it is two things that act only together."""
        return len(self.groups) > 1

    @property
    def main_effect(self) -> FactorEffect | None:
        """The effect of the first factor."""
        return self.effects[0] if self.effects else None

    def to_json(self) -> dict[str, object]:
        effect = self.main_effect
        return {
            "factors": list(self.factors),
            "groups": [list(group) for group in self.groups],
            "or_groups": [[list(group) for group in pair] for pair in self.or_pairs],
            "only_together": self.is_together,
            "alone": self.alone,
            "partners": [partner.to_json() for partner in self.partners],
            "rests_on_one_trial": self.rests_on_one_trial,
            "rests_on": list(self.rests_on),
            "probability": self.probability,
            "effect": None if effect is None else effect.effect,
            "low": None if effect is None else effect.low,
            "high": None if effect is None else effect.high,
            "per": None if effect is None else effect.per,
            "direction": None if effect is None else effect.direction,
            "effects": [item.to_json() for item in self.effects],
            "for": [item.to_json() for item in self.speaks_for],
            "against": [item.to_json() for item in self.speaks_against],
        }


@dataclass(frozen=True, slots=True)
class SuspectSet:
    """The fewest candidates of which one at least is a cause, with the probability given."""

    groups: tuple[tuple[str, ...], ...]
    probability: float

    def to_json(self) -> dict[str, object]:
        return {"groups": [list(group) for group in self.groups], "probability": self.probability}


@dataclass(frozen=True, slots=True)
class NearTwins:
    """Two candidates that moved nearly together; correlation: from -1 to 1."""

    first: tuple[str, ...]
    second: tuple[str, ...]
    correlation: float

    def to_json(self) -> dict[str, object]:
        return {"first": list(self.first), "second": list(self.second), "correlation": self.correlation}


@dataclass(frozen=True, slots=True)
class Botched:
    """A trial that fits nothing else, as if it had gone wrong as a whole, with the chance of that."""

    trial: str
    probability: float

    def to_json(self) -> dict[str, object]:
        return {"trial": self.trial, "probability": self.probability}


@dataclass(frozen=True, slots=True)
class ChangedFactor:
    """What differed between two pours: a factor with its value in the one and in the other, in its unit."""

    name: str
    before: float
    after: float
    unit: str

    def to_json(self) -> dict[str, object]:
        return {"factor": self.name, "before": self.before, "after": self.after, "unit": self.unit}


@dataclass(frozen=True, slots=True)
class MovedTrial:
    """Which change moved one trial against the pour that it came from.

    trial, against: what the two pours are called. chances: group -> probability that it was the main reason, most
    likely first. nothing: that no change moved it noticeably, which is certain where both showed the same, or may have.
    went_wrong: that one of the two, called `odd`, fits nothing else, as if its batch had gone wrong as a whole; 0 where
    that is far from likely. before, after: the outcome of the two. changed: all that differed between them.
    """

    trial: str
    against: str
    chances: tuple[tuple[tuple[str, ...], float], ...]
    nothing: float
    went_wrong: float
    odd: str
    before: OutcomeValue
    after: OutcomeValue
    changed: tuple[ChangedFactor, ...] = ()

    def to_json(self) -> dict[str, object]:
        return {
            "trial": self.trial,
            "against": self.against,
            "chances": [{"factors": list(names), "probability": chance} for names, chance in self.chances],
            "nothing": self.nothing,
            "went_wrong": self.went_wrong,
            "odd": self.odd or None,
            "before": self.before.to_json(),
            "after": self.after.to_json(),
            "changed": [item.to_json() for item in self.changed],
        }


@dataclass(frozen=True, slots=True)
class TookOver:
    """A lot that took over on a day: every pour since has it, and none before.

    if_nothing_drifted: how likely it is a cause if nothing else has changed with time; a drift looks nearly the same.
    """

    factor: str
    since: date
    if_nothing_drifted: float

    def to_json(self) -> dict[str, object]:
        return {
            "factor": self.factor,
            "since": self.since.isoformat(),
            "if_nothing_drifted": self.if_nothing_drifted,
        }


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """Which of the things that varied did it, and how sure one can be.

    seen: what was observed, one a pour. left_out: trials that say nothing, and why. no_answer: a plain reason why there
    is nothing to weigh, None where there is an answer; advice: what would help then. nothing: probability that nothing
    recorded did it. noise: of repeats. noise_sd: as found with everything else, in the outcome's unit; level: about
    which it and the effects are told. took_over: lots that did on a day. to_tell_apart: the pour that would tell most,
    where the bench was asked. moved: which change moved the one trial that was asked about; not_moved: why that cannot
    be said. in_numbers: the numbers behind it.
    """

    outcome: Outcome
    age_days: Decimal | None
    label: str
    seen: tuple[Seen, ...]
    left_out: tuple[LeftOut, ...]
    table: FactorTable
    noise: RepeatNoise | None
    level: float
    no_answer: str | None = None
    advice: str | None = None
    nothing: float | None = None
    causes: tuple[LikelyCause, ...] = ()
    suspects: SuspectSet | None = None
    near_twins: tuple[NearTwins, ...] = ()
    botched: tuple[Botched, ...] = ()
    took_over: tuple[TookOver, ...] = ()
    cannot_act: tuple[str, ...] = ()
    noise_sd: float | None = None
    to_tell_apart: str | None = None
    without_botched: Answer | None = None
    moved: MovedTrial | None = None
    not_moved: str | None = None
    in_numbers: EngineAnswer | None = field(default=None, repr=False)

    @property
    def trials(self) -> tuple[Trial, ...]:
        """The trials that it rests on."""
        return tuple({item.pour.trial.id: item.pour.trial for item in self.seen}.values())

    @property
    def enough_evidence(self) -> bool:
        """Whether a cause reaches 80 %, from more than one trial and sitting."""
        return any(cause.is_likely for cause in self.causes)

    @property
    def adds_to_more_than_all(self) -> bool:
        """Whether the chances add to more than 100 %, to the whole percent: several causes can be at work at once."""
        return round(100 * sum(cause.probability for cause in self.causes)) > 100

    @property
    def has_intervals(self) -> bool:
        """Whether any effect is told with the interval that holds it."""
        effects = [effect for cause in self.causes for effect in cause.effects]
        return any(effect.low is not None or effect.even_chance_becomes is not None for effect in effects)

    @property
    def limits(self) -> int:
        """How many pours are only known to lie beyond a limit."""
        return sum(item.value.bound in ("above", "below") for item in self.seen)

    def factor(self, name: str) -> Factor:
        """A factor by its name."""
        return self.table.factor(name)
