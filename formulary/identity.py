"""What a version is called: the id that git gives to the same bytes, computed without git."""

from __future__ import annotations

import hashlib

SHORTEST_PREFIX = 4


def blob_id(data: bytes) -> str:
    """The 40 hexadecimal digits that name this content, the same on every machine.

    Source: the git object format, `sha1("blob " + length + NUL + content)`.

    >>> blob_id(b"")
    'e69de29bb2d1d6434b8b29ae775ad8c2e48c5391'
    """
    return hashlib.sha1(b"blob %d\0" % len(data) + data, usedforsecurity=False).hexdigest()
