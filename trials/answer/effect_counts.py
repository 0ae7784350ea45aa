"""How often a grade or a yes was seen with a factor and without it: what a maker can count, beside odds."""

from __future__ import annotations

from formulary.quantity import format_plain_number
from trials.answer.answer import Answer, Counts
from trials.factors.factors import Factor
from trials.factors.steps import TENTH
from trials.outcomes.outcome import Scale
from trials.sentences import number

_IN_OR_NOT = frozenset({"held back", "addition", "scent", "lot", "vessel"})


def count_seen(answer: Answer, factor: Factor) -> Counts | None:
    """How many pours said yes, or had the grade that parts them best into halves, with a factor and without it.

    What goes in or not is counted with it and without; a figure above its usual value and not, or below it and not
    where it was never above. None for outcomes with figures, and where one side is empty.
    """
    if not answer.outcome.scale.is_ordinal:
        return None
    border = _border(answer)
    known = [
        (value, item.value.value >= border)
        for value, item in zip(answer.table.column(factor.name), answer.seen, strict=True)
        if value is not None and item.value.value is not None and item.value.bound == "exact"
    ]
    usual = 0.0 if factor.kind in _IN_OR_NOT else factor.baseline
    more = [seen for value, seen in known if value - usual > TENTH * factor.step]
    rest = [seen for value, seen in known if value - usual <= TENTH * factor.step]
    words = ("with it", "without it")
    if factor.kind not in _IN_OR_NOT and factor.unit:
        at = f"{format_plain_number(usual, factor.aspects[0].step_of.places)} {factor.unit}"
        words = (f"above {at}", f"at {at} or below")
        if not more:
            more = [seen for value, seen in known if usual - value > TENTH * factor.step]
            rest = [seen for value, seen in known if usual - value <= TENTH * factor.step]
            words = (f"below {at}", f"at {at}")
    if not more or not rest:
        return None
    return Counts(_what(answer, border), sum(more), len(more), words[0], sum(rest), len(rest), words[1])


def _border(answer: Answer) -> float:
    """Yes, or the grade from which on the pours come nearest to one half."""
    if answer.outcome.scale is Scale.YES_NO:
        return 1.0
    grades = [item.value.value for item in answer.seen if item.value.value is not None]
    levels = sorted(set(grades))[1:] or [1.0]
    return min(levels, key=lambda level: (abs(2 * sum(grade >= level for grade in grades) - len(grades)), level))


def _what(answer: Answer, border: float) -> str:
    word = number(answer.outcome, border)
    is_last = answer.outcome.scale is Scale.YES_NO or round(border) >= len(answer.outcome.grades) - 1
    return word if is_last else f"{word} or more"
