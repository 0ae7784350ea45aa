"""Charts' contents that a notebook shows drawn."""

from __future__ import annotations

from abc import abstractmethod
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trials.charts.figure import Chart


class Drawn:
    """What a cell of a notebook that ends with it shows as its chart."""

    __slots__ = ()
    title: str

    @abstractmethod
    def draw(self, **options: Any) -> Chart:
        """The chart, with `savefig` for SVG, PNG or PDF."""

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.title}>"

    def _repr_svg_(self) -> str:
        return self.draw().to_bytes("svg").decode("utf-8")
