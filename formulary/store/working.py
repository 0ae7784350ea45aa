"""The working files of a formulary: which there are, their bytes, and writing one whole or not at all."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
import threading
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from formulary.errors import InputError, StorageError
from formulary.finding import Finding, Place, error
from formulary.identity import blob_id
from formulary.store.paths import check_path, demand_path, from_system, to_system

TOP_FOLDERS = ("recipes", "materials", "trials")
TOP_FILES = ("formulary.yaml",)
_HALF_WRITTEN = ".formulary-new"
_ODD = ("file-linked", "file-odd")
_PIECE = 1_000_000  # bytes
LARGEST_FILE = 64_000_000  # bytes; a photo fits, a film does not
_TICK_NS = 100_000_000  # a file system's clock is not finer than this everywhere

Looks = tuple[tuple[str, int, int, int, int], ...]  # path, inode, bytes, times of content and of inode in ns


def find_working(root: Path, prefix: str = "") -> tuple[str, ...]:
    """The formulary's files below `root`, as sorted paths, without hidden ones and linked folders."""
    found = [name for name in TOP_FILES if os.path.lexists(root / name)]
    for name in TOP_FOLDERS:
        if not prefix or name.startswith(prefix) or prefix.startswith(name):
            _collect(str(root / name), name, prefix, found)
    return tuple(sorted(path for path in found if path.startswith(prefix)))


def find_changes(root: Path, saved: Mapping[str, str]) -> dict[str, tuple[str | None, str | None]]:
    """Path -> (saved blob, blob in the folder) of the files that differ; None stands for no file.

    Files at the top and in folders that are not the formulary's are left out.
    """
    ours = {path for path in saved if path in TOP_FILES or path.split("/", 1)[0] in TOP_FOLDERS}
    new = {path for path in find_working(root) if check_path(path) is None}
    return compare_with_saved(root, ours | new, saved)


def compare_with_saved(
    root: Path, paths: Iterable[str], saved: Mapping[str, str]
) -> dict[str, tuple[str | None, str | None]]:
    """The same for some paths. A new link, pipe or the like is left out: it cannot be saved, and stops nothing."""
    pairs = {}
    for path in sorted(paths):
        before = saved.get(path)
        try:
            after = read_working_blob(root, path)
        except InputError as fault:
            if before is None and all(finding.code in _ODD for finding in fault.findings):
                continue
            raise
        if before != after:
            pairs[path] = (before, after)
    return pairs


def read_working(root: Path, path: str) -> bytes:
    """The bytes of one working file.

    Raises `InputError` when it is not there or is not an ordinary file of this folder (a link, a folder, a
    device), or too large for a formulary.
    """
    with _open_ordinary(root, path) as (file, size):
        if size > LARGEST_FILE:
            raise InputError([too_large(path, size)])
        return file.read()


def read_working_size(root: Path, path: str) -> int:
    """How many bytes a working file holds. Raises as `read_working` does, but for the size."""
    with _open_ordinary(root, path) as (_, size):
        return size


def find_looks(root: Path, paths: Iterable[str]) -> Looks | None:
    """How files look from outside, by which a later change of one is told without reading it.

    None where it would not surely be: a file is missing, or was changed so lately that the next change may bear the
    same time.
    """
    within = str(root)  # joined as text, since this is asked whenever a material is
    try:
        found = [(path, os.lstat(os.path.join(within, to_system(path)))) for path in paths]
    except OSError:
        return None
    now = time.time_ns()
    # A file that is put back with its times, as a copy is, was changed when its inode was.
    if any(now - _TICK_NS < max(status.st_mtime_ns, status.st_ctime_ns) for _, status in found):
        return None
    return tuple((path, each.st_ino, each.st_size, each.st_mtime_ns, each.st_ctime_ns) for path, each in found)


def too_large(path: str, size_bytes: int) -> Finding:
    """What is said of a file that no save takes."""
    what = f"{path} holds {size_bytes / 1e6:.0f} MB; the largest file that is saved has {LARGEST_FILE // 1_000_000}"
    do = (
        "move it out of the formulary's folders, or save recipes alone, by name (formulary save RECIPE -m WHY); "
        "a save takes everything or nothing"
    )
    return error("file-too-large", what, do, Place(path=path))


