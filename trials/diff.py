"""What changed between any two of versions, working files, trials, and portions of these."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from formulary.batch.cost import work_out_cost
from formulary.batch.size import parse_size_g
from formulary.changes.compare import compare_sides
from formulary.changes.compared_side import ComparedSide, demand_portion
from formulary.errors import InputError
from formulary.fields import suggest
from formulary.versions import is_recipe_file, list_recipes, split_portion
from trials.as_made_recipe import describe_as_made
from trials.identity import find_trial_id

if TYPE_CHECKING:
    from formulary.changes.changes import Changes
    from trials.files import TrialFiles


def diff_sides(bench: TrialFiles, before: str, after: str, *, oils: str = "1000 g") -> Changes:
    """What changed between two sides for the same mass of oils.

    before, after: `name`, `name@version`, a recipe's file, or a trial by its four characters or its id's beginning;
    with `:plain` behind it the portion that is called so. A trial is compared as it was really made, with the material
    values that were frozen when it was started; what had no price then costs what it costs today.
    Raises InputError when a side is neither, or cannot be read.
    """
    return compare_sides(*(_find_side(bench, text, oils) for text in (before, after)))


def _find_side(bench: TrialFiles, text: str, oils: str) -> ComparedSide:
    folder = bench.folder
    name, portion = split_portion(text)
    if "@" in name or is_recipe_file(name) or name in folder.recipes() or not bench.trial_ids():
        return folder.find_side(text, oils=oils)
    try:
        trial_id = find_trial_id(name, bench.trial_ids())
    except InputError as fault:
        if any(finding.code == "ambiguous-trial" for finding in fault.findings):
            raise
        names = [*folder.recipes(), *bench.trial_ids()]
        do = suggest(name, names, f"{list_recipes(folder.recipes())}; `formulary trial list` lists the trials")
        what = f"{name[:60]!r} is neither a recipe nor a trial here"
        raise InputError.of("no-recipe", what, do) from None
    trial = bench.find_trial(trial_id)
    if portion is not None:
        demand_portion(portion, tuple(each.name for each in trial.portions), trial_id)
    made = describe_as_made(trial, portion=portion, oil_mass_g=parse_size_g(oils))
    today = folder.register
    priced = {
        name: today[name] if known.price is None and name in today else known
        for name, known in made.batch.materials.items()
    }
    cost = work_out_cost(replace(made.batch, materials=priced), {}, currency=folder.settings.currency)
    return replace(made, cost=cost)
