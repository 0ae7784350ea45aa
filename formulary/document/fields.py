"""Reading typed fields out of a file's tree, collecting every fault as a finding with its place."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from datetime import date
from decimal import Decimal
from typing import TypeVar

from formulary.document.parse import find_other_spaces, parse_as_meant
from formulary.document.tree import NOTHING, Block, Entry, Listing, Node, Scalar
from formulary.finding import FileFindings, Finding, Place, Severity, TooManyFindings, error
from formulary.given import WRITE_A_DAY, parse_day
from formulary.names import hyphenate, is_slug, suggest
from formulary.quantity import (
    Kind,
    NotAQuantity,
    Quantity,
    format_decimal,
    parse_decimal,
    parse_percent,
    parse_quantity,
)
from formulary.rate import Rate, parse_rate

FORMAT = 1
# What a value looks like, for whoever left its line out.
_SUCH_AS = {
    "format": f"{FORMAT}",
    "oils": "{olive-oil: 75, coconut-oil: 25}",
    "lye": "{alkali: sodium-hydroxide, superfat: 5}",
    "alkali": "sodium-hydroxide",
    "superfat": "5",
    "water": "{lye_concentration: 33}",
    "rate": "2 % of oils",
    "at": "trace",
    "share": "50",
    "percent": "8",
    "size": "{oils: 1000 g}",
    "made": "2026-10-03",
    "age": "28 d",
}

_T = TypeVar("_T")


class Fields:
    """One block of a file: each read says its key, its kind and its bounds; `finish` reports keys that nobody reads.

    Faults are appended to `findings`; a faulty or missing field reads as None, so that all are found in one go.
    """

    __slots__ = ("_known", "_values", "block", "findings", "path", "within")

    def __init__(self, block: Block, findings: list[Finding], *, path: str | None, within: str = "") -> None:
        self.block = block
        self.findings = findings
        self.path = path
        self.within = within
        self._values = block.values
        self._known: dict[str, None] = {}  # the keys that were asked for, in order

    def place(self, key: str | None = None) -> Place:
        """Where the value of `key` stands, or the block itself."""
        node = self.block if key is None else self._values.get(key, self.block)
        return self.place_of(node, key)

    def place_of(self, node: Node, field: str | None = None) -> Place:
        """Where a node stands, named by its field."""
        named = f"{self.within}, {field}" if self.within and field else self.within or field or None
        mark = node.start_mark
        # What Place(...) does, without a call in between: every recipe asks for a few dozen.
        return tuple.__new__(Place, (self.path, mark.line + 1, mark.column + 1, named))

    def report(self, code: str, what: str, do: str, node: Node | None = None, key: str | None = None) -> None:
        """Add an error at a node (or the block), with the text found there."""
        place = self.place_of(node, key) if node is not None else self.place(key)
        found = node.text[:60] if isinstance(node, Scalar) else None
        self.findings.append(error(code, what, do, place, found=found))

    def has(self, key: str) -> bool:
        """Whether the key stands in the file."""
        self._known[key] = None
        return key in self._values

    def node(self, key: str, *, required: bool = False, such_as: str | None = None) -> Node | None:
        """The raw node of a key. such_as: what may stand there, where it is not as under most such keys."""
        self._known[key] = None
        value = self._values.get(key)
        if value is None:
            if required:
                do = f"add a line such as `{key}: {such_as or _SUCH_AS.get(key, '...')}`"
                self.report("missing-key", f"`{key}` is missing", do, None, key)
            return None
        if isinstance(value, Scalar) and value.is_empty:
            self.report("empty-value", f"`{key}` has no value", "write one, or remove the line", value, key)
            return None
        return value

    def scalar(self, key: str, *, required: bool = False, such_as: str | None = None) -> Scalar | None:
        """The scalar of a key. such_as: as for `node`."""
        node = self._values.get(key)
        if isinstance(node, Scalar) and (node.text not in NOTHING or node.quoted):
            self._known[key] = None
            return node
        node = self.node(key, required=required, such_as=such_as)
        if node is None or isinstance(node, Scalar):
            return node
        self.report("wrong-shape", f"`{key}` holds several values", "write one value", node, key)
        return None

    def text(self, key: str, *, required: bool = False) -> str | None:
        """The source text of a key."""
        scalar = self.scalar(key, required=required)
        return None if scalar is None else scalar.text

    def parsed(
        self, key: str, parse: Callable[[str], _T], *, required: bool = False, such_as: str | None = None
    ) -> _T | None:
        """The key's text through `parse`, whose NotAQuantity becomes a finding. such_as: as for `node`."""
        scalar = self.scalar(key, required=required, such_as=such_as)
        return None if scalar is None else self.parse_node(scalar, parse, key)

    def parse_node(self, node: Node, parse: Callable[[str], _T], key: str | None = None) -> _T | None:
        """A scalar node's text through `parse`."""
        if not isinstance(node, Scalar):
            self.report("wrong-shape", f"`{key or self.within}` holds several values", "write one value", node, key)
            return None
        try:
            return parse(node.text)
        except NotAQuantity as problem:
            self.report("bad-value", problem.what, problem.do, node, key)
            return None

    def decimal(
        self, key: str, *, required: bool = False, low: Decimal | None = None, high: Decimal | None = None
    ) -> Decimal | None:
        """A bare number, within bounds when given."""
        number = self.parsed(key, parse_decimal, required=required)
        return self._bounded(key, number, low, high)

    def percent(
        self,
        key: str,
        *,
        required: bool = False,
        low: Decimal | None = Decimal(0),
        high: Decimal | None = Decimal(100),
        refuse_fraction: bool = False,
    ) -> Decimal | None:
        """A percentage written `5` or `5 %`; `refuse_fraction` refuses a bare 0.05 where 5 is meant."""
        scalar = self.scalar(key, required=required)
        number = None if scalar is None else self.parse_node(scalar, parse_percent, key)
        if number is not None and scalar is not None and refuse_fraction:
            fault = fraction_fault(number, scalar.text)
            if fault:
                self.report("fraction", *fault, scalar, key)
                return None
        return self._bounded(key, number, low, high)

    def _bounded(self, key: str, number: Decimal | None, low: Decimal | None, high: Decimal | None) -> Decimal | None:
        if number is None:
            return None
        if (low is not None and number < low) or (high is not None and number > high):
            bounds = f"{'' if low is None else format_decimal(low)} to {'' if high is None else format_decimal(high)}"
            what = f"{format_decimal(number)} is outside {bounds.strip()}"
            self.report("out-of-bounds", what, f"write a number from {bounds.strip()}", self.scalar(key), key)
            return None
        return number

    def quantity(self, key: str, *kinds: Kind, required: bool = False) -> Quantity | None:
        """An amount with a unit of one of `kinds`."""
        return self.parsed(key, lambda text: parse_quantity(text, *kinds), required=required)

    def amount(self, key: str, unit: str, kind: Kind, *, required: bool = False) -> Decimal | None:
        """An amount that may not be negative, converted to `unit`."""
        quantity = self.quantity(key, kind, required=required)
        if quantity is None:
            return None
        try:
            number = quantity.to(unit)
        except NotAQuantity as problem:
            self.report("bad-value", problem.what, problem.do, self.scalar(key), key)
            return None
        if number < 0 and kind is not Kind.TEMPERATURE:
            self.report("negative", f"{quantity} is below zero", "write 0 or more", self.scalar(key), key)
            return None
        return number

    def rate(self, key: str, *, required: bool = False) -> Rate | None:
        """A rate that names what it is a part of."""
        return self.parsed(key, parse_rate, required=required)

    def date(self, key: str, *, required: bool = False) -> date | None:
        """A date written YYYY-MM-DD."""
        return self.parsed(key, parse_date, required=required)

    def choice(self, key: str, options: Collection[str], *, required: bool = False) -> str | None:
        """One of a few words."""
        scalar = self.scalar(key, required=required)
        if scalar is None:
            return None
        if scalar.text in options:
            return scalar.text
        do = suggest(scalar.text, options, f"write one of: {', '.join(options)}")
        self.report("not-a-choice", f"{scalar.text[:40]!r} is not one of: {', '.join(options)}", do, scalar, key)
        return None

    def slug(self, key: str, *, required: bool = False) -> str | None:
        """A name in plain lower-case words joined by hyphens."""
        scalar = self.scalar(key, required=required)
        if scalar is None:
            return None
        if not is_slug(scalar.text):
            what = f"{scalar.text[:40]!r} is not a name used here"
            example = hyphenate(scalar.text[:40])
            do = f"write lower-case words joined by hyphens: {example if is_slug(example) else 'olive-oil'}"
            self.report("bad-name", what, do, scalar, key)
            return None
        return scalar.text

    def block_of(self, key: str, *, required: bool = False) -> Fields | None:
        """The block under a key, to be read and finished by itself."""
        node = self.node(key, required=required)
        return None if node is None else self.as_block(node, key)

    def as_block(self, node: Node, name: str) -> Fields | None:
        """A node that must be a block."""
        if isinstance(node, Block):
            within = f"{self.within}, {name}" if self.within and name else self.within or name
            return Fields(node, self.findings, path=self.path, within=within)
        self.report("wrong-shape", f"`{name}` is not a block of `key: value`", "write `key: value` lines", node, name)
        return None

    def entries(self, key: str, *, required: bool = False) -> tuple[Entry, ...]:
        """The entries of the block under a key whose keys are names."""
        node = self.node(key, required=required)
        if node is None:
            return ()
        if isinstance(node, Block):
            return node.entries
        self.report("wrong-shape", f"`{key}` is not a block of `name: value`", "write `name: value` lines", node, key)
        return ()

    def items(self, key: str, *, required: bool = False) -> tuple[Node, ...]:
        """The items of the list under a key."""
        node = self.node(key, required=required)
        if node is None:
            return ()
        if isinstance(node, Listing):
            return node.items
        self.report("wrong-shape", f"`{key}` is not a list", "begin each item with `- `, or write [a, b]", node, key)
        return ()

    def blocks(self, key: str, *, required: bool = False, name: str | None = None) -> Iterator[Fields]:
        """The blocks of the list under a key; `name` is the key of each item that names it in findings."""
        for number, node in enumerate(self.items(key, required=required), 1):
            label = str(number)
            if isinstance(node, Block) and name is not None:
                named = node.values.get(name)
                if isinstance(named, Scalar):
                    label = named.text[:40]
            fields = self.as_block(node, f"{key}, {label}")
            if fields is not None:
                yield fields

    def check_format(self) -> bool:
        """Whether `format:` says a format that this program reads."""
        number = self.parsed("format", parse_decimal, required=True)
        if number is None:
            return False
        if number == FORMAT:
            return True
        scalar = self.scalar("format")
        if number > FORMAT:
            what = f"format {format_decimal(number)} was made by a newer formulary"
            self.report("format-newer", what, "install the newer version of this program", scalar, "format")
        else:
            self.report("format-unknown", f"there is no format {number}", "write `format: 1`", scalar, "format")
        return False

    def finish(self) -> None:
        """Report each key that was never asked for."""
        if self._known.keys() >= self._values.keys():
            return
        for entry in self.block.entries:
            if entry.key.text not in self._known:
                do = suggest(entry.key.text, self._known, f"keys here: {', '.join(self._known)}")
                key, colon, value = entry.key.text.partition(":")
                if colon and key in self._known:
                    do = f"put a space behind the colon: `{key}: {value[:40]}`"
                place = self.place_of(entry.key, entry.key.text)
                self.findings.append(error("unknown-key", f"`{entry.key.text[:40]}` is not a key here", do, place))


