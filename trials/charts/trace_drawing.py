"""Draws how batters thickened: a line a portion along minutes, the wider the thicker, open where it was poured."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from trials.charts.figure import BLACK, BLUE, GREY, MM_PER_POINT, Chart, drawing
from trials.charts.legend import draw_legend, legend_rows
from trials.charts.lettering import Lettering, characters, draw_foot, draw_title, letter_mm
from trials.charts.trace_data import TraceData, TraceRow
from trials.outcomes.built_in import TRACE_STAGES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Stage -> its marker, and how wide the line is from there on, in points.
_STAGES = dict(zip(TRACE_STAGES, (("o", 1.2), ("^", 2.2), ("s", 3.4), ("D", 4.8), ("X", 6.2)), strict=True))
_BEFORE = 0.6  # the line's width until the first stage, in points
_SCENT, _POURED, _OPEN, _ABOUT, _SEIZED = "scent in", "poured", "open", "about", "seized"
_ARROW = 14.0  # points
_AFTER = 0.02  # of the axis


def draw(trace: TraceData, *, width_mm: float = 160.0) -> Chart:
    """The thickening as a figure of a width in millimetres, one row a portion."""
    text = Lettering(width_mm)
    width, line, points = text.width, text.line, text.points
    title = text.wrap_title(trace.title)
    legend = legend_rows(_legend_items(trace), text.room)
    foot = [part for said in _foot(trace) for part in text.wrap(said)]
    labels = [_wrapped(row.label, 0.3 * width, points) for row in trace.rows]
    longest = max((len(part) for label in labels for part in label), default=0)
    left = 4.0 + longest * letter_mm(points)
    row_height = max(7.0, line * (max((len(label) for label in labels), default=1) + 0.4))
    plot_height = row_height * len(trace.rows)
    foot_height = line * len(foot) + 1.5
    bottom = foot_height + 2.6 * line + 1.0
    height = bottom + plot_height + line * (len(legend) + len(title) + 0.9)
    if trace.nothing is not None:
        height = foot_height + line * (len(title) + 0.5)
    with drawing(trace.title):
        chart = Chart(width, height, title=trace.title)
        y = draw_title(chart, title, text)
        draw_foot(chart, foot, text, top_mm=foot_height)
        if trace.nothing is not None:
            return chart
        draw_legend(chart, legend, text, top_mm=y + 0.6 * line, draw_sign=_draw_sign)
        axes = chart.axes_mm(left, bottom, width - left - 4.0, plot_height)
        _draw_rows(axes, trace, (width - left - 4.0) / MM_PER_POINT)
        _finish(axes, points)
        for number, label in enumerate(labels):
            middle = bottom + plot_height - (number + 0.5) * row_height
            for place, part in enumerate(label):
                up = ((len(label) - 1) / 2.0 - place) * line
                chart.text_mm(left - 2.0, middle + up, part, fontsize=points, ha="right", va="center")
    return chart


def _wrapped(label: str, most_mm: float, points: float) -> list[str]:
    return textwrap.wrap(label, characters(most_mm, points)) or [label]


def _foot(trace: TraceData) -> list[str]:
    lines = []
    if trace.nothing is not None:
        lines.append(f"{trace.nothing.capitalize()}.")
    if trace.untimed:
        lines.append(f"Noted without its time: {', '.join(trace.untimed)}.")
    if trace.without_events:
        lines.append(f"Nothing was timed of {', '.join(trace.without_events)}.")
    return lines


def _legend_items(trace: TraceData) -> list[tuple[str, str]]:
    reached = {mark.stage for row in trace.rows for mark in row.marks}
    items = [(stage, stage) for stage in TRACE_STAGES if stage in reached]
    if any(row.scent_in is not None for row in trace.rows):
        items.append((_SCENT, _SCENT))
    if any(row.poured is not None and not row.is_open for row in trace.rows):
        items.append((_POURED, _POURED))
    if any(row.is_open for row in trace.rows):
        items.append((_OPEN, "poured: too thick to pour would have come later"))
    if any(row.has_seized for row in trace.rows):
        items.append((_SEIZED, "seized, after what was timed"))
    if any(mark.low != mark.high for row in trace.rows for mark in row.marks):
        items.append((_ABOUT, "somewhere between"))
    return items


def _draw_sign(axes: Axes, what: str, x: float, y: float) -> None:
    if what in _STAGES:
        marker, wide = _STAGES[what]
        axes.plot([x, x + 2.0], [y, y], color=GREY, linewidth=wide, solid_capstyle="butt")
        _stage(axes, x, y, marker)
    elif what == _SCENT:
        _scent(axes, x, y)
    elif what == _POURED:
        _poured(axes, x, y)
    elif what == _OPEN:
        _poured(axes, x - 1.5, y)
        _arrow(axes, x - 1.5, y, 10.0)
    elif what == _SEIZED:
        _seized(axes, x, y)
    else:
        axes.plot([x - 1.8, x + 1.8], [y, y], color=BLACK, linewidth=0.9, marker="|", markersize=5)


def _stage(axes: Axes, x: float, y: float, marker: str) -> None:
    axes.plot(
        [x], [y], marker=marker, color="white", markeredgecolor=BLACK, markeredgewidth=0.9, markersize=5.5, zorder=4
    )


def _scent(axes: Axes, x: float, y: float) -> None:
    axes.plot([x], [y], marker="|", color=BLUE, markersize=11.0, markeredgewidth=1.6, zorder=3)


def _poured(axes: Axes, x: float, y: float) -> None:
    axes.plot([x], [y], marker="|", color=BLACK, markersize=8.0, markeredgewidth=1.2, zorder=3.5)


def _seized(axes: Axes, x: float, y: float) -> None:
    axes.plot([x], [y], marker=(8, 2, 0), color=BLACK, markersize=9.0, markeredgewidth=1.4, zorder=4)


def _arrow(axes: Axes, x: float, y: float, size: float) -> None:
    """An open arrow of so many points to the right."""
    look: dict[str, Any] = {"arrowstyle": "<-,head_width=0.2,head_length=0.35", "linewidth": 0.9, "color": BLACK}
    look |= {"shrinkA": 0, "shrinkB": 0, "mutation_scale": 9}
    axes.annotate("", xy=(x, y), xytext=(size, 0.0), textcoords="offset points", arrowprops=look, annotation_clip=False)


def _draw_rows(axes: Axes, trace: TraceData, width_points: float) -> None:
    longest = max(row.end for row in trace.rows) or 1.0
    # Room at the right for the arrow of the last minute, and a little at the left for the mark of the first.
    axes.set_xlim(-0.02 * longest, longest * (1.0 + (_ARROW + 6.0) / max(width_points - _ARROW - 6.0, 1.0)))
    axes.set_ylim(len(trace.rows) - 0.5, -0.5)
    for number, row in enumerate(trace.rows):
        _draw_row(axes, row, number)
        if number and row.trial != trace.rows[number - 1].trial:
            axes.axhline(number - 0.5, color="#E0E0E0", linewidth=0.6, zorder=0)


def _draw_row(axes: Axes, row: TraceRow, y: int) -> None:
    start, wide = 0.0, _BEFORE
    for mark in row.marks:
        axes.plot([start, mark.minutes], [y, y], color=GREY, linewidth=wide, solid_capstyle="butt", zorder=1)
        start, wide = mark.minutes, _STAGES[mark.stage][1]
    if row.end > start:
        axes.plot([start, row.end], [y, y], color=GREY, linewidth=wide, solid_capstyle="butt", zorder=1)
    for mark in row.marks:
        if mark.low != mark.high:
            axes.plot([mark.low, mark.high], [y, y], color=BLACK, linewidth=0.9, marker="|", markersize=5, zorder=2)
        _stage(axes, mark.minutes, y, _STAGES[mark.stage][0])
    if row.scent_in is not None:
        _scent(axes, row.scent_in, y)
    if row.poured is not None:
        _poured(axes, row.poured, y)
        if row.is_open:
            _arrow(axes, row.poured, y, _ARROW)
    if row.has_seized:
        start, stop = axes.get_xlim()
        _seized(axes, row.end + _AFTER * (stop - start), y)  # beside the last mark, not on it


def _finish(axes: Axes, points: float) -> None:
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="x", labelsize=points, length=2.0, pad=2.0)
    axes.locator_params(axis="x", nbins=9)
    axes.set_xlabel("minutes since lye into oils", fontsize=points, labelpad=1.5)
