"""What differs between two parts that nothing calculates with: settings, a material's file, the making-day fields."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from formulary.changes.recipe_changes import FieldChange

MOST_TOLD = 6
_LONGEST = 40


def compare_free_form(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[FieldChange, ...]:
    """Every field that differs, by its path in dots (`cure.days`), in the order of the paths.

    before, after: plain trees of texts, as files hold them. What stands on one side only has None on the other.
    """
    if _is_flat(before) and _is_flat(after):  # texts by name need no differ
        return tuple(
            FieldChange(key, before.get(key), after.get(key))
            for key in sorted({*before, *after})
            if before.get(key) != after.get(key)
        )
    # Which items of two lists the differ pairs depends on which comes first: asked in one direction always, it tells
    # the way back as the way there.
    if _in_order(after) < _in_order(before):
        return tuple(replace(change, before=change.after, after=change.before) for change in _differ(after, before))
    return _differ(before, after)


def _differ(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[FieldChange, ...]:
    from deepdiff import DeepDiff

    tree = DeepDiff(dict(before), dict(after), view="tree", threshold_to_diff_deeper=0, verbose_level=2)
    found = [
        FieldChange(".".join(map(str, level.path(output_format="list"))), _text(level.t1), _text(level.t2))
        for levels in tree.values()
        for level in levels
    ]
    return tuple(sorted(found, key=lambda change: change.field))


def _in_order(part: Mapping[str, Any]) -> str:
    """The tree as one text, to tell which of two comes first."""
    return json.dumps(part, sort_keys=True, default=str)


def describe_free_form(changes: tuple[FieldChange, ...]) -> str:
    """The changes in words: `cure.days 28 → 35, scale.step added (1 g)`."""
    parts = []
    for change in changes[:MOST_TOLD]:
        if change.before is None:
            parts.append(f"{change.field} added ({_short(change.after)})")
        elif change.after is None:
            parts.append(f"{change.field} removed")
        else:
            parts.append(f"{change.field} {_short(change.before)} → {_short(change.after)}")
    more = len(changes) - len(parts)
    return ", ".join(parts) + (f" and {more} more" if more > 0 else "")


def _is_flat(part: Mapping[str, Any]) -> bool:
    return all(isinstance(value, str) for value in part.values())


def _text(value: Any) -> str | None:
    from deepdiff.helper import NotPresent

    if value is None or isinstance(value, NotPresent):
        return None
    if isinstance(value, dict):
        return ", ".join(f"{key}: {_text(part)}" for key, part in value.items())
    return ", ".join(str(_text(part)) for part in value) if isinstance(value, list) else str(value)


def _short(text: str | None) -> str:
    words = " ".join((text or "").split())
    return words if len(words) <= _LONGEST else f"{words[: _LONGEST - 1]}…"
