"""A YAML file as a tree of texts with positions, and plain data as YAML text; the only user of ruamel.yaml.

Scalars stay the source text that the person wrote, so that `00123`, `1.10`, `12:30` and `no` mean what they say and
never what YAML guesses. Tags, anchors, aliases, merge keys, directives and several documents in a file are refused: a
formulary that somebody sent is hostile until read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, TypeAlias

from formulary.document_write import Inline as Inline
from formulary.document_write import Quoted as Quoted
from formulary.document_write import render_document as render_document
from formulary.finding import Finding, Place, error

if TYPE_CHECKING:
    from ruamel.yaml.events import Event

MAX_BYTES = 256 * 1024
MAX_DEPTH = 30
MAX_SCALAR = 32 * 1024
# `2,5 % of oils` between braces or brackets reads as two: what stands before such a comma, and behind it.
_BEFORE_COMMA = re.compile(r"(?:.*[^\w.])?[0-9]+", re.DOTALL)
_LONGEST_NUMBER = 24
_WHOLE_NUMBER = re.compile(r"[~+-]?[0-9]+")
_AMOUNT_BEHIND = re.compile(r"[0-9]+\s*[^\W\d]+\S*|[0-9]+\s*%.*", re.DOTALL)


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
    tab = _tab_finding(text, builder.spans, path) if "\t" in text else None
    if builder.findings or tab is not None:
        return None, (*builder.findings, *([tab] if tab is not None else []))
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
    text = text.removeprefix("\ufeff")
    refused = _refused_text(text, path)
    return (text, None) if refused is None else (None, refused)


# Characters that some YAML readers take for the end of a line and others for part of it, and those that none allows.
_UNCERTAIN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff]")
_DIRECTIVE = re.compile(r"(?:[ \t]*(?:#[^\r\n]*)?(?:\r\n|\n|\r))*%")


def _refused_text(text: str, path: str | None) -> Finding | None:
    """What readers of YAML do not agree on, and what would change how a file reads."""
    match = _UNCERTAIN.search(text)
    if match:
        code = f"{ord(match.group()):04X}"
        what = f"an invisible character stands here (U+{code})"
        do = f'delete it; if it is meant, write it as "\\u{code.lower()}" in double quotes'
        return error("yaml-character", what, do, _place_at(text, match.start(), path))
    match = _DIRECTIVE.match(text)
    if match:
        place = _place_at(text, match.end() - 1, path)
        return error("yaml-directive", "a % directive stands here", "remove the % line", place)
    return None


def _tab_finding(text: str, spans: Sequence[tuple[int, int, bool]], path: str | None) -> Finding | None:
    """A tab anywhere but in quoted text, block text or a comment: readers do not agree on those."""
    done = 0
    for start, end, quoted in [*spans, (len(text), len(text), True)]:
        between = re.sub(r"#[^\r\n]*", lambda comment: " " * len(comment.group()), text[done:start])
        place = between.find("\t") + done if "\t" in between else -1
        if place < 0 and not quoted:
            place = text.find("\t", start, end)
        elif place < 0 and text[start : start + 1] in ("|", ">"):
            head = re.compile(r"[^\r\n#]*").match(text, start, end)
            place = text.find("\t", start, head.end()) if head else -1
        if place >= 0:
            what = "a tab stands here"
            return error("yaml-tab", what, "write spaces", _place_at(text, place, path))
        done = end
    return None


def _place_at(text: str, offset: int, path: str | None) -> Place:
    before = re.split(r"\r\n|\n|\r", text[:offset])
    return Place(path, len(before), len(before[-1]) + 1)


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
        self.spans: list[tuple[int, int, bool]] = []  # where each value stands, and whether it is quoted

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
                node = self._listing(start, items, event)
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
        scalar = Scalar(text, bool(event.style), *_position(event), event.end_mark.index)
        self.spans.append((scalar.start, scalar.end, scalar.quoted))
        return scalar

    def _block(self, start: Any, items: list[Node], end: Any) -> Block:
        entries: list[Entry] = []
        seen: dict[str, Scalar] = {}
        for key, value in zip(items[::2], items[1::2], strict=True):
            place = Place(self.path, key.line, key.column)
            is_bare = isinstance(value, Scalar) and value.is_empty
            if entries and is_bare and _is_split(entries[-1].value, key, spaced=bool(start.flow_style)):
                self._tell_comma(entries[-1].value, key, entries[-1].key.text)
                continue
            if not isinstance(key, Scalar):
                self.findings.append(error("yaml-key", "a key is a list or a block", "write a plain word", place))
                continue
            if key.is_empty:
                self.findings.append(error("yaml-key", "a key is missing", "write a word before the colon", place))
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

    def _listing(self, start: Any, items: list[Node], end: Any) -> Listing:
        for first, second in pairwise(items):
            # [3,4] may well be two numbers; [3,4 mm] is not
            if (
                _is_split(first, second)
                and isinstance(first, Scalar)
                and isinstance(second, Scalar)
                and _WHOLE_NUMBER.fullmatch(first.text)
                and _AMOUNT_BEHIND.fullmatch(second.text)
            ):
                self._tell_comma(first, second, None)
        return Listing(tuple(items), bool(start.flow_style), *_position(start), _end(end, start))

    def _tell_comma(self, first: Node, second: Node, field: str | None) -> None:
        """Say that a decimal comma was taken for the comma that parts entries."""
        assert isinstance(first, Scalar)
        assert isinstance(second, Scalar)
        what = f"a comma splits this: {first.text[:24]},{second.text[:40]}"
        do = f"write {first.text[:24]}.{second.text[:40]}"
        self.findings.append(error("decimal-comma", what, do, Place(self.path, first.line, first.column, field)))


def _is_split(first: Node, second: Node, *, spaced: bool = False) -> bool:
    """Whether two neighbours between braces are one number with a decimal comma: `2` and `5 % of oils`.

    spaced: there may be spaces about the comma; only where the second means nothing by itself.
    """
    return (
        isinstance(first, Scalar)
        and isinstance(second, Scalar)
        and not (first.quoted or second.quoted)
        and (spaced or second.start == first.end + 1)
        and len(first.text) <= _LONGEST_NUMBER
        and second.text[:1].isdigit()
        and _BEFORE_COMMA.fullmatch(first.text) is not None
    )


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
    if mark is not None and text[mark.index : mark.index + 1] == "\t":
        return error("yaml-tab", "a tab stands here", "write spaces", Place(path, line, column))
    said = str(problem).strip() if problem else "a character that no text file has"
    what = f"the file cannot be read as YAML here: {said}"
    do = "check indentation, brackets and quotes near this line; quote text that holds `: ` or ` #`"
    return error("yaml-syntax", what, do, Place(path, line, column))
