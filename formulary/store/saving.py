"""One save: a commit of several files, all or nothing, onto the tip that it was meant for, there to stay.

The order is what makes it safe. The objects are written and on the disk; the intent is noted; working files
take their place; the branch moves, and with that the save is true; git's index is told; the note goes. A
process killed anywhere leaves the old state or the new one, and `Saving.finish_interrupted` tidies up what
lies between.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime

from formulary.errors import ChangedError, InputError, StorageError
from formulary.finding import Finding, Place, error, note, warn
from formulary.identity import blob_id
from formulary.store.branch import clear_branch_lock, draft_branch, move_branch
from formulary.store.index import clear_index_lock, clear_private_indexes, refresh_index
from formulary.store.journal import Intent, clear_intent, draft_intent, has_intent, read_intent
from formulary.store.objects import named, render_commit, write_objects
from formulary.store.person import Person
from formulary.store.process import Git
from formulary.store.reading import read_blobs
from formulary.store.repository import Repository, read_branch, read_ref
from formulary.store.saved import SaveResult
from formulary.store.trees import Trees, apply_blobs, demand_names, find_blob, find_entries, read_trees
from formulary.store.under_way import demand_branch
from formulary.store.working import (
    LARGEST_FILE,
    clear_half_written,
    read_working_blob,
    read_working_if_there,
    write_drafts,
    write_working,
)

_TRIES = 100


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be saved: the bytes of files, why, and what the caller had read of them."""

    files: Mapping[str, bytes | None]
    message: str
    now: datetime
    read_from: str | None
    expected: Mapping[str, str | None] | None
    write_working: bool
    working_read: Mapping[str, str | None] | None


