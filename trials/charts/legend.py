"""A legend in rows above a plot: a sign and its words, as many in a row as fit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from trials.charts.figure import Chart
from trials.charts.lettering import Lettering, letter_mm

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SIGN = 6  # letters that a sign and the gap behind it take up
_WIDE = "mwMW"  # half as wide again as others
Item = tuple[str, str]  # what is drawn, and its words


def legend_rows(items: Sequence[Item], room: int) -> list[list[Item]]:
    """The items by row. room: letters that go into a row."""
    rows: list[list[Item]] = []
    used = room
    for item in items:
        need = _letters(item[1])
        if used + need > room:
            rows.append([])
            used = 0
        rows[-1].append(item)
        used += need
    return rows


def _letters(words: str) -> int:
    """About how many letters an item takes up."""
    wide = sum(map(words.count, _WIDE))
    return len(words) + (wide + 1) // 2 + _SIGN


def draw_legend(
    chart: Chart,
    rows: Sequence[Sequence[Item]],
    text: Lettering,
    *,
    top_mm: float,
    draw_sign: Callable[[Axes, str, float, float], None],
) -> None:
    """Draw the rows from a height in millimetres downward. draw_sign: draws one at a place in millimetres.

    Words without a sign begin where signs do.
    """
    if not rows:
        return
    axes = chart.axes_mm(0, 0, chart.width_mm, chart.height_mm)
    axes.set_axis_off()
    axes.set_xlim(0, chart.width_mm)
    axes.set_ylim(0, chart.height_mm)
    y = top_mm - 0.4 * text.line
    for row in rows:
        x = 3.5
        for what, words in row:
            draw_sign(axes, what, x, y)
            axes.text(x + (3.0 if what else -2.0), y, words, fontsize=text.points, va="center")
            x += _letters(words) * letter_mm(text.points)
        y -= text.line
