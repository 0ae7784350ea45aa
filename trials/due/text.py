"""What is due, as text for a terminal and as a calendar file."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from formulary.finding import Finding
from formulary.quantity import format_decimal
from formulary.read_only import ReadOnly
from formulary.text_table import Row, paragraph, render_rows
from formulary.whole_file import write_whole
from trials.checks.free_alkali import FREE_ALKALI
from trials.due.due import Due

_OCTETS = 75  # RFC 5545, 3.1: lines longer than that are folded
_LABEL_WIDTH = 26  # "first rancid spot at 365 d": what is wider sends the last column below


def render_due(
    due: Sequence[Due],
    today: date,
    *,
    width: int = 80,
    show_all: bool = False,
    unfit: Mapping[str, Sequence[Finding]] = ReadOnly({}),
) -> str:
    """What is late, due today and due next, in that order, with how to do the first of each.

    What was missed long ago is told by its kind alone, unless show_all. unfit: trial id -> what has come up against it
    since it was recorded as sold, as `Bench.find_unfit_sales` gives it; that comes before all.
    """
    missed = [] if show_all else [item for item in due if item.is_missed]
    told = [item for item in due if item not in missed]
    text = _render_list(told, today, width) if told or not missed else "Nothing else is due."
    return "\n".join([*_say_unfit(unfit, width), text, *_say_missed(missed, width)])


def due_json(
    due: Iterable[Due],
    unread: Iterable[Finding] = (),
    unfit: Mapping[str, Sequence[Finding]] = ReadOnly({}),
) -> dict[str, object]:
    """The same with stable keys. unread: one finding for each trial that could not be read. unfit: as `render_due`."""
    return {
        "due": [item.to_json() for item in due],
        "sold_unfit": [{"trial": key, **each.to_json()} for key, found in unfit.items() for each in found],
        "unread": [finding.to_json() for finding in unread],
    }


def _say_unfit(unfit: Mapping[str, Sequence[Finding]], width: int) -> list[str]:
    lines: list[str] = []
    for trial_id, found in unfit.items():
        for each in found:
            lines += paragraph(f"{each.severity.value.upper()} {trial_id}: {each.what}", width=width)
            lines += [*paragraph(f"do: {each.do}", width=width, indent=2), ""]
    return lines


def _say_missed(missed: Sequence[Due], width: int) -> list[str]:
    if not missed:
        return []
    counts = Counter(item.task for item in missed)
    kinds = ", ".join(f"{task} of {number} loa{'f' if number == 1 else 'ves'}" for task, number in counts.items())
    text = f"Missed long ago, too late for the age that was planned: {kinds}. --all lists them."
    if FREE_ALKALI in counts:
        text += " Free alkali can be tested at any age, and has to be before a sale."
    return ["", *paragraph(text, width=width, indent=2)]


def _render_list(due: Sequence[Due], today: date, width: int) -> str:
    if not due:
        return "Nothing is due."
    late = sum(item.late_days > 0 for item in due)
    now = sum(item.late_days == 0 for item in due)
    said = [f"{late} late" if late else "", f"{now} today" if now else ""]
    said.append(f"{len(due) - late - now} later" if len(due) > late + now else "")
    lines = [f"To look at: {', '.join(part for part in said if part)}."]
    rows: list[Row] = [Row("", ("on", "loaf"))]
    for item, label in _at_once(due):
        when = item.on.isoformat()
        if item.late_days > 0:
            note = f"{item.late_days} day{'s' if item.late_days > 1 else ''} late"
        elif item.late_days == 0:
            note = "today"
        else:
            note = f"in {(item.on - today).days} day{'s' if (item.on - today).days > 1 else ''}"
        portions = f"; still lacking: {', '.join(item.portions)}" if item.portions else ""
        remark = f"; {item.remark}" if item.remark else ""
        rows.append(Row(label, (when, item.loaf), f"{note}{portions}{remark}"))
    lines += ["", *render_rows(rows, width=width)]
    how = {item.task: item.how for item in due if item.how and item.late_days >= 0}
    for task, text in how.items():
        lines += ["", *paragraph(f"{task}: {text}", width=width, indent=2)]
    return "\n".join(lines)


def _at_once(due: Sequence[Due]) -> list[tuple[Due, str]]:
    """What is due of one loaf on one day in as few lines as its names leave room for: each with what it is called."""
    lines: list[tuple[Due, str]] = []
    last: dict[tuple[object, ...], int] = {}
    for item in due:
        alike = (item.trial_id, item.on, item.age_days, item.late_days, item.portions, item.remark)
        at = last.get(alike)
        if at is not None and len(label := f"{lines[at][1].rpartition(' at ')[0]}, {item.label}") <= _LABEL_WIDTH:
            lines[at] = (lines[at][0], label)
        else:
            last[alike] = len(lines)
            lines.append((item, item.label))
    return lines


def render_calendar(due: Iterable[Due], now: datetime) -> str:
    """The same as an iCalendar file, all-day entries that any calendar takes in; late ones stand on today.

    What was missed long ago is left out.

    Source: RFC 5545 (Internet Calendaring and Scheduling Core Object Specification).
    now: the present time, with its zone.
    """
    stamp = now.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    today = now.date()
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//soap-formulary//due//EN", "CALSCALE:GREGORIAN"]
    for item in due:
        if item.is_missed:
            continue
        day = max(item.on, today)
        more = f"\nStill lacking: {', '.join(item.portions)}" if item.portions else ""
        more += f"\n{item.remark}" if item.remark else ""
        lines += [
            "BEGIN:VEVENT",
            f"UID:{_identity(item)}",
            f"DTSTAMP:{stamp}",
            f"DTSTART;VALUE=DATE:{day:%Y%m%d}",
            f"DTEND;VALUE=DATE:{day + timedelta(days=1):%Y%m%d}",
            f"SUMMARY:{_escape(f'{item.label}, {item.loaf}')}",
            f"DESCRIPTION:{_escape(f'{item.trial_id}: {item.how}{more}')}",
            "TRANSP:TRANSPARENT",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return "".join(f"{folded}\r\n" for line in lines for folded in _fold(line))


def write_calendar(path: Path, calendar: str) -> None:
    """Write a calendar's text to a file, with the line ends that the format asks for.

    Raises StorageError when it cannot be written.
    """
    write_whole(path, calendar.encode("utf-8"))


def _identity(item: Due) -> str:
    """The same for the same look each time, so that a calendar replaces its entry instead of doubling it."""
    spelled = "".join(sign if sign.isascii() else f"-{ord(sign):x}-" for sign in item.task.lower())
    task = re.sub(r"[^a-z0-9]+", "-", spelled)
    return f"{item.trial_id}-{task}-{format_decimal(item.age_days.normalize())}d@soap-formulary"


def _escape(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return escaped.replace("\r\n", "\\n").replace("\n", "\\n")


def _fold(line: str) -> list[str]:
    """A line in pieces of at most 75 octets, the later ones behind a space; no character is cut in two."""
    pieces: list[str] = []
    piece = ""
    for character in line:
        if len((piece + character).encode("utf-8")) > _OCTETS:
            pieces.append(piece)
            piece = " "
        piece += character
    return [*pieces, piece]
