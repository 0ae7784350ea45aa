"""Draws the candidates: how likely each is, and beside it what one step of it does, with its interval."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from trials.answer.answer import ENOUGH
from trials.answer.chance_words import percent
from trials.charts.effects_data import EffectRow, EffectsData
from trials.charts.figure import BLACK, GREY, PALE, Chart, drawing
from trials.charts.lettering import Lettering, characters, draw_foot, draw_title, letter_mm

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_TOGETHER = "always together:"
_ONLY_TOGETHER = "only together:"
_PERCENT_SIGN = 0.6  # of a letter, by which it is wider than one
_NAME, _BINDING, _PER = "name", "binding", "per"


def draw(data: EffectsData, *, width_mm: float = 160.0) -> Chart:
    """The candidates as a figure of a width in millimetres."""
    layout = _Layout(data, width_mm)
    with drawing(data.title):
        chart = Chart(layout.width, layout.height, title=data.title)
        draw_title(chart, layout.title, layout)
        draw_foot(chart, layout.foot, layout, top_mm=layout.foot_height, colour="#404040")
        if not data.rows:
            return chart
        chances = chart.axes_mm(layout.chance_left, layout.foot_height + 5.0, layout.chance_width, layout.rows_height)
        _draw_chances(chances, data, layout)
        if any(row.effect is not None or row.said for row in data.rows):
            place = layout.effect_left, layout.foot_height + 5.0, layout.effect_width, layout.rows_height
            _draw_effects(chart.axes_mm(*place), data, layout)
        _draw_labels(chart, data, layout)
    return chart


class _Layout(Lettering):
    """Where everything goes, in millimetres. middles: of the rows, from the top of the plot downwards."""

    def __init__(self, data: EffectsData, width_mm: float) -> None:
        super().__init__(width_mm)
        width = self.width
        self.title = self.wrap_title(data.title)
        said = [
            text for text in (data.empty and f"Nothing can be told yet: {data.empty}", data.rest, data.foot) if text
        ]
        self.foot = [line for text in said for line in self.wrap(text)]
        self.foot_height = self.line * (len(self.foot) + 0.4) + 1.0
        self.label_width = 0.34 * width
        self.chance_left = self.label_width + 2.0
        self.chance_width = 0.22 * width
        self.effect_left = self.chance_left + self.chance_width + 0.09 * width
        self.effect_width = width - self.effect_left - 4.0
        self.labels = [self._label(row) for row in data.rows]
        if data.nothing is not None and data.rows:
            self.labels.append([(line, _NAME) for line in textwrap.wrap("nothing that is recorded", self._letters())])
        heights = [len(label) * self.line + 2.0 for label in self.labels]
        self.middles: list[float] = []
        down = 0.0
        for height in heights:
            self.middles.append(down + height / 2)
            down += height
        self.rows_height = max(down, 1.0)
        self.heights = heights
        top = self.line * (len(self.title) + 2.6) if data.rows else self.line * (len(self.title) + 0.8)
        self.height = self.foot_height + (5.0 + self.rows_height if data.rows else 0.0) + top

    def _letters(self) -> int:
        return characters(self.label_width - 4.0, self.points)

    def _label(self, row: EffectRow) -> list[tuple[str, str]]:
        """The lines at the left of a row, each with what it is."""
        lines = [(line, _NAME) for name in row.names for line in textwrap.wrap(name, self._letters())]
        if len(row.names) > 1:
            lines.insert(0, (_ONLY_TOGETHER if row.only_together else _TOGETHER, _BINDING))
        if row.per:
            letters = characters(self.label_width - 4.0, self.points - 1)
            lines += [(line, _PER) for line in textwrap.wrap(row.per, letters)]
        return lines


def _draw_chances(axes: Axes, data: EffectsData, layout: _Layout) -> None:
    chances = [row.probability for row in data.rows]
    if data.nothing is not None:
        chances.append(data.nothing)
    _rows_axis(axes, layout)
    axes.set_xlim(0, 100)
    axes.set_xticks([0, 50, 100] if layout.width < 120.0 else [0, 20, 40, 60, 80, 100])
    axes.axvline(100 * ENOUGH, color=GREY, linewidth=0.7, dashes=(3, 2), zorder=0)
    for number, (chance, y) in enumerate(zip(chances, layout.middles, strict=True)):
        likely = number < len(data.rows) and data.rows[number].is_likely
        nothing = number == len(data.rows)
        axes.barh(
            [y],
            [100 * chance],
            height=2.4,
            facecolor="#404040" if likely else "white" if nothing else PALE,
            edgecolor=BLACK,
            hatch="////" if nothing else None,
            linewidth=0.6,
        )
        text = percent(chance)
        inside, x = _place_of_chance(
            100 * chance, 100 * (len(text) + _PERCENT_SIGN) * letter_mm(layout.points) / layout.chance_width
        )
        axes.text(
            x,
            y,
            text,
            fontsize=layout.points,
            ha="right" if inside else "left",
            va="center_baseline",
            color="white" if inside and likely else BLACK,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8} if inside and nothing else None,
        )
    _heading(axes, layout, "chance, %")


def _place_of_chance(chance: float, wide: float) -> tuple[bool, float]:
    """Whether the figure of a chance stands inside its bar, and where its near end does, so that the line is free."""
    line = 100 * ENOUGH
    if chance + 3 + wide < line - 2 or chance - 3 < wide:
        return False, chance + 3
    return True, min(chance - 3, line - 3)


def _draw_effects(axes: Axes, data: EffectsData, layout: _Layout) -> None:
    _rows_axis(axes, layout)
    rows = list(zip(data.rows, layout.middles, strict=False))
    ends = [min(max(end, -data.most), data.most) for row, _ in rows for end in (row.low, row.high) if end is not None]
    if not ends:
        axes.set_xlim(0, 1)
        axes.set_xticks([])
        axes.spines["bottom"].set_visible(False)
        for row, y in rows:
            axes.text(0, y, row.said, fontsize=layout.points, va="center_baseline")
        _heading(axes, layout, data.higher)
        return
    low, high = min([0.0, *ends]), max([0.0, *ends])
    room = (high - low) or 1.0
    edges = low - 0.06 * room, high + 0.06 * room
    axes.set_xlim(*edges)
    axes.axvline(0, color=GREY, linewidth=0.7, zorder=0)
    for row, y in rows:
        if row.effect is None or row.low is None or row.high is None:
            continue
        for end in (row.low, row.high):
            is_told, is_more = abs(end) <= data.most, end > 0
            place = end if is_told else edges[is_more]  # it goes on beyond that
            axes.plot([row.effect, place], [y, y], color=BLACK, linewidth=1.1)
            marker = "|" if is_told else "<>"[is_more]
            axes.plot([place], [y], color=BLACK, marker=marker, markersize=4.0, clip_on=False)
        if abs(row.effect) > data.most:
            continue
        axes.plot(
            [row.effect],
            [y],
            marker="o",
            markersize=4.5,
            markerfacecolor="#404040" if row.is_likely else "white",
            markeredgecolor=BLACK,
            markeredgewidth=0.8,
        )
    axes.locator_params(axis="x", nbins=3 if layout.width < 120.0 else 6)
    narrow = layout.width < 120.0
    start = "one step" if narrow else "effect of one step"
    heading = data.unit if narrow and "," in data.unit else f"{start}, {data.unit}" if data.unit else start
    _heading(axes, layout, heading)


def _rows_axis(axes: Axes, layout: _Layout) -> None:
    axes.set_ylim(layout.rows_height, 0)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="x", labelsize=layout.points, length=2.0, pad=1.5)
    down = 0.0
    for height in layout.heights[:-1]:
        down += height
        axes.axhline(down, color="#E8E8E8", linewidth=0.5, zorder=0)


def _heading(axes: Axes, layout: _Layout, text: str) -> None:
    axes.text(
        0.0, -0.6 * layout.line, text, transform=axes.get_yaxis_transform(), fontsize=layout.points, va="baseline"
    )


def _draw_labels(chart: Chart, data: EffectsData, layout: _Layout) -> None:
    """Names and steps at the left; a bracket binds the names that cannot be told apart."""
    top = layout.foot_height + 5.0 + layout.rows_height
    for number, (label, middle) in enumerate(zip(layout.labels, layout.middles, strict=True)):
        likely = number < len(data.rows) and data.rows[number].is_likely
        y = top - middle + (len(label) - 1) * layout.line / 2
        bound = [place for place, (_, what) in enumerate(label) if what == _NAME]
        if label[0][1] == _BINDING:
            middle_of_names = y - (bound[0] + bound[-1]) / 2 * layout.line
            _bracket(chart, layout.label_width + 1.2, middle_of_names, len(bound) * layout.line)
        for line, what in label:
            chart.text_mm(
                layout.label_width,
                y,
                line,
                fontsize=layout.points - 1 if what == _PER else layout.points,
                ha="right",
                va="center_baseline",
                fontweight="bold" if likely and what == _NAME else "normal",
                fontstyle="italic" if what == _BINDING else "normal",
                color="#404040" if what == _PER else BLACK,
            )
            y -= layout.line


def _bracket(chart: Chart, x: float, middle: float, span: float) -> None:
    axes = chart.axes_mm(x - 0.4, middle - span / 2, 1.2, span)
    axes.set_axis_off()
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    axes.plot([0.2, 0.8, 0.8, 0.2], [0.05, 0.05, 0.95, 0.95], color=BLACK, linewidth=0.8)
