"""What a person says is in the vessels by now, each material once: `olive-oil 490 g`."""

from __future__ import annotations

import re
from collections.abc import Iterable

from formulary.batch.scale import format_shown
from formulary.batch.size import demand_sensible
from formulary.errors import InputError
from formulary.names import hyphenate
from formulary.quantity import Kind, NotAQuantity, parse_quantity

_WEIGHED = re.compile(r"(\S+)\s+(.+)")
_SPACED_NAME = re.compile(r"([^\W\d][^\d]*\s[^\d]*?)\s+([\d.].*)")


def parse_weighed(text: str) -> tuple[str, float]:
    """A material and the grams of it that are in the vessel: `olive-oil 490 g`; `castor-oil 0 g` when it was forgotten.

    Raises InputError.
    """
    match = _WEIGHED.fullmatch(text.strip())
    if match is None:
        raise InputError.of("bad-weighed", f"{text!r} does not say what was weighed", 'write "olive-oil 490 g"')
    try:
        mass_g = float(parse_quantity(match.group(2), Kind.MASS).to("g"))
    except NotAQuantity as problem:
        spaced = _SPACED_NAME.fullmatch(text.strip())
        if spaced is not None:
            what, do = f"{spaced.group(1)!r} is not how a name is written here", f'write "{hyphenate(spaced.group(1))}'
            raise InputError.of("bad-weighed", what, f'{do} {spaced.group(2)}"') from None
        raise InputError.of("bad-weighed", problem.what, problem.do) from None
    if mass_g < 0:
        raise InputError.of("bad-weighed", f"{match.group(2)!r} is no weight", "write 0 g, or more")
    demand_sensible(mass_g, match.group(2))
    return match.group(1), mass_g


def parse_all_weighed(texts: Iterable[str]) -> dict[str, float]:
    """Each material's grams in the vessels. Raises InputError, also for a material that is named twice: nobody knows
    whether the second is meant besides or instead."""
    weighed_g: dict[str, float] = {}
    for name, grams in map(parse_weighed, texts):
        if name in weighed_g:
            do = f"write all of it in one: {name} {format_shown(weighed_g[name] + grams)} g, or the right one alone"
            raise InputError.of("weighed-twice", f"{name} is given twice", do)
        weighed_g[name] = grams
    return weighed_g
