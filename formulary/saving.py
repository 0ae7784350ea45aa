"""Saving what changed in a formulary: one commit, with the change in words in its message."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

from formulary.batch.checks import check_recipe
from formulary.batch.weigh_out import work_out_batch
from formulary.changes.compare import compare_batches
from formulary.changes.message import save_message
from formulary.errors import InputError
from formulary.fields import suggest
from formulary.files import SETTINGS_FILE, FormularyFiles
from formulary.finding import Finding, has_errors, in_file_order
from formulary.materials.read import parse_material
from formulary.recipes.model import Recipe
from formulary.recipes.read import parse_recipe
from formulary.settings import parse_settings
from formulary.versions import list_recipes, slug_of

if TYPE_CHECKING:
    from datetime import datetime

    from formulary.changes.changes import Changes
    from formulary.recipes.version import Version

_PARTS = ("materials/", "recipes/", "trials/")
CheckFiles = Callable[[tuple[str, ...]], tuple[Finding, ...]]  # paths -> what is wrong in them


@dataclass(frozen=True, slots=True)
class SaveReport:
    """What one save recorded: the commit, the files and the message, and what else to know.

    beside_bytes: photos and other files that are not read, and their size. unchanged: recipes that were named and had
    nothing to save.
    """

    commit: str
    paths: tuple[str, ...]
    message: str
    findings: tuple[Finding, ...] = ()
    beside_bytes: Mapping[str, int] = field(default_factory=dict)
    unchanged: tuple[str, ...] = ()


def find_changed_paths(folder: FormularyFiles) -> tuple[str, ...]:
    """The formulary's files that differ from the last save, new and deleted ones among them."""
    return tuple(path for path in folder.store.working_changes() if _is_ours(path))


def save_changed(
    folder: FormularyFiles,
    names: tuple[str, ...],
    *,
    why: str,
    now: datetime | None = None,
    check: CheckFiles | None = None,
) -> SaveReport:
    """One commit of every changed file, or of the recipes named and the maker's materials that they use.

    names: those of them that have not changed are told in the report, and left.
    check: finds what is wrong in those of the files to be saved that are not the formulary's own (trials).
    Raises InputError when nothing changed, when a file to be saved cannot be read as meant, or is too large; with all
    that is wrong, and nothing is saved then.
    """
    if not why.strip():
        raise InputError.of("why-missing", "a save says why", "add -m and a few words, for example -m 'less clove'")
    changed = find_changed_paths(folder)
    tip = folder.store.tip_blobs("")
    unchanged: tuple[str, ...] = ()
    if names:
        changed, unchanged = _only(folder, names, changed, tip)
    if not changed:
        raise InputError.of("nothing-changed", "nothing has changed since the last save", "edit a file first")
    working = set(folder.store.working_paths(""))
    large = [fault for path in changed if path in working for fault in folder.store.check_size(path)]
    left_out = {fault.place.path for fault in large}
    files = {
        path: folder.store.read_working(path) if path in working else None for path in changed if path not in left_out
    }
    faults = [fault for path, data in files.items() if data is not None for fault in _faults(folder, path, data)]
    faults += [*large, *(check(changed) if check is not None else ())]
    if has_errors(faults):
        raise InputError(in_file_order(faults))
    message = _message(folder, files, tip, why)
    result = folder.store.save(
        files,
        message=message,
        read_from=folder.store.tip,
        expected={path: tip.get(path) for path in changed},
        now=now,
    )
    folder.refresh()
    beside = {path: len(data) for path, data in files.items() if data is not None and not is_read(path)}
    return SaveReport(result.commit, changed, message, result.warnings, MappingProxyType(beside), unchanged)


