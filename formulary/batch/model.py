"""A batch: a recipe version worked out for a size, and the grams in the pot that everything is calculated from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from formulary.batch.scale import Scale
from formulary.finding import Finding
from formulary.materials.chosen_lots import GivenLots, lot_shares
from formulary.materials.model import Material
from formulary.read_only import ReadOnly
from formulary.recipes.model import UNDIVIDED

ROLES = ("oil", "alkali", "water", "addition", "scent")


@dataclass(frozen=True, slots=True)
class PotLine:
    """One thing in the pot, in grams.

    role: one of ROLES. at: the stage, "lye water" | "oils" | "trace" | "top".
    portion: the one portion that it went into, or None for the whole batter.
    water: for additions, "replaces" | "extra" | None.
    """

    material: str
    role: str
    at: str
    grams: float
    portion: str | None = None
    water: str | None = None

    def to_json(self) -> dict[str, object]:
        return {"material": self.material, "role": self.role, "at": self.at, "grams": self.grams}


@dataclass(frozen=True, slots=True)
class PotPortion:
    """A portion's share of the shared batter (fractions of 1); by_eye: give or take."""

    name: str
    share: float
    by_eye: float = 0.0


# Of a share that is not said to be split by eye at least so much is in its portion (common practice, no source).
_LEAST_PART = 0.1


def pot_portions(shares: Iterable[tuple[str, Decimal, Decimal]]) -> tuple[PotPortion, ...]:
    """The portions of a pot by name, share and give or take, both in percent of the batter.

    What is too much in one portion is too little in another: where only one is said to be split by eye, any other may
    be off by as much.
    """
    portions = [PotPortion(name, float(share) / 100.0, float(by_eye) / 100.0) for name, share, by_eye in shares]
    by_eye = [portion for portion in portions if portion.by_eye > 0]
    if len(by_eye) != 1:
        return tuple(portions)
    (off,) = by_eye
    return tuple(
        portion if portion is off else replace(portion, by_eye=min(off.by_eye, portion.share * (1.0 - _LEAST_PART)))
        for portion in portions
    )


@dataclass(frozen=True, slots=True)
class Pot:
    """All that went, or will go, into one batch; without portions the batter is one, called `whole`."""

    lines: tuple[PotLine, ...]
    portions: tuple[PotPortion, ...] = ()

    def grams(self, *roles: str) -> float:
        """Grams of all lines of the roles given."""
        return sum(line.grams for line in self.lines if line.role in roles)


WHOLE = UNDIVIDED


@dataclass(frozen=True, slots=True)
class WeighedOil:
    """An oil to weigh."""

    material: str
    percent: float
    grams: float
    at: str

    def to_json(self) -> dict[str, object]:
        return {"material": self.material, "percent": self.percent, "grams": self.grams, "at": self.at}


@dataclass(frozen=True, slots=True)
class WeighedAlkali:
    """An alkali to weigh: grams as the scale shows them (rounded down), the pure part of that, and for what."""

    material: str
    grams: float
    pure_grams: float
    assay_percent: float
    for_acids_grams: float = 0.0

    def to_json(self) -> dict[str, object]:
        return {
            "material": self.material,
            "grams": self.grams,
            "pure_grams": self.pure_grams,
            "assay_percent": self.assay_percent,
            "for_acids_grams": self.for_acids_grams,
        }


@dataclass(frozen=True, slots=True)
class WaterFigures:
    """Grams to weigh and in the whole pot; lye concentrations in percent: nominal, in the jug, effective."""

    weigh_grams: float
    total_grams: float
    nominal_percent: float
    in_jug_percent: float
    effective_percent: float

    def to_json(self) -> dict[str, object]:
        return {
            "weigh_grams": self.weigh_grams,
            "total_grams": self.total_grams,
            "nominal_percent": self.nominal_percent,
            "in_jug_percent": self.in_jug_percent,
            "effective_percent": self.effective_percent,
        }


