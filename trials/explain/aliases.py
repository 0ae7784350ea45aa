"""Which factors moved together: groups that no analysis can tell apart, and pairs that nearly are so."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.explain.normal import FloatArray

SAME = 1e-9  # columns whose correlation is this near to 1 are one candidate


@dataclass(frozen=True, slots=True)
class AliasGroup:
    """Columns that are exact multiples of one another, up to a constant: one candidate with several names.

    members: column numbers. scales: how far each member moves, in its own steps, when the group moves by one
    (negative where it moves the other way). A group of one has the scale 1.
    """

    members: tuple[int, ...]
    scales: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class NearAlias:
    """Two groups that moved nearly together; `correlation` is between -1 and 1."""

    first: int
    second: int
    correlation: float


def find_groups(x: FloatArray) -> tuple[tuple[AliasGroup, ...], FloatArray]:
    """The alias groups among the columns that vary, and one representing column each, shape (rows, groups).

    The representing column is the first member, stretched to the root mean square of its members' spreads, so
    that the answer does not depend on which twin happens to come first.
    """
    spread = np.sqrt(((x - x.mean(axis=0)) ** 2).sum(axis=0)) if len(x) else np.zeros(x.shape[1])
    varies = spread > SAME * np.maximum(1.0, np.abs(x).max(axis=0, initial=0.0))
    unit = (x - x.mean(axis=0)) / np.where(varies, spread, 1.0) if len(x) else x
    alike = unit.T @ unit
    taken: set[int] = set()
    groups: list[AliasGroup] = []
    columns: list[FloatArray] = []
    for j in range(x.shape[1]):
        if not varies[j] or j in taken:
            continue
        members = [k for k in range(j, x.shape[1]) if varies[k] and k not in taken and abs(alike[j, k]) > 1 - SAME]
        taken.update(members)
        reach = float(np.sqrt(np.mean(spread[members] ** 2)))
        groups.append(
            AliasGroup(tuple(members), tuple(float(np.sign(alike[j, k]) * spread[k] / reach) for k in members))
        )
        columns.append(x[:, j] * (reach / spread[j]))
    return tuple(groups), np.column_stack(columns) if columns else np.zeros((len(x), 0))


def find_near_aliases(representing: FloatArray, *, least: float = 0.8) -> tuple[NearAlias, ...]:
    """Pairs of groups whose correlation is at least `least` either way, nearest first."""
    if representing.shape[1] < 2 or len(representing) < 3:
        return ()
    table = np.asarray(np.corrcoef(representing.T), dtype=float)
    pairs = [
        NearAlias(i, j, float(table[i, j]))
        for i in range(len(table))
        for j in range(i + 1, len(table))
        if abs(table[i, j]) >= least
    ]
    return tuple(sorted(pairs, key=lambda pair: (-abs(pair.correlation), pair.first, pair.second)))
