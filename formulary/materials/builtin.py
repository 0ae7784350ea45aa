"""Reads the built-in materials from `data/`, whose files are named after where their values are from."""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple, cast

from formulary.chemistry.alkali import Alkali
from formulary.chemistry.fatty_acids import calculated_iodine_value
from formulary.materials.model import Known, Material, MaterialKind, Obtained, ValueRange
from formulary.materials.working_value import unknown_assay, with_working_value

_DATA = Path(__file__).parent / "data"
CUP_ML = 236.588  # the US cup that USDA SR28 weighs by

# In the order of preference where two hold a range for the same material.
SAPONIFICATION_FILES = (
    "codex_alimentarius",
    "national_standards",
    "pharmacopoeias",
    "handbooks_and_papers",
    "simmons_appleton_1908",
)
FATTY_ACID_FILES = ("usda_sr28_fatty_acids", "codex_fatty_acids", "papers_fatty_acids", "from_memory_fatty_acids")
VALUE_FILES = ("infoods_densities", "from_formulas", "from_memory")
FOOD_FILE = "usda_sr28_foods"

_NUMBER_FIELDS = {
    "density": "density_g_per_ml",
    "bulk_density": "bulk_density_g_per_ml",
    "melting_point": "melting_point_c",
    "flash_point": "flash_point_c",
    "water": "water_percent",
    "sugars": "sugars_percent",
    "fat": "fat_percent",
    "fat_saponification_value": "fat_saponification_value",
    "alcohol": "alcohol_percent",
    "vanillin": "vanillin_percent",
}


class PublishedValue(NamedTuple):
    """One row of a reference table: the ranges that one source gives for one material; None is no limit that side."""

    slug: str
    saponification_low: float | None
    saponification_high: float | None
    iodine_low: float | None
    iodine_high: float | None
    is_preferred: bool
    known: Known
    note: str


