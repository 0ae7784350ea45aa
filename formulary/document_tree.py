"""The tree of a YAML file: the texts that the person wrote, in blocks and listings, and where each stands.

Nodes keep the parser's marks, since most places are never asked for and every value of every version is such a node.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple, TypeAlias

# What YAML reads as nothing at all.
NOTHING = frozenset(("", "~", "null", "Null", "NULL"))


class Scalar(NamedTuple):
    """One value: its text, and the quotes or block style that it was written in (nothing where it is plain)."""

    text: str
    style: str | None
    start_mark: Any
    end_mark: Any

    @property
    def quoted(self) -> bool:
        """Whether it stands in quotes or is block text."""
        return bool(self.style)

    @property
    def is_empty(self) -> bool:
        """Whether nothing was written (`key:`), or the YAML words for nothing."""
        return self.text in NOTHING and not self.style

    @property
    def line(self) -> int:
        """The line on which it begins, from 1."""
        return int(self.start_mark.line) + 1

    @property
    def column(self) -> int:
        """The column at which it begins, from 1."""
        return int(self.start_mark.column) + 1

    @property
    def start(self) -> int:
        """The offset of its first character, from 0."""
        return int(self.start_mark.index)

    @property
    def end(self) -> int:
        """The offset behind its last character, from 0."""
        return int(self.end_mark.index)


class Entry(NamedTuple):
    """One `key: value` of a block."""

    key: Scalar
    value: Node


class Block(NamedTuple):
    """Keys and values, in the order written."""

    keys: tuple[Scalar, ...]
    values: Mapping[str, Node]  # by their keys' texts, in the same order
    flow: bool
    start_mark: Any
    end_mark: Any

    @property
    def entries(self) -> tuple[Entry, ...]:
        """Each key with its value."""
        return tuple(map(Entry, self.keys, self.values.values()))

    def find(self, key: str) -> Entry | None:
        """The entry of that key."""
        if key not in self.values:
            return None
        return next(Entry(name, self.values[key]) for name in self.keys if name.text == key)

    @property
    def line(self) -> int:
        """The line on which it begins, from 1."""
        return int(self.start_mark.line) + 1

    @property
    def column(self) -> int:
        """The column at which it begins, from 1."""
        return int(self.start_mark.column) + 1

    @property
    def start(self) -> int:
        """The offset of its first character, from 0."""
        return int(self.start_mark.index)

    @property
    def end(self) -> int:
        """The offset behind its last character, from 0."""
        return int(self.end_mark.index)


class Listing(NamedTuple):
    """Items, in the order written."""

    items: tuple[Node, ...]
    flow: bool
    start_mark: Any
    end_mark: Any

    @property
    def line(self) -> int:
        """The line on which it begins, from 1."""
        return int(self.start_mark.line) + 1

    @property
    def column(self) -> int:
        """The column at which it begins, from 1."""
        return int(self.start_mark.column) + 1

    @property
    def start(self) -> int:
        """The offset of its first character, from 0."""
        return int(self.start_mark.index)

    @property
    def end(self) -> int:
        """The offset behind its last character, from 0."""
        return int(self.end_mark.index)


Node: TypeAlias = Scalar | Block | Listing
