"""What a next pour could start from: of each recipe its newest save of which the trials can foretell something."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.materials.plain_name import material_words
from formulary.recipes.version import Version
from trials.answer.answer import Answer
from trials.factors.factors import place_pour
from trials.factors.portion_facts import FORMULA, find_facts
from trials.factors.possible import can_act
from trials.factors.steps import TENTH
from trials.pours.repeats import facts_differ
from trials.pours.sentences import say_list
from trials.trial.model import REBATCHED, Plan, Trial, TrialPortion

if TYPE_CHECKING:
    from formulary.materials.model import Material
    from formulary.settings import Settings

_MOST_STARTS = 5
_MOST_SAVES = 5  # of a recipe that are tried, from the newest
_FROM_THE_RECIPE = FORMULA - {"lot", "vessel"}

Saves = Callable[[str], Sequence[Version] | None]


@dataclass(frozen=True, slots=True, eq=False)
class Start:
    """A version to change, as a pour of it that went as planned.

    why_not_newest: what keeps the recipe's newest save from being the start; empty where this is it.
    """

    trial: Trial
    version: Version
    why_not_newest: str = ""


def find_starts(
    answer: Answer, register: Mapping[str, Material], settings: Settings, names: Mapping[str, str], saves: Saves
) -> Iterator[Start]:
    """Of each recipe that was poured the newest save that will do, the commonest recipe first.

    A save will do when it can be weighed out, and differs from the latest pour of its recipe only in what varied among
    the trials: what was never tried would move the outcome by nobody knows how much. names: what recipes that were
    renamed are called today. saves: a recipe's saves by today's name, the newest first; None where there are none.
    """
    latest: dict[str, Trial] = {}
    pours: dict[str, set[str]] = {}
    for item in answer.seen:
        trial = item.pour.trial
        name = names.get(trial.recipe, trial.recipe)
        pours.setdefault(name, set()).add(trial.id)  # once, however many portions it has
        latest[name] = _as_planned(trial, trial.plan)
    for name in sorted(latest, key=lambda name: (-len(pours[name]), name))[:_MOST_STARTS]:
        yield _find_start(answer, latest[name], name, register, settings, saves(name) or ())


def _find_start(
    answer: Answer,
    trial: Trial,
    name: str,
    register: Mapping[str, Material],
    settings: Settings,
    saved: Sequence[Version],
) -> Start:
    plan = trial.plan
    poured = Version(recipe=replace(plan.recipe, slug=name), text=plan.recipe_text, is_saved=True, label=plan.label)
    reason = ""
    for version in saved[:_MOST_SAVES]:
        if version.id == poured.id:
            break
        tried = _planned(trial, version, register, settings)
        if tried is None:
            why = "cannot be weighed out"
        elif strange := _never_tried(answer, trial, tried):
            why = f"changes what never varied in these trials: {say_list(strange)}"
        else:
            return Start(tried, version, reason)
        reason = reason or f"its newest save, {version.short_id}, {why}"
    return Start(trial, poured, reason)


def _as_planned(trial: Trial, plan: Plan) -> Trial:
    """The trial as if that plan had been kept to, in the portions that its recipe has, and never rebatched."""
    kept = tuple(step for step in trial.after_pour if step.what != REBATCHED)
    parts = tuple(TrialPortion(part.name, part.share, part.by_eye) for part in plan.recipe.portions)
    return replace(trial, plan=plan, as_made=(), portions=parts, after_pour=kept)


def _planned(trial: Trial, version: Version, register: Mapping[str, Material], settings: Settings) -> Trial | None:
    """A pour of another version as large as this one; None when it cannot be weighed out."""
    from formulary.batch.weigh_out import work_out_batch
    from trials.trial.plan import make_plan

    try:
        batch = work_out_batch(version, register, settings, oil_mass_g=trial.plan.oil_mass_g)
        if batch.is_stopped:
            return None
        return _as_planned(trial, make_plan(version, batch, register, settings))
    except (InputError, KeyError):
        return None


def _never_tried(answer: Answer, poured: Trial, tried: Trial) -> list[str]:
    """What of a recipe differs from the one poured and could act, and is no factor here, or beyond what was seen."""
    known = {aspect for factor in answer.table.factors for aspect in factor.aspects}
    before, after = find_facts(poured), find_facts(tried)
    strange: dict[str, None] = {}
    for aspect in sorted(before.facts.keys() | after.facts.keys()):
        if aspect.kind not in _FROM_THE_RECIPE or aspect in known:
            continue
        if not facts_differ(aspect, before.fact(aspect), after.fact(aspect), condition_steps=TENTH):
            continue
        if can_act(aspect, answer.outcome, [before, after], answer.age_days):
            strange[material_words(aspect.subject)] = None
    if strange:
        return list(strange)
    place = place_pour(answer.table, after)
    for factor in answer.table.factors:
        seen = [value for value in answer.table.column(factor.name) if value is not None]
        if factor.kind in _FROM_THE_RECIPE and not (
            min(seen) - factor.step <= place[factor.name] <= max(seen) + factor.step
        ):
            strange[factor.name] = None
    return list(strange)
