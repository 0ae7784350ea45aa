"""Draws a story: every pour's outcome above, versions in the order of first pouring below, what changed in words."""

from __future__ import annotations

import re
import textwrap
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from trials.charts.figure import BLACK, BLUE, GREY, MM_PER_POINT, ORANGE, PALE, Chart, drawing, value_span
from trials.charts.legend import draw_legend, legend_rows
from trials.charts.lettering import Lettering, characters, draw_title, letter_mm
from trials.charts.story_data import (
    SCENTED,
    UNSCENTED,
    WHOLE,
    StoryBand,
    StoryCause,
    StoryData,
    StoryPoint,
    StoryVersion,
    trial_names,
)
from trials.pours.sentences import bind_units, say_first

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# portion -> marker, colour, hatch of its band: any one of the three is enough to tell it
_LOOKS = {WHOLE: ("o", BLACK, "////"), UNSCENTED: ("s", BLUE, "\\\\\\\\"), SCENTED: ("D", ORANGE, "xxxx")}
_BAND = "band of the "
_CHANCE = re.compile(r"\((?:over |under )?\d+.%\)")
_MOST_LISTED = 40
_MOST_NAMED = 6  # trials without a point
_MOST_LINES = 12  # of what changed in one version
_LIFT = 0.16


def draw(story: StoryData, *, width_mm: float = 160.0) -> Chart:
    """The story as a figure of a width in millimetres."""
    layout = _Layout(story, width_mm)
    with drawing(story.title):
        chart = Chart(layout.width, layout.height, title=story.title)
        y = draw_title(chart, layout.title, layout)
        if story.nothing is not None:
            chart.text_mm(1.5, y, story.nothing.capitalize() + ".", fontsize=layout.points, va="baseline")
            return chart
        draw_legend(chart, layout.legend, layout, top_mm=layout.legend_top, draw_sign=_draw_sign)
        axes = chart.axes_mm(layout.left, layout.plot_bottom, layout.plot_width, layout.plot_height)
        _draw_blocks(axes, story)
        _draw_points(axes, story, layout)
        _finish_axes(axes, story, layout)
        _draw_causes(chart, axes, story, layout)
        _draw_strip(chart, story, layout)
        _draw_list(chart, layout)
    return chart


