"""The ordinary text of a chart: its size, where it breaks, and the title and remarks that every chart has."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from trials.charts.figure import MM_PER_POINT, Chart
from trials.pours.sentences import wrap_words

LEAST_WIDTH_MM = 80.0
_MARGIN_MM = 1.5


class Lettering:
    """Of a chart of so many millimetres, 80 at least: what every text in it goes by.

    width: of the chart, mm. points: size of ordinary text; a title is a point larger. line: from one line to the next,
    mm. room: letters that go into a line across the chart.
    """

    def __init__(self, width_mm: float) -> None:
        self.width = max(width_mm, LEAST_WIDTH_MM)
        self.points = 7.0 if self.width < 120.0 else 8.0  # small charts keep it readable rather than in proportion
        self.line = self.points * MM_PER_POINT * 1.35
        self.room = characters(self.width - 2 * _MARGIN_MM, self.points)

    def wrap(self, text: str) -> list[str]:
        """A text in lines across the chart."""
        return wrap_words(text, self.room)

    def wrap_title(self, text: str) -> list[str]:
        """A title in lines across the chart."""
        return textwrap.wrap(text, characters(self.width - 2 * _MARGIN_MM, self.points + 1, bold=True))


def draw_title(chart: Chart, lines: Sequence[str], text: Lettering) -> float:
    """Draws the title at the top; where the next line below it would stand, mm from the bottom."""
    y = chart.height_mm - text.line
    for line in lines:
        chart.text_mm(_MARGIN_MM, y, line, fontsize=text.points + 1, fontweight="bold", va="baseline")
        y -= text.line
    return y


def draw_foot(chart: Chart, lines: Sequence[str], text: Lettering, *, top_mm: float, colour: str | None = None) -> None:
    """Draws remarks downward from a height in millimetres. colour: black unless given."""
    options = {} if colour is None else {"color": colour}
    for number, line in enumerate(lines):
        chart.text_mm(
            _MARGIN_MM, top_mm - text.line * (number + 1), line, fontsize=text.points, va="baseline", **options
        )


def characters(width_mm: float, points: float, *, bold: bool = False) -> int:
    """How many characters of text go into a width; letters are a little over half as wide as they are high."""
    return max(8, int(width_mm / letter_mm(points, bold=bold)))


def letter_mm(points: float, *, bold: bool = False) -> float:
    """About how wide a letter is, on the safe side."""
    return (0.64 if bold else 0.54) * points * MM_PER_POINT
