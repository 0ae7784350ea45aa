"""The lock of a save: a second process waits for it, and the system takes it back when its holder dies."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from formulary.errors import StorageError
from formulary.store.working import disk_error

_PATIENCE_S = 60.0


@contextmanager
def saving_lock(common_dir: Path) -> Iterator[None]:
    """Holds the one lock under which saves are made; `StorageError` when another save does not end in time.

    The file stays where it is for ever and means nothing by itself: the lock is the system's, on the open
    file.
    """
    place = common_dir / "formulary.lock"
    try:
        descriptor = os.open(place, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o666)
    except OSError as fault:
        raise disk_error(fault, "The folder's .git") from fault
    try:
        _take(descriptor)
        yield
    finally:
        os.close(descriptor)  # gives the lock back


@contextmanager
def tidying_lock(common_dir: Path) -> Iterator[bool]:
    """Holds the lock of the tidying; gives False at once when another process has it."""
    descriptor = os.open(
        common_dir / "formulary-tidying.lock", os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o666
    )
    try:
        yield _try_take(descriptor)
    finally:
        os.close(descriptor)


def _take(descriptor: int) -> None:
    give_up = time.monotonic() + _PATIENCE_S
    pause_s = 0.001
    while not _try_take(descriptor):
        if time.monotonic() > give_up:
            raise StorageError.of(
                "save-waiting",
                f"Another program has been saving in this formulary for more than {_PATIENCE_S:.0f} s.",
                "Wait for it to end, or end it, and save again.",
            )
        time.sleep(pause_s)
        pause_s = min(pause_s * 1.5, 0.02)


if os.name == "nt":  # pragma: no cover - not run by the tests of this project's machines
    import msvcrt

    def _try_take(descriptor: int) -> bool:
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        except OSError:
            return False
        return True

else:
    import fcntl

    def _try_take(descriptor: int) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError as fault:
            raise disk_error(fault, "The folder's .git") from fault
        return True
