"""Going back: an old version returns, the last save is undone, a recipe gets another name; each as a new save."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from formulary.errors import ChangedError, InputError
from formulary.finding import Place, error
from formulary.folder.saving import SaveReport
from formulary.identity import blob_id
from formulary.recipes.edit import edit_recipe
from formulary.recipes.read import check_name
from formulary.recipes.version import Version, name_from

if TYPE_CHECKING:
    from collections.abc import Callable

    from formulary.store.saved import SaveResult
    from formulary.workshop.files import FormularyFiles


def restore_version(
    folder: FormularyFiles, reference: str, *, why: str | None = None, discard: bool = False
) -> Version:
    """Bring a version of a recipe back as a new save; a deleted recipe comes back too.

    reference: `name@version`; `name@latest` brings back a file that was deleted, and, with `discard`, throws away
    changes that were not saved.
    Raises InputError when there is no such version, when it is what stands there already, or when the recipe has
    another name now; ChangedError for unsaved changes, unless `discard`.
    """
    slug = reference.partition("@")[0]
    renamed = folder.now_called(slug)
    if renamed is not None:
        do = f"its versions are those of {renamed}: formulary history {renamed}"
        raise InputError.of("renamed", f"{slug} is called {renamed} now", do)
    version = folder.find_version(reference if "@" in reference else f"{reference}@latest")
    path = f"recipes/{version.slug}.yaml"
    wanted = version.text.encode("utf-8")
    held = folder.store.read_working(path) if path in folder.store.working_paths("recipes/") else None
    saved = folder.store.tip_blobs("recipes/").get(path)
    if held is not None and blob_id(held) != saved and not discard:
        what = f"{path} has changes that were not saved"
        do = f"save them first, or throw them away: formulary restore {reference} --discard"
        raise ChangedError([error("unsaved-changes", what, do, Place(path))])
    if saved == version.id:
        if held == wanted:
            what = f"{reference} is what {path} holds"
            raise InputError.of("nothing-changed", what, f"`formulary history {version.slug}` lists the others")
        folder.store.write_working(path, wanted, read=held)
    else:
        message = why or f"Restore {version.slug} as in {version.short_id}"
        read = {path: None if held is None else blob_id(held)}
        folder.store.restore({path: version.id}, message=message, working_read=read)
    folder.refresh()
    return folder.find_version(version.slug)


def undo_last_save(folder: FormularyFiles) -> SaveReport:
    """Undo the last save that still stands, as a new save: its files hold again what they held before it.

    Said again it goes one step further back; `redo_last_undo` brings back what it took away.
    Raises InputError when there is nothing to undo; ChangedError when one of these files has unsaved changes.
    """
    return _report(folder, _with_way_out(folder.store.undo))


def redo_last_undo(folder: FormularyFiles) -> SaveReport:
    """Bring back, as a new save, what the last undo took away.

    Raises InputError when something else was saved since, or nothing was undone; ChangedError as `undo_last_save`.
    """
    return _report(folder, _with_way_out(folder.store.redo))


def _with_way_out(step: Callable[[], SaveResult]) -> SaveResult:
    """A step back or forth; for a file with unsaved changes, with the command that throws them away."""
    try:
        return step()
    except ChangedError as fault:
        raise ChangedError(
            replace(each, do=_way_out(each.place.path)) if each.code == "changed-on-disk" else each
            for each in fault.findings
        ) from None


def _way_out(path: str | None) -> str:
    part, _, name = (path or "").removesuffix(".yaml").rpartition("/")
    discard = ""
    if part == "recipes":
        discard = f", or throw them away: formulary restore {name}@latest --discard"
    elif part.startswith("trials/"):
        discard = f", or throw them away: formulary restore {part.rpartition('/')[2]} --discard"
    return f"save them first: formulary save -m WHY{discard}"


def _report(folder: FormularyFiles, result: SaveResult) -> SaveReport:
    changed = folder.store.changes_of(result.commit)
    folder.refresh()
    subject = next(save.subject for save in folder.store.history(changed) if save.commit == result.commit)
    return SaveReport(result.commit, tuple(sorted(changed)), subject, result.warnings)


def name_version(folder: FormularyFiles, reference: str, name: str) -> Version:
    """Give a saved version a lasting name, by which it is found from then on: `name@shop-2026`.

    Raises InputError for a version that is not saved, or a name that is taken or that git cannot hold.
    """
    version = folder.find_version(reference)
    if not version.is_saved:
        do = f"save it first: formulary save {version.slug} -m WHY"
        raise InputError.of("not-saved", f"{version.slug} has changes that are not saved", do)
    saves = folder.history(version.slug)
    commit = next(save.commit for save in reversed(saves) if save.id == version.id)
    folder.store.name_commit(name, commit, message=f"{name}: {version.recipe.name}, {version.short_id}")
    return replace(version, label=name)


def rename_recipe(folder: FormularyFiles, before: str, after: str, *, name: str | None = None) -> Version:
    """Give a recipe another name; its history and its trials stay with it through `formerly`.

    before, after: the file's name, as on the command line. name: what people call it, its `name:`; unless given, one
    that only said the old name follows, and any other stays.
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
    names = tuple(former for former in (*version.recipe.formerly, before) if former != after)
    if name is not None and not name.strip():
        raise InputError.of("name-empty", "a name of no letters is none", "write what people call it, or leave it out")
    if name is None:
        name = name_from(after) if version.recipe.name == name_from(before) else version.recipe.name
    text = edit_recipe(version.text, replace(version.recipe, formerly=names, name=name.strip()))
    if not version.is_saved:
        what = f"{path} has changes that are not saved"
        raise ChangedError([error("unsaved-changes", what, f"save them first: formulary save {before} -m WHY")])
    folder.store.save(
        {path: None, new_path: text.encode("utf-8")},
        message=f"Rename {before} to {after}",
        read_from=folder.store.tip,
        expected={path: tip.get(path), new_path: None},
        write_working=True,
    )
    folder.refresh()
    return folder.find_version(after)
