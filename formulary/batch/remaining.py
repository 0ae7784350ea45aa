"""What is still to be weighed of one line when a batch goes on after something went over."""

from __future__ import annotations

import math
from dataclasses import dataclass

from formulary.batch.scale import Scale
from formulary.chemistry.alkali import rounded_down_g


@dataclass(frozen=True, slots=True)
class Remaining:
    """One thing still to weigh, with how it changed from the plan; all in grams.

    measured_per_gram, measured_unit: so many spoons, cups or millilitres are a gram, for a rate by volume.
    prepared: how it goes in, where that matters for safety.
    """

    material: str
    role: str
    planned_grams: float
    weighed_grams: float
    remaining_grams: float
    measured_per_gram: float = 0.0
    measured_unit: str | None = None
    prepared: tuple[str, ...] = ()

    def to_json(self) -> dict[str, object]:
        return {
            "material": self.material,
            "role": self.role,
            "planned_grams": self.planned_grams,
            "weighed_grams": self.weighed_grams,
            "remaining_grams": self.remaining_grams,
            "measured_amount": None if self.measured_unit is None else self.remaining_grams * self.measured_per_gram,
            "measured_unit": self.measured_unit,
            "prepared": list(self.prepared),
        }

    def shown_g(self, scale: Scale) -> float:
        """Grams to add as a sheet says them, in the steps of the scale that weighed what is there."""
        if self.role == "alkali":
            return rounded_down_g(self.remaining_grams, scale.alkali_step_g)
        if self.role == "scent" or self.weighed_grams <= 0:
            return scale.shown(self.role, self.remaining_grams)
        step_g = scale.step_for(self.weighed_grams + self.remaining_grams)
        return step_g * math.floor(self.remaining_grams / step_g + 0.5)
