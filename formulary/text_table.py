"""Plain text tables for an 80-column terminal: numbers aligned on the point, notes wrapped beside them."""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

_UNBROKEN = "\N{NO-BREAK SPACE}"
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|g|kg|ml|mm|s|min|h|d|°C|°F)(?![\w°]))")


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: a label, its cells, and a note that may wrap. `indent` steps the label in."""

    label: str
    cells: tuple[str, ...] = ()
    note: str = ""
    indent: int = 2


def text_width(text: str) -> int:
    """How many columns a terminal gives to a text."""
    return sum(
        0 if unicodedata.combining(character) else 2 if unicodedata.east_asian_width(character) in "WF" else 1
        for character in text
    )


def pad(text: str, width: int, *, right: bool = False) -> str:
    """The text filled with spaces to a width, on the right side of it or the left."""
    space = " " * max(0, width - text_width(text))
    return space + text if right else text + space


def align_on_point(cells: Sequence[str]) -> list[str]:
    """Numbers of one column, filled so that their points stand under one another; other texts end at the right."""
    tails = [_tail(cell) for cell in cells]
    most = max(tails, default=0)
    padded = [cell + " " * (most - tail) if _is_number(cell) else cell for cell, tail in zip(cells, tails, strict=True)]
    width = max((text_width(cell) for cell in padded), default=0)
    return [pad(cell, width, right=True) for cell in padded]


def _is_number(cell: str) -> bool:
    return bool(cell) and cell.lstrip("+-").replace(".", "", 1).isdigit()


def _tail(cell: str) -> int:
    if not _is_number(cell):
        return 0
    return len(cell) - cell.index(".") if "." in cell else 0


def render_rows(rows: Sequence[Row], *, width: int = 80, gap: int = 3, label_width: int | None = None) -> list[str]:
    """The rows as lines no wider than `width`: labels left, cells right, notes wrapped in what is left.

    A note that would have less than 20 columns and does not fit goes onto lines of its own below.
    """
    count = max((len(row.cells) for row in rows), default=0)
    columns = [align_on_point([row.cells[i] if i < len(row.cells) else "" for row in rows]) for i in range(count)]
    widths = _find_widths(rows, columns, width, gap, label_width)
    lines: list[str] = []
    for number, row in enumerate(rows):
        cells = "".join(" " * widths.gap + column[number] for column in columns) if row.cells else ""
        lines += _row_lines(row, cells, widths)
    return lines


class _Widths(NamedTuple):
    """Columns of the screen: of a line, of the labels, of all cells with the gap before each, and of a gap.

    is_below: labels stand on lines of their own, their cells below them.
    """

    line: int
    labels: int
    cells: int
    gap: int
    is_below: bool


def _find_widths(
    rows: Sequence[Row], columns: Sequence[Sequence[str]], width: int, gap: int, label_width: int | None
) -> _Widths:
    wide = [max((text_width(cell) for cell in column), default=0) for column in columns]
    if columns:
        gap = max(1, min(gap, (width - sum(wide)) // len(columns)))
    cells = sum(wide) + gap * len(columns)
    longest = max((text_width(row.label) + row.indent for row in rows if row.cells), default=0)
    word = _longest_word(rows)
    labels = min(longest if label_width is None else max(label_width, word), width - cells)
    # Rather than break a name, or wrap to a column of scraps, put the labels on lines of their own, the cells below.
    is_below = labels < max(word, min(12, longest))
    return _Widths(width, max(0, width - cells) if is_below else labels, cells, gap, is_below)


def _row_lines(row: Row, cells: str, widths: _Widths) -> list[str]:
    """One row: its label, the cells at the end of it, and its note beside them or below."""
    width, labels, cells_width, gap, is_below = widths
    head = wrap(row.label, labels - row.indent if row.cells and not is_below else width - row.indent)
    padded = [" " * row.indent + part for part in head]
    if is_below and row.cells:
        padded = [*(padded if row.label else []), ""]
    note_room = width - labels - cells_width - gap
    beside = wrap(row.note, note_room) if row.note and note_room >= min(20, text_width(row.note)) else []
    first = pad(padded[-1], labels) + cells if row.cells else padded[-1]
    if beside:
        first = pad(first, labels + cells_width) + " " * gap + beside[0]
    lines = [*padded[:-1], first.rstrip()]
    lines += [" " * (labels + cells_width + gap) + part for part in beside[1:]]
    if row.note and not beside:
        lines += [" " * (row.indent + 2) + part for part in wrap(row.note, width - row.indent - 2)]
    return lines


def _longest_word(rows: Sequence[Row]) -> int:
    """Columns that keep every word of the labels beside cells whole; a name of a material is one word."""
    return max((text_width(word) + row.indent for row in rows if row.cells for word in row.label.split()), default=0)


def wrap(text: str, width: int) -> list[str]:
    """A text in lines no wider than `width`, broken between words; a number stays with its unit.

    Only a word that is longer than the line is broken itself.
    """
    kept = _BEFORE_UNIT.sub(_UNBROKEN, text)
    lines = textwrap.wrap(kept, max(width, 10), break_on_hyphens=False) or [""]
    return [line.replace(_UNBROKEN, " ") for line in lines]


def paragraph(text: str, *, width: int = 80, indent: int = 0) -> list[str]:
    """A text as lines with an indent."""
    return [" " * indent + line for line in wrap(text, width - indent)]
