"""One thing to be written into a trial's file; and the two that a trial makes of itself, observations and events."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from formulary.document.edit import Value
from formulary.document.write import Inline
from formulary.errors import InputError
from formulary.given import Figure, each_of, is_text
from formulary.quantity import Kind, NotAQuantity, parse_decimal, parse_percent, parse_quantity
from trials.trial.elapsed import parse_elapsed

# Events that come several times: one is told from another by its time.
_SEVERAL = ("blending", "temperature")
_LONGEST = 60
_COLONS = re.compile(r"~?\s*\d+:\d\d(?::\d\d)?")


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing to be written into a trial's file.

    section: the key it goes under. value: what is written. portion: for events, the portion whose list it joins.
    key: for a block such as `lots`, the key within it. replaces: keys by which an earlier entry is the same one, which
    this one then takes the place of. said: it in a few words, for the history. remark: what else to tell. removes:
    whether the earlier entry only goes.
    """

    trial_id: str
    section: str
    value: Value
    said: str
    portion: str | None = None
    key: str | None = None
    replaces: tuple[str, ...] = ()
    remark: str = ""
    removes: bool = False


def lots_of_entry(entry: Entry) -> tuple[str, ...]:
    """The lots that an entry names; none for an entry of something else."""
    if entry.section != "lots":
        return ()
    return (
        (entry.value,)
        if isinstance(entry.value, str)
        else tuple(entry.value)
        if isinstance(entry.value, Mapping)
        else ()
    )


def observation_entry(
    trial_id: str,
    outcome: str,
    *values: Figure,
    age: Figure,
    portion: str | None = None,
    corrects: bool = False,
    readings_there: int = 0,
    **details: str | None,
) -> Entry:
    """Something measured or graded (`Trial.observe`). readings_there: how many were recorded of the same before."""
    if not values:
        raise InputError.of("empty-entry", f"no value of {outcome} is given", "write what was measured or seen")
    tree: dict[str, Value] = {"age": tidy_amount(age), "outcome": outcome}
    if len(values) == 1:
        tree["value"] = tidy_amount(values[0])
    else:
        tree["values"] = [tidy_amount(value) for value in values]
    add_details(tree, portion=portion, **details)
    said = f"{outcome} {', '.join(tidy_amount(value) for value in values)} at {tidy_amount(age)}"
    replaces = ("age", "outcome", "portion") if corrects else ()
    remark = ""
    if readings_there and not corrects:
        there = "reading that is" if readings_there == 1 else f"{readings_there} readings that are"
        remark = f"this adds to the {there} there; --correct would replace {'it' if readings_there == 1 else 'them'}"
    return Entry(trial_id, "observations", Inline(tree), for_portion(said, portion), None, None, replaces, remark)


def event_entry(
    trial_id: str,
    what: str,
    at: Figure,
    *,
    portion: str | None = None,
    lasted: Figure | None = None,
    temperature: Figure | None = None,
    corrects: bool = False,
    taken_away: Sequence[str] = (),
    **details: str | None,
) -> Entry:
    """Something that happened on making day (`Trial.event`). taken_away: when what it takes the place of was."""
    tree: dict[str, Value] = {"at": _tidy_time(at), "what": what}
    add_amounts(tree, {"for": lasted, "temperature": temperature})
    add_details(tree, **details)
    said = " ".join(part for part in (what, tidy_amount(lasted or temperature or ""), f"at {_tidy_time(at)}") if part)
    same = ("what", "at") if what in _SEVERAL else ("what",)
    replaces = same if corrects else ()
    others = [time for time in taken_away if time != tree["at"]] if corrects and same == ("what",) else []
    remarks = [_spelled(at), f"was at {' and at '.join(others)}" if others else ""]
    remark = "; ".join(each for each in remarks if each)
    return Entry(trial_id, "events", Inline(tree), for_portion(said, portion), portion, None, replaces, remark)


def _spelled(at: Figure) -> str:
    """What a time with colons was taken for, since the hour of the day is written alike: `16:20`; empty for others."""
    if _COLONS.fullmatch(str(at).strip()) is None:
        return ""
    try:
        seconds = parse_elapsed(at).low_s or Decimal(0)
    except NotAQuantity:
        return ""  # reading the file says so
    if seconds < 60:
        return ""
    minutes, rest = divmod(int(seconds), 60)
    parts = ((minutes // 60, "h"), (minutes % 60, "min"), (rest, "s"))
    return f"{' '.join(f'{number} {unit}' for number, unit in parts if number)} after the lye went in"


def add_amounts(tree: dict[str, Value], amounts: Mapping[str, Figure | None]) -> None:
    """Put those of the amounts that are given into what is written, as they are written in files."""
    tree.update({key: tidy_amount(amount) for key, amount in amounts.items() if amount is not None})


def add_details(tree: dict[str, Value], **details: str | None) -> None:
    """Put those of the details that are given into what is written. Raises InputError for one that is no text."""
    each_of([value for value in details.values() if value is not None])
    tree.update({key: value for key, value in details.items() if value is not None})


def for_portion(said: str, portion: str | None) -> str:
    """What an entry says of itself, with the portion that it is about."""
    return f"{said} ({portion})" if portion else said


def demand_said(text: str, what: str, do: str) -> None:
    """Raises InputError for words that say nothing. what, do: that they do not, and what to write."""
    if not is_text(text) or not text.strip():
        raise InputError.of("empty-entry", what, do)


def shorten(text: str) -> str:
    """A text so short that a line of history can tell it."""
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."


def tidy_amount(text: Figure) -> str:
    """An amount with its unit as it is written in files (`38C` -> `38 °C`); any other text as it is."""
    stripped = str(text).strip()
    try:
        return str(parse_quantity(stripped, *Kind))
    except NotAQuantity:
        return stripped


def tidy_condition(key: str, text: Figure) -> str:
    """A condition as it is written in files: an amount with its unit, which is percent for a bare humidity."""
    tidy = tidy_amount(text)
    if key != "humidity":
        return tidy
    try:
        return f"{parse_decimal(tidy):f} %"
    except NotAQuantity:
        return tidy


def parse_share(text: Figure) -> Decimal:
    """The percent that a person says of a share. Raises InputError for what is none."""
    try:
        return parse_percent(text)
    except NotAQuantity as problem:
        raise InputError.of("bad-share", problem.what, problem.do) from None


def _tidy_time(text: Figure) -> str:
    stripped = str(text).strip()
    try:
        elapsed = parse_elapsed(stripped)
    except NotAQuantity:
        return stripped
    is_exact = elapsed.low_s is not None and elapsed.low_s == elapsed.high_s and not elapsed.approximate
    if is_exact and elapsed.low_s is not None and elapsed.low_s % 1 == 0:
        return str(elapsed)
    return tidy_amount(stripped)
