"""A material's values written out exactly, for a trial's frozen plan, and read back the same."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any, cast, get_args

from formulary.chemistry.alkali import Alkali
from formulary.document.fields import Fields, parse_date
from formulary.document.write import Inline, Quoted
from formulary.materials.model import (
    FragranceLimit,
    Known,
    Lot,
    Material,
    MaterialKind,
    Obtained,
    Price,
    SpoonMass,
    ValueRange,
)
from formulary.materials.value_texts import parse_price
from formulary.quantity import parse_decimal

_TEXTS = ("name", "group", "inci", "inci_in_soap", "carrier", "notes", "how_working_value")
_NUMBERS = (
    "density_g_per_ml",
    "bulk_density_g_per_ml",
    "melting_point_c",
    "flash_point_c",
    "water_percent",
    "sugars_percent",
    "fat_percent",
    "fat_saponification_value",
    "alcohol_percent",
    "vanillin_percent",
    "stated_solids_percent",
    "stated_working_value",
)
_RANGES = (
    "saponification_value",
    "reference_saponification_value",
    "acid_value",
    "iodine_value",
    "assay_percent",
)
_PERCENTS = ("fatty_acids", "acids", "limits", "contains")
_LISTS = ("allergens", "origin", "lots_used")


def material_tree(material: Material) -> dict[str, Any]:
    """Every value of a material, exactly, as plain data for `formulary.document.write.render_document`.

    What is not known is left out. `read_material_tree` gives an equal material back.
    """
    tree: dict[str, Any] = {"kind": material.kind.value}
    if material.alkali is not None:
        tree["alkali"] = material.alkali.value
    tree |= _values(material, (*_TEXTS, *_NUMBERS, *_RANGES, *_PERCENTS, *_LISTS, "limit", "price"))
    if material.measures:
        tree["measures"] = {
            unit: Inline(mass_g=_exact(spoon.mass_g), n=spoon.n) for unit, spoon in material.measures.items()
        }
    if material.builtin:
        tree["builtin"] = "yes"
    if material.stated:
        tree["stated"] = sorted(material.stated)
    if material.sources:
        tree["sources"] = {name: _known(known) for name, known in material.sources.items()}
    if material.lots:
        tree["lots"] = {Quoted(name): lot_tree(lot) for name, lot in material.lots.items()}
    return tree


def _values(holder: Any, names: tuple[str, ...]) -> dict[str, Any]:
    """The known values of those names, each in its written form; `holder` is a material or a lot's overrides."""
    tree: dict[str, Any] = {}
    for name in names:
        value = holder.get(name) if isinstance(holder, Mapping) else getattr(holder, name)
        if value is None or value in ("", (), {}):
            continue
        tree[name] = _written(value)
    return tree


def _written(value: Any) -> Any:
    if isinstance(value, float):
        return _exact(value)
    if isinstance(value, ValueRange):
        ends = {"low": _exact(value.low), "high": _exact(value.high), "working": _exact(value.working)}
        return Inline(**ends, **_known(value.known))
    if isinstance(value, FragranceLimit):
        limit: dict[str, Any] = {"percent_of_product": _exact(value.percent_of_product)}
        if value.certificate is not None:
            limit["certificate"] = value.certificate
        if value.edition is not None:
            limit["edition"] = Quoted(value.edition)
        return Inline(**limit, **_known(value.known))
    if isinstance(value, Price):
        return str(value)
    if isinstance(value, Mapping):
        return {name: _exact(percent) for name, percent in value.items()}
    return list(value) if isinstance(value, tuple) else value


def _exact(number: float) -> Decimal:
    return Decimal(repr(float(number)))


def _known(known: Known) -> Inline:
    return Inline(obtained=known.obtained, source=Quoted(known.source))


def lot_tree(lot: Lot) -> dict[str, Any]:
    """What is known of a lot, exactly, as plain data; `read_lot_tree` gives an equal lot back."""
    dates = {"received": lot.received, "opened": lot.opened, "best_before": lot.best_before}
    tree: dict[str, Any] = {name: when for name, when in dates.items() if when is not None}
    return tree | _values(lot.overrides, tuple(lot.overrides))


