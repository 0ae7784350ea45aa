"""The small change from a version at hand that would best tell the leading explanations apart."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from types import MappingProxyType
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.finding import Finding, Severity
from formulary.recipes.version import Version
from trials.even_scale import from_scale
from trials.explanation import Explanation
from trials.factors import place_pour
from trials.next_change import Change, find_changes
from trials.outcomes import Scale
from trials.portion_facts import find_facts
from trials.seen import Seen
from trials.sentences import say_list

if TYPE_CHECKING:
    from formulary.materials.model import Material
    from formulary.recipes.tweaks import Tweak
    from formulary.settings import Settings
    from trials.model import Trial

_MOST_STARTS = 5
_MOST_SUSPECTS = 6
_SUSPECTED = 0.03
_LEAST_BITS = 0.02  # below, a pour would tell next to nothing
_GRADED = (Scale.GRADED, Scale.YES_NO)  # whose hidden scale has no unit to foretell in


@dataclass(frozen=True, slots=True)
class Expected:
    """What an explanation expects of a trial: the outcome in its unit with the interval that holds it with 90 %."""

    causes: tuple[str, ...]
    probability: float
    value: float
    low: float
    high: float

    def to_json(self) -> dict[str, object]:
        return {
            "causes": list(self.causes),
            "probability": self.probability,
            "value": self.value,
            "low": self.low,
            "high": self.high,
        }


@dataclass(frozen=True, slots=True, eq=False)
class NextTrial:
    """A trial worth pouring.

    words: what to do ("pour harbour-base with 2 % honey"). start: the version to start from. changes: what to change
    in it, none for a repeat. version: the changed recipe, unsaved; the start itself where only handling changes.
    bits: how much the outcome is expected to tell about what did it. expected: by explanation, likeliest first.
    findings: warnings that stand against the batch.
    """

    words: str
    start: Version
    changes: tuple[Change, ...]
    version: Version
    bits: float
    expected: tuple[Expected, ...]
    findings: tuple[Finding, ...]
    register: Mapping[str, Material]

    @property
    def tweaks(self) -> tuple[Tweak, ...]:
        """What to change in the start's recipe; none for a repeat or another handling."""
        return tuple(tweak for change in self.changes for tweak in change.tweaks)

    def branch(self, slug: str) -> Version:
        """The changed recipe as a variant of its start, under a name of its own; not saved.

        Raises InputError when it only repeats a version or changes its handling: pour that version itself.
        """
        if not self.tweaks:
            what = f"to {self.words} needs no new recipe"
            raise InputError.of("nothing-to-branch", what, f"start a trial of {self.start.name}")
        return self.start.branch(slug, *self.tweaks, register=self.register)

    def to_json(self) -> dict[str, object]:
        return {
            "words": self.words,
            "start": self.start.name,
            "tweaks": [str(tweak) for tweak in self.tweaks],
            "bits": self.bits,
            "expected": [item.to_json() for item in self.expected],
            "findings": [finding.to_json() for finding in self.findings],
        }


@dataclass(frozen=True, slots=True, eq=False)
class _Candidate:
    start: Version
    changes: tuple[Change, ...]
    version: Version
    steps: tuple[float, ...]
    findings: tuple[Finding, ...]


def find_next_trials(
    answer: Explanation,
    register: Mapping[str, Material],
    settings: Settings,
    *,
    most: int = 3,
    names: Mapping[str, str] = MappingProxyType({}),
) -> tuple[NextTrial, ...]:
    """Up to `most` trials, each a small change from a version that was poured, that would tell most about what did it.

    Every one can be weighed out without a stop. A single change is preferred to two within a tenth of a bit.
    register, settings: today's. names: what recipes that were renamed are called today.
    Nothing is proposed where there was nothing to weigh, or where no pour would tell more.
    """
    from trials.explain import find_next_runs
    from trials.explain_trials import make_problem

    if answer.weighed is None:
        return ()
    candidates = list(_candidates(answer, register, settings, names))
    if not candidates:
        return ()
    found = find_next_runs(
        make_problem(answer),
        answer.weighed,
        [candidate.steps for candidate in candidates],
        changes=[max(1, len(candidate.changes)) for candidate in candidates],
        limit=_patience(answer.seen),
        most=len(candidates),
    )
    scale = answer.outcome.scale
    trials: list[NextTrial] = []
    told: set[frozenset[str]] = set()
    for run in found:
        candidate = candidates[run.run]
        changed = frozenset(change.factor for change in candidate.changes)
        if (
            run.bits < _LEAST_BITS
            or len(trials) >= most
            or changed in told
            or any(one and one < changed for one in told)
        ):
            continue  # one start for each thing to change is enough, and nothing besides what tells as much alone
        told.add(changed)
        expected = (
            ()
            if scale in _GRADED
            else tuple(
                Expected(
                    tuple(name for group in outlook.causes for name in group),
                    outlook.probability,
                    from_scale(outlook.outcome.middle, scale),
                    from_scale(outlook.outcome.low, scale),
                    from_scale(outlook.outcome.high, scale),
                )
                for outlook in run.outlooks
            )
        )
        trials.append(
            NextTrial(
                _words(candidate),
                candidate.start,
                candidate.changes,
                candidate.version,
                run.bits,
                expected,
                candidate.findings,
                register,
            )
        )
    return tuple(trials)


