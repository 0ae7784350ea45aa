"""What a version is called: the id that git gives to the same bytes, the same on every machine; no git is needed."""

from __future__ import annotations

import hashlib

SHORTEST_PREFIX = 4
_HEX = frozenset("0123456789abcdef")


def blob_id(data: bytes) -> str:
    """The id that git gives to a file with these bytes (40 hexadecimal digits).

    Source: the git object format, `sha1("blob " + length + NUL + content)`.

    >>> blob_id(b"")
    'e69de29bb2d1d6434b8b29ae775ad8c2e48c5391'
    """
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
    return SHORTEST_PREFIX <= len(text) <= 40 and _HEX.issuperset(text)