class _Layout(Lettering):
    """Where everything goes, in millimetres; worked out once from the data, so that nothing can overlap."""

    def __init__(self, story: StoryData, width_mm: float) -> None:
        super().__init__(width_mm)
        width = self.width
        longest = max((len(grade) for grade in story.grades), default=0)
        self.left = 12.0 if not longest else min(0.42 * width, 5.0 + longest * self.points * MM_PER_POINT * 0.56)
        self.plot_width = width - self.left - 3.0
        self.plot_height = 48.0 if width < 120.0 else 62.0
        self.slot = self.plot_width / max(len(story.slots), 1)
        # In slots, how far portions of one trial stand from its middle; in points, how large a point may be.
        self.beside = min(0.28, 4.0 / self.slot)
        most = max((sum(other.slot == point.slot for other in story.points) for point in story.points), default=1)
        self.marker = min(5.0, max(2.2, 0.82 * self.slot / MM_PER_POINT / (most + 0.6)))
        # Of grades, how far above or below theirs portions stand that would else cover one another, in grades.
        is_crowded = 2.0 * self.beside * self.slot < 1.1 * (most - 1) * self.marker * MM_PER_POINT
        self.lift = _LIFT if story.grades and is_crowded else 0.0
        self.title = self.wrap_title(story.title)
        items = _legend_items(story)
        items += [("", "portions of one grade stand one above another")] if self.lift else []
        self.legend = legend_rows(items, self.room)
        self.entries = [_entry(version, self.room, story) for version in story.versions[:_MOST_LISTED]]
        if len(story.versions) > 1:
            self.entries.insert(0, (["", "Versions in the order of their first pour"], False))
        more = len(story.versions) - _MOST_LISTED
        if more > 0:
            self.entries.append((["", f"... and {more} more versions"], False))
        if story.without_value:
            self.entries.append((["", *_wrap(_say_without(story), self.room - 7)], False))
        self.names_fit = self.slot >= 4.2 * self.points * MM_PER_POINT * 0.62
        listed = sum(len(lines) - 1 for lines, _ in self.entries) * self.line + 1.5
        small = self.points - 1.5
        longest_name = max((len(name) for name in trial_names(story).values()), default=0) * letter_mm(small)
        self.names_upright = not self.names_fit and self.slot >= 1.3 * small * MM_PER_POINT and longest_name < 12.0
        self.names_height = longest_name + 1.0 if self.names_upright else 0.9 * self.line if self.names_fit else 0.0
        strip = 1.5 * self.line + self.names_height
        self.list_top = listed + 1.0
        self.strip_bottom = self.list_top + 1.0
        self.plot_bottom = self.strip_bottom + strip
        self.plot_top = self.plot_bottom + self.plot_height
        self.causes = [self._cause(cause) for cause in story.causes]
        above = self.line * (sum(len(lines) for _, _, lines in self.causes) + 1.6)
        self.legend_top = self.plot_top + above + self.line * len(self.legend)
        self.height = self.legend_top + self.line * (len(self.title) + 0.4)
        if story.nothing is not None:
            self.height = self.line * (len(self.title) + 2)

    def _cause(self, cause: StoryCause) -> tuple[float | None, bool, list[str]]:
        """Of a likely cause: where its mark stands, whether its words stand to the right of it, and their lines."""
        letters = characters(self.width - 3.0, self.points, bold=True)
        if cause.slot is None:
            return None, True, _wrap(cause.words, letters)
        x = self.left + cause.slot * self.slot
        right = x + len(cause.words) * letter_mm(self.points, bold=True) + 4.0 < self.width or x < self.width / 2
        room = self.width - x - 4.0 if right else x - 4.0
        return x, right, _wrap(cause.words, characters(room, self.points, bold=True))


def _wrap(text: str, letters: int, *, most: int | None = None) -> list[str]:
    """Lines of so many letters, in which figures keep their units and names their hyphens."""
    bound = bind_units(text).replace("came in", "came\N{NO-BREAK SPACE}in")
    bound = _CHANCE.sub(lambda found: found[0].replace(" ", "\N{NO-BREAK SPACE}"), bound)
    cut: dict[str, Any] = {} if most is None else {"max_lines": most, "placeholder": " ..."}
    found = textwrap.wrap(bound, letters, break_on_hyphens=False, **cut)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in found]


def _entry(version: StoryVersion, room: int, story: StoryData) -> tuple[list[str], bool]:
    """The number of a version and its lines: recipe, id, date, pours, what changed; and whether a cause came in."""
    pours = f"{version.pours} pour{'' if version.pours == 1 else 's'}"
    text = f"{version.recipe} {version.short_id}, {version.first_poured}, {pours}: {version.words}"
    if parts := _told_by_place(version, story):
        text += f"; portions from left to right: {'; '.join(parts)}"
    lines = _wrap(text, room - 7, most=_MOST_LINES)
    return [str(version.number), *lines], any(cause.version == version.number for cause in story.causes)


def _told_by_place(version: StoryVersion, story: StoryData) -> list[str]:
    """The portions of a version's trials that look alike and so are told by their place: `white, red`."""
    by_trial: dict[str, list[StoryPoint]] = {}
    for point in story.points:
        if point.version == version.number:
            by_trial.setdefault(point.trial, []).append(point)
    told = {
        ", ".join(point.part for point in points)
        for points in by_trial.values()
        if len({point.portion for point in points}) < len(points)
    }
    return sorted(told)


