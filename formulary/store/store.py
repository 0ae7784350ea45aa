"""A formulary's folder and its history, as bytes: open or make one, read what was saved, save."""

from __future__ import annotations

import os
import re
import threading
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import TYPE_CHECKING

from formulary.errors import ChangedError, InputError, StorageError
from formulary.finding import Finding, Place, error
from formulary.identity import blob_id, is_full_id
from formulary.store import reading, working
from formulary.store.paths import demand_path
from formulary.store.process import Git
from formulary.store.repository import Repository, find_repository, read_cut, read_ref, read_tip
from formulary.store.saved import Saved, SaveResult

# What a reading command does not need is imported where it is used.
if TYPE_CHECKING:
    import subprocess

    from formulary.store.person import Person
    from formulary.store.saving import Saving

# A version is the bytes of its file: whatever line ends an editor wrote stay, here and in every clone.
ATTRIBUTES = "*.yaml -text\n"

# What a person may type for a revision: a branch, a tag, an id, with ~N and ^N behind it. No options,
# ranges, searches.
_REVISION = re.compile(r"(?=[^-./])(?!.*(?:\.\.|//|/\.|@\{))[\w./+@=-]{1,200}(?:[~^][0-9]{0,6}){0,20}\Z")


class Store:
    """The saved versions and the working files of one formulary; use it in a `with` block or close it.

    remarks: what is worth knowing of the last save, such as that nobody's name stands in it.
    """

    def __init__(self, repository: Repository) -> None:
        self.root = repository.root
        self._repository = repository
        self._git = Git(repository.program, repository.git_dir, repository.root)
        self._tip = read_tip(repository)
        self._tip_blobs: Mapping[str, str] | None = None
        self._asked_for_one = False
        self.remarks: tuple[Finding, ...] = ()
        self._person: Person | None = None
        self._tidying: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Lets go of the formulary; today nothing is held open between two calls."""

    @property
    def tip(self) -> str | None:
        """The commit where the branch stood at opening or at the last refresh; None before the first save."""
        return self._tip

    def refresh(self) -> None:
        """Looks again where the branch stands."""
        tip = read_tip(self._repository)
        if tip != self._tip:
            self._tip = tip
            self._tip_blobs = None
            self._asked_for_one = False

    @property
    def cut(self) -> frozenset[str]:
        """The commits before which this copy of the history holds nothing (a shallow clone); else empty."""
        return read_cut(self._repository)

    def working_paths(self, prefix: str = "") -> tuple[str, ...]:
        """The files in the folder that belong to the formulary, sorted; hidden ones are left out."""
        return working.find_working(self.root, prefix)

    def read_working(self, path: str) -> bytes:
        """The bytes of a file in the folder, as it lies there now; `InputError` when it is not there."""
        return working.read_working(self.root, path)

    def working_looks(self, paths: Iterable[str]) -> working.Looks | None:
        """How files in the folder look now, by which a later change is told; None where it might not be."""
        return working.find_looks(self.root, paths)

    def working_size(self, path: str) -> int:
        """How many bytes a file in the folder holds; `InputError` when it is not there."""
        return working.read_working_size(self.root, path)

    def check_size(self, path: str) -> tuple[Finding, ...]:
        """Says of a file in the folder when it is larger than what is saved."""
        size = self.working_size(path)
        return (working.too_large(path, size),) if size > working.LARGEST_FILE else ()

    def write_working(self, path: str, data: bytes, *, read: bytes | None) -> None:
        """Puts bytes into a file of the folder, without saving, while it still holds what was read (None: no file).

        Raises `ChangedError` when it holds something else by now, `StorageError` when it cannot be written.
        """
        held = self.read_working(path) if path in self.working_paths() else None
        if held != read:
            what = f"{path} changed after it was read; it was not overwritten"
            raise ChangedError([error("changed-on-disk", what, "look at it, then try again", Place(path=path))])
        working.write_working(self.root, path, data)

    def tip_blobs(self, prefix: str = "") -> Mapping[str, str]:
        """Path -> blob id of the files that the tip holds."""
        if self._tip is None:
            return MappingProxyType({})
        if self._tip_blobs is None:
            self._tip_blobs = MappingProxyType(reading.read_tree_blobs(self._git, self._tip))
        if not prefix:
            return self._tip_blobs
        return MappingProxyType({path: blob for path, blob in self._tip_blobs.items() if path.startswith(prefix)})

    def tip_blob(self, path: str) -> str | None:
        """The blob id of one file as the tip holds it, None when it holds none.

        A first question is about that file alone; with a second one, all files are looked up at once.
        """
        if self._tip is None:
            return None
        if self._tip_blobs is None and not self._asked_for_one:
            self._asked_for_one = True
            return self.blob_at(self._tip, path)
        return self.tip_blobs().get(path)

    def working_changes(self) -> Mapping[str, tuple[str | None, str | None]]:
        """Path -> (blob at the tip, blob in the folder) of the files that differ; None stands for no file."""
        if self._tip is None:
            return MappingProxyType(working.find_changes(self.root, {}))
        from formulary.store.suspects import find_suspects

        suspects = find_suspects(self._repository, self._git, self._tip)
        if suspects is None:
            return MappingProxyType(working.find_changes(self.root, self.tip_blobs()))
        saved = reading.read_blobs_at(self._git, self._tip, suspects)
        return MappingProxyType(working.compare_with_saved(self.root, suspects, saved))

    def read_blobs(self, ids: Iterable[str], *, largest: int = reading.LARGEST_BLOB) -> dict[str, bytes]:
        """id -> bytes of saved files; ids that are not here, or stand for something else, are absent.

        largest: in bytes; a file above it is not read into memory.
        Raises `StorageError` for a file that is damaged or larger.
        """
        too_large: list[str] = []
        found = dict(reading.read_blobs(self._git, ids, size_limit=largest, too_large=too_large))
        if too_large:
            raise StorageError.of(
                "git-object-too-large",
                f"The saved {too_large[0]} has over {largest // 10**6} MB; it was not read.",
                "Keep such files out of the formulary.",
            )
        return found

    def history(self, paths: Iterable[str] = ()) -> tuple[Saved, ...]:
        """Every version of these files, newest first; of all files when none is named.

        Name the present path of a renamed file first and its older ones after it.
        """
        wanted = [demand_path(path) for path in paths]
        if self._tip is None:
            return ()
        return tuple(reading.read_history(self._git, self._tip, wanted))

    def deleted(self, folder: str) -> Mapping[str, str]:
        """Path -> the blob that was there last, of the files of a folder that some save took away, or a merge left out.

        Those that came back later are among them.
        """
        if self._tip is None:
            return MappingProxyType({})
        return MappingProxyType(reading.read_deleted(self._git, self._tip, demand_path(folder)))

    def resolve_revision(self, text: str) -> str | None:
        """The commit that a branch, a tag or a commit id means; None when there is none."""
        if not _REVISION.match(text):
            return None
        name = f"{text}^{{commit}}"
        found = reading.find_objects(self._git, [name]).get(name)
        return found[0] if found is not None and found[1] == "commit" else None

    def blob_at(self, commit: str, path: str) -> str | None:
        """The blob id of a file as a commit holds it, None when it holds none."""
        return reading.read_blob_at(self._git, _demand_id(commit), demand_path(path))

    def changes_of(self, commit: str) -> Mapping[str, tuple[str | None, str | None]]:
        """Path -> (blob before, blob after) of what a commit changed; None stands for no file."""
        return MappingProxyType(reading.read_changes(self._git, _demand_id(commit)))

    def save(
        self,
        files: Mapping[str, bytes | None],
        *,
        message: str,
        read_from: str | None,
        expected: Mapping[str, str | None] | None = None,
        now: datetime | None = None,
        write_working: bool = False,
        working_read: Mapping[str, str | None] | None = None,
    ) -> SaveResult:
        """One commit of several files, all or nothing, on the disk before this returns.

        `files` are the bytes to commit (None deletes). `read_from` is the tip that they were made from and
        `expected` the blob id that each path had there (None: no file); when a path holds something else at
        the tip by now, nothing is written and `ChangedError` names it. Other paths may have moved on
        meanwhile.

        With `write_working` the bytes are put into the folder too. A file there is replaced only while it
        still is what `working_read` says (path -> blob id, None: no file), or else what was last saved.

        Raises `InputError` for no files, or a path that is none of a formulary, `StorageError` when git or the disk
        refuses. now: with its time zone; the present unless given.
        """
        from formulary.store.saving import Order
        from formulary.store.tidying import is_untidy

        if not files:
            raise InputError.of("save-nothing", "There is nothing to save.", "Name a file that changed.")
        moment = now if now is not None else datetime.now().astimezone()
        if moment.tzinfo is None:
            raise InputError.of(
                "bad-moment", "The time of a save needs its time zone.", "Give datetime.now().astimezone(), say."
            )
        order = Order(dict(files), message, moment, read_from, expected, write_working, working_read)
        for path in files:
            demand_path(path)
        with self._saving(moment) as (saving, person, finished):
            result = saving.save(order, person)
        self.refresh()
        if is_untidy(self._repository):
            self.tidy_in_background()
        self.remarks = (*person.findings, *finished, *result.warnings)
        return SaveResult(result.commit, self.remarks)

    def restore(
        self,
        blobs: Mapping[str, str | None],
        *,
        message: str,
        now: datetime | None = None,
        working_read: Mapping[str, str | None] | None = None,
    ) -> SaveResult:
        """Brings files back to versions that were saved before (None: to no file) as a new commit, and in the folder.

        A file in the folder with changes that were not saved is not overwritten (`ChangedError`), unless
        `working_read` names it as `save` says. Raises `InputError` for a version that is not in this copy.
        """
        wanted = (blob for blob in blobs.values() if blob is not None)
        contents = self.read_blobs(wanted, largest=working.LARGEST_FILE)  # whatever could be saved can come back
        missing = [path for path, blob in blobs.items() if blob is not None and blob not in contents]
        if missing:
            raise InputError(
                [
                    error(
                        "version-missing",
                        f"The version {blobs[path]} of {path} is not in this copy of the formulary.",
                        "Fetch the rest of the history (git fetch --unshallow), or choose another version.",
                        Place(path=path),
                    )
                    for path in missing
                ]
            )
        return self.save(
            {path: None if blob is None else contents[blob] for path, blob in blobs.items()},
            message=message,
            read_from=self._tip,
            now=now,
            write_working=True,
            working_read=working_read,
        )

    def undo(self) -> SaveResult:
        """Undoes the last save that still stands as a new commit, and in the folder; again goes one step further back.

        Raises `InputError` when there is nothing to undo or that save is a merge, and `ChangedError` when a file of it
        has changes that were not saved.
        """
        from formulary.store.undoing import find_to_undo, undo_message

        self.refresh()
        step = find_to_undo(self._git, self._tip) if self._tip is not None else None
        if step is None:
            what = "There is no save before this one, so nothing can be undone."
            raise InputError.of("undo-nothing", what, "`formulary redo` brings the last undone back.")
        if len(step.parents) != 1:
            why = "joined two histories" if step.parents else "is the first of this formulary"
            what = f"The last save {why}, so nothing can be undone."
            raise InputError.of("undo-nothing", what, "Restore single files instead.")
        before = {path: blob for path, (blob, _) in self.changes_of(step.commit).items()}
        if not before:
            raise InputError.of(
                "undo-nothing", "The last commit changed no file of the formulary.", "Use git to undo it."
            )
        return self.restore(before, message=undo_message(self._git, step.commit))

    def redo(self) -> SaveResult:
        """Brings the save back that the last undo took away, as a new commit, and in the folder.

        Raises `InputError` when the last save was no undo, and `ChangedError` as `undo` does.
        """
        from formulary.store.undoing import find_to_redo, redo_message

        self.refresh()
        commit = find_to_redo(self._git, self._tip) if self._tip is not None else None
        if commit is None:
            what = "The last save was no undo, so there is nothing to bring back."
            raise InputError.of("redo-nothing", what, "`formulary history` and `restore` bring older versions back.")
        after = {path: blob for path, (_, blob) in self.changes_of(commit).items()}
        return self.restore(after, message=redo_message(self._git, commit))

    def name_commit(self, name: str, commit: str, *, message: str, now: datetime | None = None) -> str:
        """Gives a commit a lasting name (an annotated tag), which `resolve_revision` finds; returns the tag's id.

        Raises `InputError` for a name that is taken or that git cannot hold.
        """
        from formulary.store.names import create_tag_of, demand_lasting_name

        moment = now if now is not None else datetime.now().astimezone()
        tag = f"refs/tags/{demand_lasting_name(name)}"
        with self._saving(moment) as (_, person, _):
            if read_ref(self._repository, f"refs/heads/{name}") is not None:
                what = f"“{name}” is a branch in git, and git would not know which of the two is meant."
                raise InputError.of("name-taken", what, "Choose another name, such as shop-2026.")
            held = read_ref(self._repository, tag)
            if held is not None or not create_tag_of(self._repository, self._git, tag, commit, person, moment, message):
                said = reading.read_tag_subject(self._git, tag)
                what = f"The name “{name}” is given already{f' ({said})' if said else ''}."
                do = f"Lasting names are shared by all recipes: choose another, such as RECIPE-{name}."
                raise InputError.of("name-taken", what, do)
        return read_ref(self._repository, tag) or ""

    def names(self) -> Mapping[str, str]:
        """Lasting name -> the commit that it stands for."""
        return MappingProxyType(reading.read_names(self._git))

    def tidy(self) -> bool:
        """Packs the repository so that reading stays quick; False when another process is at it already."""
        from formulary.store.tidying import tidy

        return tidy(self._repository, self._git)

    def tidy_in_background(self) -> None:
        """Starts `tidy` in a process of its own; a save does so by itself now and then."""
        from formulary.store.tidying import tidy_in_background

        if self._tidying is None or self._tidying.poll() is not None:
            self._tidying = tidy_in_background(self._repository)
            if self._tidying is not None:  # somebody must take note of its end
                threading.Thread(target=self._tidying.wait, daemon=True).start()

    @property
    def is_untidy(self) -> bool:
        """Whether tidying is due."""
        from formulary.store.tidying import is_untidy

        return is_untidy(self._repository)

    def check_branch(self) -> tuple[Finding, ...]:
        """What stands in the way of a save in how git stands: a merge under way, a commit without a branch."""
        from formulary.store.under_way import check_branch

        return check_branch(self._repository)

    def demand_branch(self) -> None:
        """Raises StorageError, with the way out, where `check_branch` finds that nothing can be saved."""
        from formulary.store.under_way import demand_branch

        demand_branch(self._repository)

    def examine(self, *, deep: bool = False) -> tuple[Finding, ...]:
        """What is wrong with the repository and what is worth knowing; `deep` also checks every saved object."""
        from formulary.store import examining

        findings = examining.examine_repository(self._repository, self._git)
        if not deep:
            return findings
        saved_as: dict[str, set[str]] = {}
        with suppress(StorageError):  # a history that cannot be read is what the check will tell about
            for saved in self.history():
                if saved.blob is not None:
                    saved_as.setdefault(saved.blob, set()).add(saved.path)
        return (*findings, *examining.examine_objects(self._git, saved_as))

    @property
    def has_interrupted_save(self) -> bool:
        """Whether a save was cut short (or is under way in another process right now)."""
        from formulary.store.journal import has_intent

        return has_intent(self._repository)

    def finish_interrupted(self) -> tuple[Finding, ...]:
        """Brings a save that was cut short to its end, as the next save would; what was done about it."""
        with self._saving(datetime.now().astimezone()) as (_, _, finished):
            pass
        self.refresh()
        return finished

    def stale_paths(self) -> tuple[str, ...]:
        """Saved files that git's index is behind for, so that plain git would show changes that nobody made.

        A file that a person staged themselves differs from the folder or from the tip in another way and is left out.
        Of an index that is missing or damaged every one.
        """
        from formulary.store.index import read_index_blobs

        listed = read_index_blobs(self._repository, self._git)
        present = set(self.working_paths())
        return tuple(
            path
            for path, blob in self.tip_blobs().items()
            if path in present and listed.get(path) != blob and blob_id(self.read_working(path)) == blob
        )

    @property
    def has_index(self) -> bool:
        """Whether git can read its own list of files."""
        from formulary.store.index import has_whole_index

        return has_whole_index(self._repository)

    def refresh_index(self) -> tuple[Finding, ...]:
        """Brings git's index up to the last save for those files; what could not be done is a finding.

        One that is missing or damaged is written anew, by the last save alone.
        """
        from formulary.store.index import refresh_index
        from formulary.store.trees import find_entries, read_trees

        with self._saving(datetime.now().astimezone()):
            self.refresh()
            stale, anew = self.stale_paths(), not self.has_index
            if not (stale or anew):
                return ()
            trees = read_trees(self._git, self._repository.common_dir / "objects", self._tip, stale)
            return refresh_index(self._repository, self._git, find_entries(trees, stale), anew=anew)

    @contextmanager
    def _saving(self, moment: datetime) -> Iterator[tuple[Saving, Person, tuple[Finding, ...]]]:
        """Holds the saving lock, with an earlier save that was killed brought to its end."""
        from formulary.store.lock import saving_lock
        from formulary.store.person import ask_person, read_person
        from formulary.store.saving import Saving

        asked = ask_person(self._git) if self._person is None else None
        try:
            with saving_lock(self._repository.common_dir):
                saving = Saving(self._repository, self._git)
                if asked is not None:
                    self._person = read_person(asked)
                    asked = None
                assert self._person is not None
                yield saving, self._person, saving.finish_interrupted(self._person, moment)
        except OSError as fault:
            raise working.disk_error(fault, "The folder's .git") from fault
        finally:
            if asked is not None:
                asked.drop()


def open_store(root: Path) -> Store:
    """The store of the formulary whose top folder is `root`.

    Raises `StorageError` when the folder is not under git, is another user's, or its repository leads out
    of it.
    """
    folder = Path(os.path.realpath(root))
    if not folder.is_dir():
        raise StorageError.of("folder-missing", f"There is no folder {root}.", "Check the name.")
    try:
        return Store(find_repository(folder))
    except OSError as fault:
        raise working.disk_error(fault, "The folder's .git") from fault


def _demand_id(commit: str) -> str:
    if not is_full_id(commit):
        raise InputError.of("revision", f"“{commit[:60]}” is not the id of a commit.", "Give its 40 digits.")
    return commit