def _words(candidate: _Candidate) -> str:
    """`pour harbour-base with 2 % honey and without clove bud oil`."""
    name = candidate.start.slug
    if not candidate.changes:
        return f"pour {name} once more"
    put_in = [change.words for change in candidate.changes if not change.words.startswith("no ")]
    left_out = [change.words.removeprefix("no ") for change in candidate.changes if change.words.startswith("no ")]
    parts = [f"with {say_list(put_in)}"] if put_in else []
    parts += [f"without {say_list(left_out, 'or')}"] if left_out else []
    return f"pour {name} {' and '.join(parts)}"


def _patience(seen: Sequence[Seen]) -> float | None:
    """How long a pour is watched before it is stopped: the middle of what was given up so far."""
    stopped = sorted(item.value.low for item in seen if item.value.bound == "above" and item.value.low is not None)
    return stopped[len(stopped) // 2] if stopped else None


# -- candidates --------------------------------------------------------------------------------------


def _candidates(
    answer: Explanation, register: Mapping[str, Material], settings: Settings, names: Mapping[str, str]
) -> Iterator[_Candidate]:
    """A repeat, every single change of a suspect, and pairs of the first few, from each start; only what is safe."""
    suspects = [name for cause in answer.causes if cause.probability >= _SUSPECTED for name in cause.factors][
        :_MOST_SUSPECTS
    ]
    seen: set[tuple[str, tuple[str, ...]]] = set()
    for trial in _starts(answer):
        plan = trial.plan
        recipe = replace(plan.recipe, slug=names.get(plan.recipe.slug, plan.recipe.slug))
        start = Version(recipe=recipe, text=plan.recipe_text, is_saved=True, label=plan.label)
        usual = place_pour(answer.table, find_facts(trial))
        single = [change for name in suspects for change in find_changes(answer, name, usual, start.recipe)]
        plans: list[tuple[Change, ...]] = [(), *((change,) for change in single)]
        plans += [pair for pair in combinations(single[:4], 2) if pair[0].factor != pair[1].factor]
        done: set[frozenset[str]] = set()
        for changes in plans:
            factors = frozenset(change.factor for change in changes)
            if factors in done:
                continue  # the usual amount was safe; others need not be tried
            candidate = _make(answer, trial, start, changes, register, settings)
            key = start.id, tuple(change.words for change in changes)
            if candidate is not None and key not in seen:
                seen.add(key)
                done.add(factors)
                yield candidate


def _starts(answer: Explanation) -> list[Trial]:
    """What to start from: the latest pour of each recipe as it was planned, undivided; the commonest recipe first.

    A recipe that divides its batter is left out: its portions differ by plan, and a change would stand in one of them.
    """
    latest: dict[str, Trial] = {}
    counts: dict[str, int] = {}
    for item in answer.seen:
        trial = item.pour.trial
        counts[trial.recipe] = counts.get(trial.recipe, 0) + 1
        if not trial.plan.recipe.portions:
            latest[trial.recipe] = replace(trial, as_made=(), portions=())
    ordered = sorted(latest, key=lambda recipe: (-counts[recipe], recipe))
    return [latest[recipe] for recipe in ordered[:_MOST_STARTS]]


def _make(
    answer: Explanation,
    trial: Trial,
    start: Version,
    changes: tuple[Change, ...],
    register: Mapping[str, Material],
    settings: Settings,
) -> _Candidate | None:
    """The candidate worked out, or None when it cannot be made or weighed out safely."""
    from formulary.batch.weigh_out import work_out_batch
    from formulary.materials.chosen_lots import with_chosen_lots
    from trials.plan import make_plan

    tweaks = [tweak for change in changes for tweak in change.tweaks]
    try:
        version = start.branch(f"{start.slug}-next", *tweaks, register=register) if tweaks else start
        materials = with_chosen_lots(register, _known_lots(changes, register))
        batch = work_out_batch(version, materials, settings, oil_mass_g=trial.plan.oil_mass_g)
        if batch.is_stopped:
            return None
        plan = make_plan(version, batch, materials, settings)
    except (InputError, KeyError):
        return None
    values = place_pour(answer.table, find_facts(replace(trial, plan=plan)))
    for change in changes:
        if change.value is not None:
            values[change.factor] = change.value
    steps = tuple(round((values[factor.name] - factor.baseline) / factor.step, 6) for factor in answer.table.factors)
    return _Candidate(start, changes, version, steps, _warnings(batch.findings))


def _known_lots(changes: Sequence[Change], register: Mapping[str, Material]) -> dict[str, str]:
    """The lots that the changes ask for, as far as the register has them: their certificates count."""
    asked = {material: lot for change in changes for material, lot in change.lots.items()}
    return {name: lot for name, lot in asked.items() if name in register and lot in register[name].lots}


def _warnings(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(finding for finding in findings if finding.severity is Severity.WARN)