def _say_without(story: StoryData) -> str:
    """`q4p3 white has no working time and no point here; k7wq seized, lost`."""
    named = say_first(story.without_value, _MOST_NAMED)
    seized = f"; {say_first(story.seized, _MOST_NAMED)}" if story.seized else ""
    return f"{named} {'has' if len(story.without_value) == 1 else 'have'} no {story.label} and no point here{seized}"


def _legend_items(story: StoryData) -> list[tuple[str, str]]:
    """What needs a word: (what, text), only of what is in the chart."""
    kinds = {point.portion for point in story.points}
    items = [(kind, kind) for kind in _LOOKS if kind in kinds and kinds != {WHOLE}]
    if any(point.bound == "above" for point in story.points):
        items.append(("above", "stopped before: later than" if story.unit in ("min", "h") else "more than"))
    if any(point.bound == "below" for point in story.points):
        items.append(("below", "less than"))
    if any(point.bound == "between" for point in story.points):
        items.append(("between", "somewhere between"))
    if any(point.is_otherwise for point in story.points):
        items.append(("otherwise", "made otherwise than planned"))
    banded = [kind for kind in _LOOKS if any(band.portion == kind for band in story.bands)]
    measure = "mean ± one standard deviation"
    if len(banded) == 1:
        items.append((f"{_BAND}{banded[0]}", f"repeats, {measure}"))
    elif banded:
        items += [(f"{_BAND}{kind}", f"repeats, {kind}") for kind in banded]
        items.append(("", f"bands: {measure}"))
    if any(map(_overlap, _bands_by_slot(story).values())):
        items.append(("", "side by side where they would overlap"))
    return items


def _draw_sign(axes: Axes, what: str, x: float, y: float) -> None:
    if what in _LOOKS:
        marker, colour, _ = _LOOKS[what]
        axes.plot([x], [y], marker=marker, color=colour, markeredgecolor=BLACK, markersize=4.5, markeredgewidth=0.6)
    elif what in ("above", "below"):
        _arrow(axes, x, y - 0.6 if what == "above" else y + 0.6, up=what == "above", size=7)
        axes.plot(
            [x], [y - 0.6 if what == "above" else y + 0.6], "o", color="white", markeredgecolor=BLACK, markersize=4
        )
    elif what == "between":
        axes.plot([x, x], [y - 1.1, y + 1.1], color=BLACK, linewidth=0.9, marker="_", markersize=4)
    elif what == "otherwise":
        axes.plot([x], [y], "o", color="none", markeredgecolor=BLACK, markeredgewidth=0.6, markersize=7.5)
    elif what:
        _rectangle(axes, x - 2.0, x + 2.0, y - 1.0, y + 1.0, what.removeprefix(_BAND))


def _rectangle(axes: Axes, left: float, right: float, low: float, high: float, portion: str) -> None:
    axes.fill_between(
        [left, right], [low, low], [high, high], facecolor=PALE, edgecolor=GREY, hatch=_LOOKS[portion][2], linewidth=0.0
    )


def _arrow(axes: Axes, x: float, y: float, *, up: bool, size: float) -> None:
    """An arrow of so many points, up or down from a place in the data."""
    look: dict[str, Any] = {"arrowstyle": "<|-,head_width=0.14,head_length=0.28", "linewidth": 0.7, "color": BLACK}
    look |= {"shrinkA": 0, "shrinkB": 0, "mutation_scale": 9}
    end = (0.0, size if up else -size)
    axes.annotate("", xy=(x, y), xytext=end, textcoords="offset points", arrowprops=look, annotation_clip=False)


def _draw_blocks(axes: Axes, story: StoryData) -> None:
    """A pale ground under every second version, and the bands of repeats, each over its own pours."""
    for version, (start, end) in _spans(story).items():
        if version % 2 == 0:
            axes.axvspan(start, end, facecolor="#F3F3F3", edgecolor="none", zorder=0)
    by_slot = _bands_by_slot(story)
    for band in story.bands:
        for left, right in _pieces(band, by_slot):
            _rectangle(axes, left + 0.04, right - 0.04, band.low, band.high, band.portion)


