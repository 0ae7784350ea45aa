"""Checks of common practice: one table with its bounds, each check to be switched off by its code.

Nothing here is chemistry or law, and nothing here ever stops a batch.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Collection, Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from formulary.finding import Finding, Place, locate_nowhere, note, warn
from formulary.quantity import format_plain_number


class CommonPractice(NamedTuple):
    """One row of the table: a quantity, the bounds beyond which it is a note or a warning, and what to say.

    only_when: the condition under which the row counts, empty for always. sentence: with `{value}` (and `{name}`).
    """

    code: str
    quantity: str
    unit: str
    ordinary: str
    only_when: str
    note_below: float | None
    note_above: float | None
    warn_below: float | None
    warn_above: float | None
    sentence: str
    do: str
    source: str

    def is_warned_of(self, value: float) -> bool:
        """Whether the value lies beyond the bounds of a warning."""
        return _is_outside(value, self.warn_below, self.warn_above)

    def is_noted(self, value: float) -> bool:
        """Whether the value lies beyond the bounds of a note."""
        return _is_outside(value, self.note_below, self.note_above)


class Measured(NamedTuple):
    """A quantity of a batch, the part of the recipe that it comes from, and the material's name where one matters.

    written: it in the unit that the recipe states it in, where it may be another.
    """

    value: float
    parts: tuple[str, ...]
    name: str = ""
    written: str = ""


def _is_outside(value: float, low: float | None, high: float | None) -> bool:
    # a share that sums to a hair above its bound is at the bound
    slack = 1e-9 * max(1.0, abs(value))
    return (low is not None and value < low - slack) or (high is not None and value > high + slack)


@lru_cache(maxsize=1)
def read_common_practice() -> tuple[CommonPractice, ...]:
    """The table, read on first use and kept."""
    with Path(__file__).with_name("common_practice.csv").open(encoding="utf-8", newline="") as file:
        return tuple(_read_row(row) for row in csv.DictReader(file))


def _read_row(row: Mapping[str, str]) -> CommonPractice:
    def bound(name: str) -> float | None:
        return float(row[name]) if row[name] else None

    return CommonPractice(
        code=row["code"],
        quantity=row["quantity"],
        unit=row["unit"],
        ordinary=row["ordinary"],
        only_when=row["only_when"],
        note_below=bound("note_below"),
        note_above=bound("note_above"),
        warn_below=bound("warn_below"),
        warn_above=bound("warn_above"),
        sentence=row["sentence"],
        do=row["do"],
        source=row["source"],
    )


def check_common_practice(
    quantities: Mapping[str, Measured],
    conditions: Collection[str],
    *,
    off: Collection[str] = (),
    locate: Callable[..., Place] = locate_nowhere,
) -> Iterator[Finding]:
    """What is unusual about a batch, in the order of the table; never a stop.

    Parameters
    ----------
    quantities: what was measured, by the table's names; what is missing is not checked.
    conditions: the conditions that hold, by the table's words.
    off: codes of checks that the maker has switched off.
    locate: where a part of the recipe stands.
    """
    for row in read_common_practice():
        measured = quantities.get(row.quantity)
        if measured is None or row.code in off or (row.only_when and row.only_when not in conditions):
            continue
        tell = warn if row.is_warned_of(measured.value) else note if row.is_noted(measured.value) else None
        if tell is None:
            continue
        value = format_plain_number(measured.value, 1)
        what = row.sentence.format(value=value, name=measured.name, written=measured.written)
        yield tell(row.code, what, row.do, locate(*measured.parts))
