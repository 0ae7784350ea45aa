"""What could be poured next: repeats and small changes of versions at hand, of which each can be weighed out safely."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.finding import Finding, Severity
from formulary.recipes.version import Version
from trials.answer.answer import Answer
from trials.factors.factors import place_pour
from trials.factors.portion_facts import Pour, find_facts
from trials.next_trial.change import Change, find_changes
from trials.next_trial.starts import Saves, Start, find_starts
from trials.next_trial.usual import find_lots_in_use, place_lots
from trials.outcomes.faults import least_pourable

if TYPE_CHECKING:
    from formulary.materials.model import Material
    from formulary.settings import Settings
    from trials.trial.model import Trial

_MOST_SUSPECTS = 6
_SUSPECTED = 0.03


@dataclass(frozen=True, slots=True, eq=False)
class CandidatePour:
    """A pour that could be made, and where it would stand among the factors.

    portion: of a recipe that divides its batter, the portion that is foretold; None for the whole batter.
    steps: by factor, in steps from the base. findings: warnings that stand against the batch. why_not_newest: what
    keeps the recipe's newest save from being the start; empty where it is the start.
    """

    start: Version
    why_not_newest: str
    changes: tuple[Change, ...]
    version: Version
    portion: str | None
    steps: tuple[float, ...]
    findings: tuple[Finding, ...]


def find_candidates(
    answer: Answer, register: Mapping[str, Material], settings: Settings, names: Mapping[str, str], saves: Saves
) -> Iterator[CandidatePour]:
    """A repeat, every single change of a suspect, and pairs of the first few, from each start; only what is safe.

    Of how much of a thing to put in, the usual amount is enough, but for an outcome by which a batter can be too quick
    to pour: there less may be the better.
    """
    may_be_too_quick = least_pourable(answer.outcome) is not None
    suspects = [name for cause in answer.causes if cause.probability >= _SUSPECTED for name in cause.factors][
        :_MOST_SUSPECTS
    ]
    in_use = find_lots_in_use(answer)
    seen: set[tuple[str, tuple[str, ...]]] = set()
    for begin in find_starts(answer, register, settings, names, saves):
        trial, start = begin.trial, begin.version
        usual = [_place(answer, find_facts(trial, portion), in_use, ()) for portion in _portions(answer, trial)]
        single: list[Change] = []
        for name in suspects:
            if not _is_divided(answer, name, start):
                changes = (change for place in usual for change in find_changes(answer, name, place, start.recipe))
                single += {change.words: change for change in changes}.values()
        plans: list[tuple[Change, ...]] = [(), *((change,) for change in single)]
        plans += [pair for pair in combinations(single[:4], 2) if _can_be_both(answer, *pair)]
        done: set[frozenset[str]] = set()
        for tried in plans:
            factors = frozenset(change.factor for change in tried)
            key = start.id, tuple(change.words for change in tried)
            if key in seen or (factors in done and not trial.portions and not may_be_too_quick):
                continue  # the usual amount was safe; others need not be tried
            made = _make(answer, begin, tried, in_use, register, settings)
            if made:
                seen.add(key)
                done.add(factors)
                yield from made


def _is_divided(answer: Answer, name: str, start: Version) -> bool:
    """Whether the recipe gives more of it to one portion than to another: what stands there is said of each by itself,
    and not as the rate of a line.
    """
    divided = {material for portion in start.recipe.portions for material, _ in portion.gets}
    return bool({aspect.subject for aspect in answer.factor(name).aspects} & divided)


def _can_be_both(answer: Answer, one: Change, other: Change) -> bool:
    """Whether two changes can be made at once: not two amounts of one thing, two covers, or two lots of a material."""
    if one.factor == other.factor:
        return False
    first, second = (answer.factor(change.factor).aspects for change in (one, other))
    return not {(item.kind, item.subject) for item in first} & {(item.kind, item.subject) for item in second}


def _portions(answer: Answer, trial: Trial) -> list[str | None]:
    """The portions that tell: each where the outcome is seen of portions, else the whole batter."""
    names = [part.name for part in trial.portions]
    of_whole = any(item.pour.trial.id == trial.id and item.pour.portion is None for item in answer.seen)
    return [None] if of_whole or not names else [*names]


def _make(
    answer: Answer,
    begin: Start,
    changes: tuple[Change, ...],
    in_use: Mapping[str, float],
    register: Mapping[str, Material],
    settings: Settings,
) -> list[CandidatePour]:
    """The pour worked out, one candidate a portion; empty when it cannot be made or weighed out safely."""
    from formulary.batch.weigh_out import work_out_batch
    from formulary.materials.chosen_lots import given_lots, lots_with_values, with_chosen_lots
    from trials.trial.plan import make_plan

    tweaks = [tweak for change in changes for tweak in change.tweaks]
    lots = {material: lot for change in changes for material, lot in change.lots.items()}
    trial, start = begin.trial, begin.version
    oil_mass_g = next((change.oil_mass_g for change in changes if change.oil_mass_g), trial.plan.oil_mass_g)
    try:
        version = start.branch(f"{start.slug}-next", *tweaks, register=register) if tweaks else start
        materials = with_chosen_lots(register, lots_with_values(register, given_lots(lots)))
        batch = work_out_batch(version, materials, settings, oil_mass_g=oil_mass_g)
        if batch.is_stopped:
            return []
        plan = make_plan(version, batch, materials, settings)
    except (InputError, KeyError):
        return []
    found: list[CandidatePour] = []
    for portion in _portions(answer, trial):
        values = _place(answer, find_facts(replace(trial, plan=plan), portion), in_use, changes)
        steps = tuple(
            round((values[factor.name] - factor.baseline) / factor.step, 6) for factor in answer.table.factors
        )
        findings = _warnings(batch.findings)
        found.append(CandidatePour(start, begin.why_not_newest, changes, version, portion, steps, findings))
    return found


def _place(answer: Answer, pour: Pour, in_use: Mapping[str, float], changes: Sequence[Change]) -> dict[str, float]:
    """Where a pour would stand with the lots in use, and with the changes that no recipe holds."""
    chosen = {material for change in changes for material in change.lots}
    values = place_lots(place_pour(answer.table, pour), answer, pour, in_use, chosen)
    return values | {change.factor: change.value for change in changes if change.value is not None}


def _warnings(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(finding for finding in findings if finding.severity is Severity.WARN)
