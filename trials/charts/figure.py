"""The one place that imports the drawing library: figures of a size in millimetres that save to the same bytes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import IO, Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

MM_PER_INCH = 25.4
MM_PER_POINT = MM_PER_INCH / 72.0
# Okabe and Ito, Color Universal Design (2008): told apart with any colour vision; always with a shape or a hatch too.
BLACK, ORANGE, BLUE, GREEN = "#000000", "#E69F00", "#0072B2", "#009E73"
GREY, PALE = "#767676", "#D9D9D9"
_RC: dict[str, Any] = {
    "font.family": "DejaVu Sans",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.6,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "hatch.linewidth": 0.4,
    "axes.unicode_minus": True,
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
    "savefig.dpi": 200,
    "figure.dpi": 100,
}
_NOT_OURS = ("backend", "interactive", "toolbar")  # what windows are shown with
_METADATA: dict[str, dict[str, Any]] = {
    "svg": {"Date": None},
    "png": {"Software": None},
    "pdf": {"CreationDate": None, "Producer": None, "Creator": None},
}


class Chart(Figure):
    """A figure that saves to the same bytes whenever and wherever it is saved. title: said inside the file."""

    def __init__(self, width_mm: float, height_mm: float, *, title: str) -> None:
        super().__init__(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH))
        self.title = title
        self.width_mm, self.height_mm = width_mm, height_mm

    def savefig(self, fname: str | Path | IO[bytes], **options: Any) -> None:  # type: ignore[override]
        """Save as SVG, PNG or PDF, by the ending of the name or `format=`."""
        ending = str(options.pop("format", None) or (Path(str(fname)).suffix[1:] or "png")).lower()
        metadata = {**_METADATA.get(ending, {}), **options.pop("metadata", {})}
        if ending in ("svg", "pdf"):
            metadata["Title"] = self.title
        with drawing(self.title):
            super().savefig(fname, format=ending, metadata=metadata, **options)

    def to_bytes(self, ending: str) -> bytes:
        """The content of a file: `svg`, `png` or `pdf`."""
        buffer = BytesIO()
        self.savefig(buffer, format=ending)
        return buffer.getvalue()

    def axes_mm(self, left: float, bottom: float, width: float, height: float) -> Axes:
        """New axes at a place in millimetres from the lower left corner."""
        return self.add_axes(
            (left / self.width_mm, bottom / self.height_mm, width / self.width_mm, height / self.height_mm)
        )

    def text_mm(self, x: float, y: float, text: str, **options: Any) -> None:
        """Text at a place in millimetres from the lower left corner."""
        self.text(x / self.width_mm, y / self.height_mm, text, **options)

    def _repr_svg_(self) -> str:
        return self.to_bytes("svg").decode("utf-8")


@contextmanager
def drawing(salt: str) -> Iterator[None]:
    """Our own settings while something is drawn or saved, and nobody else's changed. salt: names parts of an SVG."""
    settings: Any = {key: value for key, value in matplotlib.rcParamsDefault.items() if not key.startswith(_NOT_OURS)}
    settings.update(_RC, **{"svg.hashsalt": salt})
    with matplotlib.rc_context(settings):
        yield


def value_span(ends: Sequence[float]) -> tuple[float, float, float]:
    """From where to where values are drawn, and the room between: from 0 where that is near, or where all are one.

    Around one value alone an axis would be all hundredths, and say that they were measured.
    """
    low, high = min(ends), max(ends)
    if low >= 0.0 and (low < 0.5 * high or low == high):
        low = 0.0
    return low, high, (high - low) or max(abs(high), 1.0)
