"""The ingredient lists of a trial's bars, by what was really put into them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from formulary.batch.ingredients import IngredientList, list_ingredients
from formulary.batch.model import Pot
from formulary.batch.pot_as_recipe import PlannedPot, describe_pot
from formulary.changes.compared_side import demand_portion
from formulary.errors import InputError
from formulary.given import as_name
from formulary.materials.model import Material
from trials.as_made.lots_used import materials_of
from trials.as_made.pot_as_made import has_no_oils, pot_of_bars
from trials.as_made.recalculate import as_of_today
from trials.as_made.unknown_weights import demand_known_weights
from trials.trial.model import Trial


def ingredients_of_trial(trial: Trial, register: Mapping[str, Material], portion: str | None = None) -> IngredientList:
    """The ingredient lists of a trial's bars, with what a rebatch took in; of a divided one those of each portion too.

    register: today's; a name that was not known when the trial was started, and whatever has to be named besides, count
    as they are known today, of its lots too. Of a weight that is known only about the end with more scent counts for
    the allergens. portion: the one whose bars alone are asked for.
    Raises InputError for a portion that it does not have, and where nobody knows how much of something went in.
    """
    demand_known_weights([trial], as_bars=True)
    if has_no_oils(trial):
        what = f"no oil went into {trial.id} as it is recorded, so that there is no soap to list"
        raise InputError.of("no-oils", what, "look at its as_made entries")
    pot = pot_of_bars(trial)
    if portion is not None:
        demand_portion(as_name(portion), tuple(each.name for each in pot.portions), trial.id)
        portion = portion if pot.portions else None
    today = materials_of(as_of_today(trial, register))
    materials = {name: _with_names(known, today[name]) for name, known in materials_of(trial).items()}
    found = _list(trial, pot, materials, portion)
    at_worst = pot_of_bars(trial, at_worst=True)
    return found if at_worst == pot else _with_allergens(found, _list(trial, at_worst, materials, portion))


def _list(trial: Trial, pot: Pot, materials: Mapping[str, Material], portion: str | None) -> IngredientList:
    plan = trial.plan
    planned = PlannedPot(recipe=plan.recipe, pot=plan.pot, version_id=plan.version, label=f"as made in {trial.id}")
    _, batch = describe_pot(pot, planned, materials, plan.settings)
    return list_ingredients(batch, materials, plan.settings, portion=portion)


def _with_allergens(found: IngredientList, most: IngredientList) -> IngredientList:
    """The lists of a loaf with the allergens that it has where the most scent went in that may have."""
    parts = zip(found.portions, most.portions, strict=True)
    portions = tuple(replace(one, allergens=other.allergens) for one, other in parts)
    return replace(found, allergens=most.allergens, portions=portions)


def _with_names(known: Material, today: Material) -> Material:
    """A material with what a label says of it, as it was known then or is known today; of a constituent the more."""
    return replace(
        known,
        inci=known.inci or today.inci,
        inci_in_soap=known.inci_in_soap or today.inci_in_soap,
        allergens=tuple(dict.fromkeys((*known.allergens, *today.allergens))),
        contains={
            each: max(known.contains.get(each, 0.0), today.contains.get(each, 0.0))
            for each in (*known.contains, *today.contains)
        },
        origin=tuple(dict.fromkeys((*known.origin, *today.origin))),
    )
