"""Trials compared: a small closed format that tables, sentences and JSON only read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from formulary.finding import Finding
from formulary.temperature import CELSIUS, told_unit, told_value
from trials.factors.portion_facts import Aspect, Fact, Pour, shown_fact
from trials.outcomes.outcome import Outcome
from trials.outcomes.value import OutcomeValue
from trials.pours.contrast import Contrast
from trials.pours.noise import RepeatNoise
from trials.trial.model import Trial

DONE = "1 if done"  # the unit of what was done or not
SLIGHT = 0.5  # of a step: a condition that moved by less is told last, and does not make a second change


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One thing compared: a portion of a trial, or repeats of it put together.

    label: short and unique among the columns. is_control: an unscented portion beside scented ones.
    """

    label: str
    pours: tuple[Pour, ...]
    is_control: bool = False

    @property
    def trial(self) -> Trial:
        """The first trial of the column."""
        return self.pours[0].trial

    def to_json(self) -> dict[str, object]:
        return {
            "label": self.label,
            "trial": self.trial.id,
            "portion": self.pours[0].portion,
            "recipe": self.trial.recipe,
            "version": self.trial.version,
            "made": self.trial.made.isoformat(),
            "repeats": [pour.trial.id for pour in self.pours],
            "is_control": self.is_control,
        }


@dataclass(frozen=True, slots=True)
class ComparedFactor:
    """One thing about how the columns were made.

    values: one a column; a number in `unit`, a word, or None where it was not recorded.
    rarity: part of all pairs of pours in the formulary that differ in it by as much; None where there are too few.
    is_slight: a condition that moved by less than half a step. told_in: what people are told temperatures in.
    """

    factor: str
    unit: str
    kind: str
    places: int
    values: tuple[float | str | None, ...]
    rarity: float | None = None
    is_slight: bool = False
    told_in: str = CELSIUS

    @classmethod
    def of(cls, aspect: Aspect, name: str, facts: Iterable[Fact], told_in: str) -> ComparedFactor:
        """What is known of an aspect by that name, a fact a column."""
        step = aspect.step_of
        unit = DONE if aspect.step == "done" else step.unit
        return cls(name, unit, aspect.kind, step.places, tuple(shown_fact(fact) for fact in facts), told_in=told_in)

    @property
    def unit_words(self) -> str:
        """The unit as it stands beside a value; empty for what has none, and for what was done or not."""
        return "" if self.unit == DONE else told_unit(self.unit, self.told_in)

    def told(self, value: float) -> float:
        """A value in the unit that people are told it in."""
        return told_value(value, self.unit, self.told_in)

    def to_json(self) -> dict[str, object]:
        return {
            "factor": self.factor,
            "unit": self.unit,
            "kind": self.kind,
            "values": list(self.values),
            "rarity": self.rarity,
        }


@dataclass(frozen=True, slots=True)
class ComparedLye:
    """An alkali, or the water to weigh, over the columns: grams for 1000 g of oils, None where no oil went in.

    differs: whether by more than the rounding of a scale.
    """

    weighed: str
    values: tuple[float | None, ...]
    differs: bool

    def to_json(self) -> dict[str, object]:
        return {"weighed": self.weighed, "grams": list(self.values), "differs": self.differs}


@dataclass(frozen=True, slots=True, eq=False)
class ComparedOutcome:
    """One outcome at one age over the columns. level: about which the noise is told, in the outcome's unit."""

    outcome: Outcome
    age_days: Decimal | None
    label: str
    values: tuple[OutcomeValue | None, ...]
    missing: tuple[str | None, ...]
    noise: RepeatNoise | None
    level: float

    @property
    def is_usual(self) -> bool:
        """Whether it is at its first age, and not the bare masses."""
        return self.outcome.name != "mass" and (
            not self.outcome.ages_days or self.age_days == self.outcome.ages_days[0]
        )

    @property
    def tells(self) -> bool:
        """Whether it is worth a line: more than limits on one side, at its first age, and not the bare masses."""
        return self.is_usual and any(value is not None and value.bound in ("exact", "between") for value in self.values)

    def to_json(self) -> dict[str, object]:
        return {
            "outcome": self.label,
            "unit": self.outcome.unit,
            "scale": self.outcome.scale.value,
            "values": [
                {"value": None, "bound": "missing", "n": 0, "spread": None, "portion": None, "why": why}
                if value is None
                else value.to_json()
                for value, why in zip(self.values, self.missing, strict=True)
            ],
            "noise": None if self.noise is None else _noise_json(self.noise, self.level),
        }


@dataclass(frozen=True, slots=True, eq=False)
class OneChange:
    """Two pours of the formulary that differ in nothing recorded but one thing, and what that did.

    contrasts: in outcomes that it can have acted on. slight: conditions that differed, too, by less than half a step.
    """

    before: str
    after: str
    factor: ComparedFactor
    contrasts: tuple[Contrast, ...]
    slight: tuple[ComparedFactor, ...] = ()

    def to_json(self) -> dict[str, object]:
        return {
            "before": self.before,
            "after": self.after,
            "factor": self.factor.to_json(),
            "slight": [factor.to_json() for factor in self.slight],
            "outcomes": [contrast.to_json() for contrast in self.contrasts],
        }


@dataclass(frozen=True, slots=True, eq=False)
class ComparedTrials:
    """Trials side by side.

    factors: what differed, the most unusual difference first; alike: what did not, of which `hidden` is the count.
    lye: as weighed for the same mass of oils, whether it differed or not. are_repeats: whether all columns repeat one
    another, so that only what always differs a little did.
    controls: scented portions against the unscented one of their own trial; contrasts: every later column against
    the first. came_after: outcomes on which nothing that differed can have acted, since it came too late.
    remarks: what was not recorded. stops: what makes one of the trials unsafe, with its name.
    unread: trials of the formulary that could not be read,
    so that their noise is not counted.
    """

    columns: tuple[Column, ...]
    factors: tuple[ComparedFactor, ...]
    alike: tuple[ComparedFactor, ...]
    lye: tuple[ComparedLye, ...]
    outcomes: tuple[ComparedOutcome, ...]
    controls: tuple[tuple[Column, Column, tuple[Contrast, ...]], ...]
    contrasts: tuple[tuple[Contrast, ...], ...]
    one_changes: tuple[OneChange, ...]
    came_after: tuple[str, ...]
    remarks: tuple[str, ...]
    stops: tuple[tuple[str, Finding], ...] = ()
    unread: tuple[Finding, ...] = ()
    are_repeats: bool = False

    def is_told(self, outcome: ComparedOutcome) -> bool:
        """Whether an outcome has a line of its own; of repeats limits have, too, since there is little else to see."""
        return outcome.tells or (self.are_repeats and outcome.is_usual)

    @property
    def hidden(self) -> int:
        """How many things are alike in all columns."""
        return len(self.alike) + sum(not row.differs for row in self.lye)


def _noise_json(noise: RepeatNoise, level: float) -> dict[str, object]:
    """A noise with its standard deviation in the outcome's own unit about a level."""
    return {
        "sd": noise.in_unit(level),
        "repeats": noise.repeats,
        "loaves": noise.loaves,
        "degrees": noise.degrees,
        "assumed": noise.is_assumed,
    }