def read_working_blob(root: Path, path: str) -> str | None:
    """The blob id of a working file of any size; None when there is none. Raises as `read_working` for odd ones."""
    try:
        with _open_ordinary(root, path) as (file, size):
            if size <= _PIECE:
                return blob_id(file.read())
            digest = hashlib.sha1(f"blob {size}\0".encode("ascii"), usedforsecurity=False)
            while piece := file.read(_PIECE):
                digest.update(piece)
            return digest.hexdigest()
    except InputError as fault:
        if any(finding.code != "file-missing" for finding in fault.findings):
            raise
        return None


@contextmanager
def _open_ordinary(root: Path, path: str) -> Iterator[tuple[IO[bytes], int]]:
    """An ordinary file of the folder, opened without following links or waiting for a pipe, and its size."""
    demand_path(path)
    _refuse_linked_folders(root, path)
    flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    try:
        descriptor = os.open(root / to_system(path), flags)
    except (FileNotFoundError, NotADirectoryError) as fault:
        what = f"There is no file {path}."
        raise InputError([error("file-missing", what, "Check the name.", Place(path=path))]) from fault
    except OSError as fault:
        if fault.errno in (errno.ELOOP, errno.EMLINK) or os.path.islink(root / to_system(path)):
            raise _linked(path) from fault
        if not stat.S_ISREG(_mode_of(root / to_system(path))):
            raise _odd(path) from fault
        raise disk_error(fault, path) from fault
    try:
        status = os.fstat(descriptor)
        if not stat.S_ISREG(status.st_mode):
            raise _odd(path)
        with os.fdopen(descriptor, "rb", closefd=False) as file:
            yield file, status.st_size
    except OSError as fault:
        raise disk_error(fault, path) from fault
    finally:
        os.close(descriptor)


def read_working_if_there(root: Path, path: str) -> bytes | None:
    """The bytes of a working file; None when there is no file. Raises as `read_working` does for odd ones."""
    try:
        return read_working(root, path)
    except InputError as fault:
        if any(finding.code != "file-missing" for finding in fault.findings):
            raise
        return None


def write_working(root: Path, path: str, data: bytes | None) -> None:
    """Puts `data` in the place of a working file (None removes it): old bytes or new, never a mixture.

    Raises `InputError` where a link stands in its way, `StorageError` when the disk refuses.
    """
    demand_path(path)
    _refuse_linked_folders(root, path)
    place = root / to_system(path)
    if place.is_symlink():
        raise _linked(path)
    try:
        if data is None:
            place.unlink(missing_ok=True)
            _remove_empty_folders(root, place.parent)
            return
        place.parent.mkdir(parents=True, exist_ok=True)
        temporary = place.parent / f".{os.urandom(6).hex()}{_HALF_WRITTEN}"
        try:
            with open(temporary, "xb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            if place.exists():
                os.chmod(temporary, stat.S_IMODE(place.stat().st_mode))
            os.replace(temporary, place)
        finally:
            temporary.unlink(missing_ok=True)
        sync_folder(place.parent)
    except OSError as fault:
        raise disk_error(fault, path) from fault


def clear_half_written(root: Path, path: str) -> None:
    """Removes what a killed `write_working` left beside `path`; call it only under the saving lock."""
    demand_path(path)
    _refuse_linked_folders(root, path)
    folder = (root / to_system(path)).parent
    try:
        for name in os.listdir(folder):
            if name.startswith(".") and name.endswith(_HALF_WRITTEN):
                (folder / name).unlink(missing_ok=True)
    except (FileNotFoundError, NotADirectoryError):
        return
    except OSError as fault:
        raise disk_error(fault, path) from fault
    _remove_empty_folders(root, folder)


@dataclass(frozen=True, slots=True)
class Draft:
    """A file to be written under a passing name and then, whole and on the disk, put under its lasting one."""

    passing: Path
    lasting: Path
    data: bytes
    mode: int = 0o666


def write_drafts(drafts: Sequence[Draft], folders: Iterable[Path] = ()) -> None:
    """Writes files of git's folder, waiting for the disk twice for all of them: for their bytes, and for their names.

    `folders` are folders that were made for them, whose own names must last too.
    """
    descriptors: list[int] = []
    left = [draft.passing for draft in drafts]
    try:
        for draft in drafts:
            descriptors.append(os.open(draft.passing, os.O_WRONLY | os.O_CREAT | os.O_EXCL, draft.mode))
            with os.fdopen(descriptors[-1], "wb", closefd=False) as file:
                file.write(draft.data)
        sync_together(descriptors)
        for draft in drafts:
            if draft.passing != draft.lasting:
                os.replace(draft.passing, draft.lasting)
            left.remove(draft.passing)
        sync_folders(dict.fromkeys([*(draft.lasting.parent for draft in drafts), *folders]))
    finally:
        for descriptor in descriptors:
            os.close(descriptor)
        for passing in left:
            passing.unlink(missing_ok=True)


def sync_folder(folder: Path) -> None:
    """Makes the names in a folder last through a power cut, where the system can."""
    sync_folders([folder])


def sync_folders(folders: Iterable[Path]) -> None:
    """Makes the names in several folders last through a power cut, where the system can."""
    if os.name == "nt":
        return
    descriptors: list[int] = []
    try:
        descriptors += (os.open(folder, os.O_RDONLY) for folder in folders)
        sync_together(descriptors)
    finally:
        for descriptor in descriptors:
            os.close(descriptor)


def sync_together(descriptors: Sequence[int]) -> None:
    """Waits until open files are on the disk; all at once, since the disk's journal takes them in one go then."""
    faults: list[BaseException] = []

    def sync(descriptor: int) -> None:
        try:
            os.fsync(descriptor)
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=sync, args=(descriptor,)) for descriptor in descriptors[1:]]
    for thread in threads:
        thread.start()
    if descriptors:
        sync(descriptors[0])
    for thread in threads:
        thread.join()
    if faults:
        raise faults[0]


