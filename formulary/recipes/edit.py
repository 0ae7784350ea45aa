"""Making a recipe's text say an intended recipe, changing only the lines that must.

The text is spliced at the positions of its tree, read again, and must then equal what was intended; a layout that
cannot be changed safely is refused, and the refusal says what to write by hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import TypeVar

from formulary.document.edit import CannotEdit, DocumentEdit, Value
from formulary.document.parse import parse_document
from formulary.document.tree import Block, Entry, Listing, Node, Scalar
from formulary.document.write import Inline, Quoted
from formulary.errors import InputError
from formulary.finding import error
from formulary.quantity import NotAQuantity, format_decimal
from formulary.rate import Rate, parse_rate
from formulary.recipes.model import Addition, Lye, OilLine, Recipe, RecipePortion, ScentLine, Water, comparable
from formulary.recipes.read import parse_recipe

# The order in which a new section finds its place in a file.
_SECTIONS = (
    "format",
    "name",
    "formerly",
    "based_on",
    "purpose",
    "oils",
    "lye",
    "water",
    "additions",
    "scent",
    "portions",
    "process",
    "notes",
    "conflicts",
)
_Line = TypeVar("_Line", Addition, ScentLine)


def edit_recipe(text: str, intended: Recipe) -> str:
    """The text of a recipe file, changed to say `intended`: one changed value changes one line, comments survive.

    text: a valid recipe file. intended: what it shall say afterwards.
    Raises InputError when the text is no valid recipe, or cannot be changed safely; its finding says what to edit.
    """
    before, findings = parse_recipe(text, intended.slug)
    root, _ = parse_document(text)
    if before is None or root is None:
        raise InputError(findings)
    edit = _RecipeEdit(text, root, before, intended)
    try:
        changed = edit.make()
    except CannotEdit as problem:
        raise _refusal(before, intended, str(problem)) from None
    after, findings = parse_recipe(changed, intended.slug)
    if after is None and any(finding.code != "yaml-syntax" for finding in findings):
        raise InputError(findings)
    if after is None or comparable(after) != comparable(intended):
        raise _refusal(before, intended, "its layout is unusual")
    return changed


def _refusal(before: Recipe, intended: Recipe, why: str) -> InputError:
    old, new = comparable(before), comparable(intended)
    parts = [part for part in new if old[part] != new[part]]
    part = parts[0] if parts else "name"
    what = f"the file of {intended.slug} cannot be changed without risk at `{part}`: {why}"
    do = f"change {', '.join(f'`{name}`' for name in parts)} in an editor, then run the command without it"
    return InputError([error("edit-by-hand", what, do, before.place(part))])


class _RecipeEdit:
    """One pass over the parts of a recipe, gathering the changes to its text."""

    def __init__(self, text: str, root: Block, before: Recipe, after: Recipe) -> None:
        self.edit = DocumentEdit(text)
        self.root = root
        self.before = before
        self.after = after

    def make(self) -> str:
        before, after = self.before, self.after
        self._text_field("name", before.name, after.name)
        if before.formerly != after.formerly:
            self._words("formerly", list(after.formerly))
        if before.based_on != after.based_on:
            self._based_on()
        if before.purpose != after.purpose:
            self._text_field("purpose", before.purpose, after.purpose)
        self._oils()
        if before.lye != after.lye:
            self._lye(after.lye)
        if before.water != after.water:
            self._water(after.water)
        self._lines("additions", before.additions, after.additions)
        self._lines("scent", before.scent, after.scent)
        self._portions()
        self._mapping("process", dict(before.process), dict(after.process))
        if before.notes != after.notes:
            self._text_field("notes", before.notes, after.notes)
        if before.conflicts != after.conflicts:
            self._words("conflicts", list(after.conflicts))
        return self.edit.result()

    # Parts with one value

    def _text_field(self, key: str, before: str, after: str) -> None:
        entry = self.root.find(key)
        if before == after:
            return
        if entry is None:
            self._insert(key, after)
        elif not after:
            self._remove(key)
        elif isinstance(entry.value, Scalar):
            self.edit.set_text(entry.value, after, flow=self.root.flow)

    def _insert(self, key: str, value: Value) -> None:
        """A section that the file has not yet, in its place."""
        if self.root.flow:
            self.edit.change_block(self.root, add={key: value})
            return
        earlier = _SECTIONS[: _SECTIONS.index(key)]
        standing = [entry for name in earlier if (entry := self.root.find(name)) is not None]
        # Sections in an order of the maker's own: below the one that stands last of those that go before.
        self.edit.insert_section(standing[-1], key, value)

    def _remove(self, *keys: str) -> None:
        self.edit.change_block(self.root, drop=keys)

    def _words(self, key: str, words: list[Value]) -> None:
        """A list of words, written anew; a conflict that is settled leaves no trace."""
        entry = self.root.find(key)
        if entry is None:
            self._insert(key, words)
        elif not words and key == "conflicts":
            self._remove(key)
        elif isinstance(entry.value, Listing) and words and not entry.value.items:
            self.edit.replace_node(entry.value, words)  # brackets that were emptied are filled again
        elif isinstance(entry.value, Listing):
            self.edit.change_listing(entry, drop=range(len(entry.value.items)), add=words)

    def _based_on(self) -> None:
        parent = self.after.based_on
        entry = self.root.find("based_on")
        if parent is None:
            self._remove("based_on")
            return
        if entry is None:
            self._insert("based_on", Inline(recipe=parent.recipe, version=Quoted(parent.version)))
            return
        block = _block(entry)
        for key, value in (("recipe", parent.recipe), ("version", Quoted(parent.version))):
            scalar = _scalar(block, key)
            if scalar.text != value:
                self.edit.set_text(scalar, value, flow=block.flow)

    # Oils, lye, water

    def _oils(self) -> None:
        block = _block(self.root.find("oils"))
        before = {line.material: line for line in self.before.oils}
        after = {line.material: line for line in self.after.oils}
        for material, line in after.items():
            if material in before and before[material] != line:
                self._oil(block, before[material], line)
        drop = [material for material in before if material not in after]
        add = {material: _oil_value(line) for material, line in after.items() if material not in before}
        if drop or add:
            self.edit.change_block(block, drop=drop, add=add)

    def _oil(self, block: Block, before: OilLine, after: OilLine) -> None:
        entry = block.find(after.material)
        assert entry is not None
        inner = entry.value if isinstance(entry.value, Block) else None
        if inner is None:
            if before.at != after.at:
                self.edit.replace_node(entry.value, _oil_value(after))
            elif isinstance(entry.value, Scalar):
                self.edit.set_number(entry.value, after.percent)
            return
        if before.percent != after.percent:
            self.edit.set_number(_scalar(inner, "percent"), after.percent)
        if before.at != after.at:
            self._set(inner, "at", after.at)

    def _lye(self, after: Lye) -> None:
        before = self.before.lye
        block = _block(self.root.find("lye"))
        if before.superfat != after.superfat:
            small = 0 < after.superfat < 1
            self.edit.set_number(_scalar(block, "superfat"), after.superfat, percent_sign=small)
        if (dict(before.alkalis), before.by) != (dict(after.alkalis), after.by):
            entry = block.find("alkali")
            assert entry is not None
            if after.by is None and isinstance(entry.value, Scalar):
                self.edit.set_text(entry.value, after.alkalis[0][0], flow=block.flow)
            elif after.by is None:
                self.edit.replace_node(entry.value, after.alkalis[0][0])
            else:
                shares = {name: _share_text(share) for name, share in after.alkalis}
                self.edit.replace_node(entry.value, {"by": after.by, **shares})

    def _water(self, after: Water) -> None:
        block = _block(self.root.find("water"))
        entry = block.find(self.before.water.method)
        assert entry is not None
        assert isinstance(entry.value, Scalar)
        if self.before.water.method != after.method:
            self.edit.rename_key(entry, after.method)
            # A percent sign would be wrong behind a ratio.
            self.edit.replace_node(entry.value, after.value)
        else:
            self.edit.set_number(entry.value, after.value)

    # Lists of lines

    def _lines(self, section: str, before: tuple[_Line, ...], after: tuple[_Line, ...]) -> None:
        entry = self.root.find(section)
        old = {(line.material, line.at): (index, line) for index, line in enumerate(before)}
        new = {(line.material, line.at): line for line in after}
        moved = _moved(list(old), list(new))
        if entry is None:
            if new:
                self._insert(section, [_line_value(line) for line in new.values()])
            return
        drop: list[int] = []
        for key, (index, line) in old.items():
            target = new.get(moved.get(key, key))
            if target is None:
                drop.append(index)
            elif target != line:
                self._line(_item(entry, index), line, target)
        arrived = set(moved.values())
        add = [_line_value(line) for key, line in new.items() if key not in old and key not in arrived]
        if drop or add:
            self.edit.change_listing(entry, drop=drop, add=add)

    def _line(self, item: Block, before: _Line, after: _Line) -> None:
        if before.rate != after.rate:
            scalar = _scalar(item, "rate")
            self.edit.set_text(scalar, _rate_text(scalar.text, before.rate, after.rate), flow=item.flow)
        if before.at != after.at:
            self._set(item, "at", after.at)
        if isinstance(before, Addition) and isinstance(after, Addition):
            if before.water != after.water:
                self._set(item, "water", after.water)
            if before.prepared != after.prepared:
                self._prepared(item, after.prepared)

    def _prepared(self, item: Block, words: tuple[str, ...]) -> None:
        entry = item.find("prepared")
        if not words:
            self.edit.change_block(item, drop=["prepared"])
        elif entry is None:
            self.edit.change_block(item, add={"prepared": list(words)})
        elif isinstance(entry.value, Scalar) and len(words) == 1:
            self.edit.set_text(entry.value, words[0], flow=item.flow)
        else:
            self.edit.replace_node(entry.value, list(words))

    def _set(self, block: Block, key: str, value: str | None) -> None:
        """Set, add or take away one text of a block."""
        entry = block.find(key)
        if value is None:
            self.edit.change_block(block, drop=[key])
        elif entry is None:
            self.edit.change_block(block, add={key: value})
        elif isinstance(entry.value, Scalar):
            self.edit.set_text(entry.value, value, flow=block.flow)

    def _portions(self) -> None:
        before = {portion.name: (index, portion) for index, portion in enumerate(self.before.portions)}
        after = {portion.name: portion for portion in self.after.portions}
        entry = self.root.find("portions")
        if entry is None:
            if after:
                self._insert("portions", [_portion_value(portion) for portion in after.values()])
            return
        for name, (index, portion) in before.items():
            if name in after and after[name] != portion:
                self._portion(_item(entry, index), portion, after[name])
        drop = [index for name, (index, _) in before.items() if name not in after]
        add = [_portion_value(portion) for name, portion in after.items() if name not in before]
        if drop or add:
            self.edit.change_listing(entry, drop=drop, add=add)

    def _portion(self, item: Block, before: RecipePortion, after: RecipePortion) -> None:
        share = item.find("share")
        assert share is not None
        if before.by_eye == after.by_eye and before.share != after.share:
            scalar = _scalar(share.value, "percent") if isinstance(share.value, Block) else share.value
            assert isinstance(scalar, Scalar)
            self.edit.set_number(scalar, after.share, percent_sign=after.share < 1)
        elif before.by_eye != after.by_eye:
            self.edit.replace_node(share.value, _share_value(after))
        old, new = dict(before.gets), dict(after.gets)
        if old == new:
            return
        entry = item.find("gets")
        if entry is None:
            self.edit.change_block(item, add={"gets": Inline(new)})
        elif not new:
            self.edit.change_block(item, drop=["gets"])
        else:
            self._numbers(_block(entry), old, new)

    def _numbers(self, block: Block, old: Mapping[str, Decimal], new: Mapping[str, Decimal]) -> None:
        for key in new:
            if key in old and old[key] != new[key]:
                self.edit.set_number(_scalar(block, key), new[key])
        drop = [key for key in old if key not in new]
        add = {key: value for key, value in new.items() if key not in old}
        if drop or add:
            self.edit.change_block(block, drop=drop, add=add)

    def _mapping(self, section: str, before: dict[str, str], after: dict[str, str]) -> None:
        entry = self.root.find(section)
        if before == after:
            return
        if entry is None:
            self._insert(section, after)
            return
        if not after:
            self._remove(section)
            return
        block = _block(entry)
        for key in after:
            if key in before and before[key] != after[key]:
                self.edit.set_text(_scalar(block, key), after[key], flow=block.flow)
        drop = [key for key in before if key not in after]
        add = {key: value for key, value in after.items() if key not in before}
        if drop or add:
            self.edit.change_block(block, drop=drop, add=add)


def _moved(old: list[tuple[str, str]], new: list[tuple[str, str]]) -> dict[tuple[str, str], tuple[str, str]]:
    """Lines whose stage changed: one line of a material went and one came."""
    moved = {}
    for key in old:
        gone = [other for other in old if other[0] == key[0] and other not in new]
        come = [other for other in new if other[0] == key[0] and other not in old]
        if gone == [key] and len(come) == 1:
            moved[key] = come[0]
    return moved


def _rate_text(text: str, before: Rate, after: Rate) -> str:
    """The new rate in the old one's spelling, when only its figure changed."""
    if (before.unit, before.basis) == (after.unit, after.basis):
        rest = text.strip().lstrip("+-0123456789._")
        same_style = format_decimal(after.amount) + rest
        try:
            if parse_rate(same_style) == after:
                return same_style
        except NotAQuantity:
            pass
    return str(after)


