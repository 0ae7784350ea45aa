"""Which trial, or sitting, may be all that speaks for a cause: where a factor moved far, and hardly anywhere else."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import prod
from statistics import fmean, median

from trials.factors.factors import FactorTable
from trials.factors.portion_facts import Pour

_MOST = 0.5  # of the squared distances from the usual: more than all others have together
_CONTRAST = 0.5  # of its distance: a pour of its own that lies so much nearer to the usual is one to compare with


def find_lone_pours(table: FactorTable, names: Sequence[str]) -> Iterator[frozenset[str]]:
    """Ids of the trials that hold most of how a factor moved (several names: their product): one trial, or a sitting.

    Not where it has a pour of its own to compare with, a portion or a loaf of that sitting without it: these shared its
    luck. The usual is the middle of all trials, whichever version is the commonest.
    """
    rows = _distances(table, names)
    if not rows:
        return
    trials: dict[str, list[float]] = {}
    sittings: dict[str, list[float]] = {}
    members: dict[str, set[str]] = {}
    for pour, distance in rows:
        sitting = pour.trial.occasion
        trials.setdefault(pour.trial.id, []).append(distance)
        sittings.setdefault(sitting, []).append(distance)
        members.setdefault(sitting, set()).add(pour.trial.id)
    squares = {trial: max(map(abs, distances)) ** 2 for trial, distances in trials.items()}
    total = sum(squares.values())
    for trial, distances in trials.items():
        if squares[trial] > _MOST * total and not _has_contrast(distances):
            yield frozenset({trial})
    for sitting, distances in sittings.items():
        held = sum(squares[trial] for trial in members[sitting])
        if len(members[sitting]) > 1 and held > _MOST * total and not _has_contrast(distances):
            yield frozenset(members[sitting])


def _distances(table: FactorTable, names: Sequence[str]) -> list[tuple[Pour, float]]:
    """How far each pour lies from the usual, in steps; pours of which it is not known are left out.

    The product is that of what is weighed, in steps from the baseline, and only then is it set against what is usual:
    where most pours have clove, those without it that have honey do not have both.
    """
    factors = [table.factor(name) for name in names]
    columns = [table.column(name) for name in names]
    moved: list[tuple[Pour, float]] = []
    for row, pour in enumerate(table.pours):
        values = [column[row] for column in columns]
        known = [value for value in values if value is not None]
        if len(known) == len(values):
            steps = ((value - one.baseline) / one.step for value, one in zip(known, factors, strict=True))
            moved.append((pour, prod(steps)))
    usual = _usual(moved)
    return [(pour, value - usual) for pour, value in moved]


def _usual(moved: Sequence[tuple[Pour, float]]) -> float:
    by_trial: dict[str, list[float]] = {}
    for pour, value in moved:
        by_trial.setdefault(pour.trial.id, []).append(value)
    return median(fmean(values) for values in by_trial.values()) if by_trial else 0.0


def _has_contrast(distances: Sequence[float]) -> bool:
    return max(distances) - min(distances) >= _CONTRAST * max(map(abs, distances))
