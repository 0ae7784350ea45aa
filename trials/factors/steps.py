"""How large a change a maker would call one step, for everything that can differ between two trials.

All steps are common practice, no source. A smaller step makes a factor count as varying sooner (it varies when it
moves by more than a tenth of its step) and makes large moves in it less believable as a single change.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from formulary.read_only import ReadOnly
from formulary.temperature import FAHRENHEIT

TENTH = 0.1  # of a step: what moves by less does not vary


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a factor: so much, in which unit. places: decimals that are worth showing."""

    size: float
    unit: str
    places: int = 1

    @property
    def text(self) -> str:
        """The step in words: `5 °C`, `1 % of oils`."""
        return f"{self.size:g} {self.unit}".strip()


# What people are told the effects of, by the unit that they read: a round step that is nearly as large. The engine's
# own stays, so that no chance hangs on the unit that it is read in.
TOLD_STEPS: Mapping[str, Step] = ReadOnly({FAHRENHEIT: Step(10.0, FAHRENHEIT)})

STEPS: Mapping[str, Step] = ReadOnly(
    {
        "oil": Step(5.0, "% of oils"),
        "held back": Step(5.0, "% of oils"),
        "alkali": Step(10.0, "% of the alkali"),
        "scent": Step(1.0, "% of oils", 2),
        "liquid": Step(5.0, "% of oils"),
        "additive": Step(1.0, "% of oils", 2),
        "colourant": Step(1.0, "% of oils", 2),
        "acid": Step(1.0, "% of oils", 2),
        "fat": Step(2.0, "% of oils"),  # fat that was added beside the oils
        "lye concentration": Step(3.0, "%"),
        "superfat": Step(3.0, "%"),
        "blending before scent": Step(20.0, "s", 0),
        "blending after scent": Step(20.0, "s", 0),
        "lye temperature": Step(5.0, "°C"),
        "oil temperature": Step(5.0, "°C"),
        "room": Step(5.0, "°C"),
        "humidity": Step(10.0, "%", 0),
        "batch size": Step(500.0, "g of oils", 0),
        "hours to unmoulding": Step(12.0, "h", 0),
        "hours to cutting": Step(12.0, "h", 0),
        "instead": Step(1.0, "", 0),  # this lot, mould or cover instead of that
        "done": Step(1.0, "", 0),  # done or not done
    }
)

# What kind of step an addition has, by its kind in the register.
ADDITION_STEPS: Mapping[str, str] = ReadOnly(
    {
        "liquid": "liquid",
        "additive": "additive",
        "colourant": "colourant",
        "acid": "acid",
        "oil": "fat",
        "wax": "fat",
        "fatty-acid": "fat",
        "fragrance": "scent",
    }
)

# Liquids that are used like an additive, by the register's finer kind: little of them does much.
STRONG_LIQUIDS = frozenset({"honey", "syrup", "sugar", "egg", "lactate-solution"})
