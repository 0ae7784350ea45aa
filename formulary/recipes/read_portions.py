"""The portions of a recipe's file: how the batter is divided, and what each portion gets."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from decimal import Decimal
from typing import NamedTuple

from formulary.document.fields import Fields
from formulary.document.tree import Block, Node, Scalar
from formulary.finding import Place
from formulary.names import suggest
from formulary.quantity import NotAQuantity, find_comma, format_decimal, parse_percent
from formulary.recipes.model import PORTION_STAGES, UNDIVIDED, Addition, RecipePortion, ScentLine

HUNDRED = Decimal(100)


class _Part(NamedTuple):
    """What one portion gets of a line, in percent of the line, and where that stands."""

    material: str
    percent: Decimal
    node: Node
    field: str


def read_portions(
    fields: Fields,
    lines: tuple[Addition | ScentLine, ...],
    places: dict[str, Place],
    unread: Collection[str] = (),
) -> tuple[RecipePortion, ...]:
    """The portions under `portions`, every fault of them collected.

    lines: the recipe's additions and scent, which portions divide. places: takes up where each portion and part stands.
    unread: the names of lines that have a fault of their own, which is told already.
    """
    portions: list[RecipePortion] = []
    complete = True
    parts: list[_Part] = []
    names = [line.material for line in lines]
    divisible = [line.material for line in lines if line.at in PORTION_STAGES]
    for block in fields.blocks("portions", name="name"):
        name = read_name(block)
        share, by_eye = read_share(block)
        gets = _read_gets(block, names, divisible, unread)
        block.finish()
        if name is None or share is None:
            complete = False
            continue
        if name in [portion.name for portion in portions]:
            block.report("duplicate-line", f"two portions are called {name}", "rename one", None, "name")
        places[f"portions/{name}"] = block.place("share")
        for part in gets:
            places[f"portions/{name}/gets/{part.material}"] = fields.place_of(part.node, part.field)
        parts += gets
        portions.append(RecipePortion(name, share, by_eye, tuple((part.material, part.percent) for part in gets)))
    if portions and complete:
        _check_totals(fields, portions, parts)
    return tuple(portions)


def read_name(block: Fields) -> str | None:
    """What a portion is called: anything but what the batter is called that is not divided."""
    name = block.slug("name", required=True)
    if name != UNDIVIDED:
        return name
    what = f"a portion cannot be called `{UNDIVIDED}`: that is the batter when it is not divided"
    block.report("reserved-name", what, "give it another name, such as `plain`", block.scalar("name"), "name")
    return None


def _read_gets(block: Fields, names: list[str], divisible: list[str], unread: Collection[str]) -> list[_Part]:
    """names: of all additions and scent; divisible: of those that go in once there are portions."""
    node = block.node("gets")
    if node is not None and not isinstance(node, Block):
        what = "`gets` says which lines go into this portion, and what part of each"
        example = (*divisible, "clove-bud-oil")[0]
        block.report("wrong-shape", what, f"write a line and its percent: gets: {{{example}: 100}}", node, "gets")
        return []
    parts: list[_Part] = []
    for entry in node.entries if node is not None else ():
        material = entry.key.text
        field = f"gets, {material[:40]}"
        if material in names:
            percent = _read_part(block, entry.value, material, field)
            if percent is not None:
                parts.append(_Part(material, percent, entry.value, f"{block.within}, {field}"))
            continue
        if material in unread:
            continue
        known = ", ".join(divisible) or "none: nothing goes in at trace or on top"
        do = suggest(material, divisible, f"lines that can be divided: {known}")
        block.report("unknown-line", f"no addition or scent is called {material[:40]!r}", do, entry.key, field)
    return parts


def _read_part(block: Fields, node: Node, material: str, field: str) -> Decimal | None:
    """How much of a line a portion gets, in percent of the line."""
    do = f"write how much of all the {material} goes in here, 0 to 100 %, such as {material}: 100"
    code, what = "bad-value", "this is no percentage of it"
    if isinstance(node, Scalar) and not node.is_empty:
        try:
            percent = parse_percent(node.text)
        except NotAQuantity:
            what = f"{node.text[:40]!r} is no percentage"
            do = find_comma(node.text) or do
        else:
            if 0 <= percent <= HUNDRED:
                return percent
            code, what = "out-of-bounds", f"{format_decimal(percent)} % is outside 0 to 100 %"
    block.report(code, what, do, node, field)
    return None


def _check_totals(fields: Fields, portions: list[RecipePortion], parts: list[_Part]) -> None:
    check_shares(fields, [portion.share for portion in portions])
    for material in dict.fromkeys(part.material for part in parts):
        of_line = [part for part in parts if part.material == material]
        given = sum((part.percent for part in of_line), Decimal(0))
        if given != HUNDRED:
            what = f"the parts of {material} total {format_decimal(given)} % over the portions, not 100 %"
            do = "say in each portion how much of the line it gets, 0 where it gets none"
            fields.report("portions-gets", what, do, of_line[-1].node, of_line[-1].field)


def check_shares(fields: Fields, shares: Iterable[Decimal]) -> None:
    """Report portions whose shares, in percent, are not all of the batter."""
    total = sum(shares, Decimal(0))
    if total != HUNDRED:
        what = f"the portions' shares total {format_decimal(total)} %, not 100 %"
        fields.report("portions-total", what, "make the shares total 100", None, "portions")


def read_share(block: Fields) -> tuple[Decimal | None, Decimal]:
    """A portion's share in percent, written `share: 50` or `share: {percent: 50, by_eye: 10}`, and its give or take."""
    node = block.node("share", required=True)
    if isinstance(node, Block):
        share = block.as_block(node, "share")
        assert share is not None
        percent = share.percent("percent", required=True, refuse_fraction=True)
        by_eye = share.percent("by_eye") or Decimal(0)
        share.finish()
    else:
        percent = block.percent("share", refuse_fraction=True)
        by_eye = Decimal(0)
    if percent is not None and (percent <= 0 or by_eye >= percent):
        what = "a portion is more than nothing" if percent <= 0 else "a portion poured by eye may vanish"
        block.report("out-of-bounds", what, "write a larger share", block.node("share"), "share")
        return None, Decimal(0)
    return percent, by_eye
