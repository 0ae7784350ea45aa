"""How often yes was seen with a factor and without it: what a maker can count, beside odds that have no unit."""

from __future__ import annotations

from trials.answer import Answer, YesCounts
from trials.factor_steps import TENTH
from trials.factors import Factor
from trials.outcomes import Scale
from trials.sentences import plain_number

_IN_OR_NOT = frozenset({"held back", "addition", "scent", "lot", "vessel"})


def count_yes(answer: Answer, factor: Factor) -> YesCounts | None:
    """Of a yes / no outcome, how many pours said yes among those that had a factor, or more of it, and among the rest.

    What goes in or not is counted with it and without; a figure above its usual value and not, or below it and not
    where it was never above. None for other outcomes, and where one side is empty.
    """
    if answer.outcome.scale is not Scale.YES_NO:
        return None
    known = [
        (value, item.value.value >= 0.5)
        for value, item in zip(answer.table.column(factor.name), answer.seen, strict=True)
        if value is not None and item.value.value is not None and item.value.bound == "exact"
    ]
    usual = 0.0 if factor.kind in _IN_OR_NOT else factor.baseline
    more = [yes for value, yes in known if value - usual > TENTH * factor.step]
    rest = [yes for value, yes in known if value - usual <= TENTH * factor.step]
    words = ("with it", "without it")
    if factor.kind not in _IN_OR_NOT and factor.unit:
        at = f"{plain_number(usual, factor.aspects[0].step_of.places)} {factor.unit}"
        words = (f"above {at}", f"at {at} or below")
        if not more:
            more = [yes for value, yes in known if usual - value > TENTH * factor.step]
            rest = [yes for value, yes in known if usual - value <= TENTH * factor.step]
            words = (f"below {at}", f"at {at}")
    if not more or not rest:
        return None
    return YesCounts(sum(more), len(more), words[0], sum(rest), len(rest), words[1])
