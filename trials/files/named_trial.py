"""Whether what a person named is a trial, where it may as well be a recipe."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.given import as_name
from formulary.history.versions import demand_whole, is_recipe_file, list_recipes
from formulary.names import suggest
from trials.trial.identity import find_trial_id
from trials.trial.model import Trial

if TYPE_CHECKING:
    from trials.files.trial_files import TrialFiles


def demand_named(trials: Iterable[Trial | str]) -> tuple[Trial | str, ...]:
    """The trials that are named. Raises InputError where none is, and for what is neither a trial nor names one."""
    named = tuple(trials)
    if not named:
        raise InputError.of("none-named", "no trial is named", "name one or more, or all: *bench.trials()")
    for each in named:
        if not isinstance(each, Trial):
            as_name(each)
    return named


def find_named_trial(bench: TrialFiles, name: str) -> Trial | None:
    """The trial that a person named; None where it is a version, a recipe or the path of a recipe's file.

    Raises InputError for what is neither, for what several trials begin with, and for a trial that cannot be read.
    """
    recipes, trial_ids = bench.folder.recipes(), bench.trial_ids()
    if "@" in name or is_recipe_file(name) or name in recipes or not trial_ids:
        return None
    try:
        trial_id = find_trial_id(name, trial_ids)
    except InputError as fault:
        if any(finding.code == "ambiguous-trial" for finding in fault.findings):
            raise
        demand_whole(name)
        do = suggest(name, [*recipes, *trial_ids], f"{list_recipes(recipes)}; `formulary trial list` lists the trials")
        what = f"{name[:60]!r} is neither a recipe nor a trial here"
        raise InputError.of("no-recipe", what, do) from None
    return bench.find_trial(trial_id)
