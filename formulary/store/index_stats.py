"""What git's index remembers of a file's looks (times, size), so that an unchanged one need not be read again.

Git fills this in when it reads a file itself, which it must not do in a stranger's folder (filters could run). So it is
done here, for files whose bytes are known to be the saved ones. The layout is gitformat-index(5), versions 2 and 3.
"""

from __future__ import annotations

import hashlib
import os
import struct
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

from formulary.errors import FormularyError
from formulary.store.paths import to_system
from formulary.store.working import read_working_blob

SETTLED_S = 3.0  # a file changed more recently could change again without looking different (disks with coarse clocks)
_HEAD = 62  # bytes of an entry before its name
_EXTENDED = 0x4000
_NAME_LENGTH = 0x0FFF


def remember_stats(index: Path, root: Path, blobs: Mapping[str, str]) -> None:
    """Enters the looks of the working files that hold exactly these blobs into an index file that is our own."""
    data = bytearray(index.read_bytes())
    if not _is_known(data):
        return
    changed = False
    for path, blob in blobs.items():
        start = _find_entry(data, path.encode("utf-8"), bytes.fromhex(blob))
        looks = _settled_looks(root, path, blob) if start is not None else None
        if start is not None and looks is not None:
            times, owner = looks
            struct.pack_into(">6I", data, start, *times)
            struct.pack_into(">3I", data, start + 28, *owner)
            changed = True
    if changed:
        if any(data[-20:]):  # all zero: an index without a check sum
            data[-20:] = hashlib.sha1(data[:-20], usedforsecurity=False).digest()
        index.write_bytes(data)


def find_unremembered(data: bytes) -> Iterator[tuple[str, tuple[str, str]]]:
    """(path, (mode, blob)) of each entry of an index whose looks are not remembered."""
    if not _is_known(data):
        return
    place = 12
    for _ in range(int.from_bytes(data[8:12], "big")):
        flags = int.from_bytes(data[place + 60 : place + 62], "big")
        begin = place + _HEAD + (2 if flags & _EXTENDED else 0)
        end = data.index(b"\0", begin)
        if not any(data[place : place + 16]) and not flags & ~_NAME_LENGTH:
            mode = f"{int.from_bytes(data[place + 24 : place + 28], 'big'):o}"
            yield data[begin:end].decode("utf-8", "surrogateescape"), (mode, data[place + 40 : place + 60].hex())
        place += (end - place + 8) // 8 * 8


def _is_known(data: bytes | bytearray) -> bool:
    return bytes(data[:4]) == b"DIRC" and bytes(data[4:8]) in (b"\0\0\0\2", b"\0\0\0\3")


def _find_entry(data: bytearray, name: bytes, blob: bytes) -> int | None:
    place = data.find(name + b"\0")
    while place >= 0:
        start = place - _HEAD
        flags = int.from_bytes(data[place - 2 : place], "big")
        is_plain = not flags & ~_NAME_LENGTH and flags & _NAME_LENGTH == min(len(name), _NAME_LENGTH)
        if start >= 12 and is_plain and data[place - 22 : place - 2] == blob:
            return start
        place = data.find(name + b"\0", place + 1)
    return None


def _settled_looks(root: Path, path: str, blob: str) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
    """The looks of a working file as the index keeps them, if its bytes are those of the blob and it is at rest."""
    try:
        before = os.lstat(root / to_system(path))
        if read_working_blob(root, path) != blob:
            return None
        after = os.lstat(root / to_system(path))
    except (OSError, FormularyError):
        return None
    if (before.st_mtime_ns, before.st_ctime_ns, before.st_ino) != (after.st_mtime_ns, after.st_ctime_ns, after.st_ino):
        return None
    if time.time_ns() - max(after.st_mtime_ns, after.st_ctime_ns) < SETTLED_S * 1e9:
        return None
    times = []
    for moment in (after.st_ctime_ns, after.st_mtime_ns):
        times += [moment // 1_000_000_000 & 0xFFFFFFFF, moment % 1_000_000_000]
    times += [after.st_dev & 0xFFFFFFFF, after.st_ino & 0xFFFFFFFF]
    return tuple(times), (after.st_uid & 0xFFFFFFFF, after.st_gid & 0xFFFFFFFF, after.st_size & 0xFFFFFFFF)
