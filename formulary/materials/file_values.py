"""What is known of a material, key by key as its file would state it."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from formulary.document.edit import Value
from formulary.document.write import Inline
from formulary.materials.model import Material, ValueRange

# attribute of `Material` -> key of a file and the unit that its values have there.
_NUMBERS = (
    ("density_g_per_ml", "density", " g/ml"),
    ("bulk_density_g_per_ml", "bulk_density", " g/ml"),
    ("melting_point_c", "melting_point", " °C"),
    ("flash_point_c", "flash_point", " °C"),
    ("water_percent", "water", " %"),
    ("sugars_percent", "sugars", " %"),
    ("fat_percent", "fat", " %"),
    ("fat_saponification_value", "fat_saponification_value", ""),
    ("alcohol_percent", "alcohol", " %"),
    ("vanillin_percent", "vanillin", " %"),
)


def file_values(material: Material) -> dict[str, Value]:
    """The values of a material by the keys of its file, written so that the file's reader gives them back.

    Numbers are rounded to the hundredth, densities to the thousandth. What is not known is left out.
    """
    found: dict[str, Value | None] = {"group": material.group, "inci": material.inci, "carrier": material.carrier}
    found["alkali"] = material.alkali.value if material.alkali is not None else None
    found["saponification_value"] = _saponification_value(material)
    for key, value in (("acid_value", material.acid_value), ("iodine_value", material.iodine_value)):
        found[key] = None if value is None else _range(value)
    for attribute, key, unit in _NUMBERS:
        number = getattr(material, attribute)
        if number is not None:
            rounded = _rounded(number, 3 if "density" in key else 2)
            found[key] = f"{rounded:f}{unit}" if unit else rounded
    for key, parts in (
        ("fatty_acids", material.fatty_acids),
        ("acids", material.acids),
        ("contains", material.contains),
        ("limits", material.limits),
    ):
        found[key] = _parts(parts)
    if material.assay_percent is not None:
        percent = f"{_rounded(material.assay_percent.working):f} %"
        found["assay"] = "unknown" if material.has_unknown_assay else percent
    for key, words in (("allergens", material.allergens), ("origin", material.origin)):
        found[key] = list(words) if words else None
    return {key: value for key, value in found.items() if value is not None}


def _rounded(number: float, places: int = 2) -> Decimal:
    text = f"{number:.{places}f}"
    return Decimal(text.rstrip("0").rstrip(".") if "." in text else text)


def _range(value: ValueRange) -> Value:
    if value.low == value.high:
        return _rounded(value.working)
    return Inline({"low": _rounded(value.low), "high": _rounded(value.high)})


def _saponification_value(material: Material) -> Value | None:
    """The range before the rule for the working value, and the value that is worked with, which it then keeps."""
    value, of = material.saponification_value, material.reference_saponification_value
    if value is None:
        return None
    ends = value if of is None or of.low == of.high else of
    low, high = min(ends.low, value.working), max(ends.high, value.working)
    return Inline({"low": _rounded(low), "high": _rounded(high), "working": _rounded(value.working)})


def _parts(parts: Mapping[str, float]) -> Value | None:
    return Inline({name: _rounded(percent) for name, percent in parts.items()}) if parts else None
