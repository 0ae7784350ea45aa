"""One result of a check: what is wrong or worth knowing, where, and what to do about it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import Enum
from typing import NamedTuple

from formulary.shown_as_text import ShownAsText

_AMOUNT = re.compile(r"[0-9.]+(?= ?(?:%|g\b|°C))")


class Severity(Enum):
    """How much a finding weighs; the order of the members is the order of urgency."""

    ERROR = "error"  # the file or the request cannot be read as meant
    STOP = "stop"  # nothing may be weighed out until it is settled
    WARN = "warn"  # read it before going on
    NOTE = "note"  # worth knowing

    @property
    def rank(self) -> int:
        """0 for the most urgent."""
        return list(Severity).index(self)


class Place(NamedTuple):
    """Where in the maker's files something stands; lines and columns count from 1."""

    path: str | None = None
    line: int | None = None
    column: int | None = None
    field: str | None = None

    def to_json(self) -> dict[str, object]:
        return {"path": self.path, "line": self.line, "column": self.column, "field": self.field}


NOWHERE = Place()
MAX_FINDINGS = 200  # in one file


def locate_nowhere(*_parts: str) -> Place:
    """Locates a part of a recipe in no file: for checks of what is in a pot."""
    return NOWHERE


@dataclass(frozen=True, slots=True, repr=False)
class Finding(ShownAsText):
    """Severity, stable code, place, what was found (one sentence) and what to do (the next step)."""

    severity: Severity
    code: str
    what: str
    do: str
    place: Place = NOWHERE
    found: str | None = None

    def at(self, path: str) -> Finding:
        """The same finding, said to be in the file `path` (kept when a path is already known)."""
        if self.place.path is not None:
            return self
        return replace(self, place=self.place._replace(path=path))

    def unwritten(self) -> Finding:
        """The same finding of a text that is not written to its file: what it is about stays, the lines go."""
        return replace(self, place=Place(field=self.place.field))

    def to_json(self) -> dict[str, object]:
        return {
            "severity": self.severity.value,
            "code": self.code,
            "where": self.place.to_json(),
            "what": self.what,
            "do": self.do,
        }

    def __str__(self) -> str:
        return render_finding(self)


def error(code: str, what: str, do: str, place: Place = NOWHERE, *, found: str | None = None) -> Finding:
    """A finding that the file or the request cannot be read as meant."""
    return Finding(Severity.ERROR, code, what, do, place, found)


def stop(code: str, what: str, do: str, place: Place = NOWHERE, *, found: str | None = None) -> Finding:
    """A finding that blocks a weigh-out."""
    return Finding(Severity.STOP, code, what, do, place, found)


def warn(code: str, what: str, do: str, place: Place = NOWHERE, *, found: str | None = None) -> Finding:
    """A finding to read before going on."""
    return Finding(Severity.WARN, code, what, do, place, found)


def note(code: str, what: str, do: str, place: Place = NOWHERE, *, found: str | None = None) -> Finding:
    """A finding worth knowing."""
    return Finding(Severity.NOTE, code, what, do, place, found)


def render_finding(finding: Finding) -> str:
    """The finding as text that editors can jump to: `path:line:column: severity: what  [code]`."""
    place = finding.place
    start = ":".join(str(part) for part in (place.path, place.line, place.column) if part is not None)
    head = f"{start}: " if start else ""
    lines = [f"{head}{finding.severity.value}: {finding.what}  [{finding.code}]"]
    if place.field and finding.found is not None:
        lines.append(f"    {place.field}: {finding.found}")
    elif place.field or finding.found is not None:
        lines.append(f"    {place.field or finding.found}")
    if finding.do:
        lines.append(f"    do: {finding.do}")
    return "\n".join(lines)


def in_file_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings by path, line and column; those without a place keep their order at the end of their file."""
    return tuple(
        sorted(
            findings,
            key=lambda finding: (
                finding.place.path or "",
                finding.place.line if finding.place.line is not None else 1_000_000_000,
                finding.place.column or 0,
            ),
        )
    )


def has_errors(findings: Iterable[Finding]) -> bool:
    """Whether any finding is an error."""
    return any(finding.severity is Severity.ERROR for finding in findings)


def errors(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings that the file or the request cannot be read as meant."""
    return tuple(finding for finding in findings if finding.severity is Severity.ERROR)


def stops(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings that block a weigh-out."""
    return tuple(finding for finding in findings if finding.severity is Severity.STOP)


def count_findings(findings: Iterable[Finding]) -> str:
    """How many findings of each severity, in words: "1 error, 2 notes"; "nothing to tell" when there is none."""
    counts = Counter(finding.severity for finding in findings)
    words = {Severity.ERROR: "error", Severity.STOP: "stop", Severity.WARN: "warning", Severity.NOTE: "note"}
    parts = [f"{counts[each]} {word}{'s' if counts[each] > 1 else ''}" for each, word in words.items() if counts[each]]
    return ", ".join(parts) or "nothing to tell"


def group_alike(findings: Iterable[Finding]) -> tuple[tuple[Finding, tuple[Place, ...]], ...]:
    """Findings, the most urgent first, each with the other places of its folder that the same is said of.

    Each error and each stop stands by itself: it is settled where it is. What to do may differ by a name, and not by an
    amount: what is enough for one recipe is too little for another.
    """
    alike: dict[tuple[object, ...], list[Finding]] = {}
    for number, finding in enumerate(findings):
        by_itself = number if finding.severity.rank < Severity.WARN.rank else None
        folder = (finding.place.path or "").partition("/")[0]
        said = (finding.severity, finding.code, finding.what, *_AMOUNT.findall(finding.do))
        alike.setdefault((folder, by_itself, said), []).append(finding)
    groups = sorted(alike.values(), key=lambda group: group[0].severity.rank)
    return tuple((group[0], tuple(finding.place for finding in group[1:])) for group in groups)


class TooManyFindings(Exception):  # noqa: N818 - ends the reading of one file; no fault of a call
    """Raised by `FileFindings` when it is full; whoever reads the file stops there."""


class FileFindings(list[Finding]):
    """What is wrong in one file, told up to a bound; the last finding then says that there is more.

    A file that somebody sent can hold a hundred thousand faults, each of which takes time to be worded.
    """

    def append(self, finding: Finding) -> None:
        """Adds a finding. Raises TooManyFindings when no more are told."""
        super().append(finding)
        if len(self) >= MAX_FINDINGS - 1:
            what = f"this file has still more faults; the first {MAX_FINDINGS - 1} are told"
            super().append(error("too-many-findings", what, "mend these, then check again", finding.place))
            raise TooManyFindings

    def extend(self, findings: Iterable[Finding]) -> None:
        """Adds several. Raises TooManyFindings when no more are told."""
        for finding in findings:
            self.append(finding)
