"""What changed between any two of versions, working files, trials, and portions of these."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from formulary.batch.cost import cost_of_pot
from formulary.batch.size import parse_size_g
from formulary.changes.compare import compare_sides
from formulary.changes.compared_side import ComparedSide, demand_portion
from formulary.history.versions import split_portion
from trials.as_made.as_made_recipe import describe_as_made
from trials.as_made.cost import with_prices
from trials.files.named_trial import find_named_trial
from trials.trial.model import Trial
from trials.trial.on_day import as_it_stood

if TYPE_CHECKING:
    from formulary.changes.changes import Changes
    from formulary.recipes.version import Version
    from trials.files.trial_files import TrialFiles


def diff_sides(
    bench: TrialFiles, before: Trial | Version | str, after: Trial | Version | str, *, oils: str = "1000 g"
) -> Changes:
    """What changed between two sides for the same mass of oils.

    before, after: a trial or a version, or how one is named:
    `name`, `name@version`, a recipe's file, or a trial by its four characters or its id's beginning;
    with `:plain` behind it the portion that is called so. A trial is compared as it was really made, with the material
    values that were frozen when it was started; what had no price then costs what it costs today.
    Raises InputError when a side is neither, or cannot be read.
    """
    return compare_sides(*(_find_side(bench, side, oils) for side in (before, after)))


def _find_side(bench: TrialFiles, side: Trial | Version | str, oils: str) -> ComparedSide:
    if isinstance(side, Trial):
        return _side_as_made(bench, side, None, oils)
    name, portion = split_portion(side) if isinstance(side, str) else ("", None)
    trial = find_named_trial(bench, name) if isinstance(side, str) else None
    if trial is None:
        return bench.folder.find_side(side, oils=oils)
    if portion is not None:
        demand_portion(portion, tuple(each.name for each in trial.portions), trial.id)
    return _side_as_made(bench, trial, portion, oils)


def _side_as_made(bench: TrialFiles, trial: Trial, portion: str | None, oils: str) -> ComparedSide:
    folder = bench.folder
    made = describe_as_made(as_it_stood(trial, date.today()), portion=portion, oil_mass_g=parse_size_g(oils))
    priced = with_prices(made.batch.materials, folder.register)
    return replace(made, cost=cost_of_pot(made.batch.pot, priced, currency=folder.settings.currency))
