"""What the materials of a batch cost, by line, by batch and by bar."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from formulary.batch.model import Batch, Pot
from formulary.materials.model import Material


@dataclass(frozen=True, slots=True)
class Cost:
    """Money for one batch; `unpriced` names the materials without a price, which are not in the sum.

    With some unpriced it costs at least the total; with nothing priced the total says nothing (`is_known`).
    at_lots: material -> its lots that have a price, of those that are unpriced. between: material -> the least and the
    most that it may have cost, where its weight is known only about; the lines are of the middle. unweighed: what went
    in and nobody weighed, which is not in the sum either.
    """

    lines: tuple[tuple[str, float], ...]
    total: float
    unpriced: tuple[str, ...]
    currency: str = ""
    at_lots: tuple[tuple[str, tuple[str, ...]], ...] = ()
    between: tuple[tuple[str, float, float], ...] = ()
    unweighed: tuple[str, ...] = ()

    @property
    def least(self) -> float:
        """The least that what is counted may have cost."""
        return sum(least for _, _, least, _ in self.ranges())

    @property
    def most(self) -> float:
        """The most that what is counted may have cost."""
        return sum(most for _, _, _, most in self.ranges())

    def ranges(self) -> tuple[tuple[str, float, float, float], ...]:
        """material, cost, and the least and the most that it may have cost, a line each."""
        between = {name: (least, most) for name, least, most in self.between}
        return tuple((name, cost, *between.get(name, (cost, cost))) for name, cost in self.lines)

    @property
    def is_known(self) -> bool:
        """Whether anything has a price, so that there is a sum."""
        return bool(self.lines)

    def per_bar(self, bars: float) -> float:
        """The batch's cost divided over its bars."""
        return self.total / bars

    def to_json(self) -> dict[str, object]:
        return {
            "lines": [
                {"material": material, "cost": cost, "least": least, "most": most}
                for material, cost, least, most in self.ranges()
            ],
            "total": self.total if self.is_known else None,
            "least": self.least if self.is_known else None,
            "most": self.most if self.is_known else None,
            "unpriced": list(self.unpriced),
            "unweighed": list(self.unweighed),
            "priced_at_lots": [{"material": material, "lots": list(lots)} for material, lots in self.at_lots],
            "currency": self.currency,
        }


def work_out_cost(batch: Batch, materials: Mapping[str, Material], *, currency: str = "") -> Cost:
    """What a batch's materials cost; water from the tap is free.

    materials: those of the register; what the batch was worked out by, such as a lot's price, counts before them.
    """
    names = dict.fromkeys(line.material for line in batch.pot.lines)
    own = {name: batch.materials[name] if name in batch.materials else materials[name] for name in names}
    return cost_of_pot(batch.pot, own, currency=currency)


def cost_of_pot(pot: Pot, materials: Mapping[str, Material], *, currency: str = "") -> Cost:
    """What the grams in a pot cost by the prices of their materials; water from the tap is free."""
    grams: dict[str, float] = {}
    for line in pot.lines:
        grams[line.material] = grams.get(line.material, 0.0) + line.grams
    lines: list[tuple[str, float]] = []
    unpriced: list[str] = []
    for name, weight_g in grams.items():
        material = materials[name]
        cost = material.price.cost(weight_g, material.density_g_per_ml) if material.price is not None else None
        if cost is not None:
            lines.append((name, cost))
        elif name != "water":
            unpriced.append(name)
    at_lots = ((name, _lots_with_price(materials[name])) for name in unpriced)
    return Cost(
        tuple(lines),
        sum(cost for _, cost in lines),
        tuple(unpriced),
        currency,
        tuple((name, lots) for name, lots in at_lots if lots),
    )


def _lots_with_price(material: Material) -> tuple[str, ...]:
    return tuple(name for name, lot in material.lots.items() if lot.overrides.get("price") is not None)
