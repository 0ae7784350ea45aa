"""The candidates of an answer, out of what the numerical core found: which act alone, and which only with another."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist
from typing import TYPE_CHECKING

from trials.answer.answer import Answer, FactorEffect, LikelyCause, Partner, Support
from trials.answer.effect_counts import count_seen
from trials.factors.factors import Factor
from trials.outcomes.outcome import Scale

if TYPE_CHECKING:
    from trials.explain.result import Cause, Effect, EngineAnswer

_SPEAKS = 0.5  # log odds below which a pour says next to nothing for or against a cause
_WORTH_A_SIDE = 0.01
_SURER = 0.1  # than the pair, from which on the surer of two is told by itself, and the other as its partner
_WORTH_A_PARTNER = 0.02


def find_causes(answer: Answer, in_numbers: EngineAnswer) -> tuple[LikelyCause, ...]:
    """All candidates, most likely first. Two that act only together are one, unless one of them acts by itself as well,
    or is far surer than both: what is known best is that one.

    Where other pairs would look exactly the same, a pair stands for all of them, and their members are told by what is
    left to them.
    """
    found: list[LikelyCause] = []
    beside: set[int] = set()  # what one that is told by itself may act together with
    counted: dict[int, float] = {}  # of a candidate, what a pair that is told already holds
    for cause in in_numbers.causes:
        if len(cause.candidates) == 1:
            continue
        surer, other = sorted(cause.candidates, key=lambda number: _surer(in_numbers, number))
        is_surer = in_numbers.candidates[surer].probability - cause.probability > _SURER
        if is_surer or not _is_partner(in_numbers, surer):
            found.append(_single(answer, in_numbers, surer))
            found.append(replace(_single(answer, in_numbers, other), is_partner=_is_partner(in_numbers, other)))
            beside.update(number for pair in cause.or_together for number in pair if number != surer)
            continue
        found.append(_pair(answer, in_numbers, cause))
        part = cause.probability / (1 + len(cause.or_together))
        for number in (number for pair in cause.or_together for number in pair):
            counted[number] = counted.get(number, 0.0) + part
    for cause in in_numbers.causes:
        if len(cause.candidates) == 1:
            (number,) = cause.candidates
            candidate = in_numbers.candidates[number]
            one = _single(answer, in_numbers, number)
            if number in counted:
                left = max(candidate.alone, candidate.probability - counted[number])
                one = replace(one, probability=left, partners=())
            found.append(replace(one, is_partner=number in beside and _is_partner(in_numbers, number)))
    return tuple(sorted(found, key=lambda cause: -cause.probability))


def _single(answer: Answer, in_numbers: EngineAnswer, number: int) -> LikelyCause:
    candidate = in_numbers.candidates[number]
    partners = _partners(answer, in_numbers, number)
    speaks_for, speaks_against = _sides(answer, in_numbers, number)
    one = LikelyCause(
        (candidate.names,),
        candidate.probability,
        (),
        speaks_for,
        speaks_against,
        alone=candidate.alone,
        partners=partners,
    )
    if candidate.effects is None or one.is_mostly_together:
        return one  # what it does alone is the effect of what it hardly is
    effects = zip(candidate.names, candidate.effects, strict=True)
    return replace(
        one, effects=tuple(_effect(answer, in_numbers, answer.factor(name), effect) for name, effect in effects)
    )


def _partners(answer: Answer, in_numbers: EngineAnswer, number: int) -> tuple[Partner, ...]:
    """What a candidate may act together with, most likely first; of pairs that look the same each has its part."""
    found: list[Partner] = []
    name = in_numbers.candidates[number].names[0]
    for pair in in_numbers.together:
        chance = pair.probability / len(pair.pairs)
        for both in pair.pairs:
            if number not in both or chance < _WORTH_A_PARTNER:
                continue
            (other,) = set(both) - {number}
            effect = None
            if pair.effect is not None and not pair.or_together:
                effect = _effect(answer, in_numbers, answer.factor(name), pair.effect)
                effect = replace(effect, per="one step of each", counts=None)  # these are of one of the two
            found.append(Partner(in_numbers.candidates[other].names, chance, effect))
    return tuple(sorted(found, key=lambda one: -one.probability))


def _surer(in_numbers: EngineAnswer, number: int) -> tuple[bool, float]:
    """What sorts the surer of two before the other: the one that acts by itself, then the likelier one."""
    return _is_partner(in_numbers, number), -in_numbers.candidates[number].probability


def _is_partner(in_numbers: EngineAnswer, number: int) -> bool:
    candidate = in_numbers.candidates[number]
    return candidate.alone < 0.5 * candidate.probability


def _pair(answer: Answer, in_numbers: EngineAnswer, cause: Cause) -> LikelyCause:
    # The pours that speak for a pair are those of the member that hardly acts without it.
    rarer = min(cause.candidates, key=lambda number: in_numbers.candidates[number].probability)
    speaks_for, speaks_against = _sides(answer, in_numbers, rarer)
    others = tuple(
        (in_numbers.candidates[one].names, in_numbers.candidates[other].names) for one, other in cause.or_together
    )
    pair = LikelyCause(cause.names, cause.probability, (), speaks_for, speaks_against, or_pairs=others)
    if cause.effect is None or others:
        return pair  # a step of each would be another for every pair
    first = _effect(answer, in_numbers, answer.factor(cause.names[0][0]), cause.effect)
    return replace(pair, effects=(replace(first, per="one step of each"),))


def _sides(answer: Answer, in_numbers: EngineAnswer, number: int) -> tuple[tuple[Support, ...], tuple[Support, ...]]:
    """The pours that speak for a candidate, and against it."""
    if in_numbers.candidates[number].probability < _WORTH_A_SIDE:
        return (), ()
    sides = [
        Support(answer.seen[item.row].pour.trial.id, answer.seen[item.row].pour.portion, item.weight)
        for item in in_numbers.support(number)
    ]
    return tuple(one for one in sides if one.weight > _SPEAKS), tuple(one for one in sides if one.weight < -_SPEAKS)


def _effect(answer: Answer, in_numbers: EngineAnswer, factor: Factor, effect: Effect) -> FactorEffect:
    """One step's effect: in the outcome's own unit at the usual level; for grades what it makes of an even chance."""
    direction = "up" if effect.low > 0 else "down" if effect.high < 0 else ""
    if answer.outcome.scale.is_ordinal:
        counts = count_seen(answer, factor)
        if answer.outcome.scale is Scale.YES_NO:  # so few bits overstate it: its intervals held the truth too seldom
            return FactorEffect(factor.name, None, None, None, factor.words, direction, None, counts)
        # Grades are cut from a hidden scale on which the noise is 1, so a step moves one half to the normal's share.
        middle, low, high = map(NormalDist().cdf, (effect.middle, effect.low, effect.high))
        return FactorEffect(factor.name, None, None, None, factor.words, direction, (middle, low, high), counts)
    own = in_numbers.in_own_unit(effect)
    return FactorEffect(factor.name, own.middle, own.low, own.high, factor.words, direction)
