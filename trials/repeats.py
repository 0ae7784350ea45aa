"""Which pours repeat one another: nothing that is recorded differs between them but what always does a little."""

from __future__ import annotations

from collections.abc import Sequence

from trials.factors.portion_facts import FORMULA, Aspect, Fact, LotShares, Pour
from trials.factors.steps import TENTH


def is_repeat(pour: Pour, other: Pour) -> bool:
    """Whether two pours are repeats: the same effective formula, lots, mould, cover and what was done to them after
    pouring, conditions within a step.
    """
    if any(differs(aspect, pour, other) for aspect in pour.facts):
        return False
    return not any(differs(aspect, pour, other) for aspect in other.facts if aspect not in pour.facts)


def differs(aspect: Aspect, pour: Pour, other: Pour) -> bool:
    """Whether two pours differ in an aspect by more than repeats may; what was not recorded does not differ.

    The formula may differ by a tenth of a step (a last gram), conditions and blending by a step. What was done, a
    rebatch or a fan, was not done otherwise: there is nothing between.
    """
    return facts_differ(aspect, pour.fact(aspect), other.fact(aspect), condition_steps=1.0)


def facts_differ(aspect: Aspect, one: Fact, two: Fact, *, condition_steps: float) -> bool:
    """The same of two facts. condition_steps: by how much conditions and blending may differ, in steps."""
    if one is None or two is None:
        return False
    if isinstance(one, float) and isinstance(two, float):
        steps = TENTH if aspect.kind in FORMULA or aspect.step == "done" else condition_steps
        return abs(one - two) > steps * aspect.step_of.size * (1 + 1e-9)
    if isinstance(one, LotShares) and isinstance(two, LotShares):
        if not (one.shares and two.shares):
            return False  # where a material did not go in, its amount says so
        lots = {lot for lot, _ in (*one.shares, *two.shares)}
        return any(abs(one.share(lot) - two.share(lot)) > TENTH for lot in lots)
    return one != two


def find_repeats(pours: Sequence[Pour]) -> tuple[tuple[int, ...], ...]:
    """Groups of pours that repeat one another, as positions; a pour without a repeat is a group of its own.

    Portions of one trial never repeat one another: they share their batter's luck.
    """
    groups: list[list[int]] = []
    for row, pour in enumerate(pours):
        for group in groups:
            apart = all(pours[member].trial.id != pour.trial.id for member in group)
            if apart and is_repeat(pours[group[0]], pour):
                group.append(row)
                break
        else:
            groups.append([row])
    return tuple(tuple(group) for group in groups)
