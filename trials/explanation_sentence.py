"""What one would say aloud about which tweak did it."""

from __future__ import annotations

from collections.abc import Sequence

from formulary.quantity import format_number
from trials.answer import ENOUGH, WORTH_A_LINE, Answer, FactorEffect, LikelyCause
from trials.factors import Factor
from trials.outcomes import Scale
from trials.sentences import capital, count, difference_unit, places, say_list, say_value

_CANNOT_BE_RULED_OUT = 0.1


def explanation_sentence(answer: Answer) -> str:
    """The answer in plain words, figures after: the likely cause, what else it may be, and how sure one can be."""
    if answer.no_answer is not None:
        return f"There is nothing to compare: {answer.no_answer}."
    if not answer.causes:
        return "There is nothing to compare: nothing that is recorded differed between these trials."
    named = [cause for cause in answer.causes if cause.is_likely]
    text = _likely(answer, named) if named else _not_enough(answer)
    return f"{text}{_moved(answer)}"


def percent(probability: float) -> str:
    """`86 %`, and never a certainty: `over 99 %`, `under 1 %`."""
    if probability > 0.995:
        return "over 99 %"
    if probability < 0.005:
        return "under 1 %"
    return f"{100 * probability:.0f} %"


def group_words(group: Sequence[str]) -> str:
    """`honey`, or `honey with oat milk (always together)`."""
    return group[0] if len(group) == 1 else f"{group[0]} with {say_list(group[1:])} (always together)"


def cause_words(cause: LikelyCause) -> str:
    """A candidate as it is listed: twins as one, two that act only together as a pair."""
    if cause.is_together:
        return " and ".join(group_words(group) for group in cause.groups) + ", only together"
    return group_words(cause.groups[0])


def _likely(answer: Answer, named: Sequence[LikelyCause]) -> str:
    parts = []
    word = "the likely cause" if len(named) == 1 else "a likely cause"
    for cause in named:
        odds = percent(cause.probability)
        if cause.is_together:
            pair = say_list([group_words(group) for group in cause.groups])
            said = [say_effect(answer, effect, together=True) for effect in cause.effects]
            parts.append(f"{capital(pair)}, only together, are {word} ({odds}){': ' if said else ''}{''.join(said)}.")
            continue
        if len(cause.factors) > 1:
            start = f"{capital(say_list(cause.factors, 'or'))} is {word} ({odds}), which always went together"
        else:
            start = f"{capital(cause.factors[0])} is {word} ({odds})"
        alone = len(cause.factors) < 2
        said = [text for effect in cause.effects[:2] if (text := say_effect(answer, effect, alone=alone))]
        parts.append(f"{start}: {'; '.join(said)}." if said else f"{start}.")
    open_still = [cause for cause in answer.causes if not cause.is_likely and not cause.is_together]
    others = [cause for cause in open_still if cause.probability >= _CANNOT_BE_RULED_OUT]
    if others:
        words = say_list([f"{group_words(cause.groups[0])} ({percent(cause.probability)})" for cause in others[:3]])
        parts.append(f"{capital(words)} cannot be ruled out{' beside it' if len(named) == 1 else ''}.")
    if answer.nothing is not None:
        parts.append(f"That nothing recorded did it: {percent(answer.nothing)}.")
    return " ".join(parts)


def say_effect(answer: Answer, effect: FactorEffect, *, alone: bool = True, together: bool = False) -> str:
    """`each 1 % of oils shortens working time by 4.8 min (3.1 to 6.6)`; empty when the direction is open.

    alone: whether the factor need not be named again. together: whether the effect is that of two at once.
    """
    if not effect.direction:
        return ""
    subject = effect.per if together else _one_step(answer.factor(effect.factor), effect.per, alone=alone)
    verb = _verb(answer, effect.direction)
    if effect.even_chance_becomes is not None:
        return _say_chance(answer, subject, effect.direction, effect.even_chance_becomes)
    if effect.effect is None or effect.low is None or effect.high is None:
        return f"{subject} {verb} {answer.label}"
    size = _size(answer, abs(effect.effect))
    return f"{subject} {verb} {answer.label} by {size} ({_interval(answer, effect.effect, effect.low, effect.high)})"