def _bands_by_slot(story: StoryData) -> dict[int, list[StoryBand]]:
    """The bands that each slot's pours are of, in the order in which portions stand there."""
    found: dict[int, list[StoryBand]] = {}
    for point in story.points:
        for band in story.bands:
            if (band.version, band.portion, band.repeats) == (point.version, point.portion, point.repeats):
                bands = found.setdefault(point.slot, [])
                if band not in bands:
                    bands.append(band)
    return found


def _pieces(band: StoryBand, by_slot: dict[int, list[StoryBand]]) -> list[tuple[float, float]]:
    """From where to where a band goes: over the slots of its own pours, beside another that it would lie on there."""
    pieces: list[tuple[float, float]] = []
    for slot, bands in sorted(by_slot.items()):
        if band not in bands:
            continue
        lanes = bands if _overlap(bands) else [band]
        wide = 1.0 / len(lanes)
        left = slot - 0.5 + wide * lanes.index(band)
        if pieces and abs(pieces[-1][1] - left) < 1e-9:
            left = pieces.pop()[0]
        pieces.append((left, slot - 0.5 + wide * (lanes.index(band) + 1)))
    return pieces


def _overlap(bands: list[StoryBand]) -> bool:
    """Whether any two bands of one slot would lie on one another, and so must stand side by side."""
    in_order = sorted(bands, key=lambda band: band.low)
    return any(below.high > above.low for below, above in pairwise(in_order))


def _spans(story: StoryData) -> dict[int, tuple[float, float]]:
    """Where each version's slots begin and end along the chart."""
    spans: dict[int, tuple[float, float]] = {}
    for slot, (version, _) in enumerate(story.slots):
        start, _end = spans.get(version, (slot - 0.5, 0.0))
        spans[version] = (start, slot + 0.5)
    return spans


def _draw_points(axes: Axes, story: StoryData, layout: _Layout) -> None:
    size = layout.marker
    arrow = 1.9 * size + 3.0
    by_slot: dict[int, list[StoryPoint]] = {}
    for point in story.points:
        by_slot.setdefault(point.slot, []).append(point)
    for siblings in by_slot.values():  # portions of one trial hang together
        places = [point.slot + layout.beside * point.beside for point in siblings]
        heights = [point.value + layout.lift * point.beside for point in siblings]
        axes.plot(places, heights, color=GREY, linewidth=0.6, zorder=1.5)
    for point in story.points:
        marker, colour, _ = _LOOKS[point.portion]
        x, y = point.slot + layout.beside * point.beside, point.value + layout.lift * point.beside
        if point.is_otherwise:
            ring: dict[str, Any] = {"color": "none", "markeredgecolor": BLACK, "markeredgewidth": 0.6}
            axes.plot([x], [y], "o", markersize=1.8 * size, zorder=3, **ring)
        if point.low is not None and point.high is not None:
            axes.plot(
                [x, x], [point.low, point.high], color=BLACK, linewidth=0.9, marker="_", markersize=size, zorder=2
            )
        if point.bound in ("above", "below"):
            _arrow(axes, x, y, up=point.bound == "above", size=arrow)
        axes.plot(
            [x],
            [y],
            marker=marker,
            color=colour if point.bound == "exact" else "white",
            markeredgecolor=BLACK,
            markeredgewidth=0.6,
            markersize=size if marker != "D" else 0.88 * size,
            linestyle="none",
            zorder=3,
        )


