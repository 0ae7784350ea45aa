"""What was done to a loaf after it was poured, and what was worked into it when it was rebatched."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal

from formulary.document.fields import Fields
from formulary.quantity import Kind, NotAQuantity, Quantity, parse_quantity
from trials.as_made.entry_lines import WATER
from trials.read.as_made import check_material_name
from trials.read.parts import entries_of, listed, read_portion, read_word
from trials.read.weighed import parse_weighed
from trials.trial.model import HANDLING_WORDS, REBATCHED, Handling, Plan, TakenIn


def read_handling(
    fields: Fields,
    own_words: Sequence[str],
    portions: Sequence[str],
    plan: Plan | None = None,
    materials: Collection[str] | None = None,
) -> tuple[Handling, ...]:
    """What was done after pouring, in order of time.

    own_words: the maker's own. plan, materials: the names that what a rebatch takes in may have; None leaves them
    unchecked.
    """
    steps: list[Handling] = []
    latest: Decimal | None = None
    for block in listed(fields, "after_pour", name="what"):
        what = read_word(block, "what", (*HANDLING_WORDS, *own_words), "event")
        scalar = block.scalar("at", required=True, such_as="24 h")
        at_h = None
        if scalar is not None and scalar.text.strip() != "unknown":
            at_h = block.parsed("at", _hours)
        temperature = block.amount("temperature", "°C", Kind.TEMPERATURE)
        for_h = block.parsed("for", _hours)
        portion = read_portion(block, portions)
        note = block.text("note") or ""
        taken_in = _read_taken_in(block, what, plan, materials)
        block.finish()
        if at_h is not None and latest is not None and at_h < latest:
            do = "put the lines in order of time, or correct the time"
            block.report("time-backwards", "time runs backwards here", do, scalar, "at")
        latest = at_h if at_h is not None and (latest is None or at_h > latest) else latest
        if what is not None and scalar is not None:
            steps.append(Handling(what, at_h, temperature, for_h, portion, note, block.place("what"), taken_in))
    return tuple(steps)


def _read_taken_in(
    block: Fields, what: str | None, plan: Plan | None, materials: Collection[str] | None
) -> tuple[TakenIn, ...]:
    """What was worked in: `with: {olive-oil: 60 g}`, as well as it is known."""
    found: list[TakenIn] = []
    scalars = entries_of(block, "with")
    if scalars and what is not None and what != REBATCHED:
        do = f"write `what: {REBATCHED}`, or what went into the batter under as_made"
        block.report("not-rebatched", f"nothing is worked in by `{what}`", do, scalars[0][0], "with")
    for key, value in scalars:
        weighed = block.parse_node(value, parse_weighed, f"with, {key.text[:40]}")
        known = key.text == WATER or plan is None or check_material_name(block, key, "with", plan, materials)
        if weighed is not None and weighed.high_g == 0:
            block.report("out-of-bounds", "0 g is nothing", "take the line out", value, f"with, {key.text[:40]}")
        elif weighed is not None and known:
            found.append(TakenIn(key.text, weighed.middle_g, weighed.give_or_take_g))
    return tuple(found)


def _hours(text: str) -> Decimal:
    quantity: Quantity = parse_quantity(text, Kind.DURATION)
    if quantity.amount < 0:
        raise NotAQuantity(f"{text.strip()!r} is before pouring", "write 0 h or more")
    return quantity.to("h")
