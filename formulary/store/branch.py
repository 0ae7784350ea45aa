"""Moving the branch: the one instant at which a save becomes true.

Git's own protocol is followed (a lock file beside the reference, put in its place when all is well), with one
addition: our lock is a hard link to a file of ours, so that one left behind by a process that was killed can
be told from the lock of a running git command, and goes away by itself.
"""

from __future__ import annotations

import os
import time
from contextlib import suppress
from pathlib import Path

from formulary.errors import StorageError
from formulary.store.repository import Repository, read_ref
from formulary.store.working import Draft, sync_folder, write_drafts

NO_OBJECT = "0" * 40
_PATIENCE_S = 5.0


def draft_branch(repository: Repository, after: str) -> Draft:
    """The value that the branch is about to get as a file to be written; moving it then needs no more room."""
    ours = _ours(repository)
    ours.unlink(missing_ok=True)
    return Draft(ours, ours, f"{after}\n".encode("ascii"))


def move_branch(
    repository: Repository, branch: str, before: str | None, after: str, *, signature: str, subject: str
) -> bool:
    """Moves `branch` from `before` to the drafted `after`, durably; False when it is not at `before` any more."""
    line = f"{before or NO_OBJECT} {after} {signature}\tformulary: {subject}\n"
    return _move(repository, branch, before, line)


def create_tag(repository: Repository, tag: str, target: str) -> bool:
    """Makes the reference of a tag (`refs/tags/...`), durably; False when there is one already."""
    write_drafts([draft_branch(repository, target)])
    return _move(repository, tag, None, None)


def _move(repository: Repository, reference: str, before: str | None, line: str | None) -> bool:
    place = repository.common_dir / reference
    ours = _ours(repository)
    place.parent.mkdir(parents=True, exist_ok=True)
    lock = place.with_name(place.name + ".lock")
    take_lock(ours, lock, patience_s=_PATIENCE_S)
    try:
        if read_ref(repository, reference) != before:
            return False
        if line is not None:
            with suppress(OSError):  # the log is a help, not a condition
                _log(repository, reference, line)
        os.replace(lock, place)
        sync_folder(place.parent)
        return True
    finally:
        _drop(ours, lock)


def clear_branch_lock(repository: Repository, branch: str) -> None:
    """Removes the lock that a killed save of ours left; the lock of anybody else stays."""
    place = repository.common_dir / branch
    _drop(_ours(repository), place.with_name(place.name + ".lock"))


def take_lock(ours: Path, lock: Path, *, patience_s: float) -> None:
    """Makes `lock` a second name of `ours`; waits while another program holds it, then `StorageError`."""
    give_up = time.monotonic() + patience_s
    while True:
        try:
            _link(ours, lock)
        except FileExistsError as fault:
            if time.monotonic() > give_up:
                raise StorageError.of(
                    "git-locked",
                    f"Another git command is at work in this folder (it holds {lock}).",
                    "Wait for it to end; when none is running any more, delete that file, then save again.",
                ) from fault
            time.sleep(0.01)
        else:
            return


def is_ours(ours: Path, lock: Path) -> bool:
    """Whether a lock file is one that a save of ours made."""
    try:
        if os.path.samefile(ours, lock):
            return True
        return lock.stat().st_size > 0 and lock.read_bytes() == ours.read_bytes()  # a disk without hard links
    except OSError:
        return False


def _ours(repository: Repository) -> Path:
    return repository.common_dir / "formulary-branch"


def _drop(ours: Path, lock: Path) -> None:
    if is_ours(ours, lock):
        lock.unlink(missing_ok=True)
    ours.unlink(missing_ok=True)


def _link(ours: Path, lock: Path) -> None:
    try:
        os.link(ours, lock)
    except FileExistsError:
        raise
    except OSError:  # a disk that knows no hard links (FAT, some network disks)
        descriptor = os.open(lock, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        with os.fdopen(descriptor, "wb") as file:
            file.write(ours.read_bytes())
            file.flush()
            os.fsync(file.fileno())


def _log(repository: Repository, branch: str, line: str) -> None:
    """Tells git's own log of the branch, from which `git reflog` can bring back any state."""
    for place in (repository.common_dir / "logs" / branch, repository.git_dir / "logs" / "HEAD"):
        place.parent.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(place, os.O_WRONLY | os.O_APPEND | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o666)
        with os.fdopen(descriptor, "ab") as file:
            file.write(line.encode("utf-8", "replace"))
