"""Git's objects as bytes: directories (trees) and commits, and writing them to the disk so that they stay."""

from __future__ import annotations

import hashlib
import os
import struct
import zlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from formulary.errors import StorageError
from formulary.identity import object_id
from formulary.store.process import Git
from formulary.store.working import Draft, sync_folder, write_drafts

FILE_MODE = b"100644"
PROGRAM_MODE = b"100755"
FOLDER_MODE = b"40000"
MOST_LOOSE = 40  # objects of one save that are written one by one
_PACK_KINDS = {"commit": 1, "tree": 2, "blob": 3, "tag": 4}
_MOST_TRIES = 4  # of writing into folders that another process may remove while they are empty
LARGEST_TREE = 64_000_000  # bytes; a folder of some 800,000 files


@dataclass(slots=True)
class Tree:
    """One directory as git saves it: name -> (mode, id)."""

    entries: dict[bytes, tuple[bytes, str]] = field(default_factory=dict)

    @classmethod
    def parse(cls, data: bytes) -> Tree:
        """The tree that these bytes hold."""
        entries = {}
        place = 0
        while place < len(data):
            space = data.index(b" ", place)
            end = data.index(b"\0", space)
            entries[data[space + 1 : end]] = (data[place:space], data[end + 1 : end + 21].hex())
            place = end + 21
        return cls(entries)

    def render(self) -> bytes:
        """The bytes of the tree; git sorts a directory as if its name ended in a slash."""

        def order(item: tuple[bytes, tuple[bytes, str]]) -> bytes:
            name, (mode, _) = item
            return name + b"/" if mode == FOLDER_MODE else name

        return b"".join(
            b"%s %s\0%s" % (mode, name, bytes.fromhex(identifier))
            for name, (mode, identifier) in sorted(self.entries.items(), key=order)
        )


def render_commit(tree: str, parents: Iterable[str], signature: str, message: str) -> bytes:
    """The bytes of a commit object that one person authored and committed at one time."""
    lines = [f"tree {tree}", *(f"parent {parent}" for parent in parents)]
    lines += [f"author {signature}", f"committer {signature}"]
    return ("\n".join(lines) + "\n\n" + message).encode("utf-8", "replace")


def read_loose(objects: Path, identifier: str) -> tuple[str, bytes] | None:
    """(kind, bytes) of an object that lies by itself; None when it is packed, missing or damaged."""
    try:
        packed = (objects / identifier[:2] / identifier[2:]).read_bytes()
    except OSError:
        return None
    try:
        inflater = zlib.decompressobj()
        data = inflater.decompress(packed, LARGEST_TREE + 64)
    except zlib.error:
        return None
    header, _, body = data.partition(b"\0")
    kind, _, size = header.partition(b" ")
    if not size.isdigit() or int(size) != len(body):
        return None
    if hashlib.sha1(data, usedforsecurity=False).hexdigest() != identifier:
        return None
    return kind.decode("ascii", "replace"), body


def write_objects(
    git: Git, objects: Path, contents: Mapping[str, tuple[str, bytes]], beside: Sequence[Draft] = ()
) -> None:
    """Writes objects (id -> kind, bytes) so that a power cut after the return cannot lose them, and drafts beside them.

    A few are written one by one, many as one pack, since each file of its own waits for the disk. The drafts get
    their lasting names after the objects.
    """
    if len(contents) <= MOST_LOOSE:
        write_loose(objects, contents, beside)
    else:
        git.run(["index-pack", "--stdin", "--strict"], stdin=render_pack(contents.values()))
        sync_folder(objects / "pack")
        write_drafts(beside)


def render_pack(contents: Collection[tuple[str, bytes]]) -> bytes:
    """A pack (git's file of many objects) with these objects whole: gitformat-pack(5), version 2."""
    parts = [b"PACK" + struct.pack(">II", 2, len(contents))]
    for kind, data in contents:
        size = len(data)
        first = (_PACK_KINDS[kind] << 4) | (size & 15)
        size >>= 4
        while size:
            parts.append(bytes([first | 128]))
            first = size & 127
            size >>= 7
        parts.append(bytes([first]) + zlib.compress(data, 1))
    pack = b"".join(parts)
    return pack + hashlib.sha1(pack, usedforsecurity=False).digest()


def write_loose(objects: Path, contents: Mapping[str, tuple[str, bytes]], beside: Sequence[Draft] = ()) -> None:
    """Writes each object into a file of its own.

    An object that is there and whole is kept. New ones become visible under their name only when their bytes are on
    the disk, so a crash leaves at most a temporary file, which git's own clean-up removes.
    """
    for _ in range(_MOST_TRIES - 1):
        # Tidying, in another process, removes a folder that it finds empty: between our making and our using it.
        with suppress(FileNotFoundError):
            _write_loose(objects, contents, beside)
            return
    _write_loose(objects, contents, beside)


def _write_loose(objects: Path, contents: Mapping[str, tuple[str, bytes]], beside: Sequence[Draft]) -> None:
    drafts: list[Draft] = []
    made: list[Path] = []
    for identifier, (kind, data) in contents.items():
        place = objects / identifier[:2] / identifier[2:]
        if place.exists() and read_loose(objects, identifier) is not None:
            os.utime(place)  # keeps git's clean-up from taking it for long-forgotten
            continue
        if not place.parent.is_dir():
            place.parent.mkdir(exist_ok=True)
            made.append(objects)
        packed = zlib.compress(f"{kind} {len(data)}\0".encode("ascii") + data, 1)
        drafts.append(Draft(place.parent / f"tmp_obj_{os.urandom(6).hex()}", place, packed, 0o444))
    write_drafts([*drafts, *beside], made)


def named(kind: str, data: bytes) -> tuple[str, tuple[str, bytes]]:
    """The id of an object beside its kind and bytes, as `write_loose` takes them."""
    return object_id(kind, data), (kind, data)


def damaged(identifier: str) -> StorageError:
    """That a saved object cannot be read."""
    return StorageError.of(
        "git-object-missing",
        f"The saved object {identifier} is missing or damaged, so nothing could be added to the history.",
        "Run `git fsck` in the folder; restore .git from a copy. Your working files are not touched.",
    )
