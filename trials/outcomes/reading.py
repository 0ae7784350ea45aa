"""One reading of an outcome, from the text that a person wrote."""

from __future__ import annotations

import re
from decimal import Decimal

from formulary.document.fields import fraction_fault
from formulary.names import suggest
from formulary.quantity import (
    Kind,
    NotAQuantity,
    Quantity,
    find_comma,
    find_unit,
    format_decimal,
    format_plain_number,
    parse_decimal,
    parse_percent,
    parse_quantity,
)
from trials.outcomes.built_in import BUILT_IN
from trials.outcomes.outcome import Outcome, Scale
from trials.trial.elapsed import parse_elapsed
from trials.trial.model import Reading

_ABOVE = re.compile(r"(?:>=?|≥|more than|later than|over|above)\s*(.+)")
_BELOW = re.compile(r"(?:<=?|≤|less than|earlier than|under|below)\s*(.+)")
_BETWEEN = re.compile(r"(?:between\s+)?([\d.]+)\s*(?:-|–|to|and)\s*([\d.]+)\s*(\D.*)?")
_FACE_GRADES = next(outcome.grades for outcome in BUILT_IN if outcome.name == "ash")
_YES_NO_TOO = ("first rancid spot",)


class OffScale(NotAQuantity):
    """The reading is of the right kind, but beyond the outcome's grades or bounds."""


def parse_reading(text: str, outcome: Outcome) -> Reading:
    """What one reading says, in the outcome's own unit.

    text: `3.1 mm`, `100 %`, `4:10`, `~4 min`, `3-5 mm`, `later than 9 min`, `stirred out`, `yes`, `#c8b496`.
    Raises NotAQuantity, with what to write instead, for a unit of another kind or a bare number where a unit is due;
    OffScale for a grade that the outcome does not have, or a value outside its bounds.
    """
    stripped = text.strip()
    if outcome.scale is Scale.COLOUR:
        from trials.outcomes.colour import parse_colour

        return Reading(text, None, colour=parse_colour(stripped))
    if outcome.scale is Scale.YES_NO:
        return _word(text, stripped, ("no", "yes"), outcome)
    if outcome.scale is Scale.GRADED:
        return _graded(text, stripped, outcome)
    if outcome.name in _YES_NO_TOO and stripped in ("yes", "no"):
        return Reading(text, Decimal(int(stripped == "yes")))
    return _number(text, stripped, outcome)


def _word(text: str, stripped: str, words: tuple[str, ...], outcome: Outcome) -> Reading:
    if stripped in words:
        return Reading(text, Decimal(words.index(stripped)))
    do = suggest(stripped, words, f"write one of: {', '.join(words)}")
    raise OffScale(f"{stripped[:40]!r} is not on the scale of {outcome.name}", do)


def _graded(text: str, stripped: str, outcome: Outcome) -> Reading:
    if outcome.grades == _FACE_GRADES and stripped.endswith("%"):
        percent = parse_percent(stripped)
        if not 0 <= percent <= 100:
            raise OffScale(f"{stripped!r} is outside 0 to 100 %", "write the part of the face, 0 to 100 %")
        steps = (Decimal(0), Decimal(25), Decimal(50))
        return Reading(text, Decimal(sum(percent > step for step in steps)))
    return _word(text, stripped, outcome.grades, outcome)


def _number(text: str, stripped: str, outcome: Outcome) -> Reading:
    match = _ABOVE.fullmatch(stripped)
    if match:
        low = _bounded(_amount(match.group(1), outcome), outcome)
        return Reading(text, None, "above", low, None)
    match = _BELOW.fullmatch(stripped)
    if match:
        high = _bounded(_amount(match.group(1), outcome), outcome)
        return Reading(text, None, "below", None, high)
    match = _BETWEEN.fullmatch(stripped)
    if match:
        unit = match.group(3) or ""
        low, high = (_bounded(_amount(f"{part} {unit}", outcome), outcome) for part in match.group(1, 2))
        if high < low:
            raise NotAQuantity(f"{stripped!r} runs backwards", "write the lower one first")
        return Reading(text, (low + high) / 2, "exact" if low == high else "between", low, high)
    return Reading(text, _bounded(_amount(stripped.removeprefix("~").strip(), outcome), outcome))


def _bounded(number: Decimal, outcome: Outcome) -> Decimal:
    low, high = outcome.low, outcome.high
    if (low is not None and number < low) or (high is not None and number > high):
        low_text = "" if low is None else _told(low, outcome)
        high_text = "more" if high is None else _told(high, outcome)
        bounds = f"{low_text} to {high_text} {outcome.told_unit}".strip()
        what = f"{_told(number, outcome)} {outcome.told_unit}".strip() + f" is outside {bounds}"
        raise OffScale(what, f"write a value from {bounds}")
    return number


def _told(number: Decimal, outcome: Outcome) -> str:
    """A figure as people are told it: a temperature to a tenth in °F, everything else as it was written."""
    if outcome.told_unit == outcome.unit:
        return format_decimal(number)
    return format_plain_number(outcome.told(float(number)), 1)


def _amount(text: str, outcome: Outcome) -> Decimal:
    stripped = text.strip()
    if outcome.scale is Scale.PERCENT:
        try:
            number = parse_percent(stripped)
        except NotAQuantity:
            do = find_comma(stripped) or f"write how much, in percent: {outcome.name} 60 %, or 100 % for all of it"
            raise NotAQuantity(f"{stripped[:40]!r} is no percentage", do) from None
        fault = fraction_fault(number, stripped)
        if fault:
            raise NotAQuantity(*fault)
        return number
    if outcome.scale is Scale.COUNT:
        return _count(stripped, outcome)
    if outcome.scale is Scale.LOG_TIME:
        return _time(stripped, outcome)
    if not outcome.unit:
        return parse_decimal(stripped)
    unit = find_unit(outcome.unit)
    if unit is not None:
        kind = Quantity(Decimal(0), unit).kind
        if kind is Kind.DURATION and ":" in stripped:
            return _time(stripped, outcome)
        return parse_quantity(stripped, kind).to(unit)
    return _own_unit(stripped, outcome)


def _count(stripped: str, outcome: Outcome) -> Decimal:
    number = parse_decimal(stripped.removesuffix(outcome.unit).strip() if outcome.unit else stripped)
    if number < 0 or number % 1:
        raise NotAQuantity(f"{stripped!r} is not a count", "write a whole number, 0 or more")
    return number


def _time(stripped: str, outcome: Outcome) -> Decimal:
    elapsed = parse_elapsed(stripped)
    if elapsed.middle_s is None:
        raise NotAQuantity("an unknown time says nothing", "leave the observation out")
    if elapsed.middle_s <= 0:
        raise NotAQuantity(f"{stripped!r} is no length of time", "write more than nothing")
    return Quantity(elapsed.middle_s, "s").to(outcome.unit)


def _own_unit(stripped: str, outcome: Outcome) -> Decimal:
    """A number in a unit of the maker's own, which must stand behind it."""
    if not stripped.endswith(outcome.unit):
        what = f"{stripped[:40]!r} is not in {outcome.unit}"
        raise NotAQuantity(what, f"write a number and its unit, such as 3 {outcome.unit}")
    return parse_decimal(stripped[: -len(outcome.unit)])
