"""Oils that give way to one another: their percentages total 100, so no oil moves alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Displacement:
    """One oil in place of another. moves: by how much in each pour; falls: None where it cannot be said."""

    rises: str
    falls: str | None
    moves: Sequence[float]


def find_displacements(moves: Mapping[str, Sequence[float]], *, within: float) -> tuple[Displacement, ...]:
    """The fewest displacements that say how the oils moved.

    moves: oil -> points by which it stands above the commonest version, in each pour; in every pour these total
    zero. within: points that count as no move. Two oils that mirror each other in all pours are one displacement.
    Of the others, the one that moved most is what the rest stand in for: it says nothing of its own.
    """
    moved = {oil: list(points) for oil, points in moves.items() if max(map(abs, points), default=0.0) > within}
    found: list[Displacement] = []
    for oil in sorted(moved):
        partner = next((other for other in sorted(moved) if other > oil and _mirror(moved, oil, other, within)), None)
        if oil not in moved or partner is None:
            continue
        rises, falls = (oil, partner) if sum(moved[oil]) >= 0 else (partner, oil)
        found.append(Displacement(rises, falls, moved[rises]))
        del moved[oil], moved[partner]
    if len(moved) == 1:
        ((oil, points),) = moved.items()
        found.append(Displacement(oil, None, points))
    elif moved:
        giving_way = min(moved, key=lambda oil: (-sum(map(abs, moved[oil])), oil))
        found += [Displacement(oil, giving_way, points) for oil, points in moved.items() if oil != giving_way]
    return tuple(sorted(found, key=lambda displacement: displacement.rises))


def _mirror(moved: Mapping[str, Sequence[float]], oil: str, other: str, within: float) -> bool:
    if oil not in moved:
        return False
    return all(abs(a + b) <= within for a, b in zip(moved[oil], moved[other], strict=True))
