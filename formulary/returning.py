"""Going back: an old version returns, the last save is undone, a recipe gets another name; each as a new save."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from formulary.errors import ChangedError, InputError
from formulary.finding import Place, error
from formulary.identity import blob_id
from formulary.recipes.edit import edit_recipe
from formulary.recipes.read import check_name
from formulary.recipes.version import Version
from formulary.saving import SaveReport

if TYPE_CHECKING:
    from formulary.folder import Folder


def restore_version(folder: Folder, reference: str, *, why: str | None = None) -> Version:
    """Bring an old version of a recipe back as a new save; a deleted recipe comes back too.

    reference: `name@version`. Raises InputError when there is no such version, or when it is what stands there already;
    ChangedError when the recipe's file has changes that are not saved.
    """
    version = folder.find_version(reference)
    path = f"recipes/{version.slug}.yaml"
    tip = folder.store.tip_blobs("recipes/")
    _demand_saved(folder, [path], tip)
    if tip.get(path) == version.id:
        what = f"{reference} is what {path} holds already"
        raise InputError.of("nothing-changed", what, f"`formulary history {version.slug}` lists the others")
    message = why or f"Restore {version.slug} as in {version.short_id}"
    _save(folder, {path: version.text.encode("utf-8")}, message)
    return folder.find_version(version.slug)


def undo_last_save(folder: Folder) -> SaveReport:
    """Undo the last save as a new save: every file that it changed holds again what it held before.

    Raises InputError when there is nothing to undo; ChangedError when one of these files has unsaved changes.
    """
    tip = folder.store.tip
    parent = folder.store.resolve_revision(f"{tip}~1") if tip is not None else None
    if tip is None or parent is None:
        raise InputError.of("nothing-to-undo", "there is no save to undo", "the first save of a formulary stays")
    before, after = folder.store.tree_blobs(parent), folder.store.tip_blobs("")
    changed = sorted(path for path in before.keys() | after.keys() if before.get(path) != after.get(path))
    if not changed:
        raise InputError.of("nothing-to-undo", "the last save changed no file", "there is nothing to bring back")
    _demand_saved(folder, changed, after)
    contents = folder.store.read_blobs(before[path] for path in changed if path in before)
    files = {path: contents[before[path]] if path in before else None for path in changed}
    subject = next((save.subject for save in folder.store.history() if save.commit == tip), tip[:8])
    message = f"Undo: {subject}"
    result = _save(folder, files, message)
    return SaveReport(result, tuple(changed), message)


def rename_recipe(folder: Folder, before: str, after: str) -> Version:
    """Give a recipe another name; its history and its trials stay with it through `formerly`.

    Raises InputError for a name that is taken or unusable, ChangedError for unsaved changes.
    """
    fault = check_name(after)
    if fault is not None:
        raise InputError([fault])
    version = folder.find_version(before)
    tip = folder.store.tip_blobs("recipes/")
    path, new_path = f"recipes/{before}.yaml", f"recipes/{after}.yaml"
    if after in folder.recipes() or new_path in tip:
        raise InputError.of("name-taken", f"there is a recipe {after!r} already", "choose another name")
    _demand_saved(folder, [path], tip)
    names = tuple(name for name in (*version.recipe.formerly, before) if name != after)
    text = edit_recipe(version.text, replace(version.recipe, formerly=names))
    _save(folder, {path: None, new_path: text.encode("utf-8")}, f"Rename {before} to {after}")
    return folder.find_version(after)


def _demand_saved(folder: Folder, paths: list[str], tip: Mapping[str, str]) -> None:
    working = set(folder.store.working_paths(""))
    faults = []
    for path in paths:
        held = blob_id(folder.store.read_working(path)) if path in working else None
        if held != tip.get(path) and not (held is None and path not in tip):
            what = f"{path} has changes that are not saved; it was not overwritten"
            faults.append(error("unsaved-changes", what, "save them first, or undo them in an editor", Place(path)))
    if faults:
        raise ChangedError(faults)


def _save(folder: Folder, files: Mapping[str, bytes | None], message: str) -> str:
    tip = folder.store.tip_blobs("")
    result = folder.store.save(
        files,
        message=message,
        read_from=folder.store.tip,
        expected={path: tip.get(path) for path in files},
        write_working=True,
    )
    folder.refresh()
    return result.commit
