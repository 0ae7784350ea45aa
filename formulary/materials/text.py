"""The register as a person reads it: all materials by kind, or all that is known of one and where from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from formulary.materials.model import FragranceLimit, Known, Lot, Material, MaterialKind, ValueRange
from formulary.quantity import format_number
from formulary.temperature import CELSIUS, told_unit, told_value
from formulary.text_table import Row, paragraph, render_rows, text_width

_TITLES = {
    MaterialKind.OIL: "oils, fats and butters",
    MaterialKind.WAX: "waxes",
    MaterialKind.FATTY_ACID: "fatty acids",
    MaterialKind.ALKALI: "alkalis",
    MaterialKind.ACID: "acids",
    MaterialKind.LIQUID: "liquids",
    MaterialKind.FRAGRANCE: "scents",
    MaterialKind.COLOURANT: "colourants",
    MaterialKind.ADDITIVE: "other additions",
}
_OBTAINED = {"read": "read there", "memory": "from memory", "computed": "calculated", "maker": "yours"}
# attribute -> what it is called, and its unit; ranges first, then single figures.
_RANGES = {
    "saponification_value": ("saponification value", "mg KOH per g"),
    "acid_value": ("acid value", "mg KOH per g"),
    "iodine_value": ("iodine value", "g iodine per 100 g"),
    "assay_percent": ("assay", "% pure"),
}
_FIGURES = {
    "density_g_per_ml": ("density", "g/ml"),
    "bulk_density_g_per_ml": ("bulk density", "g/ml"),
    "melting_point_c": ("melting point", "°C"),
    "flash_point_c": ("flash point", "°C"),
    "water_percent": ("water", "%"),
    "sugars_percent": ("sugars", "%"),
    "fat_percent": ("fat", "%"),
    "fat_saponification_value": ("saponification value of that fat", "mg KOH per g"),
    "alcohol_percent": ("alcohol", "%"),
    "vanillin_percent": ("vanillin", "%"),
}
_BLENDS = {
    "fatty_acids": ("fatty acids", "% of fatty acids"),
    "acids": ("acids", "%"),
    "contains": ("contains", "%"),
    "limits": ("limits of its constituents", "% of the bar"),
}
_STEP = 4  # columns that a material stands in under its kind
_LEAST_SHOWN = 0.05  # percent; less of a blend's part is noise on screen, and stays in the JSON


def render_materials(materials: Mapping[str, Material], *, width: int = 80) -> str:
    """All materials by kind, with the figure that matters most for each; those of the maker's own files are marked."""
    own = sum(not material.builtin for material in materials.values())
    first = f"{len(materials)} materials, {own} of them from files of yours; `materials show NAME` tells all of one."
    lines = paragraph(first, width=width)
    label_width = max([34, *(text_width(slug) + _STEP for slug in materials)])
    for kind, title in _TITLES.items():
        of_kind = sorted((each for each in materials.values() if each.kind is kind), key=lambda each: each.slug)
        if of_kind:
            head, unit = _headline_unit(kind)
            rows = [Row(title, (head,), unit)]
            rows += [Row(each.slug, (_headline(each),), "" if each.builtin else "yours", _STEP) for each in of_kind]
            lines += ["", *render_rows(rows, width=width, label_width=label_width)]
    return "\n".join(lines)


def _headline_unit(kind: MaterialKind) -> tuple[str, str]:
    if kind.is_fat:
        return "SV", "saponification value used, mg KOH per g"
    if kind in (MaterialKind.ALKALI, MaterialKind.ACID):
        return "% pure", ""
    if kind is MaterialKind.FRAGRANCE:
        return "limit %", "of the finished bar, by its certificate"
    return "water %", ""


def _headline(material: Material) -> str:
    if material.kind.is_fat:
        value = material.saponification_value
        return "unknown" if value is None else format_number(value.working, 1)
    if material.kind in (MaterialKind.ALKALI, MaterialKind.ACID):
        return "unknown" if material.assay_percent is None else f"{material.assay_percent.working:g}"
    if material.kind is MaterialKind.FRAGRANCE:
        return "unknown" if material.limit is None else f"{material.limit.percent_of_product:g}"
    return "unknown" if material.water_percent is None else f"{material.water_percent:g}"


