"""What one step of a factor does to an outcome, in words."""

from __future__ import annotations

from dataclasses import replace
from math import inf, isinf, prod
from statistics import NormalDist

from formulary.quantity import format_number
from trials.answer.answer import Answer, Counts, FactorEffect, LikelyCause
from trials.answer.chance_words import percent
from trials.factors.factors import Factor
from trials.outcomes.outcome import Outcome, Scale
from trials.pours.even_scale import from_scale, to_scale
from trials.pours.sentences import difference_unit, places

# outcome -> what makes its figure fall, and rise; of a hardness the figure is a depth, so that less of it is harder
_VERBS = {"first rancid spot": ("hastens", "postpones"), "time of peak": ("hastens", "postpones")}
_DEPTHS = {"hardness": ("makes the bar harder", "makes the bar softer", "the pin goes in", "less deep", "deeper")}


def say_effect(answer: Answer, effect: FactorEffect, *, alone: bool = True, together: LikelyCause | None = None) -> str:
    """`each 1 % of oils raises gel by 25 points (16 to 33)`; that it is open which way it acts, where it is.

    alone: whether the factor need not be named again. together: the cause, where the effect is that of two at once.
    """
    effect = as_told(answer, effect, together)
    if not effect.direction:
        acts = "they act" if together is not None else "it acts" if alone else f"{effect.factor} acts"
        return f"which way {acts} cannot be told yet"
    if together is None:
        subject = _one_step(answer.factor(effect.factor), effect.per, alone=alone)
    else:
        subject = " with ".join(_named_step(answer.factor(group[0])) for group in together.groups)
    if answer.outcome.scale.is_ordinal:
        return f"{subject} {_say_chance(answer, effect)}"
    if effect.effect is None or effect.low is None or effect.high is None:
        return f"{subject} {_verb(answer.outcome, effect.direction)} {answer.label}"
    size, interval = _size(answer, abs(effect.effect)), _interval(answer, effect.effect, effect.low, effect.high)
    if answer.outcome.name in _DEPTHS:
        harder, softer, goes, less, more = _DEPTHS[answer.outcome.name]
        makes, way = (softer, more) if effect.direction == "up" else (harder, less)
        age = answer.label.removeprefix(answer.outcome.name)
        return f"{subject} {makes}{age}: {goes} {size} {way} ({interval})"
    said = f"{subject} {_verb(answer.outcome, effect.direction)} {answer.label} by"
    if answer.outcome.scale is Scale.LOG_TIME and answer.level > 0:
        # One step changes a time by a share of it, so minutes alone would be wrong from any other level.
        share = format_number(100.0 * abs(effect.effect) / answer.level, 0)
        return f"{said} {share} %: {level_words(answer)} by {size} ({interval})"
    return f"{said} {size} ({interval})"


def as_told(answer: Answer, effect: FactorEffect, together: LikelyCause | None = None) -> FactorEffect:
    """An effect as people are told it: of a step that is round in the unit they read, and in that unit itself.

    together: the cause, where the effect is that of two at once.
    """
    factor = answer.factor(effect.factor)
    steps = factor.told_steps
    if together is not None:
        steps = prod(answer.factor(group[0]).told_steps for group in together.groups)
    if steps == 1.0 and answer.outcome.told_unit == answer.outcome.unit:
        return effect
    effects = (effect.effect, effect.low, effect.high)
    middle, low, high = (None if each is None else _of_steps(answer, each, steps) for each in effects)
    becomes = effect.even_chance_becomes
    if becomes is not None:
        becomes = (_chance_of(becomes[0], steps), _chance_of(becomes[1], steps), _chance_of(becomes[2], steps))
    per = factor.told_words if effect.per == factor.words else effect.per
    return replace(effect, effect=middle, low=low, high=high, per=per, even_chance_becomes=becomes)


def _of_steps(answer: Answer, effect: float, steps: float) -> float:
    """What so many steps do, by what one does: alike on the even scale, on which a step does the same everywhere."""
    outcome, level = answer.outcome, answer.level
    if steps != 1.0 and outcome.scale in (Scale.LOG_TIME, Scale.COUNT):
        start = to_scale(level, outcome.scale)
        moved = start + steps * (to_scale(level + effect, outcome.scale) - start)
        return from_scale(moved, outcome.scale) - from_scale(start, outcome.scale)
    return outcome.told_apart(effect * steps)


def _chance_of(chance: float, steps: float) -> float:
    """What an even chance becomes after so many steps, by what it becomes after one (`causes._effect`)."""
    normal = NormalDist()
    return normal.cdf(steps * normal.inv_cdf(chance)) if 0.0 < chance < 1.0 else chance