def read_material_tree(fields: Fields, slug: str) -> Material:
    """The material that `material_tree` wrote; faults of a file that was changed by hand go to the fields' findings."""
    kind = fields.choice("kind", [kind.value for kind in MaterialKind], required=True)
    values = _read_values(fields, (*_TEXTS, *_NUMBERS, *_RANGES, *_PERCENTS, *_LISTS, "limit", "price"))
    alkali = fields.choice("alkali", [alkali.value for alkali in Alkali])
    if alkali is not None:
        values["alkali"] = Alkali(alkali)
    measures = fields.block_of("measures")
    if measures is not None:
        values["measures"] = _read_measures(measures)
    values["builtin"] = fields.choice("builtin", ["yes", "no"]) == "yes"
    values["stated"] = frozenset(_read_texts(fields, "stated"))
    sources = fields.block_of("sources")
    if sources is not None:
        values["sources"] = {
            entry.key.text: _read_known(inner)
            for entry in sources.block.entries
            if sources.has(entry.key.text) and (inner := sources.as_block(entry.value, entry.key.text)) is not None
        }
    if fields.has("lots"):
        values["lots"] = {
            entry.key.text: read_lot_tree(inner, entry.key.text)
            for entry in fields.entries("lots")
            if (inner := fields.as_block(entry.value, f"lots, {entry.key.text}")) is not None
        }
    fields.finish()
    values.setdefault("name", slug)
    return Material(slug=slug, kind=MaterialKind(kind or "additive"), **values)


def _read_values(fields: Fields, names: tuple[str, ...]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for name in names:
        if not fields.has(name):
            continue
        value: Any
        if name in _NUMBERS:
            value = fields.parsed(name, _parse_float)
        elif name in _RANGES:
            value = _read_range(fields, name)
        elif name in _PERCENTS:
            value = {
                entry.key.text: fields.parse_node(entry.value, _parse_float, f"{name}, {entry.key.text}") or 0.0
                for entry in fields.entries(name)
            }
        elif name in _LISTS:
            value = tuple(_read_texts(fields, name))
        elif name == "limit":
            value = _read_limit(fields)
        elif name == "price":
            value = fields.parsed(name, parse_price)
        else:
            value = fields.text(name)
        if value is not None:
            values[name] = value
    return values


def _parse_float(text: str) -> float:
    return float(parse_decimal(text))


def _read_texts(fields: Fields, key: str) -> list[str]:
    texts = [fields.parse_node(node, str, key) for node in fields.items(key)]
    return [text for text in texts if text is not None]


def _read_known(inner: Fields) -> Known:
    obtained = inner.choice("obtained", get_args(Obtained), required=True)
    known = Known(cast(Obtained, obtained or "maker"), inner.text("source", required=True) or "")
    inner.finish()
    return known


def _read_range(fields: Fields, key: str) -> ValueRange | None:
    inner = fields.block_of(key)
    if inner is None:
        return None
    ends = [inner.parsed(name, _parse_float, required=True) for name in ("low", "high", "working")]
    known = _read_known(inner)
    low, high, working = ends
    if low is None or high is None or working is None:
        return None
    return ValueRange(low, high, working, known)


def _read_limit(fields: Fields) -> FragranceLimit | None:
    inner = fields.block_of("limit")
    if inner is None:
        return None
    percent = inner.parsed("percent_of_product", _parse_float, required=True)
    certificate: date | None = inner.parsed("certificate", parse_date)
    edition = inner.text("edition")
    known = _read_known(inner)
    return None if percent is None else FragranceLimit(percent, certificate, edition, known)


def _read_measures(fields: Fields) -> dict[str, SpoonMass]:
    found: dict[str, SpoonMass] = {}
    for entry in fields.block.entries:
        inner = fields.as_block(entry.value, entry.key.text) if fields.has(entry.key.text) else None
        mass_g = inner.parsed("mass_g", _parse_float, required=True) if inner is not None else None
        if inner is not None and mass_g is not None:
            found[entry.key.text] = SpoonMass(mass_g, int(inner.decimal("n") or 1))
            inner.finish()
    return found


def read_lot_tree(inner: Fields, name: str) -> Lot:
    """The lot that `lot_tree` wrote; faults go to the fields' findings."""
    received, opened, best_before = (inner.date(key) for key in ("received", "opened", "best_before"))
    overrides = _read_values(inner, (*_TEXTS, *_NUMBERS, *_RANGES, *_PERCENTS, *_LISTS, "limit", "price"))
    inner.finish()
    return Lot(name, received, opened, best_before, overrides)
