"""What a save says of itself: why, as the person put it, then the change in words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from formulary.changes.changes import Changes
from formulary.changes.text import render_details
from formulary.text_table import paragraph

_WIDTH = 72


def save_message(why: str, changes: Iterable[tuple[str, Changes]] = (), others: Sequence[str] = ()) -> str:
    """The message of a save: `why` as its first line, then what changed in each recipe, in plain text.

    why: one line; further lines follow it as a paragraph. changes: recipe -> what changed in it. others: files that
    are new, deleted, or no recipe.
    """
    subject, _, rest = why.strip().partition("\n")
    parts = [subject.strip()]
    if rest.strip():
        parts.append(rest.strip())
    parts += [_body(slug, change) for slug, change in changes]
    if others:
        parts.append("\n".join(f"also: {other}" for other in others))
    return "\n\n".join(parts) + "\n"


def _body(slug: str, changes: Changes) -> str:
    lines = [*paragraph(f"{slug}: {changes.sentence}", width=_WIDTH), *render_details(changes, width=_WIDTH)]
    # A line that begins with # would be taken for a comment by some editors of messages.
    return "\n".join(f" {line}" if line.startswith("#") else line for line in lines)