@dataclass(frozen=True, slots=True)
class Superfat:
    """Percent of the saponifiable equivalents left without alkali.

    nominal: as the recipe states it. effective: of all that is in the pot.
    low, high: the band by root-sum-square of what is not known exactly; worst_low, worst_high: all at once.
    """

    nominal: float
    effective: float
    low: float
    high: float
    worst_low: float
    worst_high: float

    def to_json(self) -> dict[str, object]:
        return {
            "nominal": self.nominal,
            "effective": self.effective,
            "low": self.low,
            "high": self.high,
            "worst_low": self.worst_low,
            "worst_high": self.worst_high,
        }


@dataclass(frozen=True, slots=True)
class WeighedAddition:
    """An addition to weigh, and the water that it brings.

    measured_amount, measured_unit: so many spoons, cups or millilitres, for a rate by volume.
    """

    material: str
    at: str
    grams: float
    water_grams: float
    water: str | None = None
    prepared: tuple[str, ...] = ()
    measured_amount: float = 0.0
    measured_unit: str | None = None

    def to_json(self) -> dict[str, object]:
        return {
            "material": self.material,
            "at": self.at,
            "grams": self.grams,
            "water_grams": self.water_grams,
            "water": self.water,
            "prepared": list(self.prepared),
            "measured_amount": self.measured_amount if self.measured_unit is not None else None,
            "measured_unit": self.measured_unit,
        }


@dataclass(frozen=True, slots=True)
class WeighedScent:
    """A scent to weigh, and its percentages of the oils, the batter, the cured and the dry bar."""

    material: str
    at: str
    grams: float
    percent_of_oils: float
    percent_of_batter: float
    percent_of_cured: float
    percent_of_dry: float
    limit_percent: float | None

    def to_json(self) -> dict[str, object]:
        return {
            "material": self.material,
            "at": self.at,
            "grams": self.grams,
            "percent_of_oils": self.percent_of_oils,
            "percent_of_batter": self.percent_of_batter,
            "percent_of_cured": self.percent_of_cured,
            "percent_of_dry": self.percent_of_dry,
            "limit_percent": self.limit_percent,
        }


@dataclass(frozen=True, slots=True)
class PortionFigures:
    """One portion: its share in percent, its grams; its scent, and its superfat, at the worst end of its split.

    superfat_low_percent: the low end of that superfat's band.
    """

    name: str
    share_percent: float
    grams: float
    scent: tuple[WeighedScent, ...] = ()
    superfat_percent: float | None = None
    superfat_low_percent: float | None = None

    def to_json(self) -> dict[str, object]:
        return {
            "name": self.name,
            "share_percent": self.share_percent,
            "grams": self.grams,
            "scent": [line.to_json() for line in self.scent],
            "superfat_percent": self.superfat_percent,
            "superfat_low_percent": self.superfat_low_percent,
        }


