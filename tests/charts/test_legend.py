"""A legend's words end before the sign of what comes next, also those of wide letters."""

from __future__ import annotations

import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg

from trials.charts.figure import Chart, drawing
from trials.charts.legend import draw_legend, legend_rows
from trials.charts.lettering import Lettering

_SIGN_MM = 2.2  # to either side of the place of a sign
WORDS = ("summer-cucumber m8gm", "midsummer-mint wmmw", "mwmwmwmw", "harbour-base 4btz", "unscented portion")


@pytest.mark.parametrize("width_mm", [80.0, 160.0, 300.0])
def test_no_words_run_into_the_next_sign(width_mm: float) -> None:
    text = Lettering(width_mm)
    rows = legend_rows([(str(number), words) for number, words in enumerate(WORDS * 3)], text.room)
    signs: list[tuple[float, float]] = []

    def draw_sign(_: Axes, _what: str, x: float, y: float) -> None:
        signs.append((x, y))

    with drawing("Legend"):
        chart = Chart(text.width, 80.0, title="Legend")
        draw_legend(chart, rows, text, top_mm=75.0, draw_sign=draw_sign)
        canvas = FigureCanvasAgg(chart)
        canvas.draw()
        (axes,) = chart.axes
        mm = canvas.get_width_height()[0] / text.width
        ends = [item.get_window_extent(canvas.get_renderer()).x1 / mm for item in axes.texts]
    assert len(ends) == len(signs)
    for end, (_, y), (x, next_y) in zip(ends, signs, signs[1:], strict=False):
        assert next_y < y or end < x - _SIGN_MM
    assert max(ends) < text.width
