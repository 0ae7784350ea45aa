"""How often a grade or a yes was seen with a factor and without it: what a maker can count, beside odds."""

from __future__ import annotations

from collections.abc import Sequence

from formulary.quantity import format_plain_number
from trials.answer.answer import Answer, Counts
from trials.factors.factors import Factor
from trials.factors.steps import TENTH
from trials.outcomes.outcome import Scale
from trials.pours.sentences import number

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
    is_more = [value - usual > TENTH * factor.step for value, _ in known]
    below = not any(is_more)
    if below:
        is_more = [usual - value > TENTH * factor.step for value, _ in known]
    if all(is_more) or not any(is_more):
        return None
    more = [one for one, is_one in zip(known, is_more, strict=True) if is_one]
    rest = [one for one, is_one in zip(known, is_more, strict=True) if not is_one]
    words = _which(factor, [value for value, _ in rest], below=below)
    seen, rest_seen = (sum(is_seen for _, is_seen in side) for side in (more, rest))
    return Counts(_what(answer, border), seen, len(more), words[0], rest_seen, len(rest), words[1])


def _which(factor: Factor, rest: Sequence[float], *, below: bool) -> tuple[str, str]:
    """Which pours are counted and which are the rest, by the last value that is of the rest: what hardly moved is."""
    last = min(rest) if below else max(rest)
    if factor.kind in _IN_OR_NOT and last <= 0:
        return "with it", "without it"
    if not factor.unit:
        return "with it", "with hardly any of it, or none" if last > 0 else "without it"
    at = f"{format_plain_number(factor.told(last), factor.aspects[0].step_of.places)} {factor.told_unit}"
    return (f"below {at}", f"at {at} or above") if below else (f"above {at}", f"at {at} or below")


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
