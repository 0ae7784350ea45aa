"""What one would say aloud about which tweak did it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from formulary.quantity import format_plain_number
from trials.answer.answer import ENOUGH, WORTH_A_LINE, Answer, FactorEffect, LikelyCause, Partner
from trials.answer.chance_words import group_words, percent, rests_on_words
from trials.answer.effect_words import say_effect
from trials.answer.moved_sentence import moved_sentence
from trials.answer.season import found_to_take_over, in_all_since, went_with
from trials.pours.sentences import capital, count, say_list

FROM_ALL = "From all trials together:"
_CANNOT_BE_RULED_OUT = 0.1
_LIKELIER_THAN_NOT = 0.5
_WORTH_A_PARTNER = 0.1
_PUT_IN = ("addition", "scent")  # kinds of factors that are something by itself, and nothing where it is 0


def explanation_sentence(answer: Answer) -> str:
    """The answer in plain words, figures after: the likely cause, what else it may be, and how sure one can be.

    What moved the one trial that was asked about comes first.
    """
    over_all = over_all_sentence(answer)
    about_one = moved_sentence(answer)
    return f"{about_one} {FROM_ALL} {over_all}" if about_one else over_all


def over_all_sentence(answer: Answer) -> str:
    """The answer from all trials, without what is said of the one that was asked about."""
    if answer.no_answer is not None:
        return f"Nothing can be told yet: {answer.no_answer}."
    if not answer.causes:
        return "Nothing can be told yet: nothing that is recorded differed between these trials."
    named = [cause for cause in answer.causes if cause.is_likely]
    return _likely(answer, named) if named else _not_enough(answer)


def cause_words(cause: LikelyCause) -> str:
    """A candidate as it is listed: twins as one, two that act only together as a pair, with what looks the same."""
    if not cause.is_together:
        return group_words(cause.groups[0])
    return f"{_pair_words(cause)}, only together"


def _pair_words(cause: LikelyCause) -> str:
    """`honey and clove`; `honey with clove, kaolin or clay`; `honey with clove, or kaolin with clay`."""
    sides = pair_sides(cause)
    if not cause.or_pairs:
        return say_list(sides)
    return f"{sides[0]} with {sides[1]}" if len(sides) == 2 else say_list(sides, "or")


def pair_sides(cause: LikelyCause) -> list[str]:
    """The two of a pair; where others look the same, the one that all share and what it may be with, else each pair."""
    pairs = [cause.groups, *cause.or_pairs]
    common = [group for group in cause.groups if all(group in pair for pair in pairs)]
    if not cause.or_pairs:
        return [group_words(group) for group in cause.groups]
    if not common:
        return [" with ".join(group_words(group) for group in pair) for pair in pairs]
    others = [group_words(group) for pair in pairs for group in pair if group != common[0]]
    return [group_words(common[0]), say_list(others, "or")]


def which_pair(cause: LikelyCause) -> str:
    """That it is open which of several pairs acts, and what would tell."""
    sides = pair_sides(cause)
    pour = f"pour {sides[0]} with one of them alone" if len(sides) == 2 else "pour each of these pairs without the rest"
    return f"which of these it is cannot be told yet: {pour}"


def _named(answer: Answer, cause: LikelyCause, word: str) -> str:
    """`Honey is the likely cause (86 %): each 1 % ...`."""
    odds = percent(cause.probability)
    alone = len(cause.factors) < 2
    if cause.is_together:
        start = f"{capital(_pair_words(cause))}, only together, are {word} ({odds})"
        if cause.or_pairs:
            start += f"; {which_pair(cause)}"
    elif alone:
        start = f"{capital(cause.factors[0])} is {word} ({odds}){_with_partners(cause)}"
    else:
        start = f"{capital(say_list(cause.factors, 'or'))} is {word} ({odds}), which always went together"
        start += _with_partners(cause)
    together = cause if cause.is_together else None
    said = [say_effect(answer, effect, alone=alone, together=together) for effect in cause.effects[:2]]
    said += _beyond(answer, cause)
    beside = f"{_beside_the_usual(answer, cause)}{_with_time(answer, cause)}{_partners_rest(answer, cause)}"
    return f"{start}: {'; '.join(said)}.{beside}" if said else f"{start}.{beside}"


def _beyond(answer: Answer, cause: LikelyCause) -> list[str]:
    """What a cause does beside something else, beyond what it does by itself, where that is likely."""
    return [
        "beyond that, " + say_effect(answer, effect, together=replace(cause, groups=(cause.groups[0], one.names)))
        for one, effect in _surely_beside(cause)
    ]


def _surely_beside(cause: LikelyCause) -> list[tuple[Partner, FactorEffect]]:
    """What a cause surely acts more together with, and how much more."""
    return [
        (one, one.effect)
        for one in cause.partners
        if one.effect is not None and one.probability >= ENOUGH and cause.effects and not one.rests_on
    ]


def _beside_the_usual(answer: Answer, cause: LikelyCause) -> str:
    """That what a cause does is told beside something put in that is usual, and not of the cause alone."""
    said = []
    for one, _ in _surely_beside(cause):
        factor = answer.factor(one.names[0])
        if factor.kind in _PUT_IN and factor.baseline > 0:
            usual = f"{format_plain_number(factor.baseline, 2)} {factor.unit}"
            said.append(f" That is beside {factor.name} at {usual}, as is usual here, and differs without it.")
    return "".join(said)


def _with_time(answer: Answer, cause: LikelyCause) -> str:
    """` Humidity went with the season, so whatever else did may be behind it.`; empty where nothing of it did."""
    for group in cause.groups:
        when = went_with(answer, group[0])
        if when:
            return f" {capital(group[0])} went with {when}, so whatever else did may be behind it."
        lot = found_to_take_over(answer, group[0])
        if lot is not None:
            return f" {capital(in_all_since(lot))}, so whatever else changed then may be behind it."
    return ""


def _with_partners(cause: LikelyCause) -> str:
    """What it may act together with: `, mostly only together with room (18 %) or honey (10 %)`."""
    worth = _worth_telling(cause)
    if not worth:
        return ""
    listed = say_list([f"{group_words(one.names)} ({percent(one.probability)})" for one in worth], "or")
    if cause.is_mostly_together:
        return f", mostly only together with {listed}"
    perhaps = "" if worth[0].probability >= ENOUGH and not worth[0].rests_on else "perhaps "
    return f", {perhaps}more together with {listed}"


def _worth_telling(cause: LikelyCause) -> list[Partner]:
    return [one for one in cause.partners if one.probability >= _WORTH_A_PARTNER][:3]


def _partners_rest(answer: Answer, cause: LikelyCause) -> str:
    """Where what is said of acting together rests on one trial or sitting: that it does, and what would tell."""
    return "".join(
        f" That it acts together with {group_words(one.names)} {rests_on_words(answer, one).removeprefix('that ')}."
        for one in _worth_telling(cause)
        if one.rests_on
    )


def _likely(answer: Answer, named: Sequence[LikelyCause]) -> str:
    word = "the likely cause" if len(named) == 1 else "a likely cause"
    parts = [_named(answer, cause, word) for cause in named]
    lone = [cause for cause in answer.causes if cause.probability >= ENOUGH and cause.rests_on]
    open_still = [
        cause
        for cause in answer.causes
        if not (cause.is_likely or cause.is_together or cause.is_partner or cause in lone)
    ]
    others = [cause for cause in open_still if cause.probability >= _CANNOT_BE_RULED_OUT]
    beside = " beside it" if len(named) == 1 else ""
    probable = [cause for cause in others if cause.probability >= _LIKELIER_THAN_NOT]
    possible = [cause for cause in others if cause.probability < _LIKELIER_THAN_NOT][: 3 - len(probable[:2])]
    if probable:
        verb = "is" if len(probable) == 1 else "are"
        parts.append(f"{capital(_with_chances(probable[:3]))} {verb} likelier at work{beside} than not.")
    if possible:
        parts.append(f"{capital(_with_chances(possible))} cannot be ruled out{'' if probable else beside}.")
    parts += [_may_well_be(answer, cause, besides=True) for cause in lone]
    if answer.nothing is not None:
        parts.append(f"That nothing recorded did it: {percent(answer.nothing)}.")
    return " ".join(parts)


def _may_well_be(answer: Answer, cause: LikelyCause, *, besides: bool) -> str:
    """What cannot be told from the luck of one pour or day, and how to tell."""
    may = f"It may well be {cause_words(cause)}{', too' if besides else ''} ({percent(cause.probability)})"
    return f"{may}, but {rests_on_words(answer, cause)}."


def _with_chances(causes: Sequence[LikelyCause]) -> str:
    return say_list([f"{group_words(cause.groups[0])} ({percent(cause.probability)})" for cause in causes])


def _not_enough(answer: Answer) -> str:
    lone = [cause for cause in answer.causes if cause.probability >= ENOUGH and cause.rests_on]
    if lone:
        said = [_may_well_be(answer, cause, besides=place > 0) for place, cause in enumerate(lone)]
        return " ".join(["Not enough evidence.", *said])
    suspects = answer.suspects
    if suspects is not None and 1 <= len(suspects.groups) <= 6:
        groups = [group_words(group) for group in suspects.groups]
        if len(groups) == 1:
            first = next((one for one in answer.causes if one.groups == (suspects.groups[0],)), None)
            partners = "" if first is None else _with_partners(first)
            went = "" if first is None else _with_time(answer, first)
            return f"Not enough evidence. It may well be {groups[0]} ({percent(suspects.probability)}){partners}.{went}"
        return (
            f"Not enough evidence. One of these {count(len(groups), 'suspect').removesuffix(' suspects')} did it "
            f"({percent(suspects.probability)}), and no fewer hold it as surely, but they cannot be told apart yet: "
            f"{'; '.join(groups)}."
        )
    first = answer.causes[0]
    text = "Not enough evidence."
    if answer.nothing is not None:
        text += f" That nothing recorded did it: {percent(answer.nothing)}."
    if first.probability >= WORTH_A_LINE:
        rests = f"; {rests_on_words(answer, first)}" if first.rests_on else ""
        text += (
            f" The first suspect is {cause_words(first)} ({percent(first.probability)}){_with_partners(first)}{rests}."
        )
        text += _with_time(answer, first)
    return text
