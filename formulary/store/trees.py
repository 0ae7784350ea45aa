"""The saved directories on the way to some files: read from a commit, changed, and given back as new objects."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from formulary.errors import InputError
from formulary.finding import Place, error
from formulary.store.objects import (
    FILE_MODE,
    FOLDER_MODE,
    LARGEST_TREE,
    PROGRAM_MODE,
    Tree,
    damaged,
    named,
    read_loose,
)
from formulary.store.paths import folded
from formulary.store.process import Git

Trees = dict[str, Tree]  # folder ("" is the top, no slash at the end) -> directory; a new one is empty


def read_trees(git: Git, objects: Path, commit: str | None, paths: Iterable[str]) -> Trees:
    """The directories that a commit holds on the way to `paths`. Raises `StorageError` where one is missing."""
    folders = {""}
    for path in paths:
        parts = path.split("/")[:-1]
        folders.update("/".join(parts[: count + 1]) for count in range(len(parts)))
    if commit is None:
        return {folder: Tree() for folder in folders}
    loose = _read_loose_trees(objects, commit, folders)
    if loose is not None:
        return loose
    names = {f"{commit}:{folder}" if folder else f"{commit}^{{tree}}": folder for folder in sorted(folders)}
    trees = {
        names[name]: Tree.parse(data)
        for name, _, kind, data in git.read_objects(names, size_limit=LARGEST_TREE)
        if kind == "tree"
    }
    if "" not in trees:
        raise damaged(commit)
    for folder in sorted(folders):
        if folder not in trees:
            parent, _, name = folder.rpartition("/")
            mode, identifier = trees[parent].entries.get(name.encode("utf-8"), (b"", ""))
            if mode == FOLDER_MODE:  # it is there, and unreadable: to take it for empty would drop its files
                raise damaged(identifier)
            trees[folder] = Tree()
    return trees


def find_entries(trees: Trees, paths: Iterable[str]) -> dict[str, tuple[str, str] | None]:
    """Path -> (mode, blob) that the trees hold; None where there is no file."""
    found: dict[str, tuple[str, str] | None] = {}
    for path in paths:
        folder, _, name = path.rpartition("/")
        mode, identifier = trees[folder].entries.get(name.encode("utf-8"), (FOLDER_MODE, ""))
        found[path] = None if mode == FOLDER_MODE else (mode.decode("ascii"), identifier)
    return found


def find_blob(trees: Trees, path: str) -> str | None:
    """The blob that the trees hold at a path; None when there is no file."""
    folder, _, name = path.rpartition("/")
    mode, identifier = trees[folder].entries.get(name.encode("utf-8"), (FOLDER_MODE, ""))
    return None if mode == FOLDER_MODE else identifier


def apply_blobs(trees: Trees, wanted: Mapping[str, str | None], contents: dict[str, tuple[str, bytes]]) -> str:
    """Puts blobs (None: no file) into the trees and the new trees into `contents`; returns the top one's id."""
    for path, blob in wanted.items():
        folder, _, name = path.rpartition("/")
        entries = trees[folder].entries
        key = name.encode("utf-8")
        if blob is None:
            entries.pop(key, None)
        else:
            mode = entries.get(key, (FILE_MODE, ""))[0]
            entries[key] = (mode if mode == PROGRAM_MODE else FILE_MODE, blob)
    for folder in sorted(trees, key=lambda name: -name.count("/") - bool(name)):  # the deepest first
        if not folder:
            continue
        parent, _, name = folder.rpartition("/")
        key = name.encode("utf-8")
        if trees[folder].entries:
            identifier, body = named("tree", trees[folder].render())
            contents[identifier] = body
            trees[parent].entries[key] = (FOLDER_MODE, identifier)
        elif trees[parent].entries.get(key, (b"", ""))[0] == FOLDER_MODE:
            del trees[parent].entries[key]
    top, body = named("tree", trees[""].render())
    contents[top] = body
    return top


def demand_names(trees: Trees, wanted: Mapping[str, str | None]) -> None:
    """`InputError` for a new name that some file system cannot tell from another, or where the other kind is."""
    new: dict[str, str] = {}
    for path, blob in wanted.items():
        if blob is None:
            continue
        parts = path.split("/")
        for count, part in enumerate(parts):
            folder = "/".join(parts[:count])
            whole = "/".join(parts[: count + 1])
            entries = trees[folder].entries
            mode = entries.get(part.encode("utf-8"), (None, ""))[0]
            if mode is None:
                _demand_no_twin(entries, folder, part, path, wanted)
            elif (mode == FOLDER_MODE) != (count < len(parts) - 1) and wanted.get(whole, "") is not None:
                kind = "folder" if mode == FOLDER_MODE else "file"
                raise _name_taken(path, f"{whole} is a {kind} already")
            twin = new.setdefault(folded(whole), whole)
            if twin != whole:
                raise _name_taken(path, f"{twin} differs from it only in capitals or in how an accent is written")


def _demand_no_twin(
    entries: Mapping[bytes, object], folder: str, part: str, path: str, wanted: Mapping[str, str | None]
) -> None:
    for name in entries:
        other = name.decode("utf-8", "surrogateescape")
        place = f"{folder}/{other}" if folder else other
        if folded(other) == folded(part) and wanted.get(place, "") is not None:
            raise _name_taken(path, f"{place} differs from it only in capitals or in how an accent is written")


def _name_taken(path: str, why: str) -> InputError:
    return InputError(
        [error("name-taken", f"{path} cannot be saved: {why}.", "Choose another name.", Place(path=path))]
    )


def _read_loose_trees(objects: Path, commit: str, folders: Iterable[str]) -> Trees | None:
    """The same from the files of a fresh save, without a process; None when any of it is packed."""
    found = read_loose(objects, commit)
    if found is None or found[0] != "commit":
        return None
    trees: Trees = {}
    for folder in sorted(folders):
        if folder == "":
            identifier = found[1][5:45].decode("ascii", "replace")
        else:
            parent, _, name = folder.rpartition("/")
            mode, identifier = trees[parent].entries.get(name.encode("utf-8"), (b"", ""))
            if mode != FOLDER_MODE:
                trees[folder] = Tree()
                continue
        tree = read_loose(objects, identifier)
        if tree is None or tree[0] != "tree":
            return None
        trees[folder] = Tree.parse(tree[1])
    return trees
