"""Results that show themselves: printing one, or ending a cell of a notebook with it, gives the text of the command."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from typing import Self


class _Pretty(Protocol):
    """What IPython hands to a result that is the last of a line."""

    def text(self, text: str) -> None: ...


class ShownAsText:
    """What `print` shows, in a notebook and at a prompt too; within a list, say, its first line alone."""

    __slots__ = ()

    @classmethod
    def of(cls, data: Any) -> Self:
        """The same data, a data class that this one inherits, which shows itself."""
        return cls(**{field.name: getattr(data, field.name) for field in fields(data)})

    def __repr__(self) -> str:
        first = str(self).lstrip().partition("\n")[0]
        return f"<{type(self).__name__}: {' '.join(first.split())}>"

    def _repr_pretty_(self, printer: _Pretty, cycle: bool) -> None:
        printer.text(repr(self) if cycle else str(self))

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(str(self))}</pre>"
