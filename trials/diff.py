"""What changed between any two of versions, working files and trials."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from formulary.batch.size import parse_size_g
from formulary.changes.compare import compare_batches
from formulary.errors import InputError
from formulary.fields import suggest
from formulary.versions import is_recipe_file, list_recipes
from trials.as_made_recipe import describe_as_made
from trials.identity import find_trial_id

if TYPE_CHECKING:
    from formulary.batch.model import Batch
    from formulary.changes.changes import Changes
    from formulary.finding import Finding
    from formulary.materials.model import Material
    from formulary.recipes.model import Recipe
    from trials.files import TrialFiles


@dataclass(frozen=True, slots=True)
class _Side:
    recipe: Recipe
    batch: Batch
    register: Mapping[str, Material]
    findings: tuple[Finding, ...]


def diff_sides(bench: TrialFiles, before: str, after: str, *, oils: str = "1000 g") -> Changes:
    """What changed between two sides for the same mass of oils.

    before, after: `name`, `name@version`, a recipe's file, or a trial by its four characters or its id's beginning.
    A trial is compared as it was really made, with the material values that were frozen when it was started.
    Raises InputError when a side is neither, or cannot be read.
    """
    sides = [_find_side(bench, text, oils) for text in (before, after)]
    return compare_batches(
        sides[0].batch,
        sides[1].batch,
        before_recipe=sides[0].recipe,
        after_recipe=sides[1].recipe,
        before_register=sides[0].register,
        after_register=sides[1].register,
        before_findings=sides[0].findings,
        after_findings=sides[1].findings,
    )


def _find_side(bench: TrialFiles, text: str, oils: str) -> _Side:
    folder = bench.folder
    if "@" in text or is_recipe_file(text) or text in folder.recipes() or not bench.trial_ids():
        version = folder.find_recipe(text)
        batch = folder.batch(version, oils=oils)
        told = folder.remarks(version)  # of where it came from, which is no difference
        return _Side(version.recipe, batch, folder.register, tuple(each for each in batch.findings if each not in told))
    try:
        trial_id = find_trial_id(text, bench.trial_ids())
    except InputError as fault:
        if any(finding.code == "ambiguous-trial" for finding in fault.findings):
            raise
        names = [*folder.recipes(), *bench.trial_ids()]
        do = suggest(text, names, f"{list_recipes(folder.recipes())}; `formulary trial list` lists the trials")
        what = f"{text[:60]!r} is neither a recipe nor a trial here"
        raise InputError.of("no-recipe", what, do) from None
    made = describe_as_made(bench.find_trial(trial_id), oil_mass_g=parse_size_g(oils))
    return _Side(made.recipe, made.batch, made.materials, made.findings)
