"""What is known of one material and of its lots: frozen values, each with where it is from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Any, Literal

from formulary.chemistry.alkali import Alkali
from formulary.chemistry.density import volume_ml
from formulary.quantity import Kind, Quantity
from formulary.read_only import ReadOnly

Obtained = Literal["read", "memory", "computed", "maker"]


class MaterialKind(StrEnum):
    """What a material is in a soap; the words that a material file's `kind:` may hold."""

    OIL = "oil"
    WAX = "wax"
    FATTY_ACID = "fatty-acid"
    ALKALI = "alkali"
    ACID = "acid"
    LIQUID = "liquid"
    FRAGRANCE = "fragrance"
    COLOURANT = "colourant"
    ADDITIVE = "additive"

    @property
    def is_fat(self) -> bool:
        """Whether it may stand among a recipe's oils, which carry the alkali."""
        return self in (MaterialKind.OIL, MaterialKind.WAX, MaterialKind.FATTY_ACID)


# A finer kind, which common-practice checks and the sheet go by. Optional in a maker's file.
GROUPS = (
    "lauric-oil",
    "butter",
    "animal-fat",
    "lye-solution",
    "water",
    "infusion",
    "milk",
    "plant-milk",
    "milk-powder",
    "juice",
    "puree",
    "beer",
    "spirits",
    "honey",
    "syrup",
    "sugar",
    "egg",
    "salt",
    "lactate-solution",
    "chelator",
    "antioxidant",
    "starch",
    "grain",
    "exfoliant",
    "clay",
    "mica",
    "white-pigment",
    "pigment",
    "charcoal",
    "plant-powder",
    "essential-oil",
    "spice-oil",
    "absolute",
    "fragrance-oil",
)
_FATS = ("lauric-oil", "butter", "animal-fat")
_POWDERS = ("clay", "mica", "white-pigment", "pigment", "charcoal", "plant-powder")
# What a material of each kind may be: a scent that said it is a clay would be checked as one, and not as a scent.
GROUPS_OF_KIND: Mapping[MaterialKind, tuple[str, ...]] = {
    MaterialKind.OIL: _FATS,
    MaterialKind.WAX: _FATS,
    MaterialKind.FATTY_ACID: _FATS,
    MaterialKind.ALKALI: ("lye-solution",),
    MaterialKind.ACID: ("juice", "chelator"),
    MaterialKind.LIQUID: (
        *("water", "infusion", "milk", "plant-milk", "juice", "puree", "beer", "spirits", "honey", "syrup", "egg"),
        "lactate-solution",
    ),
    MaterialKind.FRAGRANCE: ("essential-oil", "spice-oil", "absolute", "fragrance-oil"),
    MaterialKind.COLOURANT: _POWDERS,
    MaterialKind.ADDITIVE: (
        *("milk-powder", "puree", "honey", "syrup", "sugar", "egg", "salt", "lactate-solution", "chelator"),
        *("antioxidant", "starch", "grain", "exfoliant", *_POWDERS),
    ),
}


@dataclass(frozen=True, slots=True)
class Known:
    """How a value came here: read at its source, recalled, computed from others, or given by the maker."""

    obtained: Obtained
    source: str


ASSAY_NOT_STATED = Known("read", "purity not stated: counted as 100 %, and at least the minimum of USP35-NF30")


@dataclass(frozen=True, slots=True)
class ValueRange:
    """A value that varies from lot to lot: the ends of its range and the value that is worked with."""

    low: float
    high: float
    working: float
    known: Known


@dataclass(frozen=True, slots=True)
class FragranceLimit:
    """The most of a scent that its certificate allows, in percent by mass of the finished bar."""

    percent_of_product: float
    certificate: date | None
    edition: str | None
    known: Known


@dataclass(frozen=True, slots=True)
class Price:
    """So much money for so much of a material, kept as written."""

    amount: Decimal
    per: Quantity

    def cost(self, mass_g: float, density_g_per_ml: float | None = None) -> float | None:
        """What so many grams cost, in the same money; None for a price by volume when no density is known."""
        if self.per.kind is Kind.MASS:
            return float(self.amount) * mass_g / float(self.per.to("g"))
        if density_g_per_ml is None:
            return None
        return float(self.amount) * volume_ml(mass_g, density_g_per_ml) / float(self.per.to("ml"))

    def __str__(self) -> str:
        return f"{self.amount:f} per {self.per}"


@dataclass(frozen=True, slots=True)
class SpoonMass:
    """What one spoon or cup of a material weighs on the maker's own scale, the mean of so many weighings."""

    mass_g: float
    n: int = 1


@dataclass(frozen=True, slots=True)
class Lot:
    """One delivery of a material: its dates, and what its own certificate says instead of the general values.

    `overrides` holds values by the names of `Material`'s attributes.
    """

    name: str
    received: date | None = None
    opened: date | None = None
    best_before: date | None = None
    overrides: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        held = {
            name: _read_only(value) if isinstance(value, Mapping) else value for name, value in self.overrides.items()
        }
        object.__setattr__(self, "overrides", ReadOnly(held))