def _only(
    folder: FormularyFiles, names: tuple[str, ...], changed: tuple[str, ...], tip: Mapping[str, str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The files to save for the recipes named, and the names of those that have not changed."""
    known = {*folder.recipes(), *(slug_of(path) for path in tip if path.startswith("recipes/"))}
    for name in names:
        if name not in known:
            do = suggest(name, folder.recipes(), list_recipes(folder.recipes()))
            raise InputError.of("no-recipe", f"there is no recipe {name!r} here", do)
    unchanged = tuple(name for name in dict.fromkeys(names) if f"recipes/{name}.yaml" not in changed)
    recipes = {f"recipes/{name}.yaml" for name in names if name not in unchanged}
    if not recipes:
        what = say_unchanged(unchanged)
        do = "`formulary status` tells what has; name that, or save all of it without a name"
        raise InputError.of("nothing-changed", what, do)
    # What a recipe is made of is saved with it, or the lye of what is saved could not be worked out again.
    working = set(folder.store.working_paths(""))
    used = {f"materials/{name}.yaml" for path in recipes & working for name in _materials_in(folder, path)}
    return tuple(path for path in changed if path in recipes or path in used), unchanged


def say_unchanged(names: Sequence[str]) -> str:
    """That recipes have nothing to save, in words."""
    return f"{', '.join(names)} {'has' if len(names) == 1 else 'have'} not changed since the last save"


def _materials_in(folder: FormularyFiles, path: str) -> frozenset[str]:
    recipe, _ = parse_recipe(folder.store.read_working(path), slug_of(path), path)
    return frozenset() if recipe is None else frozenset(recipe.materials())


def _faults(folder: FormularyFiles, path: str, data: bytes) -> tuple[Finding, ...]:
    slug = slug_of(path)
    if path == SETTINGS_FILE:
        return parse_settings(data, path)[1]
    if path.startswith("materials/"):
        return parse_material(data, path, slug)[1]
    if path.startswith("recipes/"):
        recipe, findings = parse_recipe(data, slug, path, materials=folder.register)
        if recipe is None:
            return findings
        return tuple(finding.at(path) for finding in (*findings, *check_recipe(recipe, folder.register)))
    return ()


def _message(folder: FormularyFiles, files: Mapping[str, bytes | None], tip: Mapping[str, str], why: str) -> str:
    changes: list[tuple[str, Changes]] = []
    others: list[str] = []
    earlier = folder.store.read_blobs(tip[path] for path in files if path in tip and is_read(path))
    for path, data in files.items():
        before = earlier.get(tip.get(path, ""))
        change = _change(folder, path, before, data)
        if change is not None:
            changes.append((slug_of(path), change))
        else:
            size = "" if data is None or is_read(path) else f" ({describe_size(len(data))})"
            others.append(f"{path} deleted" if data is None else f"{path}{'' if path in tip else ' new'}{size}")
    return save_message(why, changes, others)


def find_unsaved_change(folder: FormularyFiles, version: Version) -> Changes | None:
    """What saving a version would change in its recipe as last saved; a new variant is held against its parent.

    None where there is nothing to hold it against, or one of the two cannot be worked out.
    """
    path = f"recipes/{version.slug}.yaml"
    saved = folder.store.tip_blobs("recipes/").get(path)
    before = folder.store.read_blobs([saved]).get(saved) if saved is not None else None
    return _change(folder, path, before, version.text.encode("utf-8"))


def _change(folder: FormularyFiles, path: str, before: bytes | None, after: bytes | None) -> Changes | None:
    sides = _recipes(folder, path, before, after)
    if sides is None or any(check_recipe(side, folder.register) for side in sides):
        return None
    return compare_recipe_batches(folder, *sides)


def _recipes(
    folder: FormularyFiles, path: str, before: bytes | None, after: bytes | None
) -> tuple[Recipe, Recipe] | None:
    """A recipe before and after; a new variant is compared with the parent that it remembers."""
    if not path.startswith("recipes/") or after is None:
        return None
    slug = slug_of(path)
    recipe, _ = parse_recipe(after, slug, path)
    if recipe is not None and before is None and recipe.based_on is not None:
        parent = recipe.based_on
        before, slug = folder.store.read_blobs([parent.version]).get(parent.version), parent.recipe
    earlier = parse_recipe(before, slug, path)[0] if before is not None else None
    return (earlier, recipe) if earlier is not None and recipe is not None else None


def compare_recipe_batches(
    folder: FormularyFiles, before: Recipe, after: Recipe, *, oil_mass_g: float = 1000.0
) -> Changes:
    """What changed between two recipes, worked out under today's register for the same mass of oils."""
    batches = [
        work_out_batch(side, folder.register, folder.settings, oil_mass_g=oil_mass_g) for side in (before, after)
    ]
    return compare_batches(batches[0], batches[1], before_recipe=before, after_recipe=after)


def is_read(path: str) -> bool:
    """Whether this program reads the file; photos and a logger's files beside a trial are only kept."""
    return path.endswith(".yaml")


def describe_size(size_bytes: int) -> str:
    """`3.1 MB`."""
    return f"{size_bytes / 1e6:.1f} MB" if size_bytes >= 100_000 else f"{max(1, round(size_bytes / 1000))} kB"


def _is_ours(path: str) -> bool:
    return path == SETTINGS_FILE or path.startswith(_PARTS)
