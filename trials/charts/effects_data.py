"""What an effects chart shows, as plain data: candidates with their chances and what one step of each does."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf


@dataclass(frozen=True, slots=True)
class EffectRow:
    """One candidate: names that cannot be told apart (or, only_together, that act only both at once).

    effect, low, high: in the outcome's unit, for one step of the first name; None where there is no figure.
    per: that step in words. said: what to write where there is no figure.
    """

    names: tuple[str, ...]
    only_together: bool
    probability: float
    effect: float | None
    low: float | None
    high: float | None
    per: str
    said: str
    is_likely: bool


@dataclass(frozen=True, slots=True)
class EffectsData:
    """Candidates, most likely first. unit: that effects are in. nothing: that nothing recorded did it.

    rest: what is left out, in words. foot: what it rests on. empty: why there is nothing to draw, None where there is.
    higher: of grades and yes / no, what becomes likelier. most: the largest effect, either way, that there is room for.
    """

    title: str
    label: str
    unit: str
    rows: tuple[EffectRow, ...]
    nothing: float | None
    rest: str
    foot: str
    empty: str | None = None
    higher: str = "a higher grade"
    most: float = inf