def _finish_axes(axes: Axes, story: StoryData, layout: _Layout) -> None:
    axes.set_xlim(-0.5, len(story.slots) - 0.5)
    axes.set_xticks([])
    ends = [point.value for point in story.points]
    ends += [end for point in story.points for end in (point.low, point.high) if end is not None]
    ends += [end for band in story.bands for end in (band.low, band.high)]
    if story.grades:
        axes.set_ylim(-0.5, len(story.grades) - 0.5)
        axes.set_yticks(range(len(story.grades)), story.grades)
    else:
        low, high, room = value_span(ends)
        axes.set_ylim(low - (0.06 * room if low else 0.0), high + 0.16 * room)
    axes.tick_params(axis="y", labelsize=layout.points, length=2.0, pad=2.0)
    heading = f"{story.label}, {story.unit}" if story.unit else story.label
    axes.text(
        -layout.left / layout.plot_width + 1.5 / layout.plot_width,
        1.0 + 0.5 * layout.line / layout.plot_height,
        heading,
        transform=axes.transAxes,
        fontsize=layout.points,
        va="baseline",
    )


def _draw_causes(chart: Chart, axes: Axes, story: StoryData, layout: _Layout) -> None:
    """Each likely cause above the first pour that had it, in lines of its own so that none overlap."""
    y = layout.plot_top + layout.line * (1.7 + sum(len(lines) for _, _, lines in layout.causes))
    for cause, (x, right, lines) in zip(story.causes, layout.causes, strict=True):
        look: dict[str, Any] = {"fontsize": layout.points, "fontweight": "bold", "va": "baseline"}
        if x is not None and cause.slot is not None:
            dashes: dict[str, Any] = {"color": BLACK, "linewidth": 0.8, "dashes": (4, 2)}
            for start in filter(None, (cause.slot, *cause.again)):  # from the start: the axis stands there
                axes.plot([start - 0.5] * 2, [0, 1], transform=axes.get_xaxis_transform(), **dashes)
            sign = y - layout.line * (1 if right else len(lines))  # at the end of the words that it stands beside
            chart.text_mm(x, sign, "\u25bc", fontsize=layout.points, ha="center", va="baseline")
        place = 1.5 if x is None else x + 2.0 if right else x - 2.0
        for line in lines:
            y -= layout.line
            chart.text_mm(place, y, line, ha="left" if right else "right", **look)


def _draw_strip(chart: Chart, story: StoryData, layout: _Layout) -> None:
    """Below the plot: the trials where they fit, and the numbers of the versions, thinned so that none overlap."""
    y = layout.plot_bottom - layout.line
    if layout.names_fit or layout.names_upright:
        names = trial_names(story)
        look: dict[str, Any] = {"fontsize": layout.points - 1.5, "ha": "center", "color": GREY, "va": "baseline"}
        if layout.names_upright:
            look |= {"va": "top", "rotation": 90}
        for slot, (_, trial_id) in enumerate(story.slots):
            x = layout.left + (slot + 0.5) * layout.slot
            chart.text_mm(x, layout.plot_bottom - 1.0 if layout.names_upright else y, names[trial_id], **look)
        y -= layout.names_height
    places = [
        (str(version), layout.left + ((start + end) / 2 + 0.5) * layout.slot)
        for version, (start, end) in _spans(story).items()
    ]
    halves = [0.5 * (len(number) + 0.6) * layout.points * MM_PER_POINT * 0.64 for number, _ in places]
    free, last = 0.0, len(places) - 1
    for place, ((number, x), half) in enumerate(zip(places, halves, strict=True)):
        # The last one stands in any case, which tells how many there are.
        if place == last or (x - half >= free and x + half <= places[last][1] - halves[last]):
            chart.text_mm(x, y, number, fontsize=layout.points, fontweight="bold", ha="center", va="baseline")
            free = x + half


def _draw_list(chart: Chart, layout: _Layout) -> None:
    y = layout.list_top - layout.line
    for (number, *lines), cause in layout.entries:
        chart.text_mm(5.5, y, number, fontsize=layout.points, fontweight="bold", ha="right", va="baseline")
        if cause:
            chart.text_mm(7.7, y, "\u25bc", fontsize=layout.points, ha="center", va="baseline")
        for line in lines:
            chart.text_mm(9.5, y, line, fontsize=layout.points, va="baseline")
            y -= layout.line
