"""Files outside of a save that stand whole or not at all: half a certificate, or half a sheet, would be believed."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from formulary.errors import StorageError


def write_whole(path: Path, data: bytes) -> None:
    """Put a file in the place of what is there, whole or not at all; where a link stands, what it leads to is replaced.

    Raises StorageError when the disk refuses.
    """
    real = Path(os.path.realpath(path))
    beside = real.with_name(f".{real.name}.part")
    try:
        beside.write_bytes(data)
        beside.replace(real)
    except OSError as fault:
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        raise _refused(str(path), fault) from None


def write_new(path: Path, data: bytes, *, named: str | None = None) -> None:
    """Write a file that is not there yet, in a folder that is made where it is missing; whole or not at all.

    named: what the file is called to a person; its path unless given. Raises FileExistsError for one that is there,
    StorageError when the disk refuses.
    """
    try:
        path.parent.mkdir(exist_ok=True)
        file = path.open("xb")
    except FileExistsError:
        raise
    except OSError as fault:
        raise _refused(named or str(path), fault) from None
    try:
        with file:
            file.write(data)
    except OSError as fault:
        with suppress(OSError):
            path.unlink(missing_ok=True)
        raise _refused(named or str(path), fault) from None


def _refused(name: str, fault: OSError) -> StorageError:
    what = f"{name} could not be written ({fault.strerror})"
    do = "check that its folder is there, its permissions, and the disk's space"
    return StorageError.of("not-written", what, do)
