"""An outcome, on which trials are compared: its unit, scale, direction, ages and how to measure it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from enum import Enum

from formulary.quantity import format_decimal
from formulary.temperature import CELSIUS, told_apart, told_unit, told_value


class Scale(Enum):
    """How an outcome's values behave, which decides how they are read, averaged and explained."""

    LOG_TIME = "log time"  # a time whose noise grows with it
    MEASURED = "measured"
    GRADED = "graded"  # words in order
    YES_NO = "yes-no"
    PERCENT = "percent"  # 0 to 100
    COUNT = "count"
    COLOUR = "colour"  # three coordinates; compared only through the colour change

    @property
    def is_ordinal(self) -> bool:
        """Whether its values stand in order and nothing more: grades, and yes or no, which are two of them."""
        return self in (Scale.GRADED, Scale.YES_NO)


_TENTH = Decimal("0.1")
DIRECTIONS = ("higher", "lower", "neither")


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """A defined quantity that trials are compared on.

    unit: of its values, "" where there is none. direction: which way is better, or "neither".
    ages_days: when it is looked at; the first is meant when none is asked for. Empty: once, on making day or at the
    cut. how: how to measure it. step: the smallest difference that is worth showing, in the unit.
    grades: words in order, for a graded one. low, high: bounds of a value.
    at_any_age: the highest value counts, whenever it was seen (a bar that has cracked stays cracked).
    median: whether repeat readings are summed up by their median rather than their mean.
    from_events: whether it is worked out from timed events.
    told_in: what its values are told in to people where they are temperatures.
    is_safety_test: whether it decides if a loaf may hurt someone; what was not tested is then never worked out.
    """

    name: str
    scale: Scale
    unit: str = ""
    direction: str = "neither"
    ages_days: tuple[Decimal, ...] = ()
    how: str = ""
    step: Decimal = Decimal(1)
    grades: tuple[str, ...] = ()
    low: Decimal | None = None
    high: Decimal | None = None
    at_any_age: bool = False
    median: bool = False
    from_events: bool = False
    is_safety_test: bool = False
    told_in: str = CELSIUS

    @property
    def is_interpolated(self) -> bool:
        """Whether a value between two ages may be read between their readings."""
        return self.scale in (Scale.MEASURED, Scale.PERCENT) and bool(self.ages_days)

    @property
    def told_unit(self) -> str:
        """The unit that people are told its values in."""
        return told_unit(self.unit, self.told_in)

    def told(self, value: float) -> float:
        """A value in the unit that people are told it in."""
        return told_value(value, self.unit, self.told_in)

    def told_apart(self, difference: float) -> float:
        """How far two values are apart, in the unit that people are told them in."""
        return told_apart(difference, self.unit, self.told_in)

    @property
    def as_kept(self) -> Outcome:
        """The same, told in the unit that its values are kept in, as tables for programs are."""
        return replace(self, told_in=CELSIUS)

    def to_json(self) -> dict[str, object]:
        return {
            "name": self.name,
            "scale": self.scale.value,
            "unit": self.unit,
            "direction": self.direction,
            "ages_days": [float(age) for age in self.ages_days],
            "how": self.how,
            "step": float(self.step),
            "grades": list(self.grades),
            "low": None if self.low is None else float(self.low),
            "high": None if self.high is None else float(self.high),
        }


def outcome_label(outcome: Outcome, age_days: Decimal | None) -> str:
    """What an outcome at an age is called: `hardness at 28 d`."""
    if age_days is None:
        return outcome.name
    number = format_decimal(age_days.normalize()) if age_days % 1 == 0 else format_decimal(age_days.quantize(_TENTH))
    return f"{outcome.name} at {number} d"
