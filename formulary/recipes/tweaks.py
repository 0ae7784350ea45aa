"""The changes that make a variant: swap an oil, add or drop a line, set a field.

A tweak is a value. `swap`, `add`, `drop` and `set_field` make one from the words of a library call, `parse_swap`,
`parse_add` and `parse_set` from the text of a command; `formulary.recipes.apply_tweaks` makes them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeAlias, TypeVar

from formulary.document.fields import fraction_fault
from formulary.errors import InputError
from formulary.finding import Finding, Place, error
from formulary.given import Figure, as_name
from formulary.names import hyphenate, suggest
from formulary.quantity import NotAQuantity, format_decimal, parse_percent
from formulary.rate import Rate, parse_rate
from formulary.recipes.model import STAGES

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Swap:
    """So many points of one oil become another; all of it when `percent` is None."""

    percent: Decimal | None
    before: str
    after: str

    def __str__(self) -> str:
        amount = "all" if self.percent is None else f"{format_decimal(self.percent)} %"
        return f"swap {amount} {self.before}:{self.after}"


@dataclass(frozen=True, slots=True)
class Add:
    """A new line at a rate: a fragrance goes to the scent, anything else but an oil to the additions."""

    material: str
    rate: Rate
    at: str = "trace"
    water: str | None = None

    def __str__(self) -> str:
        return f"add {self.material} {self.rate} at {self.at}" + (f" {self.water}" if self.water else "")


@dataclass(frozen=True, slots=True)
class Drop:
    """Every addition or scent line of one material goes."""

    material: str

    def __str__(self) -> str:
        return f"drop {self.material}"


@dataclass(frozen=True, slots=True)
class SetField:
    """One field gets another value: `lye.superfat`, `process.cover`, `name`, a line's rate."""

    field: str
    value: str

    def __str__(self) -> str:
        return f"set {self.field}={self.value}"


Tweak: TypeAlias = Swap | Add | Drop | SetField


def swap(percent: Figure, before: str, after: str) -> Swap:
    """So many points of one oil become another, so the oils keep totalling 100.

    percent: points of the oils, such as `"10 %"` or 10, or `"all"`. before, after: names of oils.
    Raises InputError for an amount that is none.

    >>> str(swap("10 %", "olive-oil", "hemp-seed-oil"))
    'swap 10 % olive-oil:hemp-seed-oil'
    """
    text, before, after = str(percent), as_name(before), as_name(after)
    if text.strip() == "all":
        return Swap(None, before, after)
    points = read_value(text, parse_percent, f"swap {text} {before}:{after}")
    fault = fraction_fault(points, text)
    if fault is not None:
        raise refused(f"swap {text} {before}:{after}", "fraction", *fault)
    return Swap(points, before, after)


def add(material: str, rate: str | Rate, at: str = "trace", water: str | None = None) -> Add:
    """A new line: a fragrance goes to the scent, anything else to the additions.

    rate: `"1.2 % of oils"`, `"30 g per kg oils"`. at: lye water | oils | trace | top.
    water: replaces | extra, for what brings water. Raises InputError for a rate or word that is none.
    """
    material = as_name(material)
    words = f"add {material} {rate} at {at}"
    if at not in STAGES:
        raise refused(words, "not-a-choice", f"{at!r} is no stage", suggest(at, STAGES, f"write {one_of(STAGES)}"))
    if water not in (None, "replaces", "extra"):
        raise refused(words, "not-a-choice", f"{water!r} does not say whose water it is", "write replaces or extra")
    return Add(material, rate if isinstance(rate, Rate) else read_value(rate, parse_rate, words), at, water)


def drop(material: str) -> Drop:
    """The additions and the scent without that material."""
    return Drop(as_name(material))


def set_field(field: str, value: Figure) -> SetField:
    """One field with another value, such as `set_field("lye.superfat", 6)`."""
    return SetField(as_name(field), str(value))


_SWAP = re.compile(r"\s*(all|[^a-z]+?)\s*(?:of\s+)?([a-z0-9-]+)\s*(?::|->|\bto\b)\s*([a-z0-9-]+)\s*")
_SPACED_SWAP = re.compile(r"\s*(all|[\d.]+\s*%?)\s+(?:of\s+)?([^:\d]+?)\s*:\s*([^:\d]+?)\s*")
_SPACED_NAME = re.compile(r"\s*([^\W\d][^\d]*\s[^\d]*?)\s+([\d.].*)")
_NO_NAMES = frozenset({"all", "at", "of", "per", "kg", "oil", "oils", "batter", "trace", "top", "replaces", "extra"})
_NO_NAMES |= {"the", "g", "rate", "additions", "scent"}
_ADD = re.compile(
    r"\s*(\S+)\s+(.+?)(?:,?\s+at\s+(lye[ _-]water|\S+))?(?:,?\s+(replaces|extra)(?:\s+(?:the\s+)?water)?)?\s*"
)