def disk_error(fault: OSError, path: str) -> StorageError:
    """A fault of the disk in plain words."""
    if fault.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return StorageError.of(
            "folder-read-only",
            f"{path} may not be read or written by you.",
            "Make the folder writable for you, or copy it to a place of your own.",
        )
    if fault.errno in (errno.ENOSPC, errno.EDQUOT):
        return StorageError.of("disk-full", "The disk is full; nothing was saved.", "Free some space and try again.")
    return StorageError.of(
        "disk-failed", f"{path}: {fault.strerror or fault}.", "Check the disk and the folder, and try again."
    )


def _collect(folder: str, below: str, prefix: str, found: list[str]) -> None:
    if os.path.islink(folder):
        return
    try:
        entries = os.scandir(folder)
    except (FileNotFoundError, NotADirectoryError):
        return
    except OSError as fault:
        raise disk_error(fault, below) from fault
    with entries:
        here = list(entries)
        if any(entry.name == ".git" for entry in here):
            return  # another repository, not a part of this formulary
        for entry in here:
            if entry.name.startswith("."):
                continue
            path = f"{below}/{from_system(entry.name)}"
            if entry.is_dir(follow_symlinks=False):
                if not prefix or f"{path}/".startswith(prefix) or prefix.startswith(f"{path}/"):
                    _collect(entry.path, path, prefix, found)
            else:
                found.append(path)


def _refuse_linked_folders(root: Path, path: str) -> None:
    parts = path.split("/")
    for count in range(1, len(parts)):
        folder = "/".join(parts[:count])
        if (root / to_system(folder)).is_symlink():
            raise _linked(folder)


def _mode_of(place: Path) -> int:
    try:
        return os.lstat(place).st_mode
    except OSError:
        return stat.S_IFREG


def _odd(path: str) -> InputError:
    what = f"{path} is not an ordinary file."
    return InputError([error("file-odd", what, "Put a text file there.", Place(path=path))])


def _linked(path: str) -> InputError:
    return InputError(
        [
            error(
                "file-linked",
                f"{path} is a link to another place; only files of the formulary's own folder are used.",
                "Put the file itself there.",
                Place(path=path),
            )
        ]
    )


def _remove_empty_folders(root: Path, folder: Path) -> None:
    while folder.parent != root and folder != root:
        try:
            folder.rmdir()
        except OSError:
            return
        folder = folder.parent
