"""Every difference between two recipes, exactly: a small closed format that text, JSON and applying only read."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Generic, TypeVar

from formulary.quantity import format_decimal
from formulary.rate import Rate
from formulary.recipes.model import STAGES, Addition, BasedOn, Lye, OilLine, RecipePortion, ScentLine, Water

_T = TypeVar("_T")

# What is said of a portion beside what it gets; no material is called so.
SHARE = "of the batter"
BY_EYE = "by eye, give or take"

Alkalis = tuple[tuple[tuple[str, Decimal], ...], str | None]


@dataclass(frozen=True, slots=True)
class Pair(Generic[_T]):
    """One thing on both sides."""

    before: _T
    after: _T

    @property
    def is_change(self) -> bool:
        """Whether the sides differ."""
        return self.before != self.after

    def reversed(self) -> Pair[_T]:
        """The same, told the other way round."""
        return Pair(self.after, self.before)


@dataclass(frozen=True, slots=True)
class OilChange:
    """An oil on both sides; None where it is absent."""

    material: str
    before: OilLine | None
    after: OilLine | None

    @property
    def before_percent(self) -> Decimal:
        """Percent of the oils before; 0 when absent."""
        return self.before.percent if self.before is not None else Decimal(0)

    @property
    def after_percent(self) -> Decimal:
        """Percent of the oils after; 0 when absent."""
        return self.after.percent if self.after is not None else Decimal(0)

    @property
    def points(self) -> Decimal:
        """By how many percentage points of the oils it changed; over all oils these total 0."""
        return self.after_percent - self.before_percent

    @property
    def is_change(self) -> bool:
        """Whether the sides differ."""
        return self.before != self.after

    def reversed(self) -> OilChange:
        """The same, told the other way round."""
        return OilChange(self.material, self.after, self.before)

    def to_json(self) -> dict[str, object]:
        return {
            "material": self.material,
            "before_percent": float(self.before_percent),
            "after_percent": float(self.after_percent),
            "points": float(self.points),
            "before_at": self.before.at if self.before is not None else None,
            "after_at": self.after.at if self.after is not None else None,
            "before_by_stage": _by_stage(self.before),
            "after_by_stage": _by_stage(self.after),
        }


def _portion_parts(portion: RecipePortion | None, *, by_eye: bool) -> dict[str, Decimal]:
    if portion is None:
        return {}
    eye = {BY_EYE: portion.by_eye} if by_eye else {}
    return {SHARE: portion.share, **eye, **dict(portion.gets)}


def _by_stage(line: OilLine | None) -> dict[str, float] | None:
    return None if line is None else {at: float(percent) for at, percent in line.stages}


@dataclass(frozen=True, slots=True)
class LineChange:
    """An addition or a scent, known by its material and stage, on both sides; None where it is absent."""

    part: str  # "additions" or "scent"
    material: str
    at: str
    before: Addition | ScentLine | None
    after: Addition | ScentLine | None

    @property
    def is_change(self) -> bool:
        """Whether the sides differ."""
        return self.before != self.after

    @property
    def unit(self) -> str:
        """What the amounts are in: `% of oils`; that of the side that has the line, the later one first."""
        line = self.after if self.after is not None else self.before
        assert line is not None
        return rate_unit(line.rate)

    @property
    def before_amount(self) -> Decimal | None:
        """The amount before in `unit`: 0 when absent, None when it cannot be said in that unit."""
        return self._amount(self.before)

    @property
    def after_amount(self) -> Decimal | None:
        """The amount after in `unit`; 0 when absent."""
        return self._amount(self.after)

    def _amount(self, line: Addition | ScentLine | None) -> Decimal | None:
        if line is None:
            return Decimal(0)
        if rate_unit(line.rate) == self.unit:
            return line.rate.amount
        there = self.after if self.after is not None else self.before
        assert there is not None
        if line.rate.is_volume or there.rate.is_volume or line.rate.basis is not there.rate.basis:
            return None
        one = Rate(Decimal(1), there.rate.unit, there.rate.basis).percent_of_basis()
        return (line.rate.percent_of_basis() / one).normalize()

    def reversed(self) -> LineChange:
        """The same, told the other way round."""
        return LineChange(self.part, self.material, self.at, self.after, self.before)

    def to_json(self) -> dict[str, object]:
        return {
            "part": self.part,
            "material": self.material,
            "at": self.at,
            "unit": self.unit,
            "before": _number(self.before_amount),
            "after": _number(self.after_amount),
            "before_text": str(self.before.rate) if self.before is not None else None,
            "after_text": str(self.after.rate) if self.after is not None else None,
            "before_water": water_of(self.before),
            "after_water": water_of(self.after),
        }


@dataclass(frozen=True, slots=True)
class PortionPart:
    """One thing said of a portion on both sides, in percent; None where nothing is said of it.

    what: SHARE of the batter, BY_EYE (give or take), or the material of which it gets so much.
    """

    what: str
    before: Decimal | None
    after: Decimal | None

    @property
    def is_change(self) -> bool:
        """Whether the sides differ."""
        return self.before != self.after


@dataclass(frozen=True, slots=True)
class PortionChange:
    """A portion on both sides; None where it is absent."""

    name: str
    before: RecipePortion | None
    after: RecipePortion | None

    @property
    def is_change(self) -> bool:
        """Whether the sides differ."""
        return self.before != self.after

    @property
    def parts(self) -> tuple[PortionPart, ...]:
        """All that is said of it on either side: its share first, then how exact that is, then what it gets."""
        by_eye = any(portion is not None and portion.by_eye for portion in (self.before, self.after))
        one, two = (_portion_parts(portion, by_eye=by_eye) for portion in (self.before, self.after))
        return tuple(PortionPart(what, one.get(what), two.get(what)) for what in {**one, **two})

    def reversed(self) -> PortionChange:
        """The same, told the other way round."""
        return PortionChange(self.name, self.after, self.before)

    def to_json(self) -> dict[str, object]:
        return {"name": self.name, "before": _portion_json(self.before), "after": _portion_json(self.after)}


@dataclass(frozen=True, slots=True)
class FieldChange:
    """A free-form field, such as `process.cover` or `notes`, on both sides; None where it is absent."""

    field: str
    before: str | None
    after: str | None

    @property
    def is_change(self) -> bool:
        """Whether the sides differ."""
        return self.before != self.after

    def reversed(self) -> FieldChange:
        """The same, told the other way round."""
        return FieldChange(self.field, self.after, self.before)

    def to_json(self) -> dict[str, object]:
        return {"field": self.field, "before": self.before, "after": self.after}


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeChanges:
    """Every difference between two recipes, exactly; what is alike is not in it.

    Independent of the order of lines. `slug` tells which recipes were compared and is no change of content.
    """

    slug: Pair[str]
    name: Pair[str] | None = None
    formerly: Pair[tuple[str, ...]] | None = None
    based_on: Pair[BasedOn | None] | None = None
    purpose: Pair[str] | None = None
    oils: tuple[OilChange, ...] = ()
    alkali: Pair[Alkalis] | None = None
    superfat: Pair[Decimal] | None = None
    water: Pair[Water] | None = None
    lines: tuple[LineChange, ...] = ()
    portions: tuple[PortionChange, ...] = ()
    process: tuple[FieldChange, ...] = ()
    notes: FieldChange | None = None
    conflicts: Pair[tuple[str, ...]] | None = None

    @property
    def is_empty(self) -> bool:
        """Whether both recipes say the same."""
        return self == RecipeChanges(slug=self.slug)

    def reversed(self) -> RecipeChanges:
        """The changes that lead back."""
        return RecipeChanges(
            slug=self.slug.reversed(),
            name=_reversed(self.name),
            formerly=_reversed(self.formerly),
            based_on=_reversed(self.based_on),
            purpose=_reversed(self.purpose),
            oils=tuple(sorted((change.reversed() for change in self.oils), key=oil_order)),
            alkali=_reversed(self.alkali),
            superfat=_reversed(self.superfat),
            water=_reversed(self.water),
            lines=tuple(change.reversed() for change in self.lines),
            portions=tuple(change.reversed() for change in self.portions),
            process=tuple(change.reversed() for change in self.process),
            notes=self.notes.reversed() if self.notes is not None else None,
            conflicts=_reversed(self.conflicts),
        )


def rate_unit(rate: Rate) -> str:
    """`% of oils`, `g per kg oils`."""
    return f"% of {rate.basis.value}" if rate.unit == "%" else f"{rate.unit} per kg {rate.basis.value}"


def water_of(line: Addition | ScentLine | None) -> str | None:
    """Whether an addition's water replaces or is extra."""
    return line.water if isinstance(line, Addition) else None


