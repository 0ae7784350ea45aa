"""One thing that a side of a merge changed, and what was made of it; a conflict in words that a file keeps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum


class Choice(Enum):
    """How a person settles what both sides changed: as it is here, as it is there, or (oils) both changes added."""

    MINE = "mine"
    THEIRS = "theirs"
    BOTH = "both"


EVERYTHING = "all"


def find_choice(choices: Mapping[str, Choice], field: str) -> str | None:
    """Under which name a person settled a field: its own, else its line's, else all; None for not at all."""
    for name in sorted(choices, key=len, reverse=True):
        if name == field or field.startswith((f"{name}.", f"{name} at ")):
            return name
    return EVERYTHING if EVERYTHING in choices else None


class MergeOutcome(Enum):
    """What became of one thing that a side changed."""

    TAKEN = "taken"  # they alone changed it
    KEPT = "kept"  # I alone changed it, or it is my own affair
    ALIKE = "alike"  # both made the same change
    ADDED = "added"  # both changed an oil, in opposite directions
    SETTLED = "settled"  # as the person chose
    CONFLICT = "conflict"


@dataclass(frozen=True, slots=True)
class Decision:
    """One thing that a side changed: what it was, what each side has, and what was made of that, in words.

    field: as a person types it: `lye.superfat`, `oils`, `additions.oat-milk.rate`. merged: None for a conflict.
    together: what both changes of the oils would come to, where one can weigh that.
    """

    field: str
    outcome: MergeOutcome
    before: str
    mine: str
    theirs: str
    merged: str | None
    together: str | None = None

    @property
    def is_conflict(self) -> bool:
        """Whether a person must decide."""
        return self.outcome is MergeOutcome.CONFLICT


def conflict_words(decision: Decision, theirs: str) -> str:
    """A conflict as it is kept in the file: what each side has, and what to do. theirs: the other recipe's name."""
    sides = f"here {decision.mine}; in {theirs} {decision.theirs}; before {decision.before}"
    together = f"; both changes together {decision.together}" if decision.together is not None else ""
    return f"{decision.field}: {sides}{together}. Keep what stands above or change it, then delete this line."


def conflict_field(words: str) -> str:
    """The field that a conflict in a file is about."""
    return words.partition(":")[0]
