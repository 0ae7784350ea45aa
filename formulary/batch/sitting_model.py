"""What to weigh for several loaves of one sitting: the vessels that they share, and each loaf's own."""

from __future__ import annotations

from dataclasses import dataclass

from formulary.batch.model import Batch, PotLine, without_grams
from formulary.finding import Finding, stops
from formulary.materials.chosen_lots import GivenLots


@dataclass(frozen=True, slots=True)
class Shared:
    """One vessel for several loaves: grams by material, and grams of the mixture that each loaf gets."""

    lines: tuple[tuple[str, float], ...]
    each: tuple[float, ...]

    @property
    def total_grams(self) -> float:
        """Grams in the vessel."""
        return sum(grams for _, grams in self.lines)

    def to_json(self) -> dict[str, object]:
        return {
            "lines": [{"material": material, "grams": grams} for material, grams in self.lines],
            "total_grams": self.total_grams,
            "each_grams": list(self.each),
        }


@dataclass(frozen=True, slots=True)
class Sitting:
    """What to weigh for a sitting: the shared pot and jug (None when nothing can be shared), then each loaf's own.

    own: for each batch the lines to weigh for it alone. findings: what is known of the shared vessels only when the
    loaves are made together; each batch has its own besides.
    """

    batches: tuple[Batch, ...]
    pot: Shared | None
    jug: Shared | None
    own: tuple[tuple[PotLine, ...], ...]
    jug_reason: str | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def is_stopped(self) -> bool:
        """Whether a finding of the loaves together says that nothing may be weighed out."""
        return bool(stops(self.findings))

    @property
    def lots(self) -> GivenLots:
        """material -> lot -> the grams given of it for all loaves, as in a batch."""
        return {name: lots for batch in self.batches for name, lots in batch.lots.items()}

    def to_json(self) -> dict[str, object]:
        """With stable keys; null for every gram while it is stopped."""
        tree = self._to_json()
        return without_grams(tree) if self.is_stopped else tree

    def _to_json(self) -> dict[str, object]:
        return {
            "batches": [batch.to_json() for batch in self.batches],
            "pot": self.pot.to_json() if self.pot is not None else None,
            "jug": self.jug.to_json() if self.jug is not None else None,
            "jug_reason": self.jug_reason,
            "own": [[{**line.to_json(), "portion": line.portion} for line in lines] for lines in self.own],
            "findings": [finding.to_json() for finding in self.findings],
        }