def level_words(answer: Answer) -> str:
    """The level that effects are told from: `12.8 min`."""
    outcome = answer.outcome
    return f"{format_number(outcome.told(answer.level), max(places(outcome), 1))} {outcome.told_unit}".strip()


def effect_unit(answer: Answer) -> str:
    """What effects are in: `min, of 12.8`, since a step changes a time by a share of it; `mm, pin depth`."""
    unit = difference_unit(answer.outcome)
    if answer.outcome.scale is Scale.LOG_TIME and unit:
        return f"{unit}, of {level_words(answer).removesuffix(f' {unit}')}"
    return f"{unit}, pin depth" if answer.outcome.name in _DEPTHS else unit


def _say_chance(answer: Answer, effect: FactorEffect) -> str:
    """`makes a higher grade of ash at 28 d likelier (up to a quarter or more in 9 of 11 pours with it, in 2 of 12
    without it)`: what was counted, since a weak cause of grades that gets named looks stronger than it is.
    """
    grade = "" if answer.outcome.scale is Scale.YES_NO else "a higher grade of "
    said = f"makes {grade}{answer.label} {likelier_words(effect.direction)}"
    return said if effect.counts is None else f"{said} ({_counts_words(effect.counts)})"


def likelier_words(direction: str) -> str:
    """What a step makes a higher grade, or a yes: `likelier`, `less likely`, `either way` where that cannot be said."""
    return {"up": "likelier", "down": "less likely"}.get(direction, "either way")


def _counts_words(counts: Counts) -> str:
    first = f"{counts.what} in {counts.seen} of {counts.of} pours {counts.words}"
    return f"{first}, in {counts.rest_seen} of {counts.rest_of} {counts.rest_words}"


def even_chance_words(becomes: tuple[float, float, float]) -> str:
    """What an even chance becomes, with both ends of its interval: `84 % (66 to 95)`, `under 1 % (under 1 to 94)`."""
    middle, low, high = (percent(chance) for chance in becomes)
    if middle == low == high:
        return middle
    return f"{middle} ({low.removesuffix(' %')} to {high.removesuffix(' %')})"


def _one_step(factor: Factor, per: str, *, alone: bool) -> str:
    """`each 1 % of oils`, `each 5 °C more`, `lot CB-2 instead of CB-1`; names the factor where it is not alone."""
    if not factor.unit:
        return per
    if factor.kind == "water":
        return f"{'each' if alone else f'{factor.name}, each'} {step_words(factor, per)}"
    if factor.unit == "% of oils" and not alone:
        return f"each {factor.step:g} % {factor.name}"
    more = "" if factor.unit.startswith("% of") else " more"
    return f"each {per}{more}{'' if alone else f' {factor.name}'}"


def _named_step(factor: Factor) -> str:
    """A step with its factor, for one of two that act together: `5 % oat milk`, `5 °C more room`."""
    if not factor.unit:
        return factor.name
    if factor.unit == "% of oils":
        return f"{factor.step:g} % {factor.name}"
    if factor.kind == "water":
        return f"{factor.name} {step_words(factor, factor.told_words)}"
    return f"{factor.told_words} more {factor.name}"


def step_words(factor: Factor, per: str) -> str:
    """A step as it stands in a table: `1 % of oils`; `3 points stronger`, since 3 % of lye would be something else."""
    return f"{factor.step:g} points stronger" if factor.kind == "water" else per


def _verb(outcome: Outcome, direction: str) -> str:
    down, up = _VERBS.get(
        outcome.name, ("shortens", "lengthens") if outcome.scale is Scale.LOG_TIME else ("lowers", "raises")
    )
    return up if direction == "up" else down


def most_possible(answer: Answer) -> float:
    """An effect beyond which nothing is known: twice the largest value that was seen, and all of a face."""
    if answer.outcome.scale is Scale.PERCENT:
        return 100.0
    ends = [abs(end) for item in answer.seen for end in item.value.bounds if not isinf(end)]
    return answer.outcome.told_apart(2.0 * max(ends, default=inf))


def effect_places(answer: Answer, effect: float) -> int:
    """Decimals that an effect is worth: one more than its outcome's values where it is only a few of their steps."""
    digits = places(answer.outcome)
    return digits + 1 if abs(effect) < 10.0 ** (1 - digits) else digits


def _size(answer: Answer, value: float) -> str:
    return f"{format_number(value, effect_places(answer, value))} {difference_unit(answer.outcome)}".strip()


def _interval(answer: Answer, effect: float, low: float, high: float) -> str:
    """The sizes that a step may have, of an effect whose direction is known."""
    digits = effect_places(answer, effect)
    near, far = sorted((abs(low), abs(high)))
    return f"{format_number(near, digits)} to {format_number(far, digits)}"