def read_file(
    data: bytes | str, path: str | None, read: Callable[[Fields], _T | None]
) -> tuple[_T | None, tuple[Finding, ...]]:
    """What `read` makes of a file's content, and all that is wrong; nothing when there are too many faults to tell."""
    root, faults = parse_as_meant(data, path)
    if root is None:
        return None, faults
    findings = FileFindings()
    try:
        findings.extend(faults)
        found = read(Fields(root, findings, path=path))
    except TooManyFindings:
        found = None
    return found, (*_other_spaces(data, path, findings), *findings)


def _other_spaces(data: bytes | str, path: str | None, findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Spaces that are none, on the lines that are at fault: what else is said of these follows from them."""
    at_fault = (finding.place.line for finding in findings if finding.severity is Severity.ERROR)
    lines = {line for line in at_fault if line is not None}
    return find_other_spaces(data, path, lines) if lines else ()


def parse_date(text: str) -> date:
    """A date written YYYY-MM-DD. Raises NotAQuantity."""
    try:
        return parse_day(text)
    except ValueError:
        raise NotAQuantity(f"{text.strip()[:24]!r} is not a date", WRITE_A_DAY) from None


def fraction_fault(number: Decimal, text: str) -> tuple[str, str] | None:
    """What to say of a bare number between 0 and 1 where a percentage is due, or None."""
    if 0 < number < 1 and "%" not in text:
        meant = format_decimal((number * 100).normalize())
        what = f"{text} looks like a fraction; percentages are written 5, not 0.05"
        return what, f"write {meant} if it is a part of 1, or `{text} %` if so little is meant"
    return None
