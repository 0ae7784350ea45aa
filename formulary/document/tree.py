"""The tree of a YAML file: the texts that the person wrote, in blocks and listings, and where each stands.

Nodes keep the parser's marks, since most places are never asked for and every value of every version is such a node.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple, Protocol, TypeAlias

# What YAML reads as nothing at all.
NOTHING = frozenset(("", "~", "null", "Null", "NULL"))


class _Marked(Protocol):
    """What the parser marked the begin and the end of."""

    @property
    def start_mark(self) -> Any: ...

    @property
    def end_mark(self) -> Any: ...


class _Placed:
    """Where a node stands."""

    __slots__ = ()

    @property
    def line(self: _Marked) -> int:
        """The line on which it begins, from 1."""
        return int(self.start_mark.line) + 1

    @property
    def column(self: _Marked) -> int:
        """The column at which it begins, from 1."""
        return int(self.start_mark.column) + 1

    @property
    def start(self: _Marked) -> int:
        """The offset of its first character, from 0."""
        return int(self.start_mark.index)

    @property
    def end(self: _Marked) -> int:
        """The offset behind its last character, from 0."""
        return int(self.end_mark.index)


class _Text(NamedTuple):
    text: str
    style: str | None
    start_mark: Any
    end_mark: Any


class Scalar(_Placed, _Text):
    """One value: its text, and the quotes or block style that it was written in (nothing where it is plain)."""

    __slots__ = ()

    @property
    def quoted(self) -> bool:
        """Whether it stands in quotes or is block text."""
        return bool(self.style)

    @property
    def is_empty(self) -> bool:
        """Whether nothing was written (`key:`), or the YAML words for nothing."""
        return self.text in NOTHING and not self.style


class Entry(NamedTuple):
    """One `key: value` of a block."""

    key: Scalar
    value: Node


class _Keys(NamedTuple):
    keys: tuple[Scalar, ...]
    values: Mapping[str, Node]  # by their keys' texts, in the same order
    flow: bool
    start_mark: Any
    end_mark: Any


class Block(_Placed, _Keys):
    """Keys and values, in the order written."""

    __slots__ = ()

    @property
    def entries(self) -> tuple[Entry, ...]:
        """Each key with its value."""
        return tuple(map(Entry, self.keys, self.values.values()))

    def find(self, key: str) -> Entry | None:
        """The entry of that key."""
        if key not in self.values:
            return None
        return next(Entry(name, self.values[key]) for name in self.keys if name.text == key)


class _Items(NamedTuple):
    items: tuple[Node, ...]
    flow: bool
    start_mark: Any
    end_mark: Any


class Listing(_Placed, _Items):
    """Items, in the order written."""

    __slots__ = ()


Node: TypeAlias = Scalar | Block | Listing
