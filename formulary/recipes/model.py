"""A recipe: the formula in percentages and rates, free of any batch size."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from formulary.finding import Place
from formulary.quantity import Kind
from formulary.rate import Rate
from formulary.read_only import ReadOnly

# When a line goes in, in working order.
STAGES = ("lye water", "oils", "trace", "top")
# The batter is in its portions from trace on: what goes in before is in all of it.
PORTION_STAGES = ("trace", "top")
# What the batter is called that is not divided; a portion of that name could not be told from it.
UNDIVIDED = "whole"
PURPOSES = ("skin", "household")
WATER_METHODS = ("lye_concentration", "water_to_lye", "percent_of_oils")
COVERS = ("open", "covered", "insulated", "fridge", "oven")
# What the figures of a recipe may lie between.
SUPERFAT_BOUNDS = (Decimal(-100), Decimal(50))
WATER_BOUNDS = ReadOnly(
    {
        "lye_concentration": (Decimal(1), Decimal(70)),
        "water_to_lye": (Decimal("0.5"), Decimal(20)),
        "percent_of_oils": (Decimal(1), Decimal(200)),
    }
)
# The making-day settings of `process` that are amounts, with what each measures.
PROCESS_AMOUNTS = ReadOnly(
    {
        "lye_temperature": Kind.TEMPERATURE,
        "oil_temperature": Kind.TEMPERATURE,
        "cure": Kind.DURATION,
        "blending": Kind.DURATION,
    }
)


@dataclass(frozen=True, slots=True)
class BasedOn:
    """The version that a variant was branched from: recipe name and full id."""

    recipe: str
    version: str

    @property
    def name(self) -> str:
        """`recipe@id` with the short id, as it can be typed."""
        return f"{self.recipe}@{self.version[:8]}"


@dataclass(frozen=True, slots=True)
class OilLine:
    """An oil (a wax or fatty acid among them) and its percent of the oils; `at: trace` holds it back.

    parts: where it went in at several stages, which only a batch as made has: each stage with its percent of the oils,
    `percent` in all; `at` is then the stage of the most. Empty where all of it goes in at `at`.
    """

    material: str
    percent: Decimal
    at: str = "oils"
    parts: tuple[tuple[str, Decimal], ...] = ()

    @property
    def stages(self) -> tuple[tuple[str, Decimal], ...]:
        """Each stage at which some of it goes in, with its percent of the oils."""
        return self.parts or ((self.at, self.percent),)


@dataclass(frozen=True, slots=True)
class Lye:
    """The alkalis and their shares on the stated basis, and the superfat in percent.

    alkalis: material -> share; a single alkali has share 100 and no basis.
    by: "mass" or "moles" of pure alkali, None for a single alkali.
    """

    alkalis: tuple[tuple[str, Decimal], ...]
    superfat: Decimal
    by: str | None = None


@dataclass(frozen=True, slots=True)
class Water:
    """The one rule for the water: a method of WATER_METHODS and its figure."""

    method: str
    value: Decimal


@dataclass(frozen=True, slots=True)
class Addition:
    """Something added at a rate. `water` says whether its water replaces water weighed or is extra.

    prepared: how it goes in ("frozen", "chilled", "flat"), where that matters for safety.
    """

    material: str
    rate: Rate
    at: str
    water: str | None = None
    prepared: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ScentLine:
    """A fragrance or essential oil at a rate for the whole batch."""

    material: str
    rate: Rate
    at: str = "trace"


@dataclass(frozen=True, slots=True)
class RecipePortion:
    """Part of the batter handled by itself.

    share: percent of the batter; by_eye: give or take, in percent of the batter.
    gets: material -> percent of all of it that goes in at trace or on top; a line not named, or one that goes in
    before, follows the share.
    """

    name: str
    share: Decimal
    by_eye: Decimal = Decimal(0)
    gets: tuple[tuple[str, Decimal], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """One recipe as its file states it. Equality is of the content; `places` only says where it stands."""

    slug: str
    name: str
    oils: tuple[OilLine, ...]
    lye: Lye
    water: Water
    purpose: str = "skin"
    formerly: tuple[str, ...] = ()
    based_on: BasedOn | None = None
    additions: tuple[Addition, ...] = ()
    scent: tuple[ScentLine, ...] = ()
    portions: tuple[RecipePortion, ...] = ()
    process: Mapping[str, str] = field(default_factory=lambda: ReadOnly({}))
    notes: str = ""
    conflicts: tuple[str, ...] = ()
    places: Mapping[str, Place] = field(default_factory=lambda: ReadOnly({}), compare=False, repr=False)

    def place(self, *parts: str) -> Place:
        """Where a part of the recipe stands in its file: `place("oils", "olive-oil")`; an empty place if unknown."""
        return self.places.get("/".join(parts), self.places.get(parts[0], Place()) if parts else Place())

    @property
    def divisible(self) -> tuple[str, ...]:
        """The additions and scents that portions can divide by `gets`: what goes in once there are portions."""
        lines = [line.material for line in self.additions if line.at in PORTION_STAGES]
        lines += [line.material for line in self.scent if line.at in PORTION_STAGES]
        return tuple(dict.fromkeys(lines))

    def materials(self) -> tuple[str, ...]:
        """Every material named, once, in the order of the file."""
        names = [line.material for line in self.oils]
        names += [material for material, _ in self.lye.alkalis]
        names += [line.material for line in self.additions]
        names += [line.material for line in self.scent]
        return tuple(dict.fromkeys(names))


def comparable(recipe: Recipe) -> dict[str, object]:
    """A recipe's content for telling whether two say the same: the order of lines does not matter."""
    return {
        "name": recipe.name,
        "formerly": recipe.formerly,
        "based_on": recipe.based_on,
        "purpose": recipe.purpose,
        "oils": {line.material: line for line in recipe.oils},
        "lye": (recipe.lye.superfat, dict(recipe.lye.alkalis), recipe.lye.by),
        "water": recipe.water,
        "additions": {(line.material, line.at): line for line in recipe.additions},
        "scent": {(line.material, line.at): line for line in recipe.scent},
        "portions": {portion.name: (portion.share, portion.by_eye, dict(portion.gets)) for portion in recipe.portions},
        "process": dict(recipe.process),
        "notes": recipe.notes,
        "conflicts": recipe.conflicts,
    }
