"""One save: a commit of several files, all or nothing, onto the tip that it was meant for, there to stay."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from formulary.errors import ChangedError, InputError, StorageError
from formulary.finding import Finding, Place, error, note, warn
from formulary.identity import blob_id
from formulary.store.objects import (
    FILE_MODE,
    FOLDER_MODE,
    LARGEST_TREE,
    PROGRAM_MODE,
    Tree,
    damaged,
    named,
    read_loose,
    render_commit,
    write_loose,
)
from formulary.store.paths import demand_path, folded
from formulary.store.process import Git
from formulary.store.repository import Repository, find_in_progress, read_branch, read_ref
from formulary.store.saved import SaveResult
from formulary.store.working import disk_error, sync_folder

NO_OBJECT = "0" * 40
NEUTRAL_NAME, NEUTRAL_ADDRESS = "formulary", "formulary@localhost"
_TRIES = 100
_INDEX_PATIENCE_S = 2.0

Steps = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Person:
    """Who saves, as the commit will say."""

    name: str
    address: str
    findings: tuple[Finding, ...] = ()


def read_person(git: Git) -> Person:
    """The name and address that the person gave git; a neutral one, with a note, when they gave none."""
    _, output = git.run(["config", "-z", "--get-regexp", r"^(user|author)\.(name|email)$"], allowed=(0, 1))
    values: dict[str, str] = {}
    for item in output.decode("utf-8", "replace").split("\0"):
        key, _, value = item.partition("\n")
        clean = "".join(
            " " if ord(character) < 32 or character in "<>" else character for character in value
        ).strip(" .,:;\"'")
        if clean:
            values[key.lower()] = clean
    name = values.get("author.name", values.get("user.name"))
    address = values.get("author.email", values.get("user.email"))
    if name and address:
        return Person(name, address)
    finding = note(
        "git-identity",
        f"Git does not know your name; “{name or NEUTRAL_NAME} <{address or NEUTRAL_ADDRESS}>” signed the save.",
        'Tell it once: git config --global user.name "Your Name", and the same for user.email.',
    )
    return Person(name or NEUTRAL_NAME, address or NEUTRAL_ADDRESS, (finding,))


def demand_branch(repository: Repository) -> str:
    """The branch to save on; `StorageError` when HEAD is on none or a merge or the like is under way."""
    words = find_in_progress(repository)
    if words is not None:
        what, finish, give_up = words
        raise StorageError.of(
            "git-in-progress",
            f"A {what} is under way in this folder; a save now would end up in the middle of it.",
            f"Finish it with `{finish}` or give it up with `{give_up}`, then save again.",
        )
    branch = read_branch(repository)
    if branch is None:
        raise StorageError.of(
            "git-detached",
            "This folder stands on a commit, not a branch (a detached HEAD); a save there would be lost from sight.",
            "Go back with `git switch main`, or stay with `git switch -c NAME`, then save again.",
        )
    return branch


class Saving:
    """Makes commits in one repository; used under the saving lock."""

    def __init__(self, repository: Repository, git: Git, *, step: Steps = lambda _: None) -> None:
        self._repository = repository
        self._git = git
        self._objects = repository.common_dir / "objects"
        self._step = step  # told the name of each step before it is taken

    def commit(
        self,
        files: Mapping[str, bytes | None],
        *,
        message: str,
        expected: Mapping[str, str | None] | None,
        read_from: str | None,
        now: datetime,
        person: Person,
        before_commit: Callable[[], None],
    ) -> SaveResult:
        """Commits `files` onto the branch tip, again and again until nobody else's commit came between."""
        for path in files:
            demand_path(path)
        branch = demand_branch(self._repository)
        text = check_message(message)
        wanted = {path: None if data is None else blob_id(data) for path, data in files.items()}
        prepared = False
        for _ in range(_TRIES):
            tip = read_ref(self._repository, branch)
            trees = self._read_trees(tip, files)
            self._demand_unchanged(tip, trees, wanted, expected, read_from)
            check_names(trees, wanted)
            if all(_entry(trees, path) == blob for path, blob in wanted.items()):
                if tip is None:
                    raise InputError.of(
                        "save-nothing", "There is nothing to save.", "Change or add a file first."
                    )
                if not prepared:
                    before_commit()
                return SaveResult(
                    tip, (note("save-nothing", "Nothing had changed, so there is no new save.", ""),)
                )
            contents = dict(named("blob", data) for data in files.values() if data is not None)
            root = _apply(trees, wanted, contents)
            commit, body = named(
                "commit",
                render_commit(root, [tip] if tip else [], person.name, person.address, now, text),
            )
            contents[commit] = body
            self._step("objects")
            try:
                write_loose(self._objects, contents)
            except OSError as fault:
                raise disk_error(fault, "The folder's .git") from fault
            if not prepared:
                self._step("working")
                before_commit()
                prepared = True
            self._step("branch")
            if self._move(branch, tip, commit, text):
                self._step("index")
                return SaveResult(commit, self.refresh_index(wanted))
        raise StorageError.of(
            "save-crowded",
            "Other programs kept changing the history during this save.",
            "Save again in a moment.",
        )

    def refresh_index(self, blobs: Mapping[str, str | None]) -> tuple[Finding, ...]:
        """Tells git's index about these paths only; what the person staged of other files stays as it is."""
        lines = []
        for path, blob in blobs.items():
            mode = "0" if blob is None else "100644"
            lines.append(f"{mode} {blob or NO_OBJECT}\t{path}\0")
        give_up = time.monotonic() + _INDEX_PATIENCE_S
        while True:
            try:
                self._git.run(
                    ["update-index", "-z", "--add", "--remove", "--index-info"], stdin="".join(lines).encode()
                )
            except StorageError as fault:
                if "index.lock" in str(fault) and time.monotonic() < give_up:
                    time.sleep(0.02)
                    continue
                return (
                    warn(
                        "index-stale",
                        "The save stands, but git's list of staged files could not be brought up to date.",
                        "Run `git reset -q -- .` in the folder when no other git command is running.",
                    ),
                )
            return ()

    def _move(self, branch: str, before: str | None, after: str, message: str) -> bool:
        """Moves the branch from `before` to `after`, or returns False when it is not at `before` any more."""
        request = f"update {branch}\0{after}\0{before or NO_OBJECT}\0"
        subject = message.split("\n", 1)[0]
        try:
            self._git.run(
                ["update-ref", "-m", f"formulary: {subject}", "--stdin", "-z"], stdin=request.encode()
            )
        except StorageError:
            if read_ref(self._repository, branch) != before:
                return False
            raise
        self._sync_branch(branch)
        return True

    def _sync_branch(self, branch: str) -> None:
        """Git makes the new value last but not its name in the folder; this does."""
        try:
            sync_folder((self._repository.common_dir / branch).parent)
        except OSError as fault:
            raise disk_error(fault, "The folder's .git") from fault

    def _read_trees(self, tip: str | None, paths: Iterable[str]) -> dict[str, Tree]:
        """The saved directories on the way to `paths`: folder ("" is the top) -> tree; new ones are empty."""
        folders = {""}
        for path in paths:
            parts = path.split("/")[:-1]
            folders.update("/".join(parts[: count + 1]) for count in range(len(parts)))
        trees: dict[str, Tree] = {}
        if tip is None:
            return {folder: Tree() for folder in folders}
        loose = self._read_loose_trees(tip, folders)
        if loose is not None:
            return loose
        names = {f"{tip}:{folder}" if folder else f"{tip}^{{tree}}": folder for folder in sorted(folders)}
        for name, _, kind, data in self._git.read_objects(names, size_limit=LARGEST_TREE):
            if kind == "tree":
                trees[names[name]] = Tree.parse(data)
        if "" not in trees:
            raise damaged(tip)
        for folder in folders:
            trees.setdefault(folder, Tree())
        return trees

    def _read_loose_trees(self, tip: str, folders: Iterable[str]) -> dict[str, Tree] | None:
        """The same from the files of a fresh save, without a process; None when any of it is packed."""
        commit = read_loose(self._objects, tip)
        if commit is None or commit[0] != "commit":
            return None
        trees: dict[str, Tree] = {}
        for folder in sorted(folders):
            if folder == "":
                identifier = commit[1][5:45].decode("ascii", "replace")
            else:
                parent, _, name = folder.rpartition("/")
                mode, identifier = trees[parent].entries.get(name.encode("utf-8"), (b"", ""))
                if mode != FOLDER_MODE:
                    trees[folder] = Tree()
                    continue
            found = read_loose(self._objects, identifier)
            if found is None or found[0] != "tree":
                return None
            trees[folder] = Tree.parse(found[1])
        return trees

    def _demand_unchanged(
        self,
        tip: str | None,
        trees: Mapping[str, Tree],
        wanted: Mapping[str, str | None],
        expected: Mapping[str, str | None] | None,
        read_from: str | None,
    ) -> None:
        """`ChangedError` when a path holds at the tip something else than what the caller had read."""
        if expected is None:
            if read_from == tip:
                return
            old = self._read_trees(read_from, wanted)
            expected = {path: _entry(old, path) for path in wanted}
        findings = []
        for path, blob in wanted.items():
            if path not in expected:
                continue
            held = _entry(trees, path)
            if held not in (expected[path], blob):
                findings.append(
                    error(
                        "changed-meanwhile",
                        f"{path} was {'saved' if held else 'deleted'} by someone else since it was read; "
                        "nothing was overwritten.",
                        "Read it again, look at what differs, and save again.",
                        Place(path=path),
                        found=held,
                    )
                )
        if findings:
            raise ChangedError(findings)


