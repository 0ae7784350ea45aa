"""What of two pours, or of repeats put together, differs by enough to be worth a line."""

from __future__ import annotations

from collections.abc import Sequence

from trials.factors.portion_facts import Aspect, Fact, LotShares, Pour
from trials.factors.steps import TENTH
from trials.trial.model import Trial


def together(aspect: Aspect, pours: Sequence[Pour]) -> Fact:
    """One fact for repeats put together: their mean, or their common word."""
    facts = [fact for pour in pours if (fact := pour.weighed_fact(aspect)) is not None]
    numbers = [fact for fact in facts if isinstance(fact, float)]
    if numbers:
        return sum(numbers) / len(numbers)
    return facts[0] if facts else None


def is_noted(aspect: Aspect, trial: Trial) -> bool:
    """Whether somebody wrote down that this went otherwise than planned: then it is no slip of the scale."""
    return any(aspect.subject in (entry.line, entry.extra, entry.instead) for entry in trial.as_made)


def is_worth_a_line(aspect: Aspect, one: Fact, two: Fact, *, noted: bool = False) -> bool:
    """Whether two facts are more than a tenth of a step apart, or seen to be apart where it was noted."""
    if isinstance(one, float) and isinstance(two, float):
        least = 0.5 * 10.0**-aspect.step_of.places if noted else TENTH * aspect.step_of.size
        return abs(one - two) > least * (1 + 1e-9)
    if isinstance(one, LotShares) and isinstance(two, LotShares) and not (one.shares and two.shares):
        return False  # where a material did not go in, its amount says so
    return one != two
