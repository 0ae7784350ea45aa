"""What a save says of itself: why, as the person put it, then the change in words; and what it could say of why."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from formulary.changes.changes import Changes
from formulary.changes.text import render_details
from formulary.finding import Severity
from formulary.materials.plain_name import material_words
from formulary.quantity import format_decimal
from formulary.recipes.model import Recipe
from formulary.text_table import paragraph

_WIDTH = 72
_LONGEST_SUBJECT = 100
_MOST_NAMED = 3


def save_message(
    why: str, changes: Iterable[tuple[str, Changes]] = (), others: Sequence[str] = (), *, new: Iterable[Recipe] = ()
) -> str:
    """The message of a save: `why` as its first line, then what changed in each recipe, in plain text.

    why: one line; further lines follow it as a paragraph. changes: recipe -> what changed in it. others: files that
    are deleted, or no recipe. new: recipes that are based on none.
    """
    subject, _, rest = why.strip().partition("\n")
    said = change_in_words(changes, others, new=new)
    return "\n\n".join(part for part in (subject.strip(), rest.strip(), said) if part) + "\n"


def change_in_words(
    changes: Iterable[tuple[str, Changes]],
    others: Sequence[str] = (),
    *,
    new: Iterable[Recipe] = (),
    in_short: bool = False,
) -> str:
    """What a save changes, in words, as it stands in its message below the reason.

    in_short: of each recipe the sentence alone, with the stops and warnings that came with the change.
    """
    parts = [_in_short(slug, change) if in_short else _body(slug, change) for slug, change in changes]
    parts += ["\n".join(paragraph(_begun(recipe), width=_WIDTH)) for recipe in new]
    if others:
        parts.append("\n".join(f"also: {other}" for other in others))
    return "\n\n".join(parts)


def propose_why(
    changes: Iterable[tuple[str, Changes]], others: Sequence[str] = (), *, new: Iterable[Recipe] = ()
) -> str:
    """A line that says what a save is about, for somebody to take or to put better.

    One recipe alone is said by what changed in it; of several things each is named.
    """
    listed, begun = tuple(changes), tuple(new)
    if len(listed) == 1 and not begun and not others:
        slug, change = listed[0]
        said = change.sentence.partition("; ")[0].rstrip(".")
        told = f"{slug}: {said[:1].lower()}{said[1:]}"
        if len(told) <= _LONGEST_SUBJECT:
            return told
    parts = [f"new: {_named([recipe.slug for recipe in begun])}"] if begun else []
    parts += [f"changes of {_named([slug for slug, _ in listed])}"] if listed else []
    parts += [f"{_named(_short_names(others))}"] if others else []
    return "; ".join(parts)


def _named(names: Sequence[str]) -> str:
    more = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _short_names(others: Sequence[str]) -> list[str]:
    """What other files are of: a trial's folder once, any other file by its name."""
    names = [other.split(" ")[0].split("/") for other in others]
    return list(dict.fromkeys(parts[2] if parts[0] == "trials" and len(parts) > 3 else parts[-1] for parts in names))


def _begun(recipe: Recipe) -> str:
    oils = ", ".join(f"{material_words(line.material)} {format_decimal(line.percent)} %" for line in recipe.oils)
    return f"{recipe.slug}: a new recipe, of {oils}; superfat {format_decimal(recipe.lye.superfat)} %."


def _body(slug: str, changes: Changes) -> str:
    lines = [*paragraph(f"{slug}: {changes.sentence}", width=_WIDTH), *render_details(changes, width=_WIDTH)]
    # A line that begins with # would be taken for a comment by some editors of messages.
    return "\n".join(f" {line}" if line.startswith("#") else line for line in lines)


def _in_short(slug: str, changes: Changes) -> str:
    lines = paragraph(f"{slug}: {changes.sentence}", width=_WIDTH)
    for finding in changes.appeared:
        if finding.severity is not Severity.NOTE:
            said = f"{finding.severity.value}: {finding.what}  [{finding.code}]"
            lines += paragraph(said, width=_WIDTH, indent=2)
    return "\n".join(lines)
