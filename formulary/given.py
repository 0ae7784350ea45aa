"""What a program hands to a call, taken as it is meant: types are not checked while a notebook runs.

A text where several are asked for is one of them and not its letters; a number stands for the text that it prints as,
so that a missing unit is told like one in a file.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from decimal import Decimal
from numbers import Real
from os import PathLike
from typing import TypeAlias

from formulary.errors import InputError

# An amount as a person writes it, or a number where no unit is needed.
Figure: TypeAlias = str | int | float | Decimal
# A day, or one as it is written: 2026-10-03.
Day: TypeAlias = date | str

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
WRITE_A_DAY = "write year-month-day, such as 2026-10-03"


def is_text(given: object) -> bool:
    """Whether it is a text, whatever its type was said to be."""
    return isinstance(given, str)


def is_number(given: object) -> bool:
    """Whether it is a finite number, one of another library too: a table's missing value is none."""
    if isinstance(given, bool) or not isinstance(given, (Real, Decimal)):
        return False
    try:
        return math.isfinite(given)
    except (OverflowError, ValueError):  # larger than any float can be, or a signalling NaN
        return False


def is_mapping(given: object) -> bool:
    """Whether it says something of each of several keys."""
    return isinstance(given, Mapping)


def as_name(given: object) -> str:
    """A name, or a path as a text. Raises InputError for what is neither."""
    if isinstance(given, PathLike):
        return str(given)
    if isinstance(given, str):
        return given
    raise InputError.of("bad-name", f"{given!r:.60} names nothing", "write the name of one, in quotes")


def each_of(given: str | Iterable[str]) -> tuple[str, ...]:
    """The texts given; a text by itself is one. Raises InputError for what is none, and holds none."""
    if isinstance(given, str):
        return (given,)
    texts = tuple(given) if isinstance(given, Iterable) else (given,)
    for text in texts:
        if not is_text(text):
            raise InputError.of(
                "not-text", f"{text!r:.60} is no text", 'write it in quotes, and several in a list: ["one", "another"]'
            )
    return texts


def each_weighed(given: str | Iterable[str] | Mapping[str, Figure]) -> tuple[str, ...]:
    """What was weighed as texts, "olive-oil 450 g", also where it is said as a mapping of names to weights."""
    if isinstance(given, Mapping):
        return tuple(f"{name} {weight}" for name, weight in given.items())
    return each_of(given)


def as_day(given: Day) -> date:
    """A day, also as it is written, or of a time. Raises InputError for what is none."""
    if isinstance(given, datetime):
        return given.date()
    if isinstance(given, date):
        return given
    try:
        return parse_day(str(given))
    except ValueError:
        raise InputError.of("bad-value", f"{given!r:.40} is not a date", WRITE_A_DAY) from None


def parse_day(text: str) -> date:
    """The one way in which a day is written, YYYY-MM-DD. Raises ValueError."""
    stripped = text.strip()
    if not _DAY.fullmatch(stripped):
        raise ValueError(stripped)
    return date.fromisoformat(stripped)


def day_or_today(given: Day | None) -> date:
    """The day given, else the present one."""
    return date.today() if given is None else as_day(given)


def as_moment(given: datetime | None) -> datetime:
    """The moment given, else the present one, with its time zone. Raises InputError for one without a time zone."""
    if given is None:
        return datetime.now().astimezone()
    if not isinstance(given, datetime) or given.tzinfo is None:
        what = f"{given!r:.60} is no moment with a time zone"
        raise InputError.of("bad-moment", what, "give one, such as datetime.now().astimezone()")
    return given
