"""Times on a record, as well as they are known: since lye in, and ages of the soap."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import NamedTuple

from formulary.given import Figure
from formulary.quantity import EXAMPLES, NUMBER, Kind, NotAQuantity, find_comma, parse_quantity


class Elapsed(NamedTuple):
    """A time on a record, in seconds, as well as it is known: exact, about, between, or unknown."""

    low_s: Decimal | None
    high_s: Decimal | None
    approximate: bool = False

    @property
    def is_known(self) -> bool:
        """Whether any figure was written down."""
        return self.low_s is not None

    @property
    def middle_s(self) -> Decimal | None:
        """The middle of what is known."""
        if self.low_s is None or self.high_s is None:
            return None
        return (self.low_s + self.high_s) / 2

    def __str__(self) -> str:
        if self.low_s is None or self.high_s is None:
            return "unknown"
        if self.low_s != self.high_s:
            return f"{format_clock(self.low_s)} to {format_clock(self.high_s)}"
        return ("~" if self.approximate else "") + format_clock(self.low_s)


_CLOCK = re.compile(r"(-)?(?:([0-9]{1,3}):)?([0-9]{1,3}):([0-5][0-9])")
_RANGE = re.compile(rf"({NUMBER})\s*(?:-|–|to)\s*({NUMBER})\s*(\S+)")


def parse_elapsed(text: Figure) -> Elapsed:
    """A time since lye in: `4:10`, `1:02:00`, `250 s`, `~4 min`, `3-5 min`, `unknown`; `-15:00` is before it.

    Raises NotAQuantity.
    """
    stripped = str(text).strip()
    if stripped == "unknown":
        return Elapsed(None, None)
    approximate = stripped.startswith("~")
    body = stripped.lstrip("~").strip()
    match = _CLOCK.fullmatch(body)
    if match:
        sign = -1 if match.group(1) else 1
        hours = int(match.group(2) or 0)
        seconds = Decimal(sign * (hours * 3600 + int(match.group(3)) * 60 + int(match.group(4))))
        return Elapsed(seconds, seconds, approximate)
    match = _RANGE.fullmatch(body)
    if match:
        low = parse_quantity(f"{match.group(1)} {match.group(3)}", Kind.DURATION).to("s")
        high = parse_quantity(f"{match.group(2)} {match.group(3)}", Kind.DURATION).to("s")
        if high < low:
            raise NotAQuantity(f"{stripped!r} runs backwards", "write the earlier time first")
        return Elapsed(low, high, approximate)
    try:
        seconds = parse_quantity(body, Kind.DURATION).to("s")
    except NotAQuantity as problem:
        do = find_comma(body) or 'write "4:10", "250 s", "~4 min", "3-5 min" or unknown'
        raise NotAQuantity(problem.what, do) from None
    return Elapsed(seconds, seconds, approximate)


def format_clock(seconds: Decimal) -> str:
    """Seconds as `m:ss` or `h:mm:ss`."""
    total = int(seconds.copy_abs().to_integral_value())
    sign = "-" if seconds < 0 and total else ""
    hours, rest = divmod(total, 3600)
    minutes, left = divmod(rest, 60)
    return f"{sign}{hours}:{minutes:02d}:{left:02d}" if hours else f"{sign}{minutes}:{left:02d}"


def parse_age_days(text: Figure) -> Decimal:
    """Days of an age such as `1 d`, `36 h` or `4 weeks`. Raises NotAQuantity."""
    try:
        days = parse_quantity(text, Kind.DURATION).to("d")
    except NotAQuantity as problem:
        usual = EXAMPLES[Kind.DURATION]
        raise NotAQuantity(problem.what, problem.do.replace(usual, "28 d")) from None
    if days < 0:
        raise NotAQuantity(f"{str(text).strip()!r} is before the soap was made", "write 0 d or more")
    return days
