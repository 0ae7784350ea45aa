"""The trials within a recipe: poured from it, or from a variant that was branched from it, by today's names."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.history.versions import demand_whole, list_recipes
from formulary.names import suggest
from trials.trial.model import Trial

if TYPE_CHECKING:
    from formulary.workshop.files import FormularyFiles


def find_within(trials: Sequence[Trial], names: Collection[str], folder: FormularyFiles) -> tuple[Trial, ...]:
    """Those of the trials that were poured from these recipes or from variants of them.

    Raises InputError for a recipe that neither a file nor a trial has.
    """
    parents, renamed = _family(trials, folder)
    known = {*folder.recipes(), *(trial.recipe for trial in trials), *parents, *parents.values(), *renamed}
    for name in names:
        if name not in known:
            demand_whole(name)
            do = suggest(name, sorted(known), list_recipes(known))
            raise InputError.of("no-recipe", f"there is no recipe {name[:60]!r} here", do)
    wanted = {renamed.get(name, name) for name in names}
    return tuple(trial for trial in trials if not wanted.isdisjoint(_line_of(trial.recipe, parents, renamed)))


def names_today(trials: Iterable[Trial], folder: FormularyFiles) -> dict[str, str]:
    """What the recipes that trials were poured from are called today."""
    return {name: folder.now_called(name) or name for name in {trial.recipe for trial in trials}}


def _family(trials: Sequence[Trial], folder: FormularyFiles) -> tuple[dict[str, str], dict[str, str]]:
    """Recipe -> the one that it was branched from, and old name -> present name."""
    parents = {trial.recipe: base.recipe for trial in trials if (base := trial.plan.recipe.based_on) is not None}
    renamed: dict[str, str] = {}
    live = folder.recipes()
    for slug in live:
        recipe, _ = folder.read_recipe(slug)
        if recipe is None:
            continue  # a broken file is told by `check`
        if recipe.based_on is not None:
            parents[slug] = recipe.based_on.recipe
        # The name of a recipe that there is stays its own, whatever another claims; `check` tells of it.
        for name in recipe.formerly:
            if name not in live:
                renamed[name] = slug if name not in renamed else folder.now_called(name) or slug
    return parents, renamed


def _line_of(recipe: str, parents: Mapping[str, str], renamed: Mapping[str, str]) -> set[str]:
    """A recipe and every recipe that it was branched from, by their present names."""
    line: set[str] = set()
    current: str | None = recipe
    while current is not None:
        named = renamed.get(current, current)
        if named in line:
            break
        line.add(named)
        current = parents.get(named, parents.get(current))
    return line


def recipes_within(trials: Sequence[Trial], names: Collection[str], folder: FormularyFiles) -> tuple[str, ...]:
    """These recipes and all their variants, by today's names, each after the one that it was branched from.

    trials: all of the formulary's. A recipe that has no file any more is among them while a trial remembers it.
    """
    parents, renamed = _family(trials, folder)
    known = {*folder.recipes(), *(renamed.get(trial.recipe, trial.recipe) for trial in trials)}
    wanted = {renamed.get(name, name) for name in names}
    lines = {recipe: _line_of(recipe, parents, renamed) for recipe in known | wanted}
    found = [recipe for recipe, line in lines.items() if not wanted.isdisjoint(line)]
    return tuple(sorted(found, key=lambda recipe: (len(lines[recipe]), recipe)))