def _oil_value(line: OilLine) -> Value:
    return line.percent if line.at == "oils" else Inline(percent=line.percent, at=line.at)


def _line_value(line: Addition | ScentLine) -> Value:
    value: dict[str, Value] = {"material": line.material, "rate": str(line.rate), "at": line.at}
    if isinstance(line, Addition):
        if line.water is not None:
            value["water"] = line.water
        if line.prepared:
            value["prepared"] = list(line.prepared)
    return value


def _share_value(portion: RecipePortion) -> Value:
    share = _share_text(portion.share)
    return Inline(percent=share, by_eye=portion.by_eye) if portion.by_eye else share


def _share_text(share: Decimal) -> Value:
    """A percentage; with its sign below 1, where a bare number would be taken for a fraction."""
    return f"{format_decimal(share)} %" if 0 < share < 1 else share


def _portion_value(portion: RecipePortion) -> Value:
    value: dict[str, Value] = {"name": portion.name, "share": _share_value(portion)}
    if portion.gets:
        value["gets"] = Inline(dict(portion.gets))
    return value


def _block(entry: Entry | None) -> Block:
    if entry is None or not isinstance(entry.value, Block):
        raise CannotEdit("a block is missing")
    return entry.value


def _scalar(block: Node, key: str) -> Scalar:
    entry = block.find(key) if isinstance(block, Block) else None
    if entry is None or not isinstance(entry.value, Scalar):
        raise CannotEdit(f"`{key}` is missing")
    return entry.value


def _item(entry: Entry, index: int) -> Block:
    item = entry.value.items[index] if isinstance(entry.value, Listing) else None
    if not isinstance(item, Block):
        raise CannotEdit(f"`{entry.key.text}` is not a list of blocks")
    return item
