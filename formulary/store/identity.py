"""The id of a version: the git blob id of its bytes, the same on every machine; no git is needed."""

from __future__ import annotations

import hashlib

_HEX = frozenset("0123456789abcdef")


def blob_id(data: bytes) -> str:
    """The id that git gives to a file with these bytes (40 hexadecimal digits)."""
    return object_id("blob", data)


def object_id(kind: str, data: bytes) -> str:
    """The id that git gives to an object of `kind` (`blob`, `tree`, `commit`, `tag`) with these bytes."""
    header = f"{kind} {len(data)}\0".encode("ascii")
    return hashlib.sha1(header + data, usedforsecurity=False).hexdigest()


def is_full_id(text: str) -> bool:
    """Whether `text` is a full object id: 40 lowercase hexadecimal digits."""
    return len(text) == 40 and _HEX.issuperset(text)


def is_id_prefix(text: str) -> bool:
    """Whether `text` can be the beginning of an object id: 4 to 40 lowercase hexadecimal digits."""
    return 4 <= len(text) <= 40 and _HEX.issuperset(text)