@dataclass(frozen=True, slots=True)
class Cured:
    """What is expected to be left after the cure: grams of all bars, the loss in percent of what was poured, and the
    assumption of the settings, how many days it takes and how much of the water it costs."""

    grams: float
    mass_loss_percent: float
    days: float
    water_lost_percent: float

    def to_json(self) -> dict[str, object]:
        return {
            "grams": self.grams,
            "mass_loss_percent": self.mass_loss_percent,
            "days": self.days,
            "water_lost_percent": self.water_lost_percent,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class PotFigures:
    """What the grams in a pot amount to: the effective formula's figures, for a plan or for a batch as made."""

    oil_mass_g: float
    batter_grams: float
    oil_percents: Mapping[str, float]
    superfat_effective: float
    superfat_low: float
    superfat_high: float
    superfat_worst_low: float
    superfat_worst_high: float
    pure_alkali_g: float
    water_weighed_g: float
    water_total_g: float
    in_jug_percent: float
    effective_percent: float
    scent: tuple[WeighedScent, ...]
    portions: tuple[PortionFigures, ...]
    fatty_acids: Mapping[str, float]
    sugars_g_per_kg_oils: float

    def water(self, nominal_percent: float) -> WaterFigures:
        """Its water, beside the lye concentration that the recipe states."""
        return WaterFigures(
            weigh_grams=self.water_weighed_g,
            total_grams=self.water_total_g,
            nominal_percent=nominal_percent,
            in_jug_percent=self.in_jug_percent,
            effective_percent=self.effective_percent,
        )

    def superfat(self, nominal: float) -> Superfat:
        """Its superfat, beside the one that the recipe states."""
        return Superfat(
            nominal=nominal,
            effective=self.superfat_effective,
            low=self.superfat_low,
            high=self.superfat_high,
            worst_low=self.superfat_worst_low,
            worst_high=self.superfat_worst_high,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """What to weigh, and what is known about it. Grams are None in JSON while a stop finding stands.

    All grams but those of alkali are exact; `scale` is what a sheet rounds them to. materials: what it was worked out
    by, with the certificates of the lots chosen; what is worked out of it later holds to these. lots: material -> its
    lots -> the grams given of each, None for one that was named alone.
    """

    recipe: str
    recipe_name: str
    version_id: str | None
    version_label: str | None
    purpose: str
    oils: tuple[WeighedOil, ...]
    lye: tuple[WeighedAlkali, ...]
    water: WaterFigures
    superfat: Superfat
    additions: tuple[WeighedAddition, ...]
    scent: tuple[WeighedScent, ...]
    portions: tuple[PortionFigures, ...]
    oil_mass_g: float
    batter_grams: float
    findings: tuple[Finding, ...]
    pot: Pot
    process: Mapping[str, str] = field(default_factory=lambda: ReadOnly({}))
    scale: Scale = field(default_factory=Scale)
    materials: Mapping[str, Material] = field(default_factory=lambda: ReadOnly({}), repr=False, compare=False)
    lots: GivenLots = field(default_factory=lambda: ReadOnly({}))
    cured: Cured | None = None

    @property
    def is_stopped(self) -> bool:
        """Whether a finding says that nothing may be weighed out."""
        from formulary.finding import stops

        return bool(stops(self.findings))

    def to_json(self) -> dict[str, object]:
        """The batch with stable keys; all keys stay, with null for every gram, while it is stopped."""
        tree: dict[str, object] = {
            "recipe": self.recipe,
            "version": {"id": self.version_id, "label": self.version_label},
            "purpose": self.purpose,
            "oils": [line.to_json() for line in self.oils],
            "lye": [line.to_json() for line in self.lye],
            "water": self.water.to_json(),
            "superfat": self.superfat.to_json(),
            "additions": [line.to_json() for line in self.additions],
            "scent": [line.to_json() for line in self.scent],
            "portions": portions_json(self.portions, self.pot),
            "oil_mass_grams": self.oil_mass_g,
            "batter_grams": self.batter_grams,
            "cured": self.cured.to_json() if self.cured is not None else None,
            "lots": self._lots_json(),
            "findings": [finding.to_json() for finding in self.findings],
        }
        return without_grams(tree) if self.is_stopped else tree

    def _lots_json(self) -> list[dict[str, object]]:
        grams = {name: sum(line.grams for line in self.pot.lines if line.material == name) for name in self.lots}
        return [
            {
                "material": name,
                "lot": lot,
                "percent": 100.0 * share,
                "given_grams": self.lots[name][lot],
                "grams": share * grams[name],
            }
            for name in self.lots
            for lot, share in lot_shares(self.lots[name]).items()
        ]


def portions_json(portions: Iterable[PortionFigures], pot: Pot) -> list[dict[str, object]]:
    """The portions of a pot, each with the lines that go into it alone; all others follow the shares."""
    return [
        {**portion.to_json(), "own": [line.to_json() for line in pot.lines if line.portion == portion.name]}
        for portion in portions
    ]


def without_grams(tree: dict[str, object]) -> dict[str, object]:
    """A tree for JSON with null for every gram and spoon, as it is shown while a stop stands."""

    def blank(value: object, key: str) -> object:
        if isinstance(value, dict):
            return {name: blank(item, name) for name, item in value.items()}
        if isinstance(value, list):
            return [blank(item, key) for item in value]
        return None if key.endswith("grams") or key == "measured_amount" else value

    return {key: blank(value, key) for key, value in tree.items()}
