"""Pours that set before they could be brought into a mould, and what they have in common with one that is proposed."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from trials.answer.answer import Answer
from trials.factors.factors import Factor, place_pour
from trials.factors.portion_facts import Pour
from trials.factors.steps import TENTH
from trials.outcomes.faults import LEAST_MIN, SEIZED, is_fault
from trials.outcomes.known import find_outcomes
from trials.outcomes.seizing import how_seized
from trials.pours.pour_book import PourBook, pours_label, short_names
from trials.pours.repeats import facts_differ
from trials.pours.seen import find_seen
from trials.pours.sentences import amount, count, say_first, say_list, spell

if TYPE_CHECKING:
    from formulary.settings import Settings
    from trials.trial.model import Trial

_IN_OR_NOT = frozenset({"held back", "addition", "scent", "lot"})
_PUT_IN = _IN_OR_NOT | {"oil", "alkali"}
_NOTHING_UNUSUAL = "nothing unusual in it"
_MOST_THINGS = 2
_MOST_POURS = 3
_MORE_OFTEN_THAN_NOT = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class TimedPour:
    """A pour of which it is known whether it left the time to pour it.

    words: what it is called, with the time that it took, or how it seized. steps: by factor, as of a candidate.
    is_strange: whether something went into it, or was left out, that is no factor here.
    """

    words: str
    is_quick: bool
    steps: tuple[float, ...]
    is_strange: bool


def find_timed_pours(answer: Answer, poured: Sequence[Trial], settings: Settings) -> tuple[TimedPour, ...]:
    """Every pour that was quick or surely not, whatever outcome is asked about.

    poured: further trials, also of other recipes.
    """
    outcomes = find_outcomes(settings)
    book = PourBook((*answer.trials, *poured))
    names = short_names([trial.id for trial in book.trials])
    found: dict[tuple[str, str], TimedPour] = {}
    for name, least in LEAST_MIN.items():
        for item in find_seen(book, outcomes[name], None)[0]:
            low, high = item.value.bounds
            key = item.pour.key
            is_quick = high < least
            if (not is_quick and low < least) or (key in found and not is_quick):
                continue
            label = pours_label([item.pour], names)
            words = f"{label} {amount(outcomes[name], high)}" if is_quick else label
            found[key] = TimedPour(words, is_quick, _steps(answer, item.pour), _is_strange(answer, item.pour))
    timed = {*found, *((trial, "") for trial, _ in found)}  # what is graded of a whole batter is so of its portions
    for item in find_seen(book, outcomes[SEIZED], None)[0]:
        if is_fault(outcomes[SEIZED], item.value) and item.pour.key not in timed:  # else its time tells it
            words = f"{pours_label([item.pour], names)} {how_seized(item.pour.trial, item.pour.portion)}"
            found[item.pour.key] = TimedPour(words, True, _steps(answer, item.pour), _is_strange(answer, item.pour))
    return tuple(found.values())


def quick_words(
    answer: Answer, steps: Sequence[float], changed: Collection[str], timed: Sequence[TimedPour]
) -> str | None:
    """How many pours with the same things in them set at once: `one of two pours with clove bud oil (k7wq 1.5 min)`.

    steps: of the pour proposed. changed: the factors that are changed in it, of which also a setting counts. None where
    no pour with anything that is unusual in it was quick, nor any with nothing unusual in it from which nothing is
    taken out here. An oil that is in no more quick pours than any is no warning, since all recipes differ by some.
    """
    among_all = sum(one.is_quick for one in timed) / max(1, len(timed))
    found: list[tuple[bool, float, str, list[str], int]] = []
    for factor, step, place in zip(answer.table.factors, steps, range(len(steps)), strict=True):
        if not _goes_in(factor) and factor.name not in changed:
            continue
        having = [one for one in timed if _is_alike(factor, step, one.steps[place])]
        quick = [one.words for one in having if one.is_quick]
        share = len(quick) / max(1, len(having))
        if factor.kind == "lot" and factor.name not in changed and share < _MORE_OFTEN_THAN_NOT:
            continue  # what stands on the shelf is in everything that is poured
        if quick and (factor.kind in _IN_OR_NOT or share >= among_all):
            found.append((factor.name not in changed, -share, factor.name, quick, len(having)))
    if not any(step < -TENTH for factor, step in zip(answer.table.factors, steps, strict=True) if _goes_in(factor)):
        usual = [one for one in timed if _is_usual(answer, one)]
        quick = [one.words for one in usual if one.is_quick]
        if quick:
            found.append((True, -len(quick) / len(usual), _NOTHING_UNUSUAL, quick, len(usual)))
    said: list[str] = []
    named: set[str] = set()
    for _, _, name, quick, of in sorted(found):
        if not named.issuperset(quick) and len(said) < _MOST_THINGS:  # else these pours are told of already
            said.append(f"{spell(len(quick))} of {count(of, 'pour')} with {name} ({say_first(quick, _MOST_POURS)})")
            named.update(quick)
    return say_list(said) or None


def _goes_in(factor: Factor) -> bool:
    return factor.kind in _PUT_IN


def _is_usual(answer: Answer, pour: TimedPour) -> bool:
    """Whether nothing unusual went into a pour, and nothing that usually does was left out."""
    if pour.is_strange:
        return False
    steps = zip(answer.table.factors, pour.steps, strict=True)
    return all(abs(step) <= TENTH for factor, step in steps if _goes_in(factor))


def _is_strange(answer: Answer, pour: Pour) -> bool:
    """Whether a pour, such as of another recipe, has in it what is no factor, since all that are asked about agree."""
    known = {aspect for factor in answer.table.factors for aspect in factor.aspects}
    usual = answer.table.pours[0]
    return any(
        facts_differ(aspect, usual.fact(aspect), pour.fact(aspect), condition_steps=TENTH)
        for aspect in usual.facts.keys() | pour.facts.keys()
        if aspect.kind in _PUT_IN and aspect not in known
    )


def _is_alike(factor: Factor, step: float, other: float) -> bool:
    """Whether two pours are unusual in the same way: both have it, or both moved a setting far to the same side."""
    if abs(step) <= TENTH or abs(other) <= TENTH or step * other < 0:
        return False
    if factor.kind in _IN_OR_NOT:
        return factor.baseline + step * factor.step > 0 and factor.baseline + other * factor.step > 0
    return abs(other) >= 1.0 and abs(step) >= 0.5 * abs(other)


def _steps(answer: Answer, pour: Pour) -> tuple[float, ...]:
    """Where a pour stands among the factors, in steps from the usual."""
    table = answer.table
    values: Mapping[str, float | None] = place_pour(table, pour, as_done=True)
    for known, row in zip(table.pours, table.values, strict=True):
        if known.key == pour.key:
            values = {factor.name: value for factor, value in zip(table.factors, row, strict=True)}
    return tuple(
        0.0 if (value := values[factor.name]) is None else (value - factor.baseline) / factor.step
        for factor in table.factors
    )
