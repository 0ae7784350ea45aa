"""Git's list of staged files: told about the files of a save, and about no others."""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from formulary.errors import StorageError
from formulary.finding import Finding, warn
from formulary.store.branch import NO_OBJECT, is_ours, take_lock
from formulary.store.index_stats import remember_stats
from formulary.store.process import Git
from formulary.store.repository import Repository

_PATIENCE_S = 2.0
_PRIVATE = "formulary-index-"


def refresh_index(
    repository: Repository,
    git: Git,
    entries: Mapping[str, tuple[str, str] | None],
    *,
    anew: bool = False,
) -> tuple[Finding, ...]:
    """Enters what was saved, path -> (mode, blob), into git's index (None: deleted); other staged files stay.

    anew: in the place of an index that cannot be read. Where there is none it begins with all that is saved.

    The save stands already, so what goes wrong here is a finding. Git works on a copy, which then takes the
    index's place: a killed save leaves no half-written index and no lock that a person has to remove. Git looks at
    an empty folder meanwhile, since it would otherwise read freshly changed files through the filters that a
    stranger's folder names; and the time of the index stays, by which git knows which files to look at again.
    """
    index = repository.git_dir / "index"
    lock = repository.git_dir / "index.lock"
    ours = repository.git_dir / "formulary-index"
    private = repository.git_dir / f"{_PRIVATE}{os.urandom(6).hex()}"
    empty = private.with_suffix(".empty")
    lines = "".join(
        f"{entry[0]} {entry[1]}\t{path}\0" if entry is not None else f"0 {NO_OBJECT}\t{path}\0"
        for path, entry in entries.items()
    )
    try:
        clear_private_indexes(repository)
        ours.unlink(missing_ok=True)
        ours.write_bytes(b"formulary\n")
        take_lock(ours, lock, patience_s=_PATIENCE_S)
        try:
            empty.mkdir()
            variables = {"GIT_INDEX_FILE": str(private), "GIT_WORK_TREE": str(empty)}
            written = 0
            if index.exists() and not anew:
                if not has_whole_index(repository):  # git would take what is left of it, and call it sound
                    raise StorageError.of("index-damaged", "Git's index is damaged.", "Run `formulary doctor --mend`.")
                shutil.copyfile(index, private)
                written = index.stat().st_mtime_ns
            else:
                git.run(["read-tree", "HEAD"], variables=variables, folder=empty)
            git.run(
                ["update-index", "-z", "--add", "--remove", "--index-info"],
                stdin=lines.encode("utf-8"),
                variables=variables,
                folder=empty,
            )
            remember_stats(private, repository.root, {path: entry[1] for path, entry in entries.items() if entry})
            if written:
                os.utime(private, ns=(written, written))
            os.replace(private, index)
        finally:
            private.unlink(missing_ok=True)
            with suppress(OSError):
                empty.rmdir()
            clear_index_lock(repository)
    except (OSError, StorageError):
        what = "The save stands, but git's list of staged files could not be brought up to date."
        do = "When no other git command is running: `formulary doctor --mend`."
        if lock.exists():
            what += f" Git's lock stands in the way: {lock}."
            do = "When no other git command is running, delete that file, then `formulary doctor --mend`."
        return (warn("index-stale", what, do),)
    return ()


def clear_index_lock(repository: Repository) -> None:
    """Removes what a killed save of ours left beside the index; the lock of anybody else stays."""
    ours = repository.git_dir / "formulary-index"
    lock = repository.git_dir / "index.lock"
    if is_ours(ours, lock):
        lock.unlink(missing_ok=True)
    ours.unlink(missing_ok=True)


def clear_private_indexes(repository: Repository) -> None:
    """Removes the copies of the index that killed saves left."""
    for name in os.listdir(repository.git_dir):
        place = Path(repository.git_dir, name)
        if name.startswith(_PRIVATE) and place.is_dir():
            place.rmdir()
        elif name.startswith(_PRIVATE):
            place.unlink(missing_ok=True)


def read_index_blobs(repository: Repository, git: Git) -> dict[str, str]:
    """Path -> blob id of the files that git's index lists; none where it is missing or damaged."""
    if not has_whole_index(repository):
        return {}
    _, output = git.run(["ls-files", "--stage", "-z", "--full-name"])
    listed = output.decode("utf-8", "surrogateescape")
    entries = (line.partition("\t") for line in listed.split("\0") if line)
    return {path: head.split(" ")[1] for head, _, path in entries}


def has_whole_index(repository: Repository) -> bool:
    """Whether the index is as git wrote it, by the check sum at its end, which git itself hardly looks at."""
    try:
        data = (repository.git_dir / "index").read_bytes()
    except OSError:
        return False
    body, check_sum = data[:-20], data[-20:]
    return body.startswith(b"DIRC") and check_sum in (bytes(20), hashlib.sha1(body, usedforsecurity=False).digest())
