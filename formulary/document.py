"""A YAML file as a tree of texts with positions, and plain data as YAML text; the only user of ruamel.yaml.

Scalars stay the source text that the person wrote, so that `00123`, `1.10`, `12:30` and `no` mean what they say and
never what YAML guesses. Tags, anchors, aliases, merge keys, directives and several documents in a file are refused: a
formulary that somebody sent is hostile until read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any, TypeAlias

from formulary.finding import Finding, Place, error

if TYPE_CHECKING:
    from ruamel.yaml.events import Event

MAX_BYTES = 256 * 1024
MAX_DEPTH = 30
MAX_SCALAR = 32 * 1024


@dataclass(frozen=True, slots=True)
class Scalar:
    """One value: its text, whether it was quoted, and where it stands (line and column from 1, offsets from 0)."""

    text: str
    quoted: bool
    line: int
    column: int
    start: int
    end: int

    @property
    def is_empty(self) -> bool:
        """Whether nothing was written (`key:`), or the YAML words for nothing."""
        return not self.quoted and self.text in ("", "~", "null", "Null", "NULL")


@dataclass(frozen=True, slots=True)
class Entry:
    """One `key: value` of a block."""

    key: Scalar
    value: Node


@dataclass(frozen=True, slots=True)
class Block:
    """Keys and values, in the order written."""

    entries: tuple[Entry, ...]
    flow: bool
    line: int
    column: int
    start: int
    end: int

    def find(self, key: str) -> Entry | None:
        """The entry of that key."""
        return next((entry for entry in self.entries if entry.key.text == key), None)


@dataclass(frozen=True, slots=True)
class Listing:
    """Items, in the order written."""

    items: tuple[Node, ...]
    flow: bool
    line: int
    column: int
    start: int
    end: int


Node: TypeAlias = Scalar | Block | Listing


def parse_document(data: bytes | str, path: str | None = None) -> tuple[Block | None, tuple[Finding, ...]]:
    """The file's tree, or the findings that say why there is none. Any bytes give findings, never an exception.

    data: the file's content; at most 256 kB of UTF-8, one document, a block of keys at the top.
    path: the file's name, for the findings.
    """
    text, problem = _decode(data, path)
    if text is None:
        return None, (problem,) if problem else ()
    builder = _Builder(path)
    try:
        root = builder.build(_events(text))
    except _Refused as refused:
        return None, (refused.finding,)
    except Exception as fault:  # the parsers raise many kinds; all mean "not YAML"
        if "unexpected ':'" not in str(fault) or not uses_c_parser():
            return None, (_syntax_finding(fault, text, path),)
        # The quick parser stops at a colon inside a word between braces, `{C16:0: 11}`, which YAML 1.2 allows.
        builder = _Builder(path)
        try:
            root = builder.build(_slow_events(text))
        except _Refused as refused:
            return None, (refused.finding,)
        except Exception as slow_fault:
            return None, (_syntax_finding(slow_fault, text, path),)
    if builder.findings:
        return None, tuple(builder.findings)
    if root is None or (isinstance(root, Scalar) and root.is_empty):
        what = "the file is empty"
        return None, (error("file-empty", what, "start it with `format: 1`", Place(path, 1, 1)),)
    if not isinstance(root, Block):
        what = "the file is not a block of `key: value` lines"
        return None, (error("file-shape", what, "start it with `format: 1`", Place(path, root.line, root.column)),)
    return root, ()


def plain(node: Node) -> Any:
    """The node as plain dictionaries, lists and texts; of free-form parts that nothing calculates with."""
    if isinstance(node, Scalar):
        return node.text
    if isinstance(node, Listing):
        return [plain(item) for item in node.items]
    return {entry.key.text: plain(entry.value) for entry in node.entries}


def uses_c_parser() -> bool:
    """Whether the quick parser is installed; without it the same files read the same, only slower."""
    try:
        import _ruamel_yaml  # noqa: F401
    except ImportError:
        return False
    return True


class _Refused(Exception):  # noqa: N818 - internal control flow
    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.what)
        self.finding = finding


def _decode(data: bytes | str, path: str | None) -> tuple[str | None, Finding | None]:
    size = len(data)
    if size > MAX_BYTES:
        what = f"the file has {size} bytes; a formulary file has at most {MAX_BYTES}"
        return None, error("file-too-large", what, "split it, or move long notes to a file beside it", Place(path))
    if isinstance(data, str):
        text = data
    else:
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError as fault:
            line = data.count(b"\n", 0, fault.start) + 1
            what = f"the file is not UTF-8 text (byte {data[fault.start]:#04x})"
            return None, error("file-not-utf8", what, "save it as UTF-8", Place(path, line))
    # Editors on some systems put a byte-order mark first; it is no character of the person's.
    return text.removeprefix("\ufeff"), None


def _events(text: str) -> Iterator[Event]:
    try:
        from _ruamel_yaml import CParser
    except ImportError:
        yield from _slow_events(text)
        return
    parser = CParser(text)
    try:
        while True:
            event = parser.get_event()
            if event is None:
                return
            yield event
    finally:
        parser.dispose()


def _slow_events(text: str) -> Iterator[Event]:
    from ruamel.yaml import YAML

    reader = YAML(typ="safe", pure=True)
    reader.max_depth = MAX_DEPTH + 2
    yield from reader.parse(text)


class _Builder:
    """Builds the tree from parse events, without recursion, refusing what a formulary file may not hold."""

    def __init__(self, path: str | None) -> None:
        self.path = path
        self.findings: list[Finding] = []

    def build(self, events: Iterator[Event]) -> Node | None:
        from ruamel.yaml import events as kinds

        root: Node | None = None
        # Each open collection: (start event, items so far). A block's items alternate key, value.
        stack: list[tuple[Any, list[Node]]] = []
        documents = 0
        for event in events:
            node: Node | None = None
            if isinstance(event, kinds.ScalarEvent):
                self._refuse_extras(event)
                node = self._scalar(event)
            elif isinstance(event, (kinds.MappingStartEvent, kinds.SequenceStartEvent)):
                self._refuse_extras(event)
                if len(stack) >= MAX_DEPTH:
                    self._refuse(event, "yaml-depth", f"more than {MAX_DEPTH} levels inside one another", "flatten it")
                stack.append((event, []))
                continue
            elif isinstance(event, kinds.MappingEndEvent):
                start, items = stack.pop()
                node = self._block(start, items, event)
            elif isinstance(event, kinds.SequenceEndEvent):
                start, items = stack.pop()
                node = Listing(tuple(items), bool(start.flow_style), *_position(start), _end(event, start))
            elif isinstance(event, kinds.AliasEvent):
                self._refuse(event, "yaml-alias", "an alias (*name) stands here", "write the value out")
            elif isinstance(event, kinds.DocumentStartEvent):
                documents += 1
                if event.version or event.tags:
                    self._refuse(event, "yaml-directive", "a % directive stands here", "remove the % line")
                if documents > 1:
                    self._refuse(
                        event,
                        "yaml-documents",
                        "a second document starts here (---)",
                        "one file, one document",
                    )
            if node is None:
                continue
            if stack:
                stack[-1][1].append(node)
            else:
                root = node
        return root

    def _refuse(self, event: Event, code: str, what: str, do: str) -> None:
        mark = event.start_mark
        raise _Refused(error(code, what, do, Place(self.path, mark.line + 1, mark.column + 1)))

    def _refuse_extras(self, event: Any) -> None:
        if event.anchor is not None:
            self._refuse(event, "yaml-anchor", "an anchor (&name) stands here", "remove it and write values out")
        if event.tag is not None and str(event.tag) != "":
            self._refuse(
                event,
                "yaml-tag",
                "a tag (!name) stands here",
                "remove it; quote the text if it begins with !",
            )

    def _scalar(self, event: Any) -> Scalar:
        text = event.value
        if len(text) > MAX_SCALAR:
            self._refuse(event, "yaml-scalar", f"one value has {len(text)} characters", "move it to a file beside it")
        return Scalar(text, bool(event.style), *_position(event), event.end_mark.index)

    def _block(self, start: Any, items: list[Node], end: Any) -> Block:
        entries: list[Entry] = []
        seen: dict[str, Scalar] = {}
        for key, value in zip(items[::2], items[1::2], strict=True):
            place = Place(self.path, key.line, key.column)
            if not isinstance(key, Scalar):
                self.findings.append(error("yaml-key", "a key is a list or a block", "write a plain word", place))
                continue
            if key.text == "<<" and not key.quoted:
                self.findings.append(error("yaml-merge-key", "a merge key (<<) stands here", "write it out", place))
            if key.text in seen:
                what = f"`{key.text}` stands twice; the first is on line {seen[key.text].line}"
                place = Place(self.path, key.line, key.column, key.text)
                self.findings.append(error("duplicate-key", what, "keep one of them", place))
                continue
            seen[key.text] = key
            entries.append(Entry(key, value))
        return Block(tuple(entries), bool(start.flow_style), *_position(start), _end(end, start))


def _position(event: Any) -> tuple[int, int, int]:
    mark = event.start_mark
    return mark.line + 1, mark.column + 1, mark.index


def _end(event: Any, start: Any) -> int:
    # A flow collection ends after its bracket; a block one ends where its end event stands (the next token).
    mark = event.end_mark if start.flow_style else event.start_mark
    index: int = mark.index
    return index


def _syntax_finding(fault: Exception, text: str, path: str | None) -> Finding:
    """One sentence of ours for whatever the parser choked on."""
    mark = getattr(fault, "problem_mark", None) or getattr(fault, "context_mark", None)
    line = mark.line + 1 if mark is not None else None
    column = mark.column + 1 if mark is not None else None
    lines = text.splitlines()
    around = lines[max(0, line - 2) : line + 1] if line is not None else []
    if any(re.match(r"[ ]*\t", near) for near in around):
        number = next(i for i in range(max(0, (line or 1) - 2), len(lines)) if re.match(r"[ ]*\t", lines[i]))
        place = Place(path, number + 1, lines[number].index("\t") + 1)
        return error("yaml-tab", "a tab stands where the line is indented", "indent with spaces", place)
    if isinstance(fault, RecursionError) or type(fault).__name__ == "MaxDepthExceededError":
        return error("yaml-depth", f"more than {MAX_DEPTH} levels inside one another", "flatten it", Place(path, line))
    problem = getattr(fault, "problem", None)
    said = str(problem).strip() if problem else "a character that no text file has"
    what = f"the file cannot be read as YAML here: {said}"
    do = "check indentation, brackets and quotes near this line; quote text that holds `: ` or ` #`"
    return error("yaml-syntax", what, do, Place(path, line, column))


# Words that an older YAML reader takes for truth values or nothing; quoted when written, so that every reader agrees.
AMBIGUOUS = re.compile(
    r"""(?ix) y|n|yes|no|on|off|true|false|null|~ | [-+]?[\d._]+(e[-+]?\d+)? | 0[xob][\da-f_]+
    | \d+(:\d+)+(\.\d*)? | \d{4}-\d\d?-\d\d?.* | [-+]?\.(inf|nan) | [=<] .*"""
)


class Quoted(str):
    """Text that is always written in double quotes: ids and lots."""

    __slots__ = ()


class Inline(dict[str, Any]):
    """A mapping written on one line, in braces."""


def render_document(tree: Mapping[str, Any], *, comment: str | None = None) -> str:
    """Plain data as YAML text that every YAML reader takes for the same texts.

    tree: dictionaries, lists, texts and Decimals; `Quoted` texts are quoted, `Inline` mappings stand on one line.
    comment: lines to stand above, each written behind `# `.
    """
    import io

    from ruamel.yaml import YAML
    from ruamel.yaml.representer import RoundTripRepresenter

    class Representer(RoundTripRepresenter):
        """Writes a Decimal with the digits that it has, and never an anchor for a value that occurs twice."""

        def ignore_aliases(self, data: Any) -> bool:  # noqa: ARG002 - its base asks for it
            return True

    def represent_decimal(representer: Any, number: Decimal) -> Any:
        text = f"{number:f}"
        tag = "float" if "." in text else "int"
        return representer.represent_scalar(f"tag:yaml.org,2002:{tag}", text)

    Representer.add_representer(Decimal, represent_decimal)
    writer = YAML(typ="rt", pure=True)
    writer.Representer = Representer
    writer.indent(mapping=2, sequence=4, offset=2)
    writer.width = 4096
    writer.allow_unicode = True
    stream = io.StringIO()
    writer.dump(_writable(tree), stream)
    head = "".join(f"# {line}".rstrip() + "\n" for line in comment.splitlines()) if comment else ""
    return head + stream.getvalue()


def _writable(value: Any) -> Any:
    from ruamel.yaml.comments import CommentedMap, CommentedSeq
    from ruamel.yaml.scalarstring import DoubleQuotedScalarString, LiteralScalarString

    if isinstance(value, Mapping):
        block = CommentedMap((_writable(key), _writable(item)) for key, item in value.items())
        if isinstance(value, Inline):
            block.fa.set_flow_style()
        return block
    if isinstance(value, Quoted):
        return DoubleQuotedScalarString(value)
    if isinstance(value, str):
        if "\n" in value and not re.search(r"[^\S\n]\n|\A\s|[\x00-\x08\x85\u2028\u2029]", value):
            return LiteralScalarString(value)
        if AMBIGUOUS.fullmatch(value) or "\n" in value:
            return DoubleQuotedScalarString(value)
        return value
    if isinstance(value, (Decimal, int, date)) and not isinstance(value, bool):
        return value
    if isinstance(value, Sequence):
        return CommentedSeq(_writable(item) for item in value)
    raise TypeError(f"a formulary file holds texts and exact numbers, not {value!r}")
