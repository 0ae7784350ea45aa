"""Plain data as YAML text that readers of both YAML versions take for the same texts and numbers.

Written here rather than by a general emitter: of the many ways to write a text this knows a few that every reader
agrees on, and escapes what any of them could take for something else.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, TypeAlias

from formulary.quantity import format_decimal

# What can be written: texts and exact numbers, and blocks and lists of them.
Value: TypeAlias = "str | Decimal | Mapping[str, Value] | Sequence[Value]"

STEP = "  "
# Words that an older YAML reader takes for truth values or nothing; quoted when written, so that every reader agrees.
_AMBIGUOUS = re.compile(
    r"""(?ix) y|n|yes|no|on|off|true|false|null|~ | [-+]?[\d._]+(e[-+]?\d+)? | 0[xob][\da-f_]+
    | \d+(:\d+)+(\.\d*)? | \d{4}-\d\d?-\d\d?.* | [-+]?\.(inf|nan) | [=<] .*"""
)
_PLAIN = re.compile(r"[^\W_](?:.*[^\s:])?")
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


class Quoted(str):
    """Text that is always written in double quotes: ids and lots."""

    __slots__ = ()


class Bare(str):
    """Text that is written as it is: dates, and the word `true`. Never for a person's words."""

    __slots__ = ()


class Inline(dict[str, Any]):
    """A mapping written on one line, in braces."""


def render_document(tree: Mapping[str, Any], *, comment: str | None = None) -> str:
    """Plain data as the text of a file.

    tree: blocks, lists, texts, exact numbers and dates; `Quoted` texts are quoted, `Inline` blocks stand on one line.
    comment: lines to stand above, each written behind `# `.
    Raises TypeError for a float, a truth value or anything else that a formulary file cannot hold.
    """
    head = "".join(f"# {line}".rstrip() + "\n" for line in comment.splitlines()) if comment else ""
    return head + "".join(entry_lines(key, value) for key, value in _plain_data(tree).items())


def _plain_data(value: Any) -> Any:
    """The same data made of texts, Decimals, dictionaries and lists alone."""
    if isinstance(value, Mapping):
        entries = {_text_of(key): _plain_data(item) for key, item in value.items()}
        return Inline(entries) if isinstance(value, Inline) else entries
    if isinstance(value, (str, Decimal)):
        return value
    if isinstance(value, date):
        return Bare(value.isoformat())
    if isinstance(value, int) and not isinstance(value, bool):
        return Decimal(value)
    if isinstance(value, Sequence):
        return [_plain_data(item) for item in value]
    raise TypeError(f"a formulary file holds texts and exact numbers, not {value!r}")


def _text_of(key: Any) -> str:
    if isinstance(key, str):
        return key
    raise TypeError(f"a formulary file has texts for keys, not {key!r}")


def entry_lines(key: str, value: Value, indent: str = "", *, value_column: int = 0, newline: str = "\n") -> str:
    """A key and its value as lines, with their ends; `value_column` lines values up that stand on their key's line."""
    head = f"{indent}{spell(key, flow=True)}:"
    if isinstance(value, str) and _is_block_text(value):
        return head + _block_text(value, indent + STEP, newline)
    if is_short(value):
        gap = " " * max(1, value_column - 1 - len(head))
        return f"{head}{gap}{render_value(value, flow=False)}{newline}"
    deeper = indent + STEP
    assert not isinstance(value, Decimal)
    if isinstance(value, Mapping):
        inner = [entry_lines(name, item, deeper, newline=newline) for name, item in value.items()]
    else:
        inner = [item_lines(item, deeper, newline=newline) for item in value]
    return f"{head}{newline}{''.join(inner)}"


def item_lines(item: Value, indent: str, *, gap: str = " ", newline: str = "\n") -> str:
    """A list item as lines: a block over several, everything else on one."""
    if isinstance(item, Mapping) and item and not isinstance(item, Inline):
        deeper = f"{indent} {gap}"
        lines = "".join(entry_lines(key, value, deeper, newline=newline) for key, value in item.items())
        return f"{indent}-{gap}{lines[len(deeper) :]}"
    return f"{indent}-{gap}{render_value(item, flow=not isinstance(item, str))}{newline}"


def render_value(value: Value, *, flow: bool = True) -> str:
    """A value on one line; `flow` when it stands inside braces or brackets."""
    if isinstance(value, Decimal):
        return format_decimal(value)
    if isinstance(value, str):
        return spell(value, flow=flow)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{spell(key, flow=True)}: {render_value(item)}" for key, item in value.items()) + "}"
    return "[" + ", ".join(render_value(item) for item in value) + "]"


def spell(text: str, *, flow: bool, like: str = "") -> str:
    """A text as every reader takes it for that text: plain where that is safe, else in quotes.

    flow: whether it stands inside braces or brackets. like: the quotes that it stands in already, kept where possible.
    """
    printable = text.isprintable()
    if like == "'" and printable:
        return "'" + text.replace("'", "''") + "'"
    if isinstance(text, Bare):
        return str(text)
    plain = printable and _PLAIN.fullmatch(text) is not None and not re.search(r":\s|\s#", text)
    if flow and re.search(r"[,:?\[\]{}]", text):
        plain = False
    if plain and not like and not isinstance(text, Quoted) and not _AMBIGUOUS.fullmatch(text):
        return str(text)
    return '"' + "".join(_escape(character) for character in text) + '"'


def _escape(character: str) -> str:
    if character in _ESCAPES:
        return _ESCAPES[character]
    if character.isprintable():
        return character
    code = ord(character)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def is_short(value: Value) -> bool:
    """Whether a value is written on its key's line: single values, `Inline` blocks, lists of words."""
    if isinstance(value, (str, Decimal, Inline)) or not value:
        return True
    return not isinstance(value, Mapping) and all(isinstance(item, str) and len(item) <= 40 for item in value)


def _is_block_text(text: str) -> bool:
    """Whether a text of several lines can stand as it is below its key."""
    if isinstance(text, Quoted) or "\n" not in text or text[0].isspace() or text.endswith("\n\n"):
        return False
    return all(line.isprintable() and not line.endswith(" ") for line in text.split("\n"))


def _block_text(text: str, indent: str, newline: str) -> str:
    lines = text.removesuffix("\n").split("\n")
    style = "|" if text.endswith("\n") else "|-"
    return f" {style}{newline}" + "".join(f"{indent}{line}".rstrip(" ") + newline for line in lines)
