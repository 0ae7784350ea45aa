"""Draws a cure: mass loss and hardness against days, one panel each, a line for every trial and portion."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from trials.charts.cure_data import CureData, CurePanel, CurePoint
from trials.charts.figure import BLACK, BLUE, GREEN, GREY, ORANGE, Chart, drawing, value_span
from trials.charts.legend import draw_legend, legend_rows
from trials.charts.lettering import Lettering, draw_foot, draw_title

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# A series is told by its marker and its dashes, and by its colour only besides.
_MARKERS = ("o", "s", "D", "^", "v", "P", "X")
_COLOURS = (BLACK, BLUE, ORANGE, GREEN)
_DASHES: tuple[Any, ...] = ("-", (0, (5, 2)), (0, (1.5, 1.5)))
_HINTS = {"hardness": " (the lower, the harder)"}  # it is how deep a pin goes in
_SIDE_BY_SIDE_MM = 130.0
_SPREAD, _OPEN = "spread", "open"


def draw(cure: CureData, *, width_mm: float = 160.0) -> Chart:
    """The cure as a figure of a width in millimetres; its panels side by side where there is room."""
    text = Lettering(width_mm)
    width, line, points = text.width, text.line, text.points
    title = text.wrap_title(cure.title)
    rows = legend_rows(_legend_items(cure), text.room)
    foot = text.wrap(_foot(cure))
    if cure.nothing is not None:
        foot, rows = text.wrap(cure.nothing.capitalize() + "."), []
    beside = width >= _SIDE_BY_SIDE_MM
    plot_height = 48.0 if width < 120.0 else 58.0
    below, above = 2.4 * line + 1.0, 1.8 * line  # of each panel: its axis and its heading
    bands = 0 if cure.nothing is not None else 1 if beside else len(cure.panels)
    foot_height = line * len(foot) + 1.5
    height = foot_height + bands * (plot_height + below + above) + line * (len(rows) + len(title) + 0.8)
    with drawing(cure.title):
        chart = Chart(width, height, title=cure.title)
        y = draw_title(chart, title, text)
        draw_legend(chart, rows, text, top_mm=y + 0.6 * line, draw_sign=_draw_sign)
        left, gap = 11.0, 15.0
        across = len(cure.panels) if beside else 1
        panel_width = (width - left - 4.0 - gap * (across - 1)) / max(across, 1)
        for number, panel in enumerate(cure.panels):
            x = left + (panel_width + gap) * number if beside else left
            band = 0 if beside else len(cure.panels) - 1 - number
            bottom = foot_height + band * (plot_height + below + above) + below
            axes = chart.axes_mm(x, bottom, panel_width, plot_height)
            _draw_panel(axes, panel, points)
            chart.text_mm(
                x - left + 1.5,
                bottom + plot_height + 0.6 * line,
                f"{panel.label}, {panel.unit}{_HINTS.get(panel.label, '')}",
                fontsize=points,
                va="baseline",
            )
        draw_foot(chart, foot, text, top_mm=foot_height)
    return chart


def _foot(cure: CureData) -> str:
    said = []
    if any(len(panel.series) > 1 for panel in cure.panels):
        said.append("Readings of one day stand a little apart, so that none hides another.")
    if cure.without_value:
        have = "has" if len(cure.without_value) == 1 else "have"
        said.append(f"{', '.join(cure.without_value)} {have} neither masses nor hardness and no line here.")
    return " ".join(said)


def _all_points(cure: CureData) -> list[CurePoint]:
    return [point for panel in cure.panels for series in panel.series for point in series.points]


def _legend_items(cure: CureData) -> list[tuple[str, str]]:
    items = [(str(number), label) for number, label in enumerate(cure.labels)]
    if any(point.spread for point in _all_points(cure)):
        items.append((_SPREAD, "one standard deviation of the readings, up and down"))
    if any(point.bound in ("above", "below") for point in _all_points(cure)):
        items.append((_OPEN, "only a limit"))
    return items


def _look(number: int) -> dict[str, Any]:
    return {
        "marker": _MARKERS[number % len(_MARKERS)],
        "color": _COLOURS[number % len(_COLOURS)],
        "linestyle": _DASHES[number % len(_DASHES)],
    }


def _draw_sign(axes: Axes, what: str, x: float, y: float) -> None:
    if what == _SPREAD:
        axes.errorbar([x], [y], yerr=[1.1], color=GREY, linewidth=0.7, capsize=1.6, capthick=0.7)
    elif what == _OPEN:
        axes.plot([x], [y - 0.6], "o", color="white", markeredgecolor=BLACK, markersize=4)
        _arrow(axes, x, y - 0.6, up=True)
    else:
        look = _look(int(what))
        axes.plot([x - 2.2, x + 2.2], [y, y], color=look["color"], linestyle=look["linestyle"], linewidth=1.0)
        axes.plot([x], [y], marker=look["marker"], color=look["color"], markersize=4.2, markeredgecolor=BLACK, mew=0.5)


def _arrow(axes: Axes, x: float, y: float, *, up: bool) -> None:
    look: dict[str, Any] = {"arrowstyle": "<|-,head_width=0.14,head_length=0.28", "linewidth": 0.7, "color": BLACK}
    look |= {"shrinkA": 0, "shrinkB": 0, "mutation_scale": 9}
    end = (0.0, 9.0 if up else -9.0)
    axes.annotate("", xy=(x, y), xytext=end, textcoords="offset points", arrowprops=look, annotation_clip=False)


def _draw_panel(axes: Axes, panel: CurePanel, points: float) -> None:
    last = max(point.age_days for series in panel.series for point in series.points) or 1.0
    apart = last * min(0.008, 0.06 / len(panel.series))  # so that series of one age do not hide one another
    for place, series in enumerate(panel.series):
        look = _look(series.number)
        aside = (place - (len(panel.series) - 1) / 2.0) * apart
        ages = [point.age_days + aside for point in series.points]
        values = [point.value for point in series.points]
        axes.plot(ages, values, color=look["color"], linestyle=look["linestyle"], linewidth=1.0, zorder=2)
        for age, point in zip(ages, series.points, strict=True):
            if point.spread:
                axes.errorbar(
                    [age],
                    [point.value],
                    yerr=[point.spread],
                    color=GREY,
                    linewidth=0.7,
                    capsize=1.6,
                    capthick=0.7,
                    zorder=1.5,
                )
            if point.low is not None and point.high is not None:
                axes.plot([age] * 2, [point.low, point.high], color=BLACK, linewidth=0.9, marker="_")
            if point.bound in ("above", "below"):
                _arrow(axes, age, point.value, up=point.bound == "above")
            axes.plot(
                [age],
                [point.value],
                marker=look["marker"],
                color=look["color"] if point.bound == "exact" else "white",
                markeredgecolor=BLACK,
                markeredgewidth=0.5,
                markersize=4.2,
                zorder=3,
            )
    _finish(axes, panel, points)


def _finish(axes: Axes, panel: CurePanel, points: float) -> None:
    shown = [point for series in panel.series for point in series.points]
    last = max(point.age_days for point in shown)
    axes.set_xlim(-0.04 * (last or 1.0), 1.05 * (last or 1.0))
    ends = [end for point in shown for end in (point.value, point.low, point.high) if end is not None]
    ends += [point.value + sign * point.spread for point in shown if point.spread for sign in (1, -1)]
    low, high, room = value_span(ends)
    axes.set_ylim(low - (0.06 if low else 0.02) * room, high + 0.12 * room)
    axes.tick_params(labelsize=points, length=2.0, pad=2.0)
    axes.locator_params(axis="x", nbins=7, integer=True)
    axes.locator_params(axis="y", nbins=6)
    axes.set_xlabel("days", fontsize=points, labelpad=1.5)
