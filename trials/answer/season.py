"""What went with the date or the season, or took over on a day, so that whatever else did may be behind it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from math import cos, pi, sin
from statistics import correlation, fmean, pstdev

from trials.answer.answer import Answer, TookOver
from trials.answer.chance_words import percent
from trials.pours.sentences import capital

_FEWEST = 8  # trials, below which anything goes with anything
_FEWEST_OF_A_LOT = 3
_WORTH_SAYING = 0.1
_CLOSELY = 0.7  # correlation from which on one can stand for the other
_YEAR = 365.25  # days


def went_with(answer: Answer, name: str) -> str:
    """`the season` or `the date`, where a condition went so closely with it that it may stand for it; else empty.

    Of conditions alone, which nobody chose: what went into the pot was.
    """
    if answer.factor(name).kind != "condition":
        return ""
    by_trial: dict[str, list[float]] = {}
    made: dict[str, float] = {}
    for item, value in zip(answer.seen, answer.table.column(name), strict=True):
        if value is not None:
            by_trial.setdefault(item.pour.trial.id, []).append(value)
            made[item.pour.trial.id] = float(item.pour.trial.made.toordinal())
    values, days = [fmean(found) for found in by_trial.values()], list(made.values())
    if len(values) < _FEWEST or pstdev(values) < 1e-9 or pstdev(days) < 1e-9:
        return ""
    if _with_season(days, values) >= _CLOSELY:
        return "the season"
    return "the date" if abs(correlation(days, values)) >= _CLOSELY else ""


def took_over_on(answer: Answer, name: str) -> date | None:
    """The day from which on every pour had a lot and before which none had it; None where lots were used by turns.

    Then it can hardly be told from whatever else has changed since. On either side stand three trials at least, as far
    as their lots are recorded.
    """
    factor = answer.factor(name)
    if factor.kind != "lot":
        return None
    days: dict[bool, set[date]] = {True: set(), False: set()}
    trials: dict[bool, set[str]] = {True: set(), False: set()}
    for item, value in zip(answer.seen, answer.table.column(name), strict=True):
        if value is None or not item.pour.went_in(factor.aspects[0]):
            continue  # nobody knows, or there is none of the material in it
        has_it = value > 0.5
        days[has_it].add(item.pour.trial.made)
        trials[has_it].add(item.pour.trial.id)
    if min(len(found) for found in trials.values()) < _FEWEST_OF_A_LOT or max(days[False]) >= min(days[True]):
        return None
    return min(days[True])


def found_to_take_over(answer: Answer, name: str) -> TookOver | None:
    """The lot of that name, where it took over on a day; else None."""
    return next((lot for lot in answer.took_over if lot.factor == name), None)


def in_all_since(lot: TookOver) -> str:
    """`lot CB-2 of clove bud oil is in every pour since 2026-06-27, and in none before`."""
    return f"{lot.factor} is in every pour since {lot.since.isoformat()}, and in none before"


def hard_to_tell(answer: Answer, lot: TookOver) -> str:
    """The same, and what follows of it, with how likely it is a cause where a drift is out of the question."""
    chance = next((cause.probability for cause in answer.causes if cause.groups == ((lot.factor,),)), 0.0)
    if_not = ""
    if lot.if_nothing_drifted >= chance + _WORTH_SAYING:
        if_not = f" (if nothing else has, its chance is {percent(lot.if_nothing_drifted)})"
    return f"{in_all_since(lot)}, so it can hardly be told from whatever else has changed since{if_not}"


def lots_hard_to_tell(answer: Answer) -> tuple[str, ...]:
    """Of each lot that took over and is not known to be a cause, a sentence that says so, and what would tell."""
    open_still = {name for cause in answer.causes if not cause.is_likely for group in cause.groups for name in group}
    return tuple(
        f"{capital(hard_to_tell(answer, lot))}: a pour by the lot before it would tell."
        for lot in answer.took_over
        if lot.factor in open_still
    )


def _with_season(days: Sequence[float], values: Sequence[float]) -> float:
    """The correlation of values with the best wave of a year, adjusted for the two numbers that such a wave has."""
    waves = [[turn(2.0 * pi * day / _YEAR) for day in days] for turn in (sin, cos)]
    if min(pstdev(wave) for wave in waves) < 1e-9:
        return 0.0
    first, second = (correlation(wave, values) for wave in waves)
    between = correlation(*waves)
    if abs(between) > 1.0 - 1e-9:
        return 0.0
    explained = (first**2 + second**2 - 2.0 * first * second * between) / (1.0 - between**2)
    adjusted = 1.0 - (1.0 - explained) * (len(values) - 1) / (len(values) - 3)
    return float(max(adjusted, 0.0) ** 0.5)
