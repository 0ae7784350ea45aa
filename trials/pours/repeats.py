"""Which pours repeat one another: nothing that is recorded differs between them but what always does a little."""

from __future__ import annotations

from collections.abc import Sequence

from trials.factors.portion_facts import FORMULA, Aspect, Fact, LotShares, Pour
from trials.factors.steps import TENTH


def facts_differ(aspect: Aspect, one: Fact, two: Fact, *, condition_steps: float) -> bool:
    """Whether two facts about an aspect differ by more than they may; what was not recorded does not differ.

    The formula may differ by a tenth of a step (a last gram), conditions and blending by so many steps. What was done,
    a rebatch or a fan, was not done otherwise: there is nothing between.
    """
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


class _Repeats:
    """Pours that all repeat one another: the same effective formula, lots, mould, cover and what was done to them after
    pouring, conditions within a step.

    Of each aspect only the ends are kept, further than which no two of them lie apart; of what has no order, each once.
    """

    def __init__(self, row: int, pour: Pour) -> None:
        self.rows = [row]
        self._first = pour
        self._trials = {pour.trial.id}
        self._ends: dict[Aspect, tuple[Fact, ...]] = {aspect: (fact,) for aspect, fact in pour.facts.items()}

    def takes(self, pour: Pour) -> bool:
        """Whether a pour repeats every one of them; portions of one trial never do: they share their batter's luck."""
        return pour.trial.id not in self._trials and not any(
            facts_differ(aspect, end, pour.fact(aspect), condition_steps=1.0)
            for aspect in self._aspects(pour)
            for end in self._known(aspect)
        )

    def add(self, row: int, pour: Pour) -> None:
        """Take one more in."""
        for aspect in self._aspects(pour):
            facts = dict.fromkeys((*self._known(aspect), pour.fact(aspect)))
            numbers = [fact for fact in facts if isinstance(fact, float)]
            ends = dict.fromkeys((min(numbers), max(numbers))) if numbers else {}
            self._ends[aspect] = (*ends, *(fact for fact in facts if not isinstance(fact, float)))
        self.rows.append(row)
        self._trials.add(pour.trial.id)

    def _aspects(self, pour: Pour) -> tuple[Aspect, ...]:
        return (*self._ends, *(aspect for aspect in pour.facts if aspect not in self._ends))

    def _known(self, aspect: Aspect) -> tuple[Fact, ...]:
        """The ends of an aspect; of one that none of them has, what it means that they have none."""
        return self._ends.get(aspect) or (self._first.fact(aspect),)


def find_repeats(pours: Sequence[Pour]) -> tuple[tuple[int, ...], ...]:
    """Groups of pours that repeat one another, as positions; a pour without a repeat is a group of its own.

    A pour is of a group only when it repeats all of it: two that lie a step apart on either side of a third, or of
    different lots beside one of a lot that nobody noted, are no repeats.
    """
    groups: list[_Repeats] = []
    for row, pour in enumerate(pours):
        group = next((group for group in groups if group.takes(pour)), None)
        if group is None:
            groups.append(_Repeats(row, pour))
        else:
            group.add(row, pour)
    return tuple(tuple(group.rows) for group in groups)