class Saving:
    """Makes commits in one repository; used only under the saving lock."""

    def __init__(self, repository: Repository, git: Git) -> None:
        self._repository = repository
        self._git = git
        self._objects = repository.common_dir / "objects"

    def save(self, order: Order, person: Person) -> SaveResult:
        """Commits the files onto the branch tip, again when somebody else's commit came between."""
        branch = demand_branch(self._repository)
        message = tidy_message(order.message)
        wanted = {path: None if data is None else blob_id(data) for path, data in order.files.items()}
        known = self._known(order, wanted)
        old = self._demand_working(order, known, wanted) if order.write_working else {}
        working_before = {path: None if data is None else blob_id(data) for path, data in old.items()}
        try:
            return self._commit(order, person, branch, message, wanted, known, working_before)
        except BaseException:
            self._give_up(old, wanted)
            raise

    def _commit(
        self,
        order: Order,
        person: Person,
        branch: str,
        message: str,
        wanted: Mapping[str, str | None],
        known: Mapping[str, str | None],
        working_before: Mapping[str, str | None],
    ) -> SaveResult:
        intent = None
        for _ in range(_TRIES):
            tip = read_ref(self._repository, branch)
            trees = read_trees(self._git, self._objects, tip, wanted)
            _demand_unchanged(trees, wanted, known)
            demand_names(trees, wanted)
            if all(find_blob(trees, path) == blob for path, blob in wanted.items()):
                if tip is None:
                    raise InputError.of("save-nothing", "There is nothing to save.", "Change or add a file first.")
                self._put_working(order.files, working_before)
                clear_intent(self._repository)
                return SaveResult(tip, (note("save-nothing", "Nothing had changed, so there is no new save.", ""),))
            contents = dict(named("blob", data) for data in order.files.values() if data is not None)
            root = apply_blobs(trees, wanted, contents)
            parents = [tip] if tip else []
            signature = person.signature(order.now)
            commit, body = named("commit", render_commit(root, parents, signature, message))
            contents[commit] = body
            first = intent is None
            intent = Intent(branch, tip, commit, wanted, working_before)
            beside = [draft_branch(self._repository, commit), draft_intent(self._repository, intent)]
            write_objects(self._git, self._objects, contents, beside)
            if first:
                self._put_working(order.files, working_before)
            if self._move(intent, signature, message):
                return SaveResult(commit, self._end(trees, wanted))
        raise StorageError.of(
            "save-crowded", "Other programs kept changing the history during this save.", "Save again in a moment."
        )

    def _give_up(self, old: Mapping[str, bytes | None], wanted: Mapping[str, str | None]) -> None:
        """After a fault: puts working files back, unless the save had become true, which the next one then ends."""
        intent = read_intent(self._repository)
        if intent is None or read_ref(self._repository, intent.branch) == intent.commit:
            return
        for path, data in sorted(old.items(), key=lambda item: item[1] is not None):  # what is removed makes room
            if read_working_blob(self._repository.root, path) == wanted[path]:
                write_working(self._repository.root, path, data)
        clear_intent(self._repository)

    def finish_interrupted(self, person: Person, now: datetime) -> tuple[Finding, ...]:
        """Ends a save that was killed: completes it when files of it are in the folder already, else forgets it."""
        if not has_intent(self._repository):
            return ()
        clear_private_indexes(self._repository)
        clear_index_lock(self._repository)
        intent = read_intent(self._repository)
        if intent is None:
            clear_intent(self._repository)
            return ()
        clear_branch_lock(self._repository, intent.branch)
        for path in intent.working_before:
            clear_half_written(self._repository.root, path)
        tip = read_ref(self._repository, intent.branch)
        if tip is not None and self._is_ancestor(intent.commit, tip):
            return (*self._finish_working(intent), *self._end_at(tip, intent))
        working = {path: read_working_blob(self._repository.root, path) for path in intent.working_before}
        begun = any(working[path] == intent.blobs.get(path) != before for path, before in intent.working_before.items())
        if not begun or tip != intent.before or read_branch(self._repository) != intent.branch:
            clear_intent(self._repository)
            return ()
        write_drafts([draft_branch(self._repository, intent.commit)])
        findings = self._finish_working(intent)
        if not self._move(intent, person.signature(now), "finish an interrupted save"):
            clear_intent(self._repository)
            return findings
        done = note("save-finished", "An earlier save had been cut short; it is now complete.", "")
        return (done, *findings, *self._end_at(intent.commit, intent))

    def _move(self, intent: Intent, signature: str, message: str) -> bool:
        subject = message.split("\n", 1)[0]
        return move_branch(
            self._repository, intent.branch, intent.before, intent.commit, signature=signature, subject=subject
        )

    def _end_at(self, tip: str, intent: Intent) -> tuple[Finding, ...]:
        return self._end(read_trees(self._git, self._objects, tip, intent.blobs), intent.blobs)

    def _end(self, trees: Trees, paths: Iterable[str]) -> tuple[Finding, ...]:
        """After the branch has moved: tells the index, and forgets the intent."""
        findings = refresh_index(self._repository, self._git, find_entries(trees, paths))
        if not findings:  # else the next save tries again
            with suppress(OSError):
                clear_intent(self._repository)
        return findings

    def _put_working(self, files: Mapping[str, bytes | None], working_before: Mapping[str, str | None]) -> None:
        for path in working_before:
            write_working(self._repository.root, path, files[path])

    def _finish_working(self, intent: Intent) -> tuple[Finding, ...]:
        """Puts the files of an interrupted save into the folder where nobody has touched them since."""
        after = [blob for path, blob in intent.blobs.items() if path in intent.working_before and blob]
        contents = dict(read_blobs(self._git, after, size_limit=LARGEST_FILE))
        findings = []
        for path, before in intent.working_before.items():
            blob = intent.blobs.get(path)
            held = read_working_blob(self._repository.root, path)
            if held == blob:
                continue
            if held != before or (blob is not None and blob not in contents):
                findings.append(
                    warn(
                        "changed-on-disk",
                        f"{path} was edited after a save that was cut short; it was left as it is.",
                        "Compare it with the saved version.",
                        Place(path=path),
                    )
                )
                continue
            write_working(self._repository.root, path, None if blob is None else contents[blob])
        return tuple(findings)

    def _is_ancestor(self, commit: str, tip: str) -> bool:
        if commit == tip:
            return True
        status, _ = self._git.run(["merge-base", "--is-ancestor", commit, tip], allowed=(0, 1, 128))
        return status == 0

    def _known(self, order: Order, wanted: Mapping[str, str | None]) -> Mapping[str, str | None]:
        """The blob that the caller had read of each path (None: no file)."""
        known = dict(order.expected or {})
        missing = [path for path in wanted if path not in known]
        if missing:
            trees = read_trees(self._git, self._objects, order.read_from, missing)
            known.update((path, find_blob(trees, path)) for path in missing)
        return known

    def _demand_working(
        self, order: Order, known: Mapping[str, str | None], wanted: Mapping[str, str | None]
    ) -> dict[str, bytes | None]:
        """What the folder holds of the files now; `ChangedError` when it is not what the caller had read."""
        working_read = {**known, **(order.working_read or {})}
        old = {path: read_working_if_there(self._repository.root, path) for path in wanted}
        held = {path: None if data is None else blob_id(data) for path, data in old.items()}
        findings = [
            error(
                "changed-on-disk",
                f"{path} {_said_of(path, order)}; it was not overwritten.",
                "Save your own changes to it first, or throw them away, then try again.",
                Place(path=path),
            )
            for path, blob in held.items()
            if blob not in (working_read[path], wanted[path])
        ]
        if findings:
            raise ChangedError(findings)
        return old


def tidy_message(message: str) -> str:
    """A commit message that git keeps as it is; `InputError` when there is nothing in it."""
    text = "\n".join(line.rstrip() for line in message.replace("\0", "").splitlines()).strip("\n")
    if not text.strip():
        raise InputError.of("save-why", "A save needs a word on why.", "Say it in a few words with -m.")
    return text + "\n"


def _said_of(path: str, order: Order) -> str:
    """Why a file of the folder is left alone: against what its caller had read of it, or else the last save."""
    was_read = order.working_read is not None and path in order.working_read
    return "was changed after it was read" if was_read else "has changes that were not saved"


def _demand_unchanged(trees: Trees, wanted: Mapping[str, str | None], known: Mapping[str, str | None]) -> None:
    """`ChangedError` when a path holds at the tip something else than what the caller had read."""
    findings = []
    for path, blob in wanted.items():
        held = find_blob(trees, path)
        if held not in (known[path], blob):
            findings.append(
                error(
                    "changed-meanwhile",
                    f"{path} was {'saved' if held else 'deleted'} by someone else since it was read; "
                    "nothing was overwritten.",
                    "Read it again, look at what differs, and save again.",
                    Place(path=path),
                )
            )
    if findings:
        raise ChangedError(findings)