def render_material(material: Material, *, width: int = 80, told_in: str = CELSIUS) -> str:
    """All that is known of a material, each value with where it is from and whether it was read there.

    told_in: what temperatures are, "°C" or "°F".
    """
    lines = paragraph(_title(material), width=width)
    if material.inci:
        soap = f"; as soap {material.inci_in_soap}" if material.inci_in_soap else ""
        lines += paragraph(f"INCI {material.inci}{soap}", width=width)
    sources = _Sources()
    rows = list(_value_rows(material, sources, told_in))
    if rows:
        lines += ["", *render_rows([Row("", ("low", "used", "high"), ""), *rows], width=width)]
    if material.how_working_value:
        lines += ["", *paragraph(material.how_working_value, width=width, indent=2)]
    if material.limit is not None:
        text = f"{_limit_sentence(material.limit)}{sources.mark(material.limit.known)}"
        lines += ["", *paragraph(text, width=width, indent=2)]
    for attribute, (title, unit) in _BLENDS.items():
        parts = {name: amount for name, amount in getattr(material, attribute).items() if amount >= _LEAST_SHOWN}
        if parts:
            listed = ", ".join(f"{name} {_short(amount)}" for name, amount in parts.items())
            mark = sources.mark(material.sources.get(attribute))
            lines += paragraph(f"{title}, {unit}: {listed}{mark}", width=width, indent=2)
    if material.allergens:
        lines += paragraph(f"allergens: {', '.join(material.allergens)}", width=width, indent=2)
    if material.price is not None:
        lines += paragraph(f"price: {material.price}", width=width, indent=2)
    for name, lot in material.lots.items():
        lines += paragraph(f"lot {name}: {_lot_words(lot)}", width=width, indent=2)
    if material.notes:
        lines += ["", *paragraph(material.notes, width=width, indent=2)]
    return "\n".join([*lines, *sources.lines(width)])


def _title(material: Material) -> str:
    """What it is, whose file says so, and by which lots."""
    whose = "built in" if material.builtin else f"from materials/{material.slug}.yaml"
    kind = material.kind.value.replace("-", " ")
    article = "an" if kind[0] in "aeiou" else "a"
    group = f" ({material.group.replace('-', ' ')})" if material.group else ""
    by_lot = f", lot {' + '.join(material.lots_used)}" if material.lots_used else ""
    return f"{material.name}: {article} {kind}{group}, {whose}{by_lot}."


def _limit_sentence(limit: FragranceLimit) -> str:
    edition = f", edition {limit.edition}" if limit.edition else ""
    dated = f", certificate of {limit.certificate}" if limit.certificate else ""
    return f"At most {limit.percent_of_product:g} % of the finished bar{dated}{edition}."


def _lot_words(lot: Lot) -> str:
    """Its dates, and which values are its own."""
    dates = [f"{word} {day}" for word, day in (("received", lot.received), ("opened", lot.opened)) if day]
    best = [f"best before {lot.best_before}"] if lot.best_before else []
    own = [f"own {name.replace('_', ' ')}" for name in lot.overrides]
    return ", ".join([*dates, *best, *own]) or "no more known"


class _Sources:
    """Numbers the sources in the order in which they are first cited."""

    def __init__(self) -> None:
        self._cited: dict[Known, int] = {}

    def mark(self, known: Known | None) -> str:
        """` [2]` for a source, nothing when there is none."""
        return "" if known is None else f" [{self._cited.setdefault(known, len(self._cited) + 1)}]"

    def lines(self, width: int) -> list[str]:
        """The list of what was cited."""
        if not self._cited:
            return []
        rows = [
            Row(f"[{number}]", ("",), f"{known.source} ({_OBTAINED[known.obtained]})")
            for known, number in self._cited.items()
        ]
        return ["", *render_rows(rows, width=width, gap=1)]


def _value_rows(material: Material, sources: _Sources, told_in: str) -> Iterable[Row]:
    for attribute, (title, unit) in _RANGES.items():
        value: ValueRange | None = getattr(material, attribute)
        if value is not None:
            cells = (_short(value.low), _short(value.working), _short(value.high))
            yield Row(title, cells, f"{unit}{sources.mark(value.known)}")
    for attribute, (title, unit) in _FIGURES.items():
        figure: float | None = getattr(material, attribute)
        if figure is not None:
            said = _short(told_value(figure, unit, told_in))
            mark = sources.mark(material.sources.get(attribute))
            yield Row(title, ("", said, ""), f"{told_unit(unit, told_in)}{mark}")


def _short(number: float) -> str:
    return f"{number:.3g}" if abs(number) < 100 else f"{number:.4g}"


def material_json(material: Material) -> dict[str, object]:
    """A material with stable keys; None where a value is not known."""

    def known_json(known: Known | None) -> dict[str, object] | None:
        return None if known is None else {"obtained": known.obtained, "source": known.source}

    def range_json(value: ValueRange | None) -> dict[str, object] | None:
        if value is None:
            return None
        return {"low": value.low, "working": value.working, "high": value.high, "known": known_json(value.known)}

    return {
        "material": material.slug,
        "name": material.name,
        "kind": material.kind.value,
        "group": material.group,
        "inci": material.inci,
        "builtin": material.builtin,
        **{attribute: range_json(getattr(material, attribute)) for attribute in _RANGES},
        **{attribute: getattr(material, attribute) for attribute in _FIGURES},
        **{attribute: dict(getattr(material, attribute)) for attribute in _BLENDS},
        "limit_percent": None if material.limit is None else material.limit.percent_of_product,
        "allergens": list(material.allergens),
        "lots": list(material.lots),
        "how_working_value": material.how_working_value,
        "sources": {attribute: known_json(known) for attribute, known in material.sources.items()},
    }