def _say_chance(answer: Answer, subject: str, direction: str, becomes: tuple[float, float, float]) -> str:
    """`each 1 % of oils raises ash at 28 d: an even chance of a higher grade becomes 84 % (66 to 95)`."""
    middle, low, high = (percent(chance) for chance in becomes)
    interval = f"({low.removesuffix(' %')} to {high.removesuffix(' %')})"
    verb = _verb(answer, direction)
    return f"{subject} {verb} {answer.label}: an even chance of a higher grade becomes {middle} {interval}"


def _one_step(factor: Factor, per: str, *, alone: bool) -> str:
    """`each 1 % of oils`, `each 5 °C more`, `lot CB-2 instead of CB-1`; names the factor where it is not alone."""
    if not factor.unit:
        return per
    if factor.unit == "% of oils" and not alone:
        return f"each {factor.step:g} % {factor.name}"
    more = "" if factor.unit.startswith("% of") else " more"
    return f"each {per}{more}{'' if alone else f' {factor.name}'}"


def _verb(answer: Answer, direction: str) -> str:
    up, down = ("lengthens", "shortens") if answer.outcome.scale is Scale.LOG_TIME else ("raises", "lowers")
    return up if direction == "up" else down


def effect_places(answer: Answer, effect: float) -> int:
    """Decimals that an effect is worth: one more than its outcome's values where it is only a few of their steps."""
    digits = places(answer.outcome)
    return digits + 1 if abs(effect) < 10.0 ** (1 - digits) else digits


def _size(answer: Answer, value: float) -> str:
    return f"{format_number(value, effect_places(answer, value))} {difference_unit(answer.outcome)}".strip()


def _interval(answer: Answer, effect: float, low: float, high: float) -> str:
    digits = effect_places(answer, effect)
    if low >= 0 or high <= 0:
        near, far = sorted((abs(low), abs(high)))
        return f"{format_number(near, digits)} to {format_number(far, digits)}"
    less, more = ("shorter", "longer") if answer.outcome.scale is Scale.LOG_TIME else ("lower", "higher")
    return f"from {format_number(-low, digits)} {less} to {format_number(high, digits)} {more}"


def _not_enough(answer: Answer) -> str:
    single = next((cause for cause in answer.causes if cause.probability >= ENOUGH), None)
    if single is not None:
        return (
            f"Not enough evidence. It may well be {cause_words(single)} ({percent(single.probability)}), but one trial "
            "alone had it: pour it once more."
        )
    suspects = answer.suspects
    if suspects is not None and 1 <= len(suspects.groups) <= 6:
        groups = [group_words(group) for group in suspects.groups]
        if len(groups) == 1:
            return f"Not enough evidence. It may well be {groups[0]} ({percent(suspects.probability)})."
        return (
            f"Not enough evidence. One of these {count(len(groups), 'suspect').removesuffix(' suspects')} did it "
            f"({percent(suspects.probability)}), but they cannot be told apart yet: {'; '.join(groups)}."
        )
    first = answer.causes[0]
    text = "Not enough evidence."
    if answer.nothing is not None:
        text += f" That nothing recorded did it: {percent(answer.nothing)}."
    if first.probability >= WORTH_A_LINE:
        text += f" The first suspect is {cause_words(first)} ({percent(first.probability)})."
    return text


def _moved(answer: Answer) -> str:
    moved = answer.moved
    if moved is None:
        return ""
    unit = f" {answer.outcome.unit}" if answer.outcome.unit else ""
    values = f"{say_value(answer.outcome, moved.before)} to {say_value(answer.outcome, moved.after)}{unit}"
    start = f" From {moved.against} to {moved.trial} ({values}): "
    if not moved.chances:
        return f"{start}no recorded change is likely to have moved it."
    names, chance = moved.chances[0]
    if chance >= ENOUGH:
        return f"{start}{group_words(names)} moved it ({percent(chance)})."
    listed = say_list([f"{group_words(names)} ({percent(chance)})" for names, chance in moved.chances[:3]], "or")
    return f"{start}not certain what moved it: {listed}, or nothing noticeable ({percent(moved.nothing)})."
