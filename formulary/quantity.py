"""Amounts with their units, in exact decimals: parse, convert, format.

What a program hands over as a number stands for the text that it prints as, and so has no unit.
Every number that a person writes keeps its digits (`Decimal`); conversions use exact definitions
(international avoirdupois pound 0.45359237 kg, inch 25.4 mm). Spoons, cups and fluid ounces are no fixed
units: their millilitres come from `formulary.yaml`, so here they are only named.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from enum import Enum
from functools import lru_cache, wraps
from typing import NamedTuple, TypeVar, TypeVarTuple

from formulary.given import Figure

_Kinds = TypeVarTuple("_Kinds")
_Parsed = TypeVar("_Parsed")


def remembering(parse: Callable[[str, *_Kinds], _Parsed]) -> Callable[[Figure, *_Kinds], _Parsed]:
    """A parser that reads each text once: recipes say the same few figures over and over, and a version after the next.

    A number is remembered by the text that it prints as: 6 and 6.0 are equal, and other digits.
    """
    remembered = lru_cache(maxsize=4096)(parse)

    @wraps(parse)
    def parse_once(text: Figure, *kinds: *_Kinds) -> _Parsed:
        return remembered(str(text), *kinds)

    return parse_once


class NotAQuantity(ValueError):  # noqa: N818 - it reads as the sentence it is
    """The text is not an amount of the kind asked for; says what is wrong and what to write instead."""

    def __init__(self, what: str, do: str) -> None:
        super().__init__(what)
        self.what = what
        self.do = do


class Kind(Enum):
    """What a unit measures."""

    MASS = "mass"
    VOLUME = "volume"
    TEMPERATURE = "temperature"
    DURATION = "duration"
    LENGTH = "length"
    PERCENT = "percent"


# unit -> (kind, factor to the kind's first unit). Temperature is not a factor and is treated in `Quantity.to`.
_UNITS: dict[str, tuple[Kind, Decimal]] = {
    "g": (Kind.MASS, Decimal(1)),
    "kg": (Kind.MASS, Decimal(1000)),
    "mg": (Kind.MASS, Decimal("0.001")),
    "oz": (Kind.MASS, Decimal("28.349523125")),
    "lb": (Kind.MASS, Decimal("453.59237")),
    "ml": (Kind.VOLUME, Decimal(1)),
    "l": (Kind.VOLUME, Decimal(1000)),
    "tsp": (Kind.VOLUME, Decimal(0)),
    "tbsp": (Kind.VOLUME, Decimal(0)),
    "cup": (Kind.VOLUME, Decimal(0)),
    "fl_oz": (Kind.VOLUME, Decimal(0)),
    "°C": (Kind.TEMPERATURE, Decimal(1)),
    "°F": (Kind.TEMPERATURE, Decimal(1)),
    "s": (Kind.DURATION, Decimal(1)),
    "min": (Kind.DURATION, Decimal(60)),
    "h": (Kind.DURATION, Decimal(3600)),
    "d": (Kind.DURATION, Decimal(86400)),
    "mm": (Kind.LENGTH, Decimal(1)),
    "cm": (Kind.LENGTH, Decimal(10)),
    "in": (Kind.LENGTH, Decimal("25.4")),
    "%": (Kind.PERCENT, Decimal(1)),
}

_SPELLINGS = {
    "gram": "g",
    "grams": "g",
    "kilogram": "kg",
    "kilograms": "kg",
    "lbs": "lb",
    "mL": "ml",
    "L": "l",
    "litre": "l",
    "litres": "l",
    "liter": "l",
    "liters": "l",
    "C": "°C",
    "F": "°F",
    "degC": "°C",
    "degF": "°F",
    "sec": "s",
    "second": "s",
    "seconds": "s",
    "mins": "min",
    "minute": "min",
    "minutes": "min",
    "hr": "h",
    "hour": "h",
    "hours": "h",
    "day": "d",
    "days": "d",
    "inch": "in",
    "percent": "%",
    "teaspoon": "tsp",
    "tablespoon": "tbsp",
    "cups": "cup",
    "floz": "fl_oz",
}
ABSOLUTE_ZERO_C = Decimal("-273.15")  # the definition of the degree Celsius (BIPM, The International System of Units)
_WEEKS = {"week": 7, "weeks": 7, "w": 7}
SPOON_UNITS = ("tsp", "tbsp", "cup", "fl_oz")

# How an amount of each kind may be written.
EXAMPLES = {
    Kind.MASS: "1000 g",
    Kind.VOLUME: "250 ml",
    Kind.TEMPERATURE: "38 °C",
    Kind.DURATION: "4 min",
    Kind.LENGTH: "3.1 mm",
    Kind.PERCENT: "5 %",
}

# A number as it may be written, for patterns.
NUMBER = r"[+-]?(?:[0-9][0-9_]*(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,2})?"
_MOST_DIGITS = 20
_MOST_PLACES = 20
_MOST_DIGITS_BEFORE_POINT = 40
_NUMBER_ONLY = re.compile(NUMBER)
_AMOUNT = re.compile(rf"({NUMBER})\s*(\S.*)?")
_SEVERAL_UNITS = re.compile(rf"{NUMBER}\s*[^\W\d]+(?:[\s,]+|\s+and\s+){NUMBER}\s*[^\W\d]+")
# Thousands set apart, as in 1 000 g; and an exponent that is longer than any amount.
_SPACED = re.compile(r"([+-]?[0-9]{1,3}(?:\s[0-9]{3})+)(?![0-9])(.*)", re.DOTALL)
_EXPONENT = re.compile(r"[+-]?[0-9.]+[eE][+-]?[0-9]{3,}.*", re.DOTALL)
_COMMA = re.compile(r"[+-]?[0-9]+(?:\s*,\s*[0-9]+)+")
_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:,[0-9]{3})+")


class Quantity(NamedTuple):
    """An exact amount and its unit, as written."""

    amount: Decimal
    unit: str

    @property
    def kind(self) -> Kind:
        """What the unit measures."""
        return _UNITS[self.unit][0]

    def to(self, unit: str) -> Decimal:
        """The amount in another unit of the same kind.

        Raises NotAQuantity for a unit of another kind, and for spoons, whose size is the maker's to say.
        """
        if unit == self.unit:
            return self.amount
        kind, factor = _UNITS[unit]
        if kind is not self.kind:
            do = f"write a {kind.value}, such as {EXAMPLES[kind]}"
            raise NotAQuantity(f"{self} is a {self.kind.value}, not a {kind.value}", do)
        if kind is Kind.TEMPERATURE:
            if unit == "°C":
                return (self.amount - 32) * 5 / 9
            return self.amount * 9 / 5 + 32
        own = _UNITS[self.unit][1]
        if not own or not factor:
            raise NotAQuantity(f"{self} has no fixed size", "give millilitres, or set `measures` in formulary.yaml")
        return self.amount * own / factor

    def __str__(self) -> str:
        return f"{format_decimal(self.amount)} {self.unit}"


@remembering
def parse_decimal(text: str) -> Decimal:
    """The exact number written in `text`.

    Raises NotAQuantity for anything but a plain finite decimal of at most 20 digits, and not finer than that: then
    percentages add up exactly.
    """
    stripped = text.strip()
    # Digits, and a point among them, in most cases.
    if len(stripped) <= _MOST_DIGITS and stripped.isascii() and stripped.replace(".", "", 1).isdecimal():
        return Decimal(stripped)
    if _COMMA.fullmatch(stripped):
        raise NotAQuantity(f"{stripped[:40]!r} is not a number", without_comma(stripped))
    if not _NUMBER_ONLY.fullmatch(stripped):
        raise NotAQuantity(f"{stripped[:40]!r} is not a number", "write plain digits, such as 33 or 1.25")
    digits = stripped.replace("_", "")
    if sum(character.isdigit() for character in digits) > _MOST_DIGITS:
        raise NotAQuantity(f"{stripped[:24]}... has more digits than any scale", "write at most 20 digits")
    number = Decimal(digits)
    _, _, exponent = number.as_tuple()
    if isinstance(exponent, int) and (exponent < -_MOST_PLACES or number.adjusted() > _MOST_DIGITS_BEFORE_POINT):
        raise NotAQuantity(f"{stripped[:24]!r} is finer or larger than any scale", "write plain digits, such as 1.25")
    return number


def format_decimal(number: Decimal) -> str:
    """A number as a person writes it: no exponent, digits as they are."""
    return f"{number:f}"


def format_number(number: float, places: int) -> str:
    """A calculated number with a fixed number of places and never `-0.0`."""
    text = f"{number:.{places}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def format_plain_number(number: float, places: int) -> str:
    """A calculated number with at most so many places, and no zeros at its end: `28`, `32.7`."""
    text = format_number(number, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


@remembering
def parse_quantity(text: str, *kinds: Kind) -> Quantity:
    """The amount in `text`, which must carry a unit of one of `kinds`.

    Raises NotAQuantity, with what to write instead, for a bare number, an unknown unit, another kind of unit, or a
    weight or volume with a plus, which may be meant on top of another.

    >>> parse_quantity("1.5 kg", Kind.MASS).to("g")
    Decimal('1500.0')
    """
    stripped = text.strip()
    match = _AMOUNT.fullmatch(stripped)
    if match and match[2] in _UNITS and _UNITS[match[2]][0] in kinds:
        quantity = Quantity(parse_decimal(match[1]), match[2])
    else:
        quantity = _parse_spelled(stripped, match, kinds)
    if stripped.startswith("+") and quantity.kind in (Kind.MASS, Kind.VOLUME):
        # "+5 g" of alkali, meant as 5 g too much and read as 5 g in all, would have it weighed twice.
        raise NotAQuantity(f"{stripped!r} may be how much more, or all of it", "write all of it, without the plus")
    if quantity.kind is Kind.TEMPERATURE and quantity.to("°C") < ABSOLUTE_ZERO_C:
        raise NotAQuantity(f"{stripped!r} is colder than anything can be", f"write such as {_examples(kinds)}")
    return quantity


def _examples(kinds: tuple[Kind, ...]) -> str:
    return " or ".join(EXAMPLES[kind] for kind in kinds)


def _parse_spelled(stripped: str, match: re.Match[str] | None, kinds: tuple[Kind, ...]) -> Quantity:
    """The same for an amount whose unit is not spelled as here, or that is none."""
    example = _examples(kinds)
    refuse_comma(stripped)
    _refuse_spaced(stripped, example)
    if not match:
        raise NotAQuantity(f"{stripped[:40]!r} is not an amount", f"write a number and its unit, such as {example}")
    amount = parse_decimal(match.group(1))
    spelled = (match.group(2) or "").strip()
    if not spelled:
        do = f"add the unit, such as {example}"
        raise NotAQuantity(f"{stripped!r} has no unit", do)
    if spelled in _WEEKS and Kind.DURATION in kinds:
        return Quantity(amount * _WEEKS[spelled], "d")
    unit = find_unit(spelled)
    if unit is None and _SEVERAL_UNITS.fullmatch(stripped):
        raise NotAQuantity(f"{stripped[:24]!r} is in two units", f"use one unit for all of it, such as {example}")
    if unit is None:
        known = [name for name, (kind, _) in _UNITS.items() if kind in kinds]
        do = f"write one of {', '.join(known)}, such as {example}"
        raise NotAQuantity(f"{spelled[:24]!r} is not a unit known here", do)
    quantity = Quantity(amount, unit)
    if quantity.kind not in kinds:
        wanted = " or ".join(kind.value for kind in kinds)
        do = f"write a {wanted}, such as {example}"
        raise NotAQuantity(f"{stripped!r} is a {quantity.kind.value}, not a {wanted}", do)
    return quantity


def refuse_comma(text: str) -> None:
    """Raises NotAQuantity, with what to write instead, for a text that begins with a number with a comma."""
    match = _COMMA.match(text)
    if match:
        raise NotAQuantity(f"{text[:24]!r} has a comma", without_comma(match.group()))


def without_comma(number: str) -> str:
    """What to write instead of a number with a comma, which may part thousands or decimals."""
    digits = "".join(number.split())[:24]
    if digits.count(",") > 1:
        return f"write it without commas: {digits.replace(',', '')}"
    if _THOUSANDS.fullmatch(digits) and not digits.startswith("0"):
        return f"write {digits.replace(',', '')} for thousands, or {digits.replace(',', '.')} with a point"
    return f"write a point: {digits.replace(',', '.')}"


def find_comma(text: str) -> str | None:
    """What to write instead of the first number with a comma in a text; None where there is none."""
    match = _COMMA.search(text)
    return without_comma(match.group()) if match else None


def _refuse_spaced(text: str, example: str) -> None:
    if _EXPONENT.fullmatch(text):
        raise NotAQuantity(f"{text[:24]!r} is finer or larger than any scale", f"write plain digits, such as {example}")
    match = _SPACED.fullmatch(text)
    if match:
        whole = "".join(match.group(1).split()) + match.group(2)
        raise NotAQuantity(f"{text[:24]!r} has a space within its number", f"write it without: {whole[:24]}")


def kind_of(unit: str) -> Kind:
    """What a unit measures, in its one spelling used here."""
    return _UNITS[unit][0]


def find_unit(spelled: str) -> str | None:
    """The unit's one spelling used here, or None."""
    if spelled in _UNITS:
        return spelled
    if spelled in _SPELLINGS:
        return _SPELLINGS[spelled]
    lowered = spelled.lower().replace(" ", "_")
    return lowered if lowered in _UNITS else _SPELLINGS.get(lowered)


def parse_mass_g(text: Figure) -> Decimal:
    """Grams of a mass such as `1000 g`, `1.5 kg` or `2 lb`; more than nothing.

    Raises NotAQuantity.
    """
    mass_g = parse_quantity(text, Kind.MASS).to("g")
    if mass_g <= 0:
        raise NotAQuantity(f"{str(text).strip()!r} is no weight", "write more than 0 g")
    return mass_g


@remembering
def parse_percent(text: str) -> Decimal:
    """Percent written `5` or `5 %`. Raises NotAQuantity."""
    stripped = text.strip()
    if stripped[-1:].isdecimal():
        return parse_decimal(stripped)
    if stripped.endswith("%"):
        return parse_decimal(stripped[:-1])
    if stripped.lower().endswith("percent"):
        return parse_decimal(stripped[: -len("percent")])
    return parse_decimal(stripped)
