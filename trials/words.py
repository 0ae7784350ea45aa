"""What a trial's file holds in numbers, as a person says it."""

from __future__ import annotations

from decimal import Decimal

from formulary.materials.plain_name import material_words
from formulary.quantity import format_decimal, format_plain_number
from trials.model import AsMade, Handling


def as_made_words(entry: AsMade) -> str:
    """One thing that went otherwise than planned, in words."""
    weighed = f" {format_decimal(entry.weighed_g)} g" if entry.weighed_g is not None else ""
    where = f" in the {entry.portion} portion" if entry.portion else ""
    name = material_words(entry.material)
    if entry.left_out:
        return f"no {name}{where}"
    if entry.instead:
        return f"{material_words(entry.instead)} instead of {name}{weighed}{where}"
    return f"{'extra ' if entry.extra else ''}{name}{weighed}{where}"


def taken_in_words(step: Handling) -> str:
    """What a rebatch took in, in words."""
    said = [f"{format_decimal(weighed_g)} g of {material_words(name)}" for name, weighed_g in step.taken_in]
    return f"with {' and '.join(said)}" if said else ""


def degree_words(celsius: Decimal) -> str:
    """A temperature, to a tenth: what was read in °F has endless decimals."""
    return f"{format_plain_number(float(celsius), 1)} °C"


def hour_words(hours: Decimal) -> str:
    """A length of time that is kept in hours: `10 min`, `2.5 h`."""
    if 0 < hours < 1:
        return f"{format_plain_number(float(hours) * 60, 1)} min"
    return f"{format_plain_number(float(hours), 2)} h"
