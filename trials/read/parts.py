"""The parts of a trial's file that are alike for the whole batter and for a portion: lists and events."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import pairwise

from formulary.document.fields import Fields
from formulary.document.tree import Block, Node, Scalar
from formulary.names import suggest
from formulary.quantity import Kind, NotAQuantity
from trials.outcomes.built_in import TRACE_STAGES
from trials.outcomes.faults import SEIZED
from trials.outcomes.known import observed_as
from trials.outcomes.outcome import Scale
from trials.trial.elapsed import Elapsed, parse_elapsed
from trials.trial.model import EVENT_WORDS, PREPARATIONS, Event

_CLOCK = "14:05:10"


def listed(fields: Fields, key: str, *, name: str) -> Iterator[Fields]:
    """The blocks of a list; a key with nothing behind it is an empty list, as the file starts out with."""
    if is_left_empty(fields, key):
        return iter(())
    return fields.blocks(key, name=name)


def is_left_empty(fields: Fields, key: str) -> bool:
    """Whether a key stands with nothing behind it."""
    if not fields.has(key):
        return False
    entry = fields.block.find(key)
    return entry is not None and isinstance(entry.value, Scalar) and entry.value.is_empty


def read_events(fields: Fields, own_words: Sequence[str]) -> tuple[Event, ...]:
    """The events of one list, in order of time; a time running backwards is reported.

    own_words: the maker's own words for events, beside EVENT_WORDS.
    """
    events: list[Event] = []
    latest: tuple[Decimal, str] | None = None
    words = (*EVENT_WORDS, *own_words)
    for block in listed(fields, "events", name="what"):
        what = read_word(block, "what", words, "event")
        at = block.parsed("at", parse_elapsed, required=True, such_as='"4:30"')
        seconds = block.parsed("for", _seconds)
        temperature = block.amount("temperature", "°C", Kind.TEMPERATURE)
        clock = block.parsed("clock", parse_clock)
        note = block.text("note") or ""
        block.finish()
        if what == "blending" and seconds is None and not block.has("for"):
            block.report("missing-key", "`for` is missing: how long was it blended?", "add `for: 15 s`")
        if what == "temperature" and temperature is None and not block.has("temperature"):
            block.report("missing-key", "`temperature` is missing", "add `temperature: 38 °C`")
        if at is None or what is None:
            continue
        latest = _check_time(block, what, at, latest)
        events.append(Event(what, at, seconds, temperature, clock, note, block.place("what")))
    _check_stages(fields, events)
    return tuple(events)


def read_word(block: Fields, key: str, words: Sequence[str], what: str) -> str | None:
    """One of the words known, with the nearest offered on a slip."""
    scalar = block.scalar(key, required=True)
    if scalar is None:
        return None
    if scalar.text in words:
        return scalar.text
    known = f"write one of: {', '.join(words)}; or add your own under `events:` in formulary.yaml"
    do = _as_observed(scalar.text) or suggest(scalar.text, words, known)
    block.report(f"unknown-{what}", f"no {what} is called {scalar.text[:40]!r}", do, scalar, key)
    return None


def _as_observed(word: str) -> str | None:
    """How to record what is no event but an outcome, such as `seized`; None for a word that is none."""
    outcome = observed_as(word)
    if outcome is None or outcome.from_events:
        return None
    value = outcome.grades[-1] if outcome.grades else "yes" if outcome.scale is Scale.YES_NO else "VALUE"
    entry = f"formulary trial observe TRIAL {shlex.join([outcome.name, value])} --age 0d"
    when = "; its time is that of `too thick to pour`" if outcome.name == SEIZED else ""
    return f"that is observed: {entry}, or a line under `observations:`{when}"


def _check_time(
    block: Fields, what: str, at: Elapsed, latest: tuple[Decimal, str] | None
) -> tuple[Decimal, str] | None:
    """Report what cannot be: before lye in, or before the line above; returns the latest time so far."""
    scalar = block.scalar("at")
    middle = at.middle_s
    if middle is None:
        return latest
    if what == "lye in" and (at.low_s, at.high_s) != (Decimal(0), Decimal(0)):
        do = 'write `at: "0:00"` and count the other times from it'
        block.report("lye-in-zero", "lye in is the zero that every time counts from", do, scalar, "at")
    elif at.low_s is not None and at.low_s < 0 and what not in PREPARATIONS:
        said = " and ".join(PREPARATIONS)
        what_is_wrong = f"`{what}` stands before lye in; only {said} can"
        block.report(
            "event-before-lye", what_is_wrong, "count the time from lye into oils, or correct it", scalar, "at"
        )
    if latest is not None and middle < latest[0]:
        do = "put the lines in order of time, or correct the time"
        block.report("time-backwards", f"time runs backwards here: {at} comes after {latest[1]}", do, scalar, "at")
        return latest
    return middle, str(at)


def _check_stages(fields: Fields, events: Sequence[Event]) -> None:
    """A batter only thickens: report a thicker stage that was reached before a thinner one."""
    reached = [event for event in events if event.what in TRACE_STAGES and event.at.middle_s is not None]
    for earlier, later in pairwise(reached):
        if TRACE_STAGES.index(later.what) < TRACE_STAGES.index(earlier.what):
            what = f"{earlier.what} stands before {later.what}, but a batter only thickens"
            do = "correct the times; a batter that loosened again is `false trace` among the observations"
            from formulary.finding import error

            fields.findings.append(error("stages-backwards", what, do, later.place))


def read_portion(block: Fields, portions: Sequence[str]) -> str | None:
    """The portion that an entry names; one that the trial does not have is reported."""
    scalar = block.scalar("portion")
    if scalar is None:
        return None
    if scalar.text in portions:
        return scalar.text
    do = suggest(scalar.text, portions, f"portions here: {', '.join(portions) or 'none, the batter stayed whole'}")
    block.report("unknown-portion", f"no portion is called {scalar.text[:40]!r}", do, scalar, "portion")
    return None


def texts_of(fields: Fields, key: str) -> tuple[str, ...]:
    """The texts of a list under a key that may stand empty."""
    if is_left_empty(fields, key):
        return ()
    return tuple(item.text for item in fields.items(key) if isinstance(item, Scalar))


def entries_of(fields: Fields, key: str) -> tuple[tuple[Scalar, Node], ...]:
    """Names and values of a block under a key that may stand empty."""
    if is_left_empty(fields, key):
        return ()
    return tuple((entry.key, entry.value) for entry in fields.entries(key))


def block_of(fields: Fields, key: str) -> Fields | None:
    """The block under a key that may stand empty."""
    if is_left_empty(fields, key):
        return None
    node = fields.node(key)
    if isinstance(node, Block) and not node.entries:
        return None
    return fields.block_of(key)


def parse_clock(text: str) -> str:
    """A time of day, `14:05` or `14:05:10`, always with seconds. Raises NotAQuantity."""
    from datetime import time

    try:
        return time.fromisoformat(text.strip()).replace(microsecond=0, tzinfo=None).isoformat()
    except ValueError:
        raise NotAQuantity(f"{text.strip()[:24]!r} is not a time of day", f'write "{_CLOCK}"') from None


def _seconds(text: str) -> Decimal:
    elapsed = parse_elapsed(text)
    if elapsed.middle_s is None or elapsed.middle_s <= 0:
        raise NotAQuantity(f"{text.strip()!r} is no length of time", "write how long, such as 15 s")
    return elapsed.middle_s
