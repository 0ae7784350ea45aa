"""Making changes to a recipe: the law is `apply_changes(a, compare_recipes(a, b)) == b`, both ways."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TypeVar

from formulary.changes.recipe_changes import FieldChange, LineChange, Pair, RecipeChanges, alkalis_of
from formulary.errors import InputError
from formulary.read_only import ReadOnly
from formulary.recipes.model import Addition, Lye, Recipe, ScentLine

_T = TypeVar("_T")
_Key = TypeVar("_Key", str, tuple[str, str])


def apply_changes(recipe: Recipe, changes: RecipeChanges) -> Recipe:
    """The recipe with the changes made; every change must find what it says was there before.

    Lines that stay keep their order, new ones come last. Raises InputError when the recipe is another than the one
    that the changes start from.
    """
    alkalis, by = _value("alkali", alkalis_of(recipe.lye), changes.alkali)
    superfat = _value("superfat", recipe.lye.superfat, changes.superfat)
    lye = Lye(alkalis, superfat, by) if changes.alkali is not None else replace(recipe.lye, superfat=superfat)
    additions = [change for change in changes.lines if change.part == "additions"]
    scent = [change for change in changes.lines if change.part == "scent"]
    notes = changes.notes
    return replace(
        recipe,
        slug=changes.slug.after,
        name=_value("name", recipe.name, changes.name),
        formerly=_value("formerly", recipe.formerly, changes.formerly),
        based_on=_value("based_on", recipe.based_on, changes.based_on),
        purpose=_value("purpose", recipe.purpose, changes.purpose),
        oils=_lines(
            {line.material: line for line in recipe.oils},
            {change.material: (change.before, change.after) for change in changes.oils},
        ),
        lye=lye,
        water=_value("water", recipe.water, changes.water),
        additions=_lines({(line.material, line.at): line for line in recipe.additions}, _by_line(additions, Addition)),
        scent=_lines({(line.material, line.at): line for line in recipe.scent}, _by_line(scent, ScentLine)),
        portions=_lines(
            {portion.name: replace(portion, gets=tuple(sorted(portion.gets))) for portion in recipe.portions},
            {change.name: (change.before, change.after) for change in changes.portions},
        ),
        process=_process(recipe.process, changes.process),
        notes=recipe.notes if notes is None else _value("notes", recipe.notes or None, _pair(notes)) or "",
        conflicts=_value("conflicts", recipe.conflicts, changes.conflicts),
    )


def _lines(there: Mapping[_Key, _T], changes: Mapping[_Key, tuple[_T | None, _T | None]]) -> tuple[_T, ...]:
    lines = dict(there)
    for key, (before, after) in changes.items():
        if lines.get(key) != before:
            raise _does_not_fit(key if isinstance(key, str) else key[0])
        if after is None:
            del lines[key]
        else:
            lines[key] = after
    return tuple(lines.values())


def _by_line(changes: Iterable[LineChange], kind: type[_T]) -> dict[tuple[str, str], tuple[_T | None, _T | None]]:
    sides: dict[tuple[str, str], tuple[_T | None, _T | None]] = {}
    for change in changes:
        before = change.before if isinstance(change.before, kind) else None
        after = change.after if isinstance(change.after, kind) else None
        sides[change.material, change.at] = (before, after)
    return sides


def _pair(change: FieldChange) -> Pair[str | None]:
    return Pair(change.before, change.after)


def _value(part: str, there: _T, change: Pair[_T] | None) -> _T:
    if change is None:
        return there
    if there != change.before:
        raise _does_not_fit(part)
    return change.after


def _process(there: Mapping[str, str], changes: Iterable[FieldChange]) -> Mapping[str, str]:
    process = dict(there)
    for change in changes:
        key = change.field.removeprefix("process.")
        after = _value(change.field, process.pop(key, None), _pair(change))
        if after is not None:
            process[key] = after
    return ReadOnly(process)


def _does_not_fit(part: str) -> InputError:
    what = f"the changes start from another recipe: `{part}` is not what they say it was"
    return InputError.of("does-not-apply", what, "compare again with the recipe that is there now")