_MAPPINGS = ("fatty_acids", "acids", "limits", "contains", "measures", "lots", "sources")


def _read_only(values: Mapping[str, Any]) -> Mapping[str, Any]:
    """The same values, which nobody who looks them up can change in place."""
    return values if isinstance(values, ReadOnly) else ReadOnly(values)


# The half-width that a single saponification value from a certificate is taken to have, mg KOH per g (common practice,
# no source).
CERTIFICATE_HALF_WIDTH = 1.0


# A choice of this program: milks, purees and juices hold far more, clays and salts far less.
WET_FROM_PERCENT = 25.0


@dataclass(frozen=True, slots=True)
class Material:
    """Everything known of one material. None means not known, which is not nought.

    Percentages are by mass of the material as it is weighed. `acids` are water-free acids by the names of
    `formulary.chemistry.acids.ACIDS`; `contains` are the constituents of a scent; `limits` what the maker knows of the
    limits of constituents (percent of the finished bar); `measures` what spoons of it weigh.
    `lots_used` are those of its lots whose certificates hold for it. `reference_saponification_value` is the range
    before the rule for the working value; `stated` names the attributes that the maker's file gives; `sources` says for
    each attribute where it is from; `how_working_value` says in a sentence how the working saponification value was
    chosen.
    """

    slug: str
    name: str
    kind: MaterialKind
    group: str | None = None
    inci: str | None = None
    inci_in_soap: str | None = None
    alkali: Alkali | None = None
    saponification_value: ValueRange | None = None
    reference_saponification_value: ValueRange | None = None
    acid_value: ValueRange | None = None
    iodine_value: ValueRange | None = None
    fatty_acids: Mapping[str, float] = field(default_factory=dict)
    density_g_per_ml: float | None = None
    bulk_density_g_per_ml: float | None = None
    melting_point_c: float | None = None
    flash_point_c: float | None = None
    water_percent: float | None = None
    sugars_percent: float | None = None
    fat_percent: float | None = None
    fat_saponification_value: float | None = None
    alcohol_percent: float | None = None
    vanillin_percent: float | None = None
    stated_solids_percent: float | None = None
    acids: Mapping[str, float] = field(default_factory=dict)
    assay_percent: ValueRange | None = None
    limit: FragranceLimit | None = None
    limits: Mapping[str, float] = field(default_factory=dict)
    contains: Mapping[str, float] = field(default_factory=dict)
    carrier: str | None = None
    allergens: tuple[str, ...] = ()
    origin: tuple[str, ...] = ()
    price: Price | None = None
    measures: Mapping[str, SpoonMass] = field(default_factory=dict)
    notes: str | None = None
    lots: Mapping[str, Lot] = field(default_factory=dict)
    lots_used: tuple[str, ...] = ()
    stated: frozenset[str] = frozenset()
    stated_working_value: float | None = None
    builtin: bool = False
    sources: Mapping[str, Known] = field(default_factory=dict)
    how_working_value: str = ""

    def __post_init__(self) -> None:
        # The built-in materials are the same for everything that a process works out.
        for name in _MAPPINGS:
            object.__setattr__(self, name, _read_only(getattr(self, name)))

    def __repr__(self) -> str:
        return f"<Material {self.slug}>"

    @property
    def is_wet(self) -> bool:
        """Whether it brings enough water that a recipe must say whose water it is."""
        return self.kind is MaterialKind.LIQUID or (self.water_percent or 0.0) >= WET_FROM_PERCENT

    @property
    def solids_percent(self) -> float | None:
        """What stays besides water, alcohol and fat: as stated, else by difference; None if water is unknown."""
        if self.stated_solids_percent is not None:
            return self.stated_solids_percent
        if self.water_percent is None:
            return None
        rest = 100.0 - self.water_percent - (self.alcohol_percent or 0.0) - (self.fat_percent or 0.0)
        return max(0.0, rest)

    @property
    def has_unknown_assay(self) -> bool:
        """Whether the purity of an alkali is not stated, so that it counts as 100 % with a wide band."""
        # told by the band, which a frozen plan keeps: a stated purity is taken to half a percent
        assay = self.assay_percent
        return assay is not None and assay.working == 100.0 and assay.low <= 95.0

    def with_lot(self, lot: str) -> Material:
        """The material as that lot's certificate has it; what the certificate does not say stays as it is.

        Raises
        ------
        KeyError: the material has no such lot.
        """
        chosen = self.lots[lot]
        sources = dict(self.sources)
        for name in chosen.overrides:
            sources[name] = Known("maker", f"certificate of lot {lot}")
        changes: dict[str, Any] = {**chosen.overrides, "lots_used": (lot,), "sources": sources}
        if "saponification_value" in chosen.overrides:
            changes["how_working_value"] = f"The certificate of lot {lot} gives it."
        return replace(self, **changes)
