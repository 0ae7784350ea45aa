"""Results that a notebook shows as the text that they print as."""

from __future__ import annotations


class ShownAsText:
    """What `print` shows, in a notebook too."""

    __slots__ = ()

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(str(self))}</pre>"