def parse_swap(text: str) -> Swap:
    """The swap written `10% olive-oil:hemp-seed-oil` or `all olive-oil:hemp-seed-oil`. Raises InputError."""
    match = _SWAP.fullmatch(text)
    if match is None:
        spaced = _SPACED_SWAP.fullmatch(text)
        if spaced is not None:
            amount, before, after = spaced.groups()
            do = f'join the words of a name by hyphens: "{amount} {hyphenate(before)}:{hyphenate(after)}"'
        else:
            do = 'write "10% olive-oil:hemp-seed-oil"'
        raise refused(f"swap {text}", "bad-tweak", "this is no swap", do)
    return swap(match.group(1), match.group(2), match.group(3))


def parse_add(text: str) -> Add:
    """The addition written `clove-bud-oil 1.2 % of oils at trace` or `oat-milk 8 % of oils at oils replaces`.

    Without `at` it goes in at trace. Raises InputError.
    """
    match = _ADD.fullmatch(text)
    if match is None:
        raise refused(f"add {text}", "bad-tweak", "this adds nothing", 'write "rose-clay 2 % of oils at oils"')
    spaced = _SPACED_NAME.fullmatch(text)
    if spaced is not None:
        do = f'join the words of a name by hyphens: "{hyphenate(spaced.group(1))} {spaced.group(2)}"'
        raise refused(f"add {text}", "bad-tweak", f"{spaced.group(1)!r} is not how a name is written here", do)
    if re.match(r"at\b", match.group(2)):
        do = f'say how much: "{match.group(1)} 2 % of oils {match.group(2)}"'
        raise refused(f"add {text}", "bad-value", f"there is no rate of {match.group(1)}", do)
    at = re.sub(r"[_-]", " ", match.group(3) or "trace")
    return add(match.group(1), match.group(2), at, match.group(4))


def parse_set(text: str) -> SetField:
    """The field and value written `superfat=6` or `process.cover=insulated`. Raises InputError."""
    field, equals, value = text.partition("=")
    if not equals or not field.strip():
        raise refused(f"set {text}", "bad-tweak", "this sets nothing", 'write "superfat=6"')
    return SetField(field.strip(), value.strip())


def parse_tweaks(
    *, swaps: Iterable[str] = (), drops: Iterable[str] = (), adds: Iterable[str] = (), sets: Iterable[str] = ()
) -> tuple[tuple[Tweak, ...], tuple[Finding, ...]]:
    """The tweaks of one command that can be read, and a finding for each that cannot.

    Swaps come first, then drops, adds and sets, each in the order written.
    """
    tweaks: list[Tweak] = []
    findings: list[Finding] = []
    readers: tuple[tuple[Callable[[str], Tweak], Iterable[str]], ...] = (
        (parse_swap, swaps),
        (drop, drops),
        (parse_add, adds),
        (parse_set, sets),
    )
    for read, texts in readers:
        for text in texts:
            try:
                tweaks.append(read(text))
            except InputError as problem:
                findings += problem.findings
    return tuple(tweaks), tuple(findings)


def faults_beside(unread: Iterable[Finding], faults: Iterable[Finding]) -> tuple[Finding, ...]:
    """Of what is wrong with the tweaks that could be read all that is no consequence of those that could not: of
    materials that these do not name."""
    named = {word for fault in unread for word in _names_in(fault)}
    return tuple(fault for fault in faults if not named & _names_in(fault))


def _names_in(fault: Finding) -> set[str]:
    """The words of a tweak that may name a material."""
    return set(re.findall(r"[a-z]+(?:-[a-z0-9]+)*", (fault.found or "").casefold())) - _NO_NAMES


def read_value(text: str, parse: Callable[[str], _T], tweak: object) -> _T:
    """The text of a tweak through `parse`, whose NotAQuantity becomes a refusal of the tweak."""
    try:
        return parse(text)
    except NotAQuantity as problem:
        raise refused(tweak, "bad-value", problem.what, problem.do) from None


def refused(tweak: object, code: str, what: str, do: str) -> InputError:
    """An error that shows the tweak as it would be typed."""
    verb, _, words = str(tweak).partition(" ")
    return InputError([error(code, what, do, Place(field=verb), found=words[:80])])


def one_of(words: Iterable[str]) -> str:
    """`a, b or c`."""
    *first, last = words
    return f"{', '.join(first)} or {last}" if first else last
