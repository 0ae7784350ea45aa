"""What changed between two recipes and what it does to their batches: data that sentence, text and JSON only read."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from formulary.changes.recipe_changes import SHARE, FieldChange, RecipeChanges, count_lines
from formulary.finding import Finding
from formulary.quantity import format_number
from formulary.temperature import CELSIUS

# What people call a figure that is not named after a material.
FIGURES = {
    "weigh_grams": "water to weigh",
    "total_grams": "water in all",
    "batter": "batter",
    "sugars": "sugars",
    "cost": "cost of the materials",
    "nominal": "superfat",
    "effective": "effective superfat",
    "nominal_percent": "lye concentration",
    "in_jug_percent": "lye in the jug",
    "effective_percent": "lye with all water",
}
NOT_KNOWN = "not known"  # among the fatty acids: of the oils whose acids nobody has looked up


@dataclass(frozen=True, slots=True)
class Figure:
    """A calculated figure on both sides; None where it is absent or must not be weighed out.

    places: how many decimals people see; a difference that they could not see is none.
    """

    key: str
    unit: str
    places: int
    before: float | None
    after: float | None

    @property
    def is_change(self) -> bool:
        """Whether the sides differ as shown, by more than where a figure happens to be rounded."""
        if self.shown(self.before) == self.shown(self.after):
            return False
        return self.difference is None or abs(self.difference) >= 0.75 * 10.0**-self.places

    @property
    def difference(self) -> float | None:
        """After less before; None when a side is missing."""
        return None if self.before is None or self.after is None else self.after - self.before

    def shown(self, number: float | None) -> str:
        """A side as people see it; a dash when there is none."""
        return "-" if number is None else format_number(number, self.places)

    def shown_difference(self) -> str:
        """The difference with its sign, agreeing with the two sides as shown."""
        if self.before is None or self.after is None:
            return ""
        difference = Decimal(self.shown(self.after)) - Decimal(self.shown(self.before))
        return f"{difference:+f}" if difference else "0"


@dataclass(frozen=True, slots=True)
class CostChange:
    """What both sides cost in materials, of what both price: else a price that only one side knows would be a change.

    before, after: None where less than half of the materials are priced on both, since the rest then says nothing.
    before_unpriced, after_unpriced: what has no price on that side, and so is in neither sum. at_lots: material -> its
    lots that have a price, of those that are unpriced.
    """

    currency: str
    before: float | None
    after: float | None
    before_unpriced: tuple[str, ...] = ()
    after_unpriced: tuple[str, ...] = ()
    at_lots: tuple[tuple[str, tuple[str, ...]], ...] = ()

    @property
    def figure(self) -> Figure:
        """The cost as a line of a table."""
        return Figure("cost", self.currency or "money", 2, self.before, self.after)

    @property
    def unpriced(self) -> tuple[str, ...]:
        """What has no price, on either side."""
        return tuple(dict.fromkeys((*self.before_unpriced, *self.after_unpriced)))

    def to_json(self) -> dict[str, object]:
        return {
            "currency": self.currency,
            "before": self.before,
            "after": self.after,
            "before_unpriced": list(self.before_unpriced),
            "after_unpriced": list(self.after_unpriced),
            "priced_at_lots": [{"material": material, "lots": list(lots)} for material, lots in self.at_lots],
        }


@dataclass(frozen=True, slots=True)
class RegisterChange:
    """A value of a material that is not the same in the two registers compared under.

    is_of_lots: whether that is because of the lots that went in, and not because the register says otherwise.
    """

    material: str
    field: str
    before: float | None
    after: float | None
    is_of_lots: bool = False

    def to_json(self) -> dict[str, object]:
        values = {"before": self.before, "after": self.after}
        return {"material": self.material, "field": self.field, **values, "is_of_lots": self.is_of_lots}


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two things compared: a recipe's version, a working file, a trial, or a portion of one of these."""

    recipe: str
    name: str
    id: str | None = None
    label: str | None = None
    portion: str | None = None

    @property
    def reference(self) -> str:
        """`recipe@id` with the short id, or the recipe alone."""
        return f"{self.recipe}@{self.id[:8]}" if self.id else self.recipe

    def to_json(self) -> dict[str, object]:
        version = {"id": self.id, "label": self.label}
        return {"recipe": self.recipe, "name": self.name, "version": version, "portion": self.portion}


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchChanges:
    """What changed between two recipes, with what it does to a batch of the same oil mass.

    recipe: the differences. alike: the lines that are the same, in the same shape.
    lye, water, superfat, others: calculated figures, changed or not.
    appeared, vanished: findings. stops: those that forbid weighing out the later side.
    cost: what the materials cost, where prices are known.
    lots: materials of which both sides name lots, and other ones; known of trials alone.
    register: values that differ between the registers of the two sides, if they do.
    told_in: what people are told temperatures in.
    """

    before: Side
    after: Side
    recipe: RecipeChanges
    alike: RecipeChanges
    oil_mass_g: float
    lye: tuple[Figure, ...]
    water: tuple[Figure, ...]
    superfat: tuple[Figure, ...]
    others: tuple[Figure, ...] = ()
    scent: tuple[Figure, ...] = ()
    fatty_acids: tuple[Figure, ...] = ()
    cost: CostChange | None = None
    lots: tuple[FieldChange, ...] = ()
    register: tuple[RegisterChange, ...] = ()
    appeared: tuple[Finding, ...] = ()
    vanished: tuple[Finding, ...] = ()
    stops: tuple[Finding, ...] = ()
    told_in: str = CELSIUS

    @property
    def figures(self) -> tuple[Figure, ...]:
        """The calculated figures that a table has a line for, changed or not, in the order shown.

        A concentration or superfat that is the same as the one stated, on both sides, has no line of its own.
        """
        stated = {figure.key: figure for figure in (*self.superfat, *self.water)}
        percents = [figure for key in ("nominal", "nominal_percent") if (figure := stated.get(key)) is not None]
        for key, like in (
            ("effective", "nominal"),
            ("in_jug_percent", "nominal_percent"),
            ("effective_percent", "nominal_percent"),
        ):
            figure, other = stated.get(key), stated.get(like)
            if figure is not None and (other is None or not _is_shown_alike(figure, other)):
                percents.append(figure)
        grams = [figure for key in ("weigh_grams", "total_grams") if (figure := stated.get(key)) is not None]
        cost = () if self.cost is None or self.cost.before is None else (self.cost.figure,)
        return (*self.lye, *grams, *self.others, *percents, *self.scent, *self.fatty_acids, *cost)

    @property
    def is_empty(self) -> bool:
        """Whether nothing differs, in the recipe or in what follows from it."""
        calculated = any(figure.is_change for figure in self.figures) or self.appeared or self.vanished
        return self.recipe.is_empty and not calculated and not self.lots and not self.register

    @property
    def hidden(self) -> int:
        """How many lines are the same on both sides and are shown only when all are asked for."""
        # The share of a portion that changed heads its lines, and is shown with them.
        parts = [part for change in self.recipe.portions for part in change.parts if part.what != SHARE]
        alike = sum(not part.is_change for part in parts) + sum(not figure.is_change for figure in self.figures)
        return count_lines(self.alike) + alike


def _is_shown_alike(figure: Figure, other: Figure) -> bool:
    return figure.shown(figure.before) == other.shown(other.before) and figure.shown(figure.after) == other.shown(
        other.after
    )
