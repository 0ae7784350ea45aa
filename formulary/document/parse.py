"""A YAML file as a tree of texts with positions; the only user of ruamel.yaml.

Scalars stay the source text that the person wrote, so that `00123`, `1.10`, `12:30` and `no` mean what they say and
never what YAML guesses. Tags, anchors, aliases, merge keys, directives and several documents in a file are refused: a
formulary that somebody sent is hostile until read.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING, Any

from formulary.document.merge_marks import find_mark_between, find_merge_marks
from formulary.document.tree import NOTHING, Block, Entry, Listing, Node, Scalar
from formulary.finding import FileFindings, Finding, Place, TooManyFindings, error

if TYPE_CHECKING:
    from ruamel.yaml.events import Event

MAX_BYTES = 256 * 1024
MAX_DEPTH = 30
MAX_SCALAR = 32 * 1024
MAX_SLOW_EVENTS = 20_000  # half a second; a frozen plan has 2,000
# `2,5 % of oils` between braces or brackets reads as two: what stands before such a comma, and behind it.
_BEFORE_COMMA = re.compile(r"(?:.*[^\w.])?[0-9]+", re.DOTALL)
_LONGEST_NUMBER = 24
_JOINED = re.compile(r"[ ]*(?:- )?(?P<key>[^\W\d][\w-]+:)(?P<value>[^\s:/\\].*)")
_LINES_BEFORE = 4  # of a fault, in which what made it may stand
_WHOLE_NUMBER = re.compile(r"[~+-]?[0-9]+")
_AMOUNT_BEHIND = re.compile(r"[0-9]+\s*[^\W\d]+\S*|[0-9]+\s*%.*", re.DOTALL)


_new = tuple.__new__  # what Scalar(...) does, without a call in between


def parse_document(data: bytes | str, path: str | None = None) -> tuple[Block | None, tuple[Finding, ...]]:
    """The file's tree, or the findings that say why there is none. Any bytes give findings, never an exception.

    data: the file's content; at most 256 kB of UTF-8, one document, a block of keys at the top.
    path: the file's name, for the findings.
    """
    root, findings = parse_as_meant(data, path)
    return (None if findings else root), findings


def parse_as_meant(data: bytes | str, path: str | None = None) -> tuple[Block | None, tuple[Finding, ...]]:
    """As `parse_document`, but a file whose only faults are decimal commas has its tree, read with points instead.

    It is for telling what else is wrong in the file: with a finding, nothing may be made of the tree.
    """
    text, problem = _decode(data, path)
    if text is None:
        return None, (problem,) if problem else ()
    marks = find_merge_marks(text, path)
    if marks:
        return None, marks
    root: Node | None = None
    fault: Exception | None = None
    for parse_events in (_events, _slow_events):
        builder = _Builder(path)
        events = parse_events(text) if fault is None else _few(parse_events(text), fault, path)
        try:
            root = builder.build(events, may_be_long=len(text) > MAX_SCALAR)
            break
        except _Refused as refused:
            return None, (refused.finding,)
        except TooManyFindings:
            return None, tuple(builder.findings)
        except Exception as stopped:  # the parsers raise many kinds; all mean "not YAML"
            # The quick one stops at a colon inside a word between braces, `{C16:0: 11}`, which YAML 1.2 allows.
            if fault is not None or "unexpected ':'" not in str(stopped) or not uses_c_parser():
                return None, (_syntax_finding(stopped, text, path),)
            fault = stopped
    tab = _tab_finding(text, parse_events(text), path) if "\t" in text else None
    found = (*builder.findings, *([tab] if tab is not None else []))
    if any(finding.code != "decimal-comma" for finding in found):
        return None, found
    if root is None or (isinstance(root, Scalar) and root.is_empty):
        what = "the file is empty"
        return None, (error("file-empty", what, "start it with `format: 1`", Place(path, 1, 1)),)
    if not isinstance(root, Block):
        what = "the file is not a block of `key: value` lines"
        return None, (error("file-shape", what, "start it with `format: 1`", Place(path, root.line, root.column)),)
    return root, found


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


def parser_edition() -> str:
    """Which parser reads the files here, and its edition."""
    import ruamel.yaml

    return f"ruamel.yaml {ruamel.yaml.__version__} {'quick' if uses_c_parser() else 'plain'}"


class _Refused(Exception):  # noqa: N818 - internal control flow
    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.what)
        self.finding = finding


def _decode(data: bytes | str, path: str | None) -> tuple[str | None, Finding | None]:
    if len(data) > MAX_BYTES:
        what = f"the file is larger than a formulary file may be ({MAX_BYTES // 1024} KiB)"
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
    # What can be printed is certain, and is found quicker than what is not; most bytes stand for a plain character.
    rest = text.replace("\n", "") if isinstance(data, str) else data.translate(None, _PLAIN).decode("utf-8")
    refused = _refused_text(text, path, certain=rest.isprintable())
    return (text, None) if refused is None else (None, refused)


_PLAIN = bytes([0x09, 0x0A, 0x0D, *range(0x20, 0x7F)])
# Characters that some YAML readers take for the end of a line and others for part of it, and those that none allows.
_UNCERTAIN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff]")
_DIRECTIVE = re.compile(r"(?:[ \t]*(?:#[^\r\n]*)?(?:\r\n|\n|\r))*%")


def _refused_text(text: str, path: str | None, *, certain: bool) -> Finding | None:
    """What readers of YAML do not agree on, and what would change how a file reads."""
    match = None if certain else _UNCERTAIN.search(text)
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


# What spreadsheets and pages hold in the place of a space, where YAML wants one: at the start of a line, and behind a
# mark. Within words it is a letter like any other, and a comment may hold what it likes.
_OTHER_SPACES = "\u00a0\u2000-\u200a\u202f\u205f\u3000"
_OTHER_SPACE = re.compile(rf"(?<!\S)#.*|(?:^[ -]*|[:,{{\[] *)(?P<space>[{_OTHER_SPACES}])", re.MULTILINE)


def find_other_spaces(data: bytes | str, path: str | None, lines: Collection[int]) -> tuple[Finding, ...]:
    """Where something that looks like a space is none, the first on each of the lines that do not read as they look."""
    text, _ = _decode(data, path)
    written = re.split(r"\r\n|\n|\r", text or "")
    found = ((number, _find_other_space(written[number - 1])) for number in sorted(lines) if number <= len(written))
    return tuple(_other_space(match, Place(path, number, match.end())) for number, match in found if match)


def _find_other_space(text: str) -> re.Match[str] | None:
    return next((match for match in _OTHER_SPACE.finditer(text) if match["space"]), None)


def _other_space(match: re.Match[str], place: Place) -> Finding:
    what = f"what looks like a space here is none (U+{ord(match.group()[-1]):04X})"
    do = "write an ordinary space in its place; spreadsheets and web pages hold others"
    return error("yaml-space", what, do, place)


def _tab_finding(text: str, events: Iterator[Event], path: str | None) -> Finding | None:
    """A tab anywhere but in quoted text, block text or a comment: readers do not agree on those."""
    from ruamel.yaml.events import ScalarEvent

    done = 0
    scalars = [event for event in events if isinstance(event, ScalarEvent)]
    spans = [(event.start_mark.index, event.end_mark.index, bool(event.style)) for event in scalars]
    for start, end, quoted in (*spans, (len(text), len(text), True)):
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
        import _ruamel_yaml
    except ImportError:
        return _slow_events(text)
    return iter(_ruamel_yaml.CParser(text).get_event, None)


def _slow_events(text: str) -> Iterator[Event]:
    from ruamel.yaml import YAML

    reader = YAML(typ="safe", pure=True)
    reader.max_depth = MAX_DEPTH + 2
    yield from reader.parse(text)


def _few(events: Iterator[Event], fault: Exception, path: str | None) -> Iterator[Event]:
    """The events, as long as the slow parser is done with them soon; `fault` is what stopped the quick one."""
    for number, event in enumerate(events):
        if number >= MAX_SLOW_EVENTS:
            what = "between these braces a colon stands inside a word, and the file is too long to be read so"
            do = 'quote the words that hold a colon: {"C16:0": 11}'
            mark = getattr(fault, "problem_mark", None)
            place = Place(path) if mark is None else Place(path, mark.line + 1, mark.column + 1)
            raise _Refused(error("yaml-colon", what, do, place))
        yield event


class _Builder:
    """Builds the tree from parse events, without recursion, refusing what a formulary file may not hold.

    It is run for each file of every version, so its two loops do nothing for what is ordinary but make the tree.
    """

    def __init__(self, path: str | None) -> None:
        self.path = path
        self.findings = FileFindings()

    def build(self, events: Iterator[Event], *, may_be_long: bool) -> Node | None:
        """The root node. may_be_long: whether a value can be longer than one may be, as none is in a short file."""
        from ruamel.yaml import events as kinds

        scalar_event, mapping_start, mapping_end = kinds.ScalarEvent, kinds.MappingStartEvent, kinds.MappingEndEvent
        # Each open collection: its start event, and the items around it. A block's items alternate key, value.
        stack: list[tuple[Any, list[Node]]] = []
        items: list[Node] = []  # of the innermost open collection; outside all, the root
        documents = 0
        event: Any
        for event in events:
            kind = type(event)
            if kind is scalar_event:
                if event.ctag is not None or event.anchor is not None:
                    self._refuse_extras(event)
                text = event.value
                if may_be_long and len(text) > MAX_SCALAR:
                    what = f"one value has {len(text)} characters"
                    self._refuse(event, "yaml-scalar", what, "move it to a file beside it")
                items.append(_new(Scalar, (text, event.style, event.start_mark, event.end_mark)))
            elif kind is mapping_start or kind is kinds.SequenceStartEvent:
                if event.ctag is not None or event.anchor is not None:
                    self._refuse_extras(event)
                if len(stack) >= MAX_DEPTH:
                    self._refuse(event, "yaml-depth", f"more than {MAX_DEPTH} levels inside one another", "flatten it")
                stack.append((event, items))
                items = []
            elif kind is mapping_end:
                start, around = stack.pop()
                around.append(self._block(start, items, event))
                items = around
            elif kind is kinds.SequenceEndEvent:
                start, around = stack.pop()
                around.append(self._listing(start, items, event))
                items = around
            elif kind is kinds.AliasEvent:
                self._refuse(event, "yaml-alias", "an alias (*name) stands here", "write the value out")
            elif kind is kinds.DocumentStartEvent:
                documents += 1
                if event.version or event.tags:
                    self._refuse(event, "yaml-directive", "a % directive stands here", "remove the % line")
                if documents > 1:
                    what = "a second document starts here (---)"
                    self._refuse(event, "yaml-documents", what, "one file, one document")
        return items[-1] if items else None

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

    def _block(self, start: Any, items: list[Node], end: Any) -> Block:
        keys: list[Any] = items[::2]
        values = items[1::2]
        by_key: dict[str, Node] = {}
        for key, value in zip(keys, values, strict=True):
            if type(key) is not Scalar or not "A" <= key.text < "{" or key.text in NOTHING:
                break
            by_key[key.text] = value
        # Look closer, unless each key is a word of its own that begins with a letter.
        if len(by_key) < len(keys):
            keys, by_key = self._checked(keys, values, flow=bool(start.flow_style))
        return _new(Block, (tuple(keys), by_key, bool(start.flow_style), start.start_mark, _end(start, end)))

    def _checked(self, keys: list[Node], values: list[Node], *, flow: bool) -> tuple[list[Scalar], dict[str, Node]]:
        """Keys and values that a formulary file may hold; the others are told of."""
        kept: dict[str, Entry] = {}
        last: Entry | None = None
        for key, value in zip(keys, values, strict=True):
            place = Place(self.path, key.line, key.column)
            is_bare = isinstance(value, Scalar) and value.is_empty
            if last is not None and is_bare and _is_split(last.value, key, spaced=flow):
                meant = self._tell_comma(last.value, key, last.key.text)
                last = kept[last.key.text] = Entry(last.key, meant)
                continue
            if not isinstance(key, Scalar):
                self.findings.append(error("yaml-key", "a key is a list or a block", "write a plain word", place))
                continue
            if key.is_empty:
                self.findings.append(error("yaml-key", "a key is missing", "write a word before the colon", place))
                continue
            if key.text == "<<" and not key.quoted:
                self.findings.append(error("yaml-merge-key", "a merge key (<<) stands here", "write it out", place))
            if key.text in kept:
                what = f"`{key.text}` stands twice; the first is on line {kept[key.text].key.line}"
                place = Place(self.path, key.line, key.column, key.text)
                self.findings.append(error("duplicate-key", what, "keep one of them", place))
                continue
            last = kept[key.text] = Entry(key, value)
        return [entry.key for entry in kept.values()], {key: entry.value for key, entry in kept.items()}

    def _listing(self, start: Any, items: list[Node], end: Any) -> Listing:
        kept: list[Node] = []
        for item in items:
            first = kept[-1] if kept else None
            # [3,4] may well be two numbers; [3,4 mm] is not
            if (
                isinstance(first, Scalar)
                and isinstance(item, Scalar)
                and _is_split(first, item)
                and _WHOLE_NUMBER.fullmatch(first.text)
                and _AMOUNT_BEHIND.fullmatch(item.text)
            ):
                kept[-1] = self._tell_comma(first, item, None)
            else:
                kept.append(item)
        return _new(Listing, (tuple(kept), bool(start.flow_style), start.start_mark, _end(start, end)))

    def _tell_comma(self, first: Node, second: Node, field: str | None) -> Scalar:
        """Say that a decimal comma was taken for the comma that parts entries; what was meant, with a point."""
        assert isinstance(first, Scalar)
        assert isinstance(second, Scalar)
        what = f"a comma splits this: {first.text[:24]},{second.text[:40]}"
        do = f"write {first.text[:24]}.{second.text[:40]}"
        self.findings.append(error("decimal-comma", what, do, Place(self.path, first.line, first.column, field)))
        return Scalar(f"{first.text}.{second.text}", first.style, first.start_mark, second.end_mark)


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


def _end(start: Any, end: Any) -> Any:
    # A flow collection ends after its bracket; a block one ends where its end event stands (the next token).
    return end.end_mark if start.flow_style else end.start_mark


def _find_joined(lines: list[str], line: int | None) -> tuple[int, re.Match[str]] | None:
    """The last line at a fault or shortly before it in which a value touches the colon of its key: `room:61F`.

    The parser takes that for words without any key, and stumbles over what comes next.
    """
    last = min(line or 0, len(lines))
    for number in range(last, max(0, last - _LINES_BEFORE), -1):
        joined = _JOINED.match(lines[number - 1])
        if joined is not None:
            return number, joined
    return None


def _syntax_finding(fault: Exception, text: str, path: str | None) -> Finding:
    """One sentence of ours for whatever the parser choked on."""
    left_over = find_mark_between(text, path)
    if left_over is not None:
        return left_over
    mark = getattr(fault, "problem_mark", None) or getattr(fault, "context_mark", None)
    line = mark.line + 1 if mark is not None else None
    column = mark.column + 1 if mark is not None else None
    other = _find_other_space(text)
    if other is not None:
        return _other_space(other, _place_at(text, other.end() - 1, path))
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
    joined = _find_joined(lines, line)
    if joined is not None:
        number, found = joined
        what = f"no space stands behind the colon of `{found['key'][:40]}`"
        do = f"write `{found['key'][:40]} {found['value'].strip()[:40]}`"
        return error("yaml-syntax", what, do, Place(path, number, found.start("key") + 1))
    said = str(problem).strip() if problem else "a character that no text file has"
    what = f"the file cannot be read as YAML here: {said}"
    do = "check indentation, brackets and quotes near this line; quote text that holds `: ` or ` #`"
    return error("yaml-syntax", what, do, Place(path, line, column))
