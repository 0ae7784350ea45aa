"""Entries of a trial's record: what a person says, as the line that is written into trial.yaml."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal

from formulary.batch.temperature_checks import parse_celsius
from formulary.document.edit import Value
from formulary.errors import InputError
from formulary.given import Day, Figure, as_day, each_of
from formulary.quantity import NotAQuantity, format_plain_number, parse_decimal
from trials.trial.elapsed import format_clock
from trials.trial.entry import Entry, demand_said, shorten, tidy_amount, tidy_condition
from trials.trial.model import Trial
from trials.trial.words import release_words


def elapsed_now(trial: Trial, now: datetime) -> str:
    """The time since lye in, by the clock, as it is written: "4:10".

    Raises InputError when no `lye in` with its time of day was recorded, or it lies ahead.
    """
    for recorded in (item for part in trial.parts() for item in part.events):
        if recorded.what == "lye in" and recorded.clock is not None:
            hours, minutes, seconds = (int(part) for part in recorded.clock.split(":"))
            start = datetime(
                trial.made.year, trial.made.month, trial.made.day, hours, minutes, seconds, tzinfo=now.tzinfo
            )
            passed = (now - start).total_seconds()
            if passed < 0 or passed > 24 * 3600:
                what = f"lye in was noted at {recorded.clock} on {trial.made.isoformat()}, which is not today's batch"
                raise InputError.of("clock", what, 'give the time yourself: --at "4:10"')
            return format_clock(Decimal(int(passed)))
    what = "when the lye went in was not recorded with its time of day"
    raise InputError.of("clock", what, 'record `lye in` first, or give the time since then: --at "4:10"')


def lye_in(trial: Trial, now: datetime) -> Entry:
    """That the lye went in now: zero, with the time of day that later entries count from."""
    return trial.event("lye in", "0:00", clock=now.strftime("%H:%M:%S"), corrects=True)


def made_on(trial: Trial, entries: Iterable[Entry], day: date) -> tuple[Entry, ...]:
    """That a trial started on another day was made on this one, when its lye went in by today's clock."""
    went_in = any(
        isinstance(entry.value, Mapping) and entry.value.get("what") == "lye in" and "clock" in entry.value
        for entry in entries
    )
    if not went_in or trial.made == day:
        return ()
    return (Entry(trial.id, "made", day.isoformat(), f"made on {day.isoformat()}"),)


def blending(trial: Trial, lasted: Figure, at: Figure, *, portion: str | None = None, note: str | None = None) -> Entry:
    """How long it was blended from a moment on: `blending(trial, "15 s", "0:20")`."""
    return trial.event("blending", at, lasted=lasted, portion=portion, note=note)


def temperature(
    trial: Trial, degrees: Figure, at: Figure, *, portion: str | None = None, note: str | None = None
) -> Entry:
    """The batter's temperature at a moment: `temperature(trial, "38 °C", "2:00")`."""
    return trial.event("temperature", at, temperature=degrees, portion=portion, note=note)


def note(trial: Trial, text: str) -> Entry:
    """A remark, added below the notes that are there."""
    demand_said(text, "the note is empty", "write a few words")
    return Entry(trial.id, "notes", text.strip(), f"note: {_short(text)}")


def condition(trial: Trial, key: str, text: Figure) -> Entry:
    """One of the conditions: room, humidity, lye_temperature, oil_temperature, mould, cover, blender."""
    demand_said(str(text), f"nothing is said of the {key.replace('_', ' ')}", "write what it was")
    tidy = tidy_condition(key, text)
    there = _condition_there(trial, key)
    remark = f"was {there}" if there not in (None, tidy, _in_celsius(tidy)) else ""
    return Entry(trial.id, "conditions", tidy, f"{key.replace('_', ' ')} {tidy}", None, key, (), remark)


def _condition_there(trial: Trial, key: str) -> str | None:
    """A condition as it stands in the record, in the unit that it is kept in."""
    for name, unit in ((key, ""), (f"{key}_c", " °C"), (f"{key}_percent", " %")):
        value = getattr(trial.conditions, name, None)
        if isinstance(value, (str, Decimal)):
            return f"{value if isinstance(value, str) else format_plain_number(float(value), 1)}{unit}"
    return None


def _in_celsius(text: str) -> str | None:
    degrees_c = parse_celsius(text)
    return None if degrees_c is None else f"{format_plain_number(degrees_c, 1)} °C"


def bars(trial: Trial, **counts: Figure) -> tuple[Entry, ...]:
    """What became of the bars: cut, kept_back and scrapped in bars, lightest in grams."""
    return tuple(
        Entry(trial.id, "bars", _count(text), f"bars {key.replace('_', ' ')} {tidy_amount(text)}", None, key)
        for key, text in counts.items()
    )


def release(
    trial: Trial,
    decision: str,
    *,
    who: str,
    why: str,
    on: Day | None = None,
    despite: str | Iterable[str] = (),
) -> Entry:
    """What was decided about the batch: sell, rework, discard or hold; by whom and why.

    It goes behind what was decided before. on: the day, the one on which it is recorded unless given.
    despite: codes of what speaks against selling and is overridden knowingly. `Bench.record` refuses a decision to sell
    while anything else does, a code by which nothing does, and any decision of a day that is still to come or was
    before the soap was made. Raises InputError for codes beside another decision, and without a name or a reason.
    """
    codes = each_of(despite)
    if codes and decision != "sell":
        what = f"nothing is overridden by a decision to {decision}"
        raise InputError.of("nothing-to-override", what, "say --despite with a decision to sell alone")
    demand_said(who, "nobody is named who decided", "give a name")
    demand_said(why, "no reason is given", "write a few words")
    tree: dict[str, Value] = {"decision": decision, "who": who, "why": why}
    if on is not None:
        tree["on"] = on if isinstance(on, str) else as_day(on).isoformat()
    if codes:
        tree["despite"] = list(codes)
    in_spite = f" (despite {', '.join(codes)})" if codes else ""
    said = f"{decision}, decided by {who}: {_short(why)}{in_spite}"
    before = trial.release
    remark = "" if before is None else f"was: {release_words(before)}; that stays in the record"
    return Entry(trial.id, "release", tree, said, remark=remark)


def dated(trial: Trial, entry: Entry, today: date) -> Entry:
    """A decision with its day, today where it says none; any other entry as it is."""
    if entry.section != "release" or not isinstance(entry.value, Mapping) or "on" in entry.value or today < trial.made:
        return entry
    tree = {**entry.value, "on": today.isoformat()}
    if "despite" in tree:
        tree["despite"] = tree.pop("despite")  # it stays the last
    return replace(entry, value=tree)


def _short(text: str) -> str:
    return shorten(text.strip().splitlines()[0])


def _count(text: Figure) -> Value:
    try:
        return parse_decimal(text)
    except NotAQuantity:
        return tidy_amount(text)


def describe_entries(entries: Mapping[str, list[Entry]]) -> str:
    """The message of a save: one line a trial."""
    return "\n".join(f"{trial_id}: {'; '.join(entry.said for entry in found)}" for trial_id, found in entries.items())