def check_message(message: str) -> str:
    """A commit message that git keeps as it is; `InputError` when there is nothing in it."""
    text = "\n".join(line.rstrip() for line in message.replace("\0", "").splitlines()).strip("\n")
    if not text.strip():
        raise InputError.of("save-why", "A save needs a word on why.", "Say it in a few words with -m.")
    return text + "\n"


def check_names(trees: Mapping[str, Tree], wanted: Mapping[str, str | None]) -> None:
    """Refuses new names that some file system cannot tell from another, and a file where a folder is."""
    new: dict[str, str] = {}
    for path, blob in wanted.items():
        if blob is None:
            continue
        parts = path.split("/")
        for count, part in enumerate(parts):
            folder = "/".join(parts[:count])
            whole = "/".join(parts[: count + 1])
            entries = trees[folder].entries
            mode, _ = entries.get(part.encode("utf-8"), (None, ""))
            if (
                mode is not None
                and (mode == FOLDER_MODE) != (count < len(parts) - 1)
                and wanted.get(whole, "") is not None
            ):
                raise _name_taken(path, f"{whole} is a {'folder' if mode == FOLDER_MODE else 'file'} already")
            if mode is None:
                for name in entries:
                    other = name.decode("utf-8", "surrogateescape")
                    place = f"{folder}/{other}" if folder else other
                    if folded(other) == folded(part) and wanted.get(place, "") is not None:
                        raise _name_taken(
                            path, f"{place} differs from it only in capitals or the way an accent is written"
                        )
            twin = new.setdefault(folded(whole), whole)
            if twin != whole:
                raise _name_taken(
                    path, f"{twin} differs from it only in capitals or the way an accent is written"
                )