def stage_percents(before: OilLine | None, after: OilLine | None) -> dict[str, tuple[Decimal, Decimal]]:
    """Percent of the oils that went in at each stage, on both sides; 0 for none. The stages in working order."""
    one, two = (dict(line.stages) if line is not None else {} for line in (before, after))
    nothing = Decimal(0)
    return {at: (one.get(at, nothing), two.get(at, nothing)) for at in STAGES if at in one or at in two}


def oil_order(change: OilChange) -> tuple[int, Decimal, Decimal, str]:
    """What gave way first, then what came, each with the largest first; those alike by their share."""
    points = change.points
    kind = 0 if points < 0 else 1 if points else 2
    return kind, -abs(points), -change.after_percent, change.material


def count_lines(changes: RecipeChanges) -> int:
    """How many lines of a table show these, besides the calculated figures."""
    listed = (changes.oils, changes.lines, changes.process)
    portions = sum(len(change.parts) for change in changes.portions)
    return portions + sum(pair is not None for pair in (changes.purpose, changes.notes)) + sum(map(len, listed))


def alkalis_of(lye: Lye) -> Alkalis:
    """The alkalis in an order of their own, so that the order written does not matter."""
    return tuple(sorted(lye.alkalis)), lye.by


def _reversed(pair: Pair[_T] | None) -> Pair[_T] | None:
    return None if pair is None else pair.reversed()


def _portion_json(portion: RecipePortion | None) -> dict[str, object] | None:
    if portion is None:
        return None
    return {
        "share_percent": float(portion.share),
        "by_eye_percent": float(portion.by_eye),
        "gets": {material: float(percent) for material, percent in portion.gets},
    }


def alkalis_text(alkalis: Alkalis) -> str:
    """The alkalis and their shares, as in a recipe."""
    shares, by = alkalis
    if by is None:
        return shares[0][0]
    return f"by {by}: " + ", ".join(f"{name} {format_decimal(share)} %" for name, share in shares)


def water_text(water: Water) -> str:
    """A water rule as a person says it."""
    value = format_decimal(water.value)
    if water.method == "lye_concentration":
        return f"{value} % lye"
    if water.method == "water_to_lye":
        return f"{value} to 1 of lye"
    return f"{value} % of oils"


def _number(number: Decimal | None) -> float | None:
    return None if number is None else float(number)