def read_rows(name: str) -> list[dict[str, str]]:
    """The rows of one data file by its name without `.csv`."""
    with (_DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        rows = csv.reader(file)
        columns = next(rows)
        return [dict(zip(columns, row, strict=True)) for row in rows]


def read_published_values() -> tuple[PublishedValue, ...]:
    """Every row of the reference tables of saponification and iodine values."""
    return tuple(_published(row) for name in SAPONIFICATION_FILES for row in read_rows(name))


def _published(row: dict[str, str]) -> PublishedValue:
    return PublishedValue(
        row["slug"],
        _number(row["saponification_low"]),
        _number(row["saponification_high"]),
        _number(row["iodine_low"]),
        _number(row["iodine_high"]),
        row["preferred"] == "yes",
        _known(row),
        row["note"],
    )


def _number(text: str) -> float | None:
    return float(text) if text else None


def _known(row: dict[str, str]) -> Known:
    return Known(cast(Obtained, row["obtained"]), row["source"])


class BuiltinTables:
    """The rows of all data files by material, from which each material is built when it is asked for."""

    def __init__(self) -> None:
        self._rows = {row["slug"]: row for row in read_rows("register")}
        self._published = _by_slug(SAPONIFICATION_FILES)
        self._profiles = [_by_slug((name,)) for name in FATTY_ACID_FILES]
        self._foods = _by_slug((FOOD_FILE,))
        self._values = _by_slug(VALUE_FILES)

    @property
    def slugs(self) -> tuple[str, ...]:
        """All materials, in order."""
        return tuple(self._rows)

    def build(self, slug: str) -> Material:
        """The material of that slug. Raises KeyError for one that is not built in."""
        row = self._rows[slug]
        values: dict[str, Any] = {"sources": {}}
        for food in self._foods.get(slug, ()):
            _take_food(values, food)
        for value in self._values.get(slug, ()):
            _take_value(values, value)
        published = [_published(each) for each in self._published.get(slug, ())]
        profile = next((_profile(table[slug]) for table in self._profiles if slug in table), None)
        return _material(row, published, profile, values)


def read_builtin_tables() -> BuiltinTables:
    """All data files, read."""
    return BuiltinTables()


def _by_slug(names: tuple[str, ...]) -> dict[str, list[dict[str, str]]]:
    found: defaultdict[str, list[dict[str, str]]] = defaultdict(list)
    for name in names:
        for row in read_rows(name):
            found[row["slug"]].append(row)
    return dict(found)


def _profile(rows: list[dict[str, str]]) -> tuple[dict[str, float], Known]:
    """A material's profile in percent of the fatty acids, scaled to 100; a recalled acid makes it a recalled one."""
    profile: dict[str, float] = {}
    knowns = []
    for row in rows:
        middle = (float(row["low"] or 0) + float(row["high"])) / 2.0
        if middle > 0:
            profile[row["fatty_acid"]] = middle
            knowns.append(_known(row))
    total = sum(profile.values())
    known = next((known for known in knowns if known.obtained == "memory"), knowns[0])
    return {acid: percent * 100.0 / total for acid, percent in profile.items()}, known


def _take_food(into: dict[str, Any], row: dict[str, str]) -> None:
    known = _known(row)
    for column, name in (
        ("water_g_per_100g", "water_percent"),
        ("sugars_g_per_100g", "sugars_percent"),
        ("fat_g_per_100g", "fat_percent"),
        ("alcohol_g_per_100g", "alcohol_percent"),
    ):
        if row[column]:
            into[name] = float(row[column])
            into["sources"][name] = known
    if row["density_kind"] == "liquid":
        into["density_g_per_ml"] = float(row["density_g_per_ml"])
        into["sources"]["density_g_per_ml"] = known
    elif row["g_per_cup"]:
        into["bulk_density_g_per_ml"] = float(row["g_per_cup"]) / CUP_ML
        into["sources"]["bulk_density_g_per_ml"] = known


def _take_value(into: dict[str, Any], row: dict[str, str]) -> None:
    name, _, item = row["field"].partition(":")
    text, known = row["value"], _known(row)
    if name in _NUMBER_FIELDS:
        name = _NUMBER_FIELDS[name]
        into[name] = float(text)
    elif name in ("acids", "contains"):
        into.setdefault(name, {})[item] = float(text)
    elif name == "allergen":
        name = "allergens"
        into[name] = (*into.get(name, ()), text)
    elif name == "alkali":
        into[name] = Alkali(text)
    elif name == "acid_value":
        into[name] = _range(text, known)
    elif name == "assay":
        name = "assay_percent"
        into[name] = text  # read when the alkali is known: an unknown assay has its band by alkali
    else:
        others = ", ".join(
            (*_NUMBER_FIELDS, "acids:NAME", "contains:NAME", "allergen", "alkali", "acid_value", "assay")
        )
        raise ValueError(f"{row['slug']}: {name} is no field of {', '.join(VALUE_FILES)}; fields: {others}")
    into["sources"][name] = known


def _range(text: str, known: Known) -> ValueRange:
    low, _, high = text.partition("-")
    ends = float(low), float(high or low)
    return ValueRange(*ends, sum(ends) / 2.0, known)


def _material(
    row: dict[str, str],
    published: list[PublishedValue],
    profile: tuple[dict[str, float], Known] | None,
    values: dict[str, Any],
) -> Material:
    kind = MaterialKind(row["kind"])
    sources: dict[str, Known] = values.pop("sources")
    if row["inci"]:
        sources["inci"] = Known("memory", "INCI names in common use")
    assay = values.pop("assay_percent", None)
    if assay is not None:
        known = sources["assay_percent"]
        values["assay_percent"] = unknown_assay(values.get("alkali")) if assay == "unknown" else _range(assay, known)
    fatty_acids: dict[str, float] = {}
    if profile is not None:
        fatty_acids, sources["fatty_acids"] = profile
    if kind.is_fat:
        chosen = _preferred(published, lambda value: (value.saponification_low, value.saponification_high))
        if chosen is not None and chosen.saponification_low is not None and chosen.saponification_high is not None:
            low, high = chosen.saponification_low, chosen.saponification_high
            values["reference_saponification_value"] = ValueRange(low, high, (low + high) / 2.0, chosen.known)
            sources["saponification_value"] = chosen.known
        values["iodine_value"] = _iodine_value(published, fatty_acids, kind)
        if values["iodine_value"] is not None:
            sources["iodine_value"] = values["iodine_value"].known
    material = Material(
        slug=row["slug"],
        name=row["name"],
        kind=kind,
        group=row["group"] or None,
        inci=row["inci"] or None,
        inci_in_soap=row["inci_in_soap"] or None,
        origin=tuple(part for part in row["origin"].split(" or ") if part),
        fatty_acids=fatty_acids,
        builtin=True,
        sources=sources,
        **values,
    )
    return with_working_value(material)


def _preferred(
    published: list[PublishedValue], ends_of: Callable[[PublishedValue], tuple[float | None, float | None]]
) -> PublishedValue | None:
    """The row to use: preferred ones first, and among them a range before a single value, which is no range."""
    candidates = [value for value in published if ends_of(value) != (None, None)]
    return min(
        candidates,
        key=lambda value: (not value.is_preferred, ends_of(value)[0] == ends_of(value)[1]),
        default=None,
    )


def _iodine_value(
    published: list[PublishedValue], fatty_acids: dict[str, float], kind: MaterialKind
) -> ValueRange | None:
    chosen = _preferred(published, lambda value: (value.iodine_low, value.iodine_high))
    calculated = (
        calculated_iodine_value(fatty_acids, as_free_acids=kind is MaterialKind.FATTY_ACID)
        if fatty_acids and kind is not MaterialKind.WAX
        else None
    )
    if chosen is None:
        if calculated is None:
            return None
        known = Known("computed", "from the fatty acids, AOCS Cd 1c-85")
        return ValueRange(calculated, calculated, calculated, known)
    # a limit on one side only: the fatty acids give the other end, else nought or the limit itself
    ends = [end for end in (chosen.iodine_low, chosen.iodine_high) if end is not None]
    if len(ends) == 1:
        ends.append(calculated if calculated is not None else 0.0)
    low, high = min(ends), max(ends)
    return ValueRange(low, high, (low + high) / 2.0, chosen.known)
