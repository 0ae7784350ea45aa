"""How a sheet divides a batter: what to pour off for each portion, adding up to the batter that the sheet tells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from formulary.batch.model import PotLine, PotPortion
from formulary.batch.scale import Scale, share_out
from formulary.batch.sheet_weights import Weighing, shown_parts


@dataclass(frozen=True, slots=True)
class PortionWeights:
    """A portion, in grams as the scales show them.

    share_percent, by_eye_percent: of the shared batter, and give or take. of_batter_g: what is poured off for it.
    own_g: what goes into it alone, afterwards; what is put on top of a bar is not of the batter.
    """

    name: str
    share_percent: float
    by_eye_percent: float
    of_batter_g: float
    own_g: float

    @property
    def total_g(self) -> float:
        """Grams of it that are poured into the mould."""
        return self.of_batter_g + self.own_g

    def to_json(self) -> dict[str, object]:
        return {
            "name": self.name,
            "of_batter_grams": self.of_batter_g,
            "own_grams": self.own_g,
            "total_grams": self.total_g,
        }


def weigh_portions(
    portions: Sequence[PotPortion],
    lines: Sequence[PotLine],
    weights: Mapping[Weighing, float],
    batter_g: float,
    scale: Scale,
) -> tuple[PortionWeights, ...]:
    """What each portion gets of a batter of `batter_g` grams; their totals are the batter's.

    lines: the pot's lines, those that go into one portion alone among them. weights: what the sheet says of each
    weighing. All portions but the last are poured off in whole steps of a scale that shows the smallest; the last is
    what is left.
    """
    own_g = dict.fromkeys([portion.name for portion in portions], 0.0)
    divided: dict[Weighing, list[PotLine]] = {}
    for line in lines:
        if line.portion is not None and line.at != "top":
            divided.setdefault((line.material, line.role, line.at), []).append(line)
    for key, parts in divided.items():
        for part, grams in zip(parts, shown_parts(parts, weights[key], scale), strict=True):
            own_g[part.portion or ""] += grams
    shared_g = batter_g - sum(own_g.values())
    exact = {portion.name: shared_g * portion.share for portion in portions}
    poured = share_out(exact, shared_g, min(map(scale.step_for, exact.values()), default=scale.step_g))
    left_g = shared_g
    found = []
    for number, portion in enumerate(portions, 1):
        grams = left_g if number == len(portions) else min(poured[portion.name], left_g)
        left_g -= grams
        found.append(
            PortionWeights(portion.name, portion.share * 100.0, portion.by_eye * 100.0, grams, own_g[portion.name])
        )
    return tuple(found)
