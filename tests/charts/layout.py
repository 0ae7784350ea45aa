"""Looks at a drawn chart as a reader would: is any text cut off, do any two stand on one another?"""

from __future__ import annotations

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from trials.charts.figure import Chart, drawing


def find_faults(chart: Chart) -> list[str]:
    """Texts that are cut off or that overlap, in words; a hair's breadth is allowed."""
    canvas = FigureCanvasAgg(chart)
    with drawing(chart.title):
        canvas.draw()
        width, height = canvas.get_width_height()
        unseen = _labels_outside(chart)
        texts = [item for item in chart.findobj(Text) if isinstance(item, Text) and id(item) not in unseen]
        boxes = [
            (item.get_text(), item.get_window_extent(canvas.get_renderer()))
            for item in texts
            if item.get_text().strip()
        ]
    faults = [
        f"cut off: {words}"
        for words, box in boxes
        if box.x0 < -1 or box.y0 < -2 or box.x1 > width + 1 or box.y1 > height + 1
    ]
    for number, (words, box) in enumerate(boxes):
        for other_words, other in boxes[number + 1 :]:
            across = min(box.x1, other.x1) - max(box.x0, other.x0)
            down = min(box.y1, other.y1) - max(box.y0, other.y0)
            if across >= 2 and down >= 3:
                faults.append(f"overlap: {words} | {other_words}")
    return faults


def _labels_outside(chart: Chart) -> set[int]:
    """Labels of ticks that lie outside their axis and so are never drawn, and those of axes without any."""
    hidden: set[int] = set()
    for axes in chart.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]:
                if not axes.axison or not low <= tick.get_loc() <= high:
                    hidden |= {id(tick.label1), id(tick.label2)}
                hidden.add(id(tick.label2))
    return hidden
