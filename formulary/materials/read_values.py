"""The values that a material file, or one lot's certificate in it, may state: each key read once, here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from formulary.chemistry.alkali import Alkali
from formulary.chemistry.molar_mass import POTASSIUM_HYDROXIDE_G_PER_MOL, SODIUM_HYDROXIDE_G_PER_MOL
from formulary.document.fields import Fields
from formulary.document.tree import Block, Listing
from formulary.finding import error, warn
from formulary.materials.constituent_names import find_slips, parse_constituent, say_slip
from formulary.materials.model import (
    ASSAY_NOT_STATED,
    CERTIFICATE_HALF_WIDTH,
    FragranceLimit,
    Known,
    Material,
    MaterialKind,
    ValueRange,
)
from formulary.materials.plausible_values import (
    HIGHEST_FAT,
    LOWEST_FAT,
    find_assay_doubt,
    find_doubt,
    is_no_fat,
    lye_of,
    weighed_at,
)
from formulary.materials.value_texts import (
    parse_acid,
    parse_density,
    parse_fatty_acid_name,
    parse_percent_to_100,
    parse_price,
)
from formulary.materials.working_value import PROFILE_FOR_LYE_PERCENT, unknown_assay
from formulary.quantity import (
    Kind,
    NotAQuantity,
    format_decimal,
    parse_decimal,
)

# A purity that a label or certificate states is taken to half a percent (common practice, no source).
STATED_ASSAY_HALF_WIDTH_PERCENT = 0.5
# Potassium hydroxide flakes, the weakest solid alkali that is sold, hold 85 to 90 % (common practice, no source). What
# lies between and is weaker than its own alkali is sold is believed with a warning (`find_assay_doubt`).
LOWEST_SOLID_ASSAY_PERCENT = Decimal(80)
# Salt and carbonate of a technical lye, and what rounding leaves (common practice, no source).
LYE_TOTAL_WITHIN_PERCENT = 2.0
HIGHEST_SAPONIFICATION_VALUE = 700.0  # above tributyrin, 557, and acetic-type fats; mg KOH per g
LOWEST_OIL_SAPONIFICATION_VALUE = 150.0  # no common oil lies below (rapeseed of high erucic acid: about 168)
MG_KOH_PER_G_NAOH = 1000 * POTASSIUM_HYDROXIDE_G_PER_MOL / SODIUM_HYDROXIDE_G_PER_MOL
_PARTS = ("water", "sugars", "fat", "alcohol", "vanillin", "solids")


class ValueReader:
    """Reads the values of one block into a dictionary by the names of `Material`'s attributes."""

    def __init__(
        self,
        fields: Fields,
        kind: MaterialKind,
        known: Known,
        *,
        is_certificate: bool,
        group: str | None = None,
        builtin: Material | None = None,
        general: Mapping[str, Any] | None = None,
    ) -> None:
        """group: of the material. builtin: the built-in one under it. general: what the file says beside a lot."""
        self.fields = fields
        self.kind = kind
        self.known = known
        self.is_certificate = is_certificate
        self.group = group
        self.builtin = builtin
        self.general: Mapping[str, Any] = general or {}
        self.values: dict[str, Any] = {}

    def of_lot(self, fields: Fields, known: Known) -> ValueReader:
        """The reader of one lot's certificate, once the general values are read."""
        return ValueReader(
            fields,
            self.kind,
            known,
            is_certificate=True,
            group=self.group,
            builtin=self.builtin,
            general=self.values,
        )

    def read(self, alkali: Alkali | None) -> dict[str, Any]:
        """Every value that stands in the block; faults go to the findings of its fields."""
        fields = self.fields
        self._take("saponification_value", self._saponification_value())
        self._take("acid_value", self._range("acid_value", 0.0, 300.0))
        self._take("iodine_value", self._range("iodine_value", 0.0, 400.0))
        self._take("fatty_acids", self._fatty_acids())
        self._take("density_g_per_ml", self._density("density", 0.5, 3.0))
        self._take("bulk_density_g_per_ml", self._density("bulk_density", 0.02, 5.0))
        for key in ("melting_point", "flash_point"):
            degrees = fields.amount(key, "°C", Kind.TEMPERATURE)
            self._take(f"{key}_c", None if degrees is None else float(degrees))
        for key in _PARTS:
            percent = fields.percent(key)
            self._take(
                "stated_solids_percent" if key == "solids" else f"{key}_percent",
                None if percent is None else float(percent),
            )
        number = fields.decimal("fat_saponification_value", low=Decimal(1), high=Decimal(700))
        self._take("fat_saponification_value", None if number is None else float(number))
        self._take("acids", self._acids())
        self._take("assay_percent", self._assay(alkali))
        self._take("limit", self._limit())
        self._take("limits", self._percentages("limits", parse=parse_constituent))
        self._take("contains", self._percentages("contains", parse=parse_constituent))
        self._check_constituents()
        self._take("carrier", fields.text("carrier"))
        self._take("allergens", self.read_texts("allergens"))
        self._take("price", fields.parsed("price", parse_price))
        self._check_total()
        if self.kind is MaterialKind.ALKALI:
            self._check_lye()
        self._check_saponification_value()
        return self.values

    def _take(self, name: str, value: Any) -> None:
        if value is not None:
            self.values[name] = value

    def _saponification_value(self) -> ValueRange | None:
        factor_of = self._factor_fault
        found = self._range("saponification_value", 1.0, HIGHEST_SAPONIFICATION_VALUE, factor_of)
        if found is None:
            return None
        if self.kind is MaterialKind.OIL and found.high < LOWEST_OIL_SAPONIFICATION_VALUE:
            place = self.fields.place("saponification_value")
            what = f"{found.working:g} mg KOH per g is low for an oil"
            do = f"if it is mg of NaOH per g, write {found.working * MG_KOH_PER_G_NAOH / 1000:.0f} (times 1.4027)"
            self.fields.findings.append(warn("saponification-low", what, do, place))
        if self.is_certificate and found.low == found.high:
            half = CERTIFICATE_HALF_WIDTH
            return ValueRange(found.low - half, found.high + half, found.working, found.known)
        return found

    def _check_saponification_value(self) -> None:
        """An error for what no fat has, a warning for what this one hardly has: its lye would be wrong."""
        value: ValueRange | None = self.values.get("saponification_value")
        if value is None or not self.kind.is_fat:
            return
        key, own = "saponification_value", self.values.get("fatty_acids", self.general.get("fatty_acids"))
        if is_no_fat(value, self.kind, own or {}):
            del self.values[key]
            ends = f"{value.low:g} to {value.high:g}"
            is_range = isinstance(self.fields.node(key), Block)
            given = ends if is_range else f"{value.working:g}"
            least = f"{LOWEST_FAT:g} to " if self.kind is MaterialKind.OIL else "at most "
            what = f"no {self.kind.value} has a saponification value of {given}: {least}{HIGHEST_FAT:g} mg KOH per g"
            do = "read the certificate again; a fat of short acids must state its `fatty_acids` as well"
            self.fields.findings.append(error("saponification-impossible", what, do, self.fields.place(key)))
            return
        profile = own if own is not None else (self.builtin.fatty_acids if self.builtin is not None else {})
        doubt = find_doubt(
            value, kind=self.kind, builtin=self.builtin, fatty_acids=profile, is_own_profile=own is not None
        )
        if doubt is not None:
            what = f"a saponification value of {value.working:g} is hard to believe, since {doubt.why}"
            do = f"read the certificate again: it means {lye_of(value.working)} of the material"
            self.fields.findings.append(warn("saponification-doubted", what, do, self.fields.place(key)))

    @staticmethod
    def _factor_fault(number: Decimal) -> tuple[str, str] | None:
        if not 0 < number < 1:
            return None
        what = f"{format_decimal(number)} looks like grams of alkali per gram; a saponification value is mg KOH per g"
        koh, naoh = float(number) * 1000, float(number) * MG_KOH_PER_G_NAOH
        if koh < LOWEST_OIL_SAPONIFICATION_VALUE <= naoh:
            return what, f"as grams of NaOH it is {format_decimal(number)} x {MG_KOH_PER_G_NAOH:.1f}: write {naoh:.1f}"
        return what, f"write {koh:.4g} if it is grams of KOH, or {naoh:.1f} if it is grams of NaOH"

    def _range(
        self,
        key: str,
        low: float,
        high: float,
        fault_of: Callable[[Decimal], tuple[str, str] | None] | None = None,
    ) -> ValueRange | None:
        """One number, or a block of low and high with or without working."""

        def bounded(text: str) -> float:
            number = parse_decimal(text)
            fault = fault_of(number) if fault_of else None
            if fault:
                raise NotAQuantity(*fault)
            if not low <= number <= high:
                raise NotAQuantity(f"{format_decimal(number)} is outside {low:g} to {high:g}", "check the unit")
            return float(number)

        node = self.fields.node(key)
        if node is None:
            return None
        if not isinstance(node, Block):
            value = self.fields.parse_node(node, bounded, key)
            return None if value is None else ValueRange(value, value, value, self.known)
        inner = self.fields.as_block(node, key)
        if inner is None:
            return None
        ends = [inner.parsed(name, bounded, required=True) for name in ("low", "high")]
        working = inner.parsed("working", bounded)
        inner.finish()
        bottom, top = ends
        if bottom is None or top is None:
            return None
        if not bottom <= (bottom if working is None else working) <= top:
            inner.report("range-order", "low, working and high do not rise", "write low <= working <= high")
            return None
        # a range without a working value is marked by the middle; the rule for the working value comes later
        return ValueRange(bottom, top, (bottom + top) / 2.0 if working is None else working, self.known)

    def stated_working(self) -> float | None:
        """The working saponification value, when the file itself states it."""
        entry = self.fields.block.find("saponification_value")
        if entry is None or not isinstance(entry.value, Block):
            return None
        working = entry.value.find("working")
        if working is None or "saponification_value" not in self.values:
            return None
        value: ValueRange = self.values["saponification_value"]
        return value.working

    def _fatty_acids(self) -> dict[str, float] | None:
        profile = self._percentages("fatty_acids", parse=parse_fatty_acid_name)
        total = sum(profile.values()) if profile else 0.0
        if total > 102.0:
            what = f"the fatty acids total {total:g} %, more than 100 %"
            self.fields.report("fatty-acids-total", what, "use the middle of each range, or measured values")
            return None
        if 0.0 < total <= 1.02:
            what = f"the fatty acids total {total:g}: they look like fractions; percentages are written 5, not 0.05"
            self.fields.report("fraction", what, "write each times 100")
            return None
        gives_lye = self.kind.is_fat and self._in_force("saponification_value") is None
        if gives_lye and 0.0 < total < PROFILE_FOR_LYE_PERCENT:
            what = f"the fatty acids total {total:g} %, too little of the fat to work out its lye from them"
            do = "read each percent again, add those that are missing, or state its `saponification_value`"
            self.fields.findings.append(warn("fatty-acids-incomplete", what, do, self.fields.place("fatty_acids")))
        return profile

    def _acids(self) -> dict[str, float] | None:
        return self._percentages("acids", parse=parse_acid)

    def _percentages(self, key: str, parse: Callable[[str], str]) -> dict[str, float] | None:
        """A block of name: percent, no name twice."""
        if not self.fields.has(key):
            return None
        found: dict[str, float] = {}
        for entry in self.fields.entries(key):
            name = self.fields.parse_node(entry.key, parse, key)
            if name is None:
                continue
            if name in found:
                what = f"{name} stands twice under `{key}`"
                self.fields.report("name-twice", what, "keep one of them, with its whole percent", entry.key, key)
                continue
            percent = self.fields.parse_node(entry.value, parse_percent_to_100, f"{key}, {name}")
            if percent is not None:
                found[name] = percent
        return found

    def _check_constituents(self) -> None:
        """A warning for each name that hides a limit because it was probably written otherwise than meant."""
        contains, limits = self.values.get("contains", {}), self.values.get("limits", self.general.get("limits", {}))
        for slip in find_slips(contains, limits):
            key = "contains" if slip.written in contains else "limits"
            what, do = say_slip(slip)
            self.fields.findings.append(warn("constituent-doubted", what, do, self.fields.place(key)))

    def _density(self, key: str, low: float, high: float) -> float | None:
        def parse(text: str) -> float:
            number = float(parse_density(text))
            if not low <= number <= high:
                raise NotAQuantity(f"{number:g} g/ml is no density of such a material", "write g/ml, such as 0.92 g/ml")
            return number

        return self.fields.parsed(key, parse)

    def _assay(self, alkali: Alkali | None) -> ValueRange | None:
        scalar = self.fields.scalar("assay")
        if scalar is None:
            return None
        if self.kind not in (MaterialKind.ALKALI, MaterialKind.ACID):
            what = f"an assay belongs to an alkali or an acid, not to kind {self.kind.value}"
            self.fields.report("assay-kind", what, "remove the line", scalar, "assay")
            return None
        if scalar.text == "unknown":
            return unknown_assay(alkali)
        percent = self.fields.percent("assay", low=Decimal(1), refuse_fraction=True)
        if percent is None:
            return None
        is_solid = self.kind is MaterialKind.ALKALI and self.group != "lye-solution"
        if is_solid and percent < LOWEST_SOLID_ASSAY_PERCENT:
            what = f"no solid alkali is only {format_decimal(percent)} % pure"
            do = "read the label again; for a ready-made lye add `group: lye-solution`"
            self.fields.report("assay-low", what, do, scalar, "assay")
            return None
        number, half = float(percent), STATED_ASSAY_HALF_WIDTH_PERCENT
        stated = ValueRange(number - half, min(100.0, number + half), number, self.known)
        doubt = find_assay_doubt(stated, alkali) if is_solid else None
        if doubt is not None and alkali is not None:
            what = f"an assay of {number:g} % is hard to believe, since {doubt.why}"
            do = f"read the label again: it means {weighed_at(number, alkali)}"
            self.fields.findings.append(warn("assay-doubted", what, do, self.fields.place("assay")))
        return stated

    def _limit(self) -> FragranceLimit | None:
        inner = self.fields.block_of("limit")
        if inner is None:
            return None
        percent = inner.percent("percent_of_product", required=True)
        certificate, edition = inner.date("certificate"), inner.text("edition")
        inner.finish()
        if percent is None:
            return None
        return FragranceLimit(float(percent), certificate, edition, self.known)

    def read_texts(self, key: str) -> tuple[str, ...] | None:
        """One word or a list of them."""
        node = self.fields.node(key)
        if node is None:
            return None
        nodes = node.items if isinstance(node, Listing) else (node,)
        texts = [self.fields.parse_node(item, str.strip, key) for item in nodes]
        return tuple(text.casefold() for text in texts if text)

    def _check_total(self) -> None:
        whole = sum(self.values.get(name, 0.0) for name in ("water_percent", "fat_percent", "alcohol_percent"))
        sugars, solids = self.values.get("sugars_percent"), self.values.get("stated_solids_percent")
        total = whole + max(sugars or 0.0, solids or 0.0)
        if total > 100.5:
            what = f"water, fat, alcohol and solids (or sugars) total {total:g} %, more than 100 %"
            self.fields.report("composition-total", what, "check the percentages against the label")

    def _check_lye(self) -> None:
        """An error where the water and the hydroxide of an alkali do not fit: one of the two is a slip."""
        is_lye = self.group == "lye-solution"
        if is_lye and self.values.get("water_percent") == 0.0:
            what = "a ready-made lye without water is said to be solid"
            do = "write its water; a solid alkali has neither `water: 0` nor `group: lye-solution`"
            self.fields.report("lye-water", what, do, None, "water")
            return
        water: float | None = self._in_force("water_percent")
        assay: ValueRange | None = self._in_force("assay_percent")
        if is_lye and water is None and not self.is_certificate:
            what = "a ready-made lye does not say its water, of which that much less is weighed"
            do = (
                f"write `water: {100.0 - assay.working:g}`"
                if assay is not None
                else "write its `water` and its `assay`"
            )
            self.fields.report("lye-water", what, do, None, "water")
            return
        if not self.values.keys() & {"water_percent", "assay_percent"}:
            return
        if not water or assay is None or assay.known == ASSAY_NOT_STATED:
            return
        total = water + assay.working
        if total > 100.0 + LYE_TOTAL_WITHIN_PERCENT or (is_lye and total < 100.0 - LYE_TOTAL_WITHIN_PERCENT):
            what = (
                f"{water:g} % water and {assay.working:g} % hydroxide total {total:g} %, and must be 100 %: one of the "
                "two is wrong, and the lye would be too"
            )
            do = (
                f"read the label again: with {water:g} % water write assay {100.0 - water:g}, "
                f"with {assay.working:g} % hydroxide write water {100.0 - assay.working:g}"
            )
            self.fields.report("lye-total", what, do, None, "assay" if "assay_percent" in self.values else "water")

    def _in_force(self, name: str) -> Any:
        """A value as it holds for this block: stated in it, beside it for a lot, or built in."""
        found = self.values.get(name, self.general.get(name))
        return getattr(self.builtin, name) if found is None and self.builtin is not None else found
