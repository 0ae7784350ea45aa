"""How much of a material goes into so much oil or batter: `8 % of oils`, `30 g per kg oils`, `1 tbsp per kg oils`."""

from __future__ import annotations

import re
from decimal import Decimal, localcontext
from enum import Enum
from typing import NamedTuple

from formulary.quantity import (
    NUMBER,
    Kind,
    NotAQuantity,
    Quantity,
    find_unit,
    format_decimal,
    kind_of,
    parse_decimal,
    refuse_comma,
    remembering,
)


class Basis(Enum):
    """What a rate is a part of."""

    OILS = "oils"
    BATTER = "batter"


class Rate(NamedTuple):
    """So much of a material for so much oil or batter: `8 % of oils`, `30 g per kg oils`, `1 tbsp per kg oils`."""

    amount: Decimal
    unit: str  # "%", a mass unit or a volume unit, the last two per kg
    basis: Basis

    @property
    def is_volume(self) -> bool:
        """Whether the rate is measured in spoons or millilitres rather than weighed."""
        return kind_of(self.unit) is Kind.VOLUME

    def percent_of_basis(self) -> Decimal:
        """Percent by mass of the basis. Raises NotAQuantity for a rate by volume."""
        if self.unit == "%":
            return self.amount
        with localcontext() as context:
            context.prec = 34
            return Quantity(self.amount, self.unit).to("g") / 10

    def __str__(self) -> str:
        if self.unit == "%":
            return f"{format_decimal(self.amount)} % of {self.basis.value}"
        return f"{format_decimal(self.amount)} {self.unit} per kg {self.basis.value}"


_RATE_PERCENT = re.compile(rf"({NUMBER})\s*(?:%|percent)\s*(?:of\s+(?:the\s+)?(\w+))?")
_RATE_PER_KG = re.compile(rf"({NUMBER})\s*([^\s\d]+(?:\s+oz)?)\s+per\s+kg\s+(?:of\s+)?(?:the\s+)?(\w+)")
_RATE_EXAMPLE = 'write "8 % of oils", "3 % of batter" or "30 g per kg oils"'


@remembering
def parse_rate(text: str) -> Rate:
    """The rate written in `text`; it always names what it is a part of.

    Raises NotAQuantity, with what to write instead, for a rate without a basis or with an unknown unit.
    """
    stripped = text.strip()
    refuse_comma(stripped)
    match = _RATE_PERCENT.fullmatch(stripped)
    if match:
        if match.group(2) is None:
            raise NotAQuantity(f"{stripped!r} does not say of what", _RATE_EXAMPLE)
        amount, unit, basis_text = parse_decimal(match.group(1)), "%", match.group(2)
    else:
        match = _RATE_PER_KG.fullmatch(stripped)
        if not match:
            raise NotAQuantity(f"{stripped[:40]!r} is not a rate", _RATE_EXAMPLE)
        found = find_unit(match.group(2))
        if found is None or kind_of(found) not in (Kind.MASS, Kind.VOLUME):
            raise NotAQuantity(f"{match.group(2)!r} is not a unit for a rate", _RATE_EXAMPLE)
        amount, unit, basis_text = parse_decimal(match.group(1)), found, match.group(3)
    bases = {"oils": Basis.OILS, "oil": Basis.OILS, "batter": Basis.BATTER}
    if basis_text not in bases:
        raise NotAQuantity(f"{basis_text!r} is not what a rate refers to", _RATE_EXAMPLE)
    if amount < 0:
        raise NotAQuantity(f"{stripped!r} is below zero", "write 0 or more")
    return Rate(amount, unit, bases[basis_text])
