"""Which save an undo takes back, and which one a redo brings back: told by what the saves say and really changed.

An undo is a save like any other, so history stays true. It names the save that it undoes; the next undo goes on below
that one, as in an editor, and a redo brings back what the undos before it took away.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from formulary.store import reading
from formulary.store.process import Git

_UNDOES = "This undoes the save {}."
_BRINGS_BACK = "This brings back the save {}."
_SAID = re.compile(r"^This (undoes|brings back) the save ([0-9a-f]{40})\.$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Step:
    """What one save did to those before it. of: the save that it undoes or brings back; None for a save of its own."""

    commit: str
    parents: tuple[str, ...]
    of: str | None = None
    does: Literal["saves", "undoes", "brings back"] = "saves"


def undo_message(git: Git, commit: str) -> str:
    """What the undo of a save says of itself."""
    return f"Undo: {reading.read_subject(git, commit)}\n\n{_UNDOES.format(commit)}"


def redo_message(git: Git, commit: str) -> str:
    """What the return of a save says of itself."""
    return f"Redo: {reading.read_subject(git, commit)}\n\n{_BRINGS_BACK.format(commit)}"


def find_to_undo(git: Git, tip: str) -> Step | None:
    """The last save that still stands; None when every one down to the first was undone."""
    step = _read_step(git, tip)
    while step.does == "undoes":
        assert step.of is not None
        parents = reading.read_parents(git, step.of)
        if not parents:
            return None
        step = _read_step(git, parents[0])
    return step if step.of is None else _read_step(git, step.of)


def find_to_redo(git: Git, tip: str) -> str | None:
    """The save that the last undo took away, when nothing else was saved since."""
    returned = 0
    step = _read_step(git, tip)
    while step.of is not None:
        if step.does == "brings back":
            returned += 1
        elif returned:
            returned -= 1
        else:
            return step.of
        step = _read_step(git, step.parents[0])
    return None


def _read_step(git: Git, commit: str) -> Step:
    parents, body = reading.read_parents_and_body(git, commit)
    said = _SAID.search(body)
    if said is None or len(parents) != 1:
        return Step(commit, parents)
    of = said.group(2)
    if reading.find_objects(git, [of]).get(of) != (of, "commit"):
        return Step(commit, parents)  # not in this copy, or rewritten since
    # What somebody wrote into a message is only believed when the files agree.
    changed, other = reading.read_changes(git, commit), reading.read_changes(git, of)
    if said.group(1) == "brings back":
        return Step(commit, parents, of, "brings back") if changed == other else Step(commit, parents)
    if changed != {path: (after, before) for path, (before, after) in other.items()}:
        return Step(commit, parents)
    undone = _read_step(git, of)
    # Undoing an undo brought its save back, before there was a redo.
    return Step(commit, parents, undone.of, "brings back") if undone.of else Step(commit, parents, of, "undoes")