def _name_taken(path: str, why: str) -> InputError:
    return InputError(
        [error("name-taken", f"{path} cannot be saved: {why}.", "Choose another name.", Place(path=path))]
    )


def _entry(trees: Mapping[str, Tree], path: str) -> str | None:
    """The blob that the trees hold at a path; None when there is no file."""
    folder, _, name = path.rpartition("/")
    mode, identifier = trees[folder].entries.get(name.encode("utf-8"), (FOLDER_MODE, ""))
    return None if mode == FOLDER_MODE else identifier


def _apply(
    trees: dict[str, Tree], wanted: Mapping[str, str | None], contents: dict[str, tuple[str, bytes]]
) -> str:
    """Puts the blobs into the trees and the changed trees into `contents`; returns the id of the top one."""
    for path, blob in wanted.items():
        folder, _, name = path.rpartition("/")
        entries = trees[folder].entries
        key = name.encode("utf-8")
        if blob is None:
            entries.pop(key, None)
        else:
            mode = entries.get(key, (FILE_MODE, ""))[0]
            entries[key] = (mode if mode == PROGRAM_MODE else FILE_MODE, blob)
    top = ""
    for folder in sorted(trees, key=lambda name: (-name.count("/") - bool(name), name)):
        tree = trees[folder]
        identifier, body = named("tree", tree.render())
        if folder == "":
            contents[identifier] = body
            top = identifier
            continue
        parent, _, name = folder.rpartition("/")
        key = name.encode("utf-8")
        if tree.entries:
            contents[identifier] = body
            trees[parent].entries[key] = (FOLDER_MODE, identifier)
        elif trees[parent].entries.get(key, (b"", ""))[0] == FOLDER_MODE:
            del trees[parent].entries[key]
    return top


def index_path(repository: Repository) -> Path:
    """Where git keeps the list of staged files of this work tree."""
    return repository.git_dir / "index"
