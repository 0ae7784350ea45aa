"""A mould, described by its inside as it is filled."""

from __future__ import annotations

import re
from typing import NamedTuple

from formulary.chemistry.density import box_volume_ml, cylinder_volume_ml
from formulary.errors import InputError
from formulary.quantity import Kind, NotAQuantity, find_comma, parse_quantity

_SIDE = r"([0-9.]+)\s*(mm|cm|in)?"
_BOX = re.compile(rf"{_SIDE}\s*[x×]\s*{_SIDE}\s*[x×]\s*{_SIDE}", re.IGNORECASE)
_CYLINDER = re.compile(rf"cylinder\s+{_SIDE}\s*[x×]\s*{_SIDE}", re.IGNORECASE)
_CM = {"mm": 0.1, "cm": 1.0, "in": 2.54}


class Mould(NamedTuple):
    """A mould as it is filled: millilitres up to its stated height, and how it was described."""

    volume_ml: float
    described: str


def parse_mould(text: str) -> Mould:
    """A mould described by its inside: `25 x 8 x 7 cm` (the last is the height that it is filled to),
    `cylinder 8 x 20 cm` (width across, height filled), or `1200 ml`.

    One unit at the end counts for all, else each side has its own. Raises InputError, with what to write instead.
    """
    stripped = str(text).strip()
    box = _BOX.fullmatch(stripped)
    cylinder = _CYLINDER.fullmatch(stripped)
    try:
        if box:
            return Mould(box_volume_ml(*_sides_cm(box)), stripped)
        if cylinder:
            return Mould(cylinder_volume_ml(*_sides_cm(cylinder)), stripped)
        return Mould(_above_zero(str(parse_quantity(stripped, Kind.VOLUME).to("ml"))), stripped)
    except (NotAQuantity, ValueError):
        what = f"{stripped[:40]!r} does not describe a mould"
        do = find_comma(stripped) or 'write its inside, filled: "25 x 8 x 7 cm", "cylinder 8 x 20 cm" or "1200 ml"'
        raise InputError.of("bad-mould", what, do) from None


def _sides_cm(found: re.Match[str]) -> list[float]:
    """The sides in centimetres; ValueError where units are said for some sides only, or one is not above zero."""
    numbers, units = found.groups()[::2], found.groups()[1::2]
    last, others = units[-1], units[:-1]
    if last is None or (any(others) and not all(others)):
        raise ValueError(found.group())
    return [_above_zero(number) * _CM[(unit or last).lower()] for number, unit in zip(numbers, units, strict=True)]


def _above_zero(text: str) -> float:
    number = float(text)
    if not 0 < number < 1e6:
        raise ValueError(text)
    return number
