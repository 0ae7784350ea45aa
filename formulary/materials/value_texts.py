"""The values of a material as they are written: densities, prices, months, and the names of acids."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal

from formulary.chemistry.acids import ACIDS
from formulary.chemistry.fatty_acids import parse_fatty_acid
from formulary.document.fields import parse_date
from formulary.materials.model import Price
from formulary.names import suggest
from formulary.quantity import (
    SPOON_UNITS,
    Kind,
    NotAQuantity,
    format_decimal,
    parse_decimal,
    parse_percent,
    parse_quantity,
)


def parse_percent_to_100(text: str) -> float:
    """A percentage from 0 to 100. Raises NotAQuantity."""
    number = parse_percent(text)
    if not 0 <= number <= 100:
        raise NotAQuantity(f"{format_decimal(number)} is outside 0 to 100", "write a percentage from 0 to 100")
    return float(number)


def parse_fatty_acid_name(text: str) -> str:
    """A fatty acid by carbons and double bonds, as written. Raises NotAQuantity."""
    stripped = text.strip()
    try:
        parse_fatty_acid(stripped)
    except ValueError as problem:
        raise NotAQuantity(str(problem), "write carbons and double bonds, such as C18:1") from None
    return stripped


def parse_acid(text: str) -> str:
    """The name of an acid that is known, without "acid". Raises NotAQuantity."""
    name = text.strip().casefold().removesuffix(" acid")
    if name not in ACIDS:
        known = ", ".join(ACIDS)
        raise NotAQuantity(f"{text.strip()!r} is not an acid known here", suggest(name, ACIDS, f"known: {known}"))
    return name


_DENSITY = re.compile(r"(\S+)\s*(?:g/ml|g/cm3|g/cm³|kg/l)", re.IGNORECASE)


def parse_density(text: str) -> Decimal:
    """Grams per millilitre written `0.92 g/ml`. Raises NotAQuantity."""
    match = _DENSITY.fullmatch(text.strip())
    if match is None:
        raise NotAQuantity(f"{text.strip()[:24]!r} is not a density", "write g/ml, such as 0.92 g/ml")
    return parse_decimal(match.group(1))


def parse_price(text: str) -> Price:
    """Money for an amount, written `24.00 per 100 g` or `9.50 per l`. Raises NotAQuantity."""
    example = "write an amount of money per weight or volume, such as 24.00 per 100 g"
    money, found, amount = text.strip().partition(" per ")
    if not found:
        raise NotAQuantity(f"{text.strip()[:40]!r} is not a price", example)
    amount = amount.strip()
    per = parse_quantity(amount if amount[:1].isdigit() else f"1 {amount}", Kind.MASS, Kind.VOLUME)
    if per.amount <= 0 or per.unit in SPOON_UNITS:
        raise NotAQuantity(f"{text.strip()[:40]!r} is not a price", example)
    number = parse_decimal(money)
    if number < 0:
        raise NotAQuantity(f"{money!r} is below nothing", "write 0 or more")
    return Price(number, per)


def parse_best_before(text: str) -> date:
    """A date, or a month `2028-02`, which means its last day. Raises NotAQuantity."""
    match = re.fullmatch(r"([0-9]{4})-(0[1-9]|1[0-2])", text.strip())
    if match is None:
        return parse_date(text)
    from calendar import monthrange

    year, month = int(match.group(1)), int(match.group(2))
    if year < 1:
        raise NotAQuantity(f"{text.strip()!r} is not a date", "write year-month-day, such as 2028-02-29")
    return date(year, month, monthrange(year, month)[1])
