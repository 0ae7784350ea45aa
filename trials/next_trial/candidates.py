"""What could be poured next: repeats and small changes of versions at hand, of which each can be weighed out safely."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.finding import Finding, Severity
from formulary.recipes.version import Version
from trials.answer.answer import Answer
from trials.factors.factors import place_pour
from trials.factors.portion_facts import find_facts
from trials.model import TrialPortion
from trials.next_trial.change import Change, find_changes

if TYPE_CHECKING:
    from formulary.materials.model import Material
    from formulary.settings import Settings
    from trials.model import Trial

_MOST_STARTS = 5
_MOST_SUSPECTS = 6
_SUSPECTED = 0.03


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A pour that could be made, and where it would stand among the factors.

    portion: of a recipe that divides its batter, the portion that is foretold; None for the whole batter.
    steps: by factor, in steps from the base. findings: warnings that stand against the batch.
    """

    start: Version
    changes: tuple[Change, ...]
    version: Version
    portion: str | None
    steps: tuple[float, ...]
    findings: tuple[Finding, ...]


def find_candidates(
    answer: Answer, register: Mapping[str, Material], settings: Settings, names: Mapping[str, str]
) -> Iterator[Candidate]:
    """A repeat, every single change of a suspect, and pairs of the first few, from each start; only what is safe."""
    suspects = [name for cause in answer.causes if cause.probability >= _SUSPECTED for name in cause.factors][
        :_MOST_SUSPECTS
    ]
    seen: set[tuple[str, tuple[str, ...]]] = set()
    for trial in _starts(answer):
        plan = trial.plan
        recipe = replace(plan.recipe, slug=names.get(plan.recipe.slug, plan.recipe.slug))
        start = Version(recipe=recipe, text=plan.recipe_text, is_saved=True, label=plan.label)
        usual = [place_pour(answer.table, find_facts(trial, portion)) for portion in _portions(answer, trial)]
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
            if key in seen or (factors in done and not trial.portions):
                continue  # the usual amount was safe; others need not be tried
            made = _make(answer, trial, start, tried, register, settings)
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


def _starts(answer: Answer) -> list[Trial]:
    """What to start from: the latest pour of each recipe as it was planned, in the portions that its recipe has; the
    commonest recipe first.
    """
    latest: dict[str, Trial] = {}
    counts: dict[str, int] = {}
    for item in answer.seen:
        trial = item.pour.trial
        counts[trial.recipe] = counts.get(trial.recipe, 0) + 1
        parts = tuple(TrialPortion(part.name, part.share, part.by_eye) for part in trial.plan.recipe.portions)
        latest[trial.recipe] = replace(trial, as_made=(), portions=parts)
    ordered = sorted(latest, key=lambda recipe: (-counts[recipe], recipe))
    return [latest[recipe] for recipe in ordered[:_MOST_STARTS]]


def _portions(answer: Answer, trial: Trial) -> list[str | None]:
    """The portions that tell: each where the outcome is seen of portions, else the whole batter."""
    names = [part.name for part in trial.portions]
    of_whole = any(item.pour.trial.id == trial.id and item.pour.portion is None for item in answer.seen)
    return [None] if of_whole or not names else [*names]


def _make(
    answer: Answer,
    trial: Trial,
    start: Version,
    changes: tuple[Change, ...],
    register: Mapping[str, Material],
    settings: Settings,
) -> list[Candidate]:
    """The pour worked out, one candidate a portion; empty when it cannot be made or weighed out safely."""
    from formulary.batch.weigh_out import work_out_batch
    from formulary.materials.chosen_lots import lots_with_values, with_chosen_lots
    from trials.plan import make_plan

    tweaks = [tweak for change in changes for tweak in change.tweaks]
    lots = {material: lot for change in changes for material, lot in change.lots.items()}
    try:
        version = start.branch(f"{start.slug}-next", *tweaks, register=register) if tweaks else start
        materials = with_chosen_lots(register, lots_with_values(register, lots))
        batch = work_out_batch(version, materials, settings, oil_mass_g=trial.plan.oil_mass_g)
        if batch.is_stopped:
            return []
        plan = make_plan(version, batch, materials, settings)
    except (InputError, KeyError):
        return []
    found: list[Candidate] = []
    for portion in _portions(answer, trial):
        values = place_pour(answer.table, find_facts(replace(trial, plan=plan), portion))
        for change in changes:
            if change.value is not None:
                values[change.factor] = change.value
        steps = tuple(
            round((values[factor.name] - factor.baseline) / factor.step, 6) for factor in answer.table.factors
        )
        found.append(Candidate(start, changes, version, portion, steps, _warnings(batch.findings)))
    return found


def _warnings(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(finding for finding in findings if finding.severity is Severity.WARN)
