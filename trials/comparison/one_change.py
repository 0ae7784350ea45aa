"""Pours that differ in one recorded thing alone: the plainest evidence that a formulary holds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from trials.comparison.compared import SLIGHT, ComparedFactor, ComparedOutcome, OneChange
from trials.comparison.differing import is_worth_a_line, together
from trials.factors.factors import name_aspects, say_aspect
from trials.factors.portion_facts import FORMULA, Aspect, Fact, Pour
from trials.factors.possible import can_act
from trials.outcomes.find import find_values
from trials.outcomes.value import OutcomeValue
from trials.pours.contrast import Contrast, find_contrast
from trials.pours.pour_book import PourBook, pours_label, scent_percent
from trials.pours.repeats import facts_differ
from trials.pours.seen import aggregate, value_of

_MOST_SHOWN = 3

Group = tuple[Pour, ...]


def find_one_change_pairs(book: PourBook, near: Sequence[Pour] = ()) -> list[tuple[Group, Group, Aspect]]:
    """Pairs of pours, repeats put together, that differ in one thing and in nothing else that is recorded.

    Conditions and blending that stay within half a step count as the same. The earlier comes first, of one trial the
    unscented portion. near: only pairs that hold one of these.
    """
    groups: dict[int, list[Pour]] = {}
    for pour in sorted(book.all_pours(), key=lambda pour: (pour.trial.made, pour.trial.id, scent_percent(pour) > 0)):
        groups.setdefault(book.repeat_group(pour), []).append(pour)
    wanted = {pour.key for pour in near}
    listed = [tuple(group) for group in groups.values()]
    held = [not wanted or any(pour.key in wanted for pour in group) for group in listed]
    pairs = []
    for number, after in enumerate(listed):
        for other, before in enumerate(listed[:number]):
            if not (held[number] or held[other]):
                continue
            changed = _changed(before, after)
            if len(changed) == 1:
                pairs.append((before, after, changed[0]))
    return pairs


def _changed(before: Group, after: Group) -> list[Aspect]:
    """What differs; two oils that give way to one another are one change, named for the one that rose."""
    changed = [aspect for aspect in _aspects(before, after) if _differs(aspect, before, after)]
    oils = sorted(aspect for aspect in changed if aspect.kind == "oil")
    if len(oils) == 2:
        changed.remove(min(oils, key=lambda aspect: _rise(aspect, before, after)))
    return changed


def _aspects(before: Group, after: Group) -> list[Aspect]:
    return sorted(
        {aspect for pour in (*before, *after) for aspect in pour.facts}, key=lambda aspect: (aspect.place, aspect)
    )


def _differs(aspect: Aspect, before: Group, after: Group) -> bool:
    one, two = (
        _first_known(aspect, group) if aspect.kind in FORMULA else together(aspect, group) for group in (before, after)
    )
    return facts_differ(aspect, one, two, condition_steps=SLIGHT)


def _first_known(aspect: Aspect, group: Group) -> Fact:
    """What repeats share, also where the first of them does not say it."""
    return next((fact for pour in group if (fact := pour.fact(aspect)) is not None), None)


def _fallen(risen: Aspect, before: Group, after: Group) -> Aspect | None:
    """The oil whose place another took."""
    if risen.kind != "oil":
        return None
    others = (aspect for aspect in _aspects(before, after) if aspect.kind == "oil" and aspect != risen)
    return next((aspect for aspect in others if _differs(aspect, before, after)), None)


def _rise(aspect: Aspect, before: Group, after: Group) -> float:
    one, two = before[0].fact(aspect), after[0].fact(aspect)
    return two - one if isinstance(one, float) and isinstance(two, float) else 0.0


def find_one_changes(
    book: PourBook,
    near: Sequence[Pour],
    outcomes: Sequence[ComparedOutcome],
    names: Mapping[str, str],
    *,
    besides: Sequence[set[tuple[str, str]]] = (),
) -> tuple[OneChange, ...]:
    """The one-change pairs that hold one of the pours `near` and that tell something, the clearest first.

    Told is what the one thing can have acted on: what came after pouring did nothing to the batter.

    outcomes: with their noise. names: trial id -> what it is called. besides: keys of pairs that are told already.
    """
    found = []
    for before, after, aspect in find_one_change_pairs(book, near=near):
        if {pour.key for pour in (*before, *after)} in besides:
            continue
        contrasts = [
            contrast
            for item in outcomes
            if can_act(aspect, item.outcome, (*before, *after), item.age_days)
            and (contrast := _contrast(item, before, after)) is not None
        ]
        contrasts.sort(key=lambda contrast: contrast.rank)
        if contrasts:
            labels = pours_label(before, names), pours_label(after, names)
            slight = tuple(_factor(other, before, after) for other in _slight(before, after, aspect))
            factor = _factor(aspect, before, after)
            if (fallen := _fallen(aspect, before, after)) is not None:
                factor = replace(factor, factor=f"{factor.factor} for {_name(fallen)}")
            found.append(OneChange(*labels, factor, tuple(contrasts), slight))
    found.sort(key=lambda pair: pair.contrasts[0].rank)
    return tuple(found[:_MOST_SHOWN])


def _contrast(item: ComparedOutcome, before: Group, after: Group) -> Contrast | None:
    values: list[OutcomeValue] = []
    pours: list[int] = []
    for group in (before, after):
        found = [value_of(pour, find_values(pour.trial, item.outcome, item.age_days)) for pour in group]
        known = [value for value in found if isinstance(value, OutcomeValue)]
        together = aggregate(known, item.outcome)
        if together is None:
            return None
        values.append(together)
        pours.append(len(known))
    shared = {pour.trial.id for pour in before} & {pour.trial.id for pour in after}
    if shared and values[0].portion is None and values[1].portion is None:
        return None  # two portions that only share what was seen of their whole trial
    return find_contrast(
        item.outcome, item.label, values[0], values[1], item.noise, pours=(pours[0], pours[1]), tells=item.tells
    )


def _slight(before: Group, after: Group, besides: Aspect) -> Iterator[Aspect]:
    """What else differs by more than a comparison passes over, and by less than counts as a change here."""
    for aspect in _aspects(before, after):
        if aspect == besides or aspect.kind in FORMULA:
            continue
        one, two = together(aspect, before), together(aspect, after)
        if one is not None and two is not None and is_worth_a_line(aspect, one, two):
            yield aspect


def _factor(aspect: Aspect, before: Group, after: Group) -> ComparedFactor:
    return ComparedFactor.of(
        aspect, _name(aspect), (together(aspect, before), together(aspect, after)), before[0].trial.told_in
    )


def _name(aspect: Aspect) -> str:
    return say_aspect(aspect, name_aspects([aspect]))
