"""From trials to the numerical core and back: what it found, in a maker's words and units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from math import isinf
from statistics import median
from typing import TYPE_CHECKING

from formulary.read_only import ReadOnly
from trials.answer.answer import Botched, LikelyCause, NearTwins, SuspectSet, TookOver
from trials.answer.causes import find_causes
from trials.answer.nothing_yet import why_nothing
from trials.answer.season import took_over_on
from trials.explanation import Explanation
from trials.factors.factors import FactorTable, find_factors
from trials.factors.leverage import find_lone_pours
from trials.factors.possible import can_act
from trials.outcomes.outcome import Outcome, Scale, outcome_label
from trials.pours.even_scale import from_scale, noise_in_unit
from trials.pours.noise import find_noise
from trials.pours.pour_book import PourBook
from trials.pours.seen import LeftOut, Seen, find_seen
from trials.trial.model import Trial

if TYPE_CHECKING:
    from trials.explain.result import EngineAnswer, NoAnswer

_BOTCHED = 0.7
_LIKELIER_THAN_NOT = 0.5


def explain_outcome(
    trials: Sequence[Trial],
    outcome: Outcome,
    age_days: Decimal | None = None,
    *,
    among: Sequence[Trial] = (),
    about: Trial | None = None,
    unreadable: Sequence[str] = (),
    called: Mapping[str, str] = ReadOnly({}),
) -> Explanation:
    """Which of the things that varied between trials did it, with odds that can be trusted.

    age_days: for an outcome with ages; the first of its definition unless given. among: further trials of the
    formulary, which only tell how much repeats differ. about: a trial of which it is also told which change moved it
    against its parent. unreadable: ids of trials whose files cannot be read; they are named as left out. called: what
    recipes that were renamed are called today.
    The same trials give the same answer in whatever order.
    """
    if age_days is None and outcome.ages_days:
        age_days = outcome.ages_days[0]
    book = PourBook((*trials, *among))
    wanted = {trial.id for trial in trials}
    everything, missing = find_seen(book, outcome, age_days)
    seen = tuple(item for item in everything if item.pour.trial.id in wanted)
    left_out = tuple(item for item in missing if item.trial in wanted)
    left_out += tuple(LeftOut(trial_id, "its files cannot be read") for trial_id in sorted(unreadable))
    answer = _explain(_Question(outcome, age_days, seen, everything, left_out, book))
    if about is not None:
        from trials.answer.moved import find_moved

        found = find_moved(answer, about, called)
        moved, why_not = (None, found) if isinstance(found, str) else (found, None)
        answer = replace(answer, moved=moved, not_moved=why_not)
    return answer


@dataclass(frozen=True, slots=True, eq=False)
class _Question:
    """What is asked, and what was seen. everything: of further trials, too, which only tell how much repeats differ."""

    outcome: Outcome
    age_days: Decimal | None
    seen: tuple[Seen, ...]
    everything: tuple[Seen, ...]
    left_out: tuple[LeftOut, ...]
    book: PourBook

    def without(self, trials: frozenset[str]) -> _Question:
        """The same question as if some trials had never been poured."""
        seen, everything = (
            tuple(item for item in items if item.pour.trial.id not in trials) for items in (self.seen, self.everything)
        )
        return replace(self, seen=seen, everything=everything)


def _explain(question: _Question, *, may_repeat: bool = True) -> Explanation:
    from trials.explain.result import NoAnswer

    answer = _set_out(question)
    if question.outcome.scale is Scale.COLOUR:
        return replace(answer, no_answer="a colour has no order of its own; ask for `colour change`")
    in_numbers = _weigh(answer)
    if isinstance(in_numbers, NoAnswer):
        why, advice = why_nothing(in_numbers, answer)
        return replace(answer, no_answer=why, advice=advice)
    answer = _in_words(answer, in_numbers)
    answer = replace(answer, causes=tuple(_on_what_it_rests(question, answer, one) for one in answer.causes))
    answer = replace(answer, took_over=_took_over(answer))
    if answer.botched and may_repeat:
        rest = question.without(frozenset(item.trial for item in answer.botched))
        answer = replace(answer, without_botched=_explain(rest, may_repeat=False))
    return answer


def _took_over(answer: Explanation) -> tuple[TookOver, ...]:
    """The lots that took over on a day, each with its chance where nothing else changes with time."""
    from trials.answer.problem import make_problem
    from trials.explain import explain
    from trials.explain.result import NoAnswer

    days = {factor.name: took_over_on(answer, factor.name) for factor in answer.table.factors}
    if not any(days.values()):
        return ()
    found = explain(make_problem(answer, may_drift=False))
    candidates = () if isinstance(found, NoAnswer) else found.candidates
    chances = {name: candidate.probability for candidate in candidates for name in candidate.names}
    return tuple(TookOver(name, day, chances.get(name, 0.0)) for name, day in days.items() if day is not None)


def _set_out(question: _Question) -> Explanation:
    """All that is to be weighed, and nothing of what comes of it."""
    whole = find_factors([item.pour for item in question.seen])
    table, cannot_act = _that_can_act(whole, question.outcome, question.age_days)
    return Explanation(
        outcome=question.outcome,
        age_days=question.age_days,
        label=outcome_label(question.outcome, question.age_days),
        seen=question.seen,
        left_out=question.left_out,
        table=table,
        noise=find_noise(question.everything, question.outcome, question.book),
        level=_usual_level(question.seen),
        cannot_act=cannot_act,
    )


def _that_can_act(
    table: FactorTable, outcome: Outcome, age_days: Decimal | None
) -> tuple[FactorTable, tuple[str, ...]]:
    keep = [
        number
        for number, factor in enumerate(table.factors)
        if can_act(factor.aspects[0], outcome, table.pours, age_days)
    ]
    kept = tuple(table.factors[number] for number in keep)
    dropped = tuple(factor.name for factor in table.factors if factor not in kept)
    values = tuple(tuple(row[number] for number in keep) for row in table.values)
    names = {factor.name for factor in kept}
    remarks = tuple(remark for remark in table.remarks if remark.partition(":")[0] in names)
    return replace(table, factors=kept, values=values, remarks=remarks), dropped


def _usual_level(seen: Sequence[Seen]) -> float:
    exact = [item.value.value for item in seen if item.value.bound == "exact" and item.value.value is not None]
    if exact:
        return median(exact)
    ends = [end for item in seen for end in item.value.bounds if not isinf(end)]
    return median(ends) if ends else 0.0


def _weigh(answer: Explanation) -> EngineAnswer | NoAnswer:
    from trials.answer.problem import make_problem
    from trials.explain import explain

    return explain(make_problem(answer))


def _on_what_it_rests(question: _Question, answer: Explanation, cause: LikelyCause) -> LikelyCause:
    """A cause with the one pour or sitting that may be all that speaks for it, or for what it acts together with."""
    names = [group[0] for group in cause.groups]
    partners = tuple(
        replace(one, rests_on=_rests_on(question, answer, [*names, one.names[0]], one.probability))
        for one in cause.partners
    )
    return replace(cause, partners=partners, rests_on=_rests_on(question, answer, names, cause.probability))


def _rests_on(question: _Question, answer: Explanation, names: Sequence[str], probability: float) -> tuple[str, ...]:
    """The trials of the one pour or sitting without which what is likely would not be likelier than not."""
    if probability < _LIKELIER_THAN_NOT:
        return ()
    for trials in find_lone_pours(answer.table, names):
        if _chance(question.without(trials), names) < _LIKELIER_THAN_NOT:
            return tuple(sorted(trials))
    return ()


def _chance(question: _Question, names: Sequence[str]) -> float:
    """How likely one factor is a cause, or two only together; 0 where it did not vary, or nothing can be told."""
    from trials.explain.result import NoAnswer

    found = _weigh(_set_out(question))
    if isinstance(found, NoAnswer):
        return 0.0
    having = [{number for number, one in enumerate(found.candidates) if name in one.names} for name in names]
    if len(having) == 1:
        return max((found.candidates[number].probability for number in having[0]), default=0.0)
    first, second = having
    return max(
        (
            pair.probability
            for pair in found.together
            for one, other in pair.pairs
            if (one in first and other in second) or (one in second and other in first)
        ),
        default=0.0,
    )


# -- into words --------------------------------------------------------------------------------------


def _in_words(answer: Explanation, in_numbers: EngineAnswer) -> Explanation:
    if not answer.outcome.scale.is_ordinal:
        answer = replace(answer, level=from_scale(in_numbers.level.middle, answer.outcome.scale))
    names = [candidate.names for candidate in in_numbers.candidates]
    suspects = None
    if in_numbers.suspects is not None:
        suspects = SuspectSet(tuple(names[k] for k in in_numbers.suspects.candidates), in_numbers.suspects.probability)
    return replace(
        answer,
        nothing=in_numbers.nothing,
        causes=find_causes(answer, in_numbers),
        suspects=suspects,
        near_twins=tuple(NearTwins(names[t.first], names[t.second], t.correlation) for t in in_numbers.near_aliases),
        botched=_botched(answer, in_numbers),
        noise_sd=_own_unit(answer, in_numbers.noise.sd.middle),
        in_numbers=in_numbers,
    )


def _own_unit(answer: Explanation, sd: float) -> float | None:
    if answer.outcome.scale.is_ordinal:
        return None
    return noise_in_unit(sd, answer.outcome.scale, answer.level)


def _botched(answer: Explanation, in_numbers: EngineAnswer) -> tuple[Botched, ...]:
    chances: dict[str, float] = {}
    for item, chance in zip(answer.seen, in_numbers.botched, strict=True):
        identifier = item.pour.trial.id
        chances[identifier] = max(chances.get(identifier, 0.0), chance)
    return tuple(Botched(trial, chance) for trial, chance in chances.items() if chance >= _BOTCHED)
