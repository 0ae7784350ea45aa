"""What stands on a sheet for the bench, as plain texts: what to weigh, and the lines to fill in by hand."""

from __future__ import annotations

from dataclasses import dataclass

from formulary.finding import Finding


@dataclass(frozen=True, slots=True)
class ToWeigh:
    """One thing to weigh: grams as the scale shows them. lot: the one that is known, else empty, to be filled in.

    has_lot: whether it comes from a delivery of its own; water and what was mixed at this bench do not.
    """

    what: str
    grams: str
    note: str = ""
    lot: str = ""
    has_lot: bool = True


@dataclass(frozen=True, slots=True)
class SheetStep:
    """What is weighed into one vessel, or at one moment, in working order; warning: what to know before it is."""

    title: str
    lines: tuple[ToWeigh, ...]
    warning: str = ""


@dataclass(frozen=True, slots=True)
class SheetPart:
    """One loaf, or what several loaves share: what to weigh, what that amounts to, and what is to be known of it."""

    title: str
    size: str
    steps: tuple[SheetStep, ...]
    figures: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    warning: str = ""


@dataclass(frozen=True, slots=True)
class ToNote:
    """Something to note on making day: what was planned, and what is noted already, one text a column.

    noted: empty where it is to be written, None where there is nothing to write.
    """

    what: str
    planned: str = ""
    noted: tuple[str | None, ...] = ("",)


@dataclass(frozen=True, slots=True)
class ToTime:
    """The times of one thing that is made: what it is called, its columns (whole batter, portions) and its events."""

    title: str
    columns: tuple[str, ...]
    events: tuple[ToNote, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetData:
    """A sheet. facts: (what, text), a text empty where it is filled in by hand. findings: of all parts together.

    assumed: what the weights rest on that nobody weighed, and what is left out.
    """

    title: str
    facts: tuple[tuple[str, str], ...]
    parts: tuple[SheetPart, ...]
    findings: tuple[Finding, ...] = ()
    remarks: tuple[str, ...] = ()
    conditions: tuple[ToNote, ...] = ()
    times: tuple[ToTime, ...] = ()
    handling: tuple[ToNote, ...] = ()
    assumed: tuple[str, ...] = ()
