"""Changing a YAML file's text in place: only the characters that were asked for, found by the tree's positions.

Changes are gathered against the original offsets and made in one go. Comments on lines of their own, the spelling of
values that did not change, quotes, line ends and indentation stay as the person wrote them. Nothing here knows what a
file means; whoever edits reads the result again and compares it with what was intended.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from decimal import Decimal
from itertools import pairwise

from formulary.document.tree import Block, Entry, Listing, Node, Scalar
from formulary.document.write import Inline, entry_lines, is_short, item_lines, spell
from formulary.document.write import Value as Value
from formulary.document.write import render_value as render_value
from formulary.quantity import format_decimal

_COMMA = re.compile(r"\s*,")
_NUMBER_AND_REST = re.compile(r"([+-]?[\d_]*\.?\d*)(\s*(?:%|percent)?)")


class CannotEdit(ValueError):  # noqa: N818 - it reads as the sentence it is
    """The text is laid out in a way that cannot be changed safely; says which part."""


class DocumentEdit:
    """Changes to one file's text. The tree must be that of `text`, as `parse_document` gives it."""

    def __init__(self, text: str) -> None:
        self._mark = "\ufeff" if text.startswith("\ufeff") else ""
        self._open_end = not text.endswith(("\n", "\r"))
        match = re.search(r"\r\n|\n|\r", text)
        self._newline = match.group() if match else "\n"
        # A last line without its end is given one while editing, so that every line is alike.
        self._text = text.removeprefix("\ufeff") + (self._newline if self._open_end else "")
        self._splices: list[tuple[int, int, str]] = []

    def result(self) -> str:
        """The changed text. Raises CannotEdit when two changes touch the same characters."""
        pieces: list[str] = []
        done = 0
        for start, end, new in sorted(self._splices, key=lambda splice: splice[:2]):
            if start < done:
                raise CannotEdit("two changes meet in one place")
            pieces += [self._text[done:start], new]
            done = end
        text = "".join(pieces) + self._text[done:]
        if self._open_end:
            text = text.removesuffix(self._newline)
        return self._mark + text

    def _splice(self, start: int, end: int, new: str) -> None:
        if (start, end, new) != (start, start, "") and self._text[start:end] != new:
            self._splices.append((start, end, new))

    # Single values

    def set_text(self, scalar: Scalar, value: str, *, flow: bool = False) -> None:
        """Write another text in a value's place, in the quotes that it had; `flow` when inside braces or brackets."""
        self._splice(scalar.start, self._end(scalar), spell(value, flow=flow, like=self._quote(scalar)))

    def set_number(self, scalar: Scalar, value: Decimal, *, percent_sign: bool = False) -> None:
        """Write another number in a value's place; a percent sign and quotes stay. `percent_sign` demands the sign."""
        match = _NUMBER_AND_REST.fullmatch(scalar.text.strip())
        rest = match.group(2) if match else ""
        if percent_sign and not rest.strip():
            rest = " %"
        quote = self._quote(scalar)
        self._splice(scalar.start, self._end(scalar), f"{quote}{format_decimal(value)}{rest}{quote}")

    def replace_node(self, node: Node, value: Value) -> None:
        """Write any value, on one line, in place of a value that stands on one line."""
        if isinstance(node, (Block, Listing)) and not node.flow:
            raise CannotEdit("several lines would have to become one")
        self._splice(node.start, self._end(node), render_value(value))

    def rename_key(self, entry: Entry, key: str) -> None:
        """Write another key in a key's place."""
        self._splice(entry.key.start, entry.key.end, spell(key, flow=True, like=self._quote(entry.key)))

    # Blocks and lists

    def change_block(self, block: Block, *, drop: Collection[str] = (), add: Mapping[str, Value] | None = None) -> None:
        """Take entries out of a block and add others at its end; at least one must be left or come in."""
        gone = {index for index, entry in enumerate(block.entries) if entry.key.text in drop}
        new = dict(add or {})
        spans = [(entry.key.start, self._end(entry.value)) for entry in block.entries]
        if len(gone) == len(spans) and not new:
            raise CannotEdit("nothing would be left")
        if block.flow:
            texts = [f"{spell(key, flow=True)}: {render_value(value)}" for key, value in new.items()]
            self._change_flow(block, spans, gone, texts)
            return
        indent = " " * (block.column - 1)
        self._drop_lines(spans, gone)
        column = self._value_column(block)
        lines = [
            entry_lines(key, value, indent, value_column=column, newline=self._newline) for key, value in new.items()
        ]
        self._insert_after(spans[-1][1], "".join(lines))

    def change_listing(self, parent: Entry, *, drop: Collection[int] = (), add: Sequence[Value] = ()) -> None:
        """Take items out of the list under a key and add others at its end; an emptied list is written `[]`."""
        listing = parent.value
        if not isinstance(listing, Listing):
            raise CannotEdit(f"`{parent.key.text}` is not a list")
        gone = set(drop)
        spans = [(item.start, self._end(item)) for item in listing.items]
        if listing.flow and spans:
            self._change_flow(listing, spans, gone, [render_value(item) for item in add])
            return
        indent = " " * (listing.column - 1)
        if not spans:
            # `additions: []`: the brackets go, the items stand on lines of their own below.
            indent = " " * (parent.key.column + 1)
            if add and "\n" not in self._text[listing.start : listing.end]:
                start = listing.start
                while self._text[start - 1] == " ":
                    start -= 1
                self._splice(start, listing.end, "")
                self._insert_after(listing.end, "".join(self._item_lines(item, indent, None) for item in add))
            elif add:
                self._splice(listing.start, listing.end, "[" + ", ".join(render_value(item) for item in add) + "]")
            return
        dashes = [(self._dash(listing, item), end) for item, (_, end) in zip(listing.items, spans, strict=True)]
        self._drop_lines(dashes, gone)
        if len(gone) == len(spans) and not add:
            self._splice(parent.key.end, parent.key.end + 1, ": []")
        like = listing.items[-1]
        self._insert_after(spans[-1][1], "".join(self._item_lines(item, indent, like) for item in add))

    def list_block(self, parent: Entry, item: Value) -> None:
        """Make the block under a key the first item of a list, and another item its second; comments stay."""
        block = parent.value
        if not isinstance(block, Block) or not block.entries:
            raise CannotEdit(f"`{parent.key.text}` is not a block")
        if block.flow:
            self._splice(block.start, block.start, "[")
            self._splice(block.end, block.end, f", {render_value(item)}]")
            return
        end = self._end(block.entries[-1].value)
        self._splice(block.start, block.start, "- ")
        at = self._text.find(self._newline, block.start, end)
        while at != -1:
            at += len(self._newline)
            if self._text[at : at + 1] == " ":
                self._splice(at, at, "  ")
            at = self._text.find(self._newline, at, end)
        indent = " " * (block.column - 1)
        self._insert_after(end, f"{indent}- {render_value(item)}{self._newline}")

    def insert_item(self, parent: Entry, index: int, item: Value) -> None:
        """Put an item into the list under a key as number `index` (from 0); comments above the next stay there."""
        listing = parent.value
        if not isinstance(listing, Listing) or not listing.items or index >= len(listing.items):
            self.change_listing(parent, add=[item])
            return
        if listing.flow:
            if index:
                end = self._end(listing.items[index - 1])
                self._splice(end, end, ", " + render_value(item))
            else:
                start = listing.items[0].start
                self._splice(start, start, render_value(item) + ", ")
            return
        lines = self._item_lines(item, " " * (listing.column - 1), listing.items[index])
        if index:
            self._insert_after(self._end(listing.items[index - 1]), lines)
        else:
            first = self._line_start(self._dash(listing, listing.items[0]))
            self._splice(first, first, lines)

    def fill_empty(self, entry: Entry, value: Value) -> None:
        """Give a value to a key that stands with nothing behind it; a comment beside it stays."""
        if not isinstance(entry.value, Scalar) or not entry.value.is_empty:
            raise CannotEdit(f"`{entry.key.text}` has a value")
        if entry.value.end > entry.value.start:  # a word for nothing, such as ~
            self._splice(entry.value.start, entry.value.end, "")
        if is_short(value):
            colon = self._text.index(":", entry.key.end) + 1
            self._splice(colon, colon, " " + render_value(value, flow=not isinstance(value, str)))
            return
        indent = " " * (entry.key.column - 1)
        lines = entry_lines(entry.key.text, _with_short_items(value), indent, newline=self._newline)
        self._insert_after(entry.key.end, lines.partition(self._newline)[2])

    def insert_section(self, after: Entry, key: str, value: Value) -> None:
        """Add a key and its value on lines of their own below the entry `after` of a block."""
        lines = entry_lines(key, _with_short_items(value), " " * (after.key.column - 1), newline=self._newline)
        if self._stands_apart(after) and not is_short(value):
            lines = self._newline + lines
        self._insert_after(self._end(after.value), lines)

    def _change_flow(
        self, node: Block | Listing, spans: list[tuple[int, int]], gone: set[int], texts: list[str]
    ) -> None:
        """Inside braces or brackets: drop what stands between two commas, add behind the last."""
        count = len(spans)
        if not count:
            self._splice(node.start + 1, node.end - 1, ", ".join(texts))
            return
        end = spans[-1][1]
        gaps = [self._text[before[1] : after[0]] for before, after in pairwise(spans)]
        has_last_comma = _COMMA.match(self._text, end) is not None
        if any("#" in gap for gap in gaps) or (len(gone) == count and has_last_comma):
            # Comments stand between the items and stay: each item goes by itself, with the comma behind it.
            if texts and count - 1 in gone:
                self._splice(*spans[-1], ", ".join(texts))
                gone, texts = gone - {count - 1}, []
            for index in gone:
                self._drop_item(node, spans[index])
        elif len(gone) == count:
            self._splice(spans[0][0], end, ", ".join(texts))
            return
        else:
            for first, last in _runs(gone):
                if last < count - 1:
                    self._splice(spans[first][0], spans[last + 1][0], "")
                else:
                    self._splice(spans[first - 1][1], spans[last][1], "")
        if texts and (count - 1 in gone or not self._add_lines(node, spans[-1], texts)):
            self._splice(end, end, ", " + ", ".join(texts))

    def _drop_item(self, node: Block | Listing, span: tuple[int, int]) -> None:
        """Take an item and the comma behind it out of braces or brackets; its line too, when it has one of its own."""
        start, end = span
        line = self._line_start(start)
        if self._rest_of_line(end) is not None and line > node.start and not self._text[line:start].strip():
            self._splice(line, self._next_line(end), "")
        else:
            behind = _COMMA.match(self._text, end)
            self._splice(start, behind.end() if behind else end, "")

    def _add_lines(self, node: Block | Listing, last: tuple[int, int], texts: list[str]) -> bool:
        """Add items to braces or brackets on lines of their own, when the last item has one; else change nothing."""
        start, end = last
        line = self._line_start(start)
        rest = self._rest_of_line(end)
        if node.start >= line or self._text[line:start].strip() or rest is None:
            return False
        closing = "," if rest.group(1) else ""
        if not closing:
            self._splice(end, end, ",")
        indent = self._text[line:start]
        lines = f",{self._newline}".join(f"{indent}{text}" for text in texts)
        self._insert_after(rest.end(), f"{lines}{closing}{self._newline}")
        return True

    def _drop_lines(self, spans: list[tuple[int, int]], gone: set[int]) -> None:
        for index in sorted(gone):
            start, end = spans[index]
            line = self._line_start(start)
            if self._text[line:start].strip():
                # The first key beside a dash: the next key takes its place.
                if index + 1 >= len(spans) or "#" in self._text[end : spans[index + 1][0]] or index + 1 in gone:
                    raise CannotEdit("the first line of a list item would have to go")
                self._splice(start, spans[index + 1][0], "")
            else:
                self._splice(line, self._next_line(end), "")

    def _insert_after(self, offset: int, lines: str) -> None:
        if lines:
            below = self._next_line(offset)
            self._splice(below, below, lines)

    def _item_lines(self, item: Value, indent: str, like: Node | None) -> str:
        """A list item in the layout of the list's last: over several lines, or on one."""
        if isinstance(like, Block) and not like.flow and isinstance(item, Mapping):
            gap = " " * max(1, like.column - 2 - len(indent))
            inner = {key: Inline(value) if isinstance(value, Mapping) else value for key, value in item.items()}
            return item_lines(inner, indent, gap=gap, newline=self._newline)
        short = Inline(item) if isinstance(item, Mapping) else item
        return item_lines(short, indent, newline=self._newline)

    # Where things stand

    def _end(self, node: Node) -> int:
        """Where a node's last character stands, plus one: blank lines and comments below are no part of it."""
        if isinstance(node, Scalar):
            if self._text[node.start : node.start + 1] in ("|", ">") and not self._is_flow_text(node):
                return max(node.start + 1, len(self._text[: node.end].rstrip()))
            return node.end
        if node.flow:
            return node.end
        if isinstance(node, Listing):
            return self._end(node.items[-1])
        return self._end(node.entries[-1].value)

    def _is_flow_text(self, scalar: Scalar) -> bool:
        return not scalar.quoted  # a plain text cannot begin with | or >, a block text counts as quoted

    def _quote(self, scalar: Scalar) -> str:
        first = self._text[scalar.start : scalar.start + 1]
        return first if scalar.quoted and first in ("'", '"') else ""

    def _dash(self, listing: Listing, item: Node) -> int:
        """Where the dash of a list item stands."""
        offset = self._text.rfind("-", listing.start, item.start + 1 if item.start == listing.start else item.start)
        if offset < 0 or self._text[offset + 1 : item.start].strip():
            raise CannotEdit("a list item does not begin behind its dash")
        return offset

    def _value_column(self, block: Block) -> int:
        """The column that all values of a block stand in, when they were lined up; else 0."""
        pairs = [(entry.key, entry.value) for entry in block.entries]
        columns = {value.column for key, value in pairs if value.line == key.line}
        widths = {key.end - key.start for key, _ in pairs}
        return columns.pop() if len(columns) == 1 and len(widths) > 1 else 0

    def _rest_of_line(self, end: int) -> re.Match[str] | None:
        """The comma and the comment behind an item; None when anything else stands there."""
        return re.compile(r"( *,)? *(#[^\r\n]*)?(?=\r|\n)").match(self._text, end)

    def _stands_apart(self, entry: Entry) -> bool:
        """Whether a blank line stands above an entry, or above the comments that stand on it."""
        start = self._line_start(entry.key.start)
        while start:
            above = self._line_start(start - len(self._newline))
            line = self._text[above:start].strip()
            if not line.startswith("#"):
                return not line
            start = above
        return False

    def _line_start(self, offset: int) -> int:
        return self._text.rfind(self._newline[-1], 0, offset) + 1

    def _next_line(self, offset: int) -> int:
        match = re.compile(r"\r\n|\n|\r").search(self._text, offset)
        return match.end() if match else len(self._text)


def _with_short_items(value: Value) -> Value:
    """The items of a new list on one line each."""
    if isinstance(value, (str, Decimal, Mapping)):
        return value
    return [Inline(item) if isinstance(item, Mapping) else item for item in value]


def _runs(indexes: Collection[int]) -> list[tuple[int, int]]:
    """Neighbouring indexes joined: {0, 1, 3} -> [(0, 1), (3, 3)]."""
    runs: list[tuple[int, int]] = []
    for index in sorted(indexes):
        if runs and runs[-1][1] == index - 1:
            runs[-1] = (runs[-1][0], index)
        else:
            runs.append((index, index))
    return runs
