"""A weight on a record, as well as it is known: `283 g`, `~120 g`, `118-126 g`, or unknown."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import NamedTuple

from formulary.quantity import Kind, NotAQuantity, find_comma, parse_quantity

ABOUT_PERCENT = Decimal(5)  # what "about" leaves open on either side (common practice, no source)
_NUMBER = r"[0-9.]+"
_RANGE = re.compile(rf"({_NUMBER})\s*(?:-|–|to)\s*({_NUMBER})\s*(\S+)")


class Weighed(NamedTuple):
    """Grams from low_g to high_g; None for both where nobody knows."""

    low_g: Decimal | None
    high_g: Decimal | None

    @property
    def middle_g(self) -> Decimal | None:
        """The middle of what is known."""
        return None if self.low_g is None or self.high_g is None else (self.low_g + self.high_g) / 2

    @property
    def give_or_take_g(self) -> Decimal:
        """How far it may have been from the middle, either way; 0 where nobody knows."""
        return Decimal(0) if self.low_g is None or self.high_g is None else (self.high_g - self.low_g) / 2


def parse_weighed(text: str) -> Weighed:
    """What was weighed, in grams. Raises NotAQuantity."""
    stripped = text.strip()
    if stripped == "unknown":
        return Weighed(None, None)
    body = stripped.lstrip("~").strip()
    match = _RANGE.fullmatch(body)
    if match is not None:
        low_g, high_g = (_mass_g(f"{match.group(number)} {match.group(3)}") for number in (1, 2))
        if high_g < low_g:
            raise NotAQuantity(f"{stripped!r} runs backwards", "write the smaller weight first")
    else:
        low_g = high_g = _mass_g(body)
    about = ABOUT_PERCENT / 100 if stripped.startswith("~") else Decimal(0)
    return Weighed(low_g * (1 - about), high_g * (1 + about))


def _mass_g(text: str) -> Decimal:
    try:
        grams = parse_quantity(text, Kind.MASS).to("g")
    except NotAQuantity as problem:
        do = find_comma(text) or 'write "283 g", "~280 g", "275-290 g" or unknown'
        raise NotAQuantity(problem.what, do) from None
    if grams < 0:
        raise NotAQuantity(f"{text.strip()!r} is below zero", "write 0 g or more")
    return grams
