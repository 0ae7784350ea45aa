"""A recipe file's content as a Recipe, or everything that is wrong with it."""

from __future__ import annotations

import re
from collections.abc import Collection
from decimal import Decimal

from formulary.document.fields import Fields, read_file
from formulary.document.parse import parse_document
from formulary.document.tree import Block, Listing, Node, Scalar
from formulary.finding import Finding, Place, error, has_errors
from formulary.given import is_text
from formulary.names import SLUG, hyphenate, is_slug, nearest, suggest
from formulary.quantity import Kind, NotAQuantity, format_decimal, parse_percent, parse_quantity
from formulary.rate import Rate
from formulary.read_only import ReadOnly
from formulary.recipes.model import (
    COVERS,
    PROCESS_AMOUNTS,
    PURPOSES,
    STAGES,
    SUPERFAT_BOUNDS,
    WATER_BOUNDS,
    WATER_METHODS,
    Addition,
    BasedOn,
    Lye,
    OilLine,
    Recipe,
    ScentLine,
    Water,
)
from formulary.recipes.read_portions import read_portions

HUNDRED = Decimal(100)
FULL_ID = re.compile(r"[0-9a-f]{40}")
SCENT_STAGES = ("oils", "trace", "top")  # nobody puts scent into lye
PREPARED = ("frozen", "chilled", "flat")
_FROM_GRAMS = 'formulary new NAME --from-weights "olive-oil 450 g" ... makes percentages of weights'


def parse_recipe(
    data: bytes | str, slug: str, path: str | None = None, *, materials: Collection[str] | None = None
) -> tuple[Recipe | None, tuple[Finding, ...]]:
    """The recipe in a file's content, and every fault found in it; no recipe when any is an error.

    slug: the file's name without `.yaml`. materials: the names that the register knows; None leaves them unchecked.
    """
    recipe, findings = read_file(data, path, lambda fields: _RecipeReader(fields, slug, materials).read())
    return (None if has_errors(findings) else recipe), findings


def _parse_oil(text: str) -> Decimal:
    """The percentage of an oil. Raises NotAQuantity, for a weight with how a recipe is made from weights."""
    try:
        return parse_percent(text)
    except NotAQuantity as fault:
        try:
            parse_quantity(text, Kind.MASS)
        except NotAQuantity:
            raise fault from None
        what = f"{text.strip()[:24]!r} is a weight, and oils are in percent"
        raise NotAQuantity(what, f"write its percentage; {_FROM_GRAMS}") from None


class _RecipeReader:
    """Reads one file; keeps where each line stands, so that later checks can point at it."""

    def __init__(self, fields: Fields, slug: str, materials: Collection[str] | None) -> None:
        self.fields = fields
        self.slug = slug
        self.materials = materials
        self.places: dict[str, Place] = {}
        self.unread: set[str] = set()  # additions and scent of which the line has a fault

    def read(self) -> Recipe | None:
        fields = self.fields
        fields.check_format()
        name = fields.text("name", required=True)
        formerly = self._formerly()
        based_on = self._based_on()
        purpose = fields.choice("purpose", PURPOSES) or "skin"
        oils = self._oils()
        lye = self._lye()
        water = self._water()
        additions = self._additions()
        scent = self._scent()
        portions = read_portions(fields, (*additions, *scent), self.places, self.unread)
        process = self._process()
        notes = fields.text("notes") or ""
        conflicts = self._conflicts()
        fields.finish()
        if name is None or lye is None or water is None or not oils:
            return None
        return Recipe(
            slug=self.slug,
            name=name,
            formerly=formerly,
            based_on=based_on,
            purpose=purpose,
            oils=oils,
            lye=lye,
            water=water,
            additions=additions,
            scent=scent,
            portions=portions,
            process=ReadOnly(process),
            notes=notes,
            conflicts=conflicts,
            places=ReadOnly(self.places),
        )

    def _formerly(self) -> tuple[str, ...]:
        names: list[str] = []
        for item in self.fields.items("formerly"):
            if isinstance(item, Scalar) and not item.is_empty and SLUG.fullmatch(item.text):
                names.append(item.text)
                self.places[f"formerly/{item.text}"] = self.fields.place_of(item, "formerly")
            else:
                do = "write the name that the file had: lower-case words joined by hyphens"
                self.fields.report("bad-name", "this is no name of a recipe", do, item, "formerly")
        return tuple(names)

    def _based_on(self) -> BasedOn | None:
        block = self.fields.block_of("based_on")
        if block is None:
            return None
        self.places["based_on"] = self.fields.place("based_on")
        recipe, version = block.slug("recipe", required=True), block.text("version", required=True)
        block.finish()
        if version is not None and not FULL_ID.fullmatch(version):
            what = f"{version[:48]!r} is no full id of a version"
            do = 'write all 40 digits of it, in quotes: version: "4c1d9be2..."'
            block.report("bad-version", what, do, block.scalar("version"), "version")
            return None
        return None if recipe is None or version is None else BasedOn(recipe, version)

    def _material(self, fields: Fields, scalar: Scalar | None, key: str) -> str | None:
        """A material's name, checked against the register when there is one."""
        if scalar is None:
            return None
        known = self.materials
        if is_slug(scalar.text) and (known is None or scalar.text in known):
            return scalar.text
        if not is_slug(scalar.text):
            what = f"{scalar.text[:40]!r} is not a material's name"
            near = (*nearest(scalar.text, known or (), 1), "olive-oil")[0]
            fields.report("bad-name", what, f"write lower-case words joined by hyphens: {near}", scalar, key)
            return None
        do = suggest(scalar.text, known or (), f"add it: formulary materials add {scalar.text}; or correct the name")
        fields.report("unknown-material", f"no material is called {scalar.text!r}", do, scalar, key)
        return None

    def _oils(self) -> tuple[OilLine, ...]:
        fields = self.fields
        lines: list[OilLine] = []
        node: Node | None = None
        complete = True
        entries = fields.entries("oils", required=True)
        for key, value in entries:
            name = key.text
            label = f"oils, {name[:40]}"
            material = self._material(fields, key, label)
            percent, at, node = self._oil(value, name, label)
            if percent is None:
                complete = False
                continue
            lines.append(OilLine(material or name, percent, at))
            self.places[f"oils/{name}"] = fields.place_of(node, f"oils, {name}")
        self.places["oils"] = fields.place("oils")
        if fields.has("oils") and complete:
            self._check_total(lines, entries[-1].key.text if entries else "", node)
        return tuple(lines)

    def _oil(self, value: Node, name: str, label: str) -> tuple[Decimal | None, str, Node]:
        fields = self.fields
        if isinstance(value, Scalar) and not value.is_empty:
            percent = fields.parse_node(value, _parse_oil, label)
            if percent is None or 0 <= percent <= HUNDRED:
                return percent, "oils", value
            what = f"{format_decimal(percent)} % is outside 0 to 100"
            do = "correct it" if percent < 0 else f"correct it; if grams are meant: {_FROM_GRAMS}"
            fields.report("out-of-bounds", what, do, value, label)
            return None, "oils", value
        if isinstance(value, Block):
            block = fields.as_block(value, label)
            assert block is not None
            percent = block.percent("percent", required=True)
            at = block.choice("at", ("oils", "trace")) or "oils"
            block.finish()
            entry = value.find("percent")
            return percent, at, entry.value if entry is not None else value
        if isinstance(value, Scalar):
            what = f"`{name[:40]}` has no percentage"
            fields.report("empty-value", what, "write one, or remove the line", value, label)
            return None, "oils", value
        return fields.parse_node(value, _parse_oil, label), "oils", value

    def _check_total(self, lines: list[OilLine], name: str, node: Node | None) -> None:
        total = sum([line.percent for line in lines], Decimal(0))
        if total == HUNDRED:
            return
        if not lines:
            self.fields.report("oils-empty", "there is no oil", "add oils that total 100 %", None, "oils")
            return
        text = format_decimal(total)
        if Decimal("0.99") <= total <= Decimal("1.01"):
            what, do = f"the oils total {text}: fractions where percentages are due", "multiply each by 100"
        else:
            off = HUNDRED - total
            verb = "raise" if off > 0 else "lower"
            what = f"the oils total {text} %, not 100 %"
            do = f"{verb} an oil by {format_decimal(abs(off))} %"
            if Decimal(0) < abs(off) <= Decimal("0.1"):
                last = lines[-1]
                do += f", for example {last.material}: {format_decimal(last.percent + off)}"
        self.fields.report("oils-total", what, do, node, f"oils, {name}")

    def _lye(self) -> Lye | None:
        block = self.fields.block_of("lye", required=True)
        if block is None:
            return None
        self.places["lye"] = self.fields.place("lye")
        low, high = SUPERFAT_BOUNDS
        superfat = block.percent("superfat", required=True, low=low, high=high, refuse_fraction=True)
        self.places["lye/superfat"] = block.place("superfat")
        node = block.node("alkali", required=True)
        self.places["lye/alkali"] = block.place("alkali")
        alkalis: tuple[tuple[str, Decimal], ...] = ()
        by = None
        if isinstance(node, Block):
            shares = block.as_block(node, "alkali")
            assert shares is not None
            if shares.has("by"):
                by = shares.choice("by", ("mass", "moles"), required=True)
            else:
                what = "`by` is missing: the shares of two alkalis are by mass or by moles, which are not the same"
                shares.report("missing-key", what, "add `by: mass` (percent by weight) or `by: moles`", None, "by")
            found: list[tuple[str, Decimal]] = []
            for entry in node.entries:
                if entry.key.text == "by":
                    continue
                share = shares.percent(entry.key.text, refuse_fraction=True)
                material = self._material(shares, entry.key, entry.key.text)
                if share is not None and material is not None:
                    found.append((material, share))
            shares.finish()
            alkalis = tuple(found)
            total = sum((share for _, share in found), Decimal(0))
            if found and total != HUNDRED:
                what = f"the alkalis' shares total {format_decimal(total)} %, not 100 %"
                block.report("alkali-total", what, "make them total 100", node, "alkali")
        elif node is not None:
            material = self._material(block, block.scalar("alkali"), "alkali")
            alkalis = ((material, HUNDRED),) if material is not None else ()
        block.finish()
        return Lye(alkalis, superfat, by) if alkalis and superfat is not None else None

    def _water(self) -> Water | None:
        block = self.fields.block_of("water", required=True)
        if block is None:
            return None
        self.places["water"] = self.fields.place("water")
        given = [key for key in WATER_METHODS if block.has(key)]
        block.finish()
        if len(given) != 1:
            found = "none" if not given else " and ".join(given)
            what = f"water is stated by {found}; one rule decides it"
            block.report("water-rule", what, f"keep exactly one of: {', '.join(WATER_METHODS)}", None, None)
            return None
        method = given[0]
        low, high = WATER_BOUNDS[method]
        if method == "water_to_lye":
            value = block.decimal(method, low=low, high=high)
        else:
            value = block.percent(method, low=low, high=high, refuse_fraction=True)
        self.places[f"water/{method}"] = block.place(method)
        return None if value is None else Water(method, value)

    def _rate(self, block: Fields) -> Rate | None:
        rate = block.rate("rate", required=True)
        if rate is not None and rate.unit == "%" and rate.amount > HUNDRED:
            scalar = block.scalar("rate")
            block.report("out-of-bounds", f"{rate} is more than all of it", "write 0 to 100 %", scalar, "rate")
            return None
        return rate

    def _additions(self) -> tuple[Addition, ...]:
        lines: list[Addition] = []
        for block in self.fields.blocks("additions", name="material"):
            material = self._material(block, block.scalar("material", required=True), "material")
            rate = self._rate(block)
            at = block.choice("at", STAGES, required=True)
            water = block.choice("water", ("replaces", "extra"))
            prepared = self._words(block, "prepared", PREPARED)
            block.finish()
            if material is None or rate is None or at is None:
                self._leave_unread(block)
                continue
            self._note_line(block, "additions", material, at)
            lines.append(Addition(material, rate, at, water, prepared))
        return tuple(lines)

    def _leave_unread(self, block: Fields) -> None:
        """Note what a line with a fault is of: a portion that gets some of it has none by that."""
        scalar = block.scalar("material")
        if scalar is not None:
            self.unread |= {scalar.text, hyphenate(scalar.text)}

    def _scent(self) -> tuple[ScentLine, ...]:
        lines: list[ScentLine] = []
        for block in self.fields.blocks("scent", name="material"):
            material = self._material(block, block.scalar("material", required=True), "material")
            rate = self._rate(block)
            at = block.choice("at", SCENT_STAGES) or "trace"
            block.finish()
            if material is None or rate is None:
                self._leave_unread(block)
                continue
            if rate.is_volume:
                what, do = "scent is measured by volume here", 'weigh it: "1.2 % of oils"'
                block.report("volume-refused", what, do, block.scalar("rate"), "rate")
                self._leave_unread(block)
                continue
            self._note_line(block, "scent", material, at)
            lines.append(ScentLine(material, rate, at))
        return tuple(lines)

    def _note_line(self, block: Fields, part: str, material: str, at: str) -> None:
        line = f"{part}/{material}/{at}"
        is_second = line in self.places
        self.places[line] = block.place("rate")
        self.places[f"{part}/{material}"] = block.place("material")
        if is_second:
            what = f"{material} at {at} stands twice"
            do = "put both amounts into one line, or add one at another stage"
            block.report("duplicate-line", what, do, block.scalar("material"), "material")

    def _words(self, block: Fields, key: str, options: tuple[str, ...]) -> tuple[str, ...]:
        node = block.node(key)
        if node is None:
            return ()
        scalars = node.items if isinstance(node, Listing) else (node,)
        words: list[str] = []
        for scalar in scalars:
            if isinstance(scalar, Scalar) and scalar.text in options:
                words.append(scalar.text)
            else:
                block.report("not-a-choice", f"`{key}` knows {', '.join(options)}", "write one of these", scalar, key)
        return tuple(words)

    def _process(self) -> dict[str, str]:
        block = self.fields.block_of("process")
        if block is None:
            return {}
        process: dict[str, str] = {}
        for key, kind in PROCESS_AMOUNTS.items():
            quantity = block.quantity(key, kind)
            if quantity is not None:
                process[key] = str(quantity)
        mould = block.text("mould")
        if mould is not None:
            process["mould"] = mould
        cover = block.choice("cover", COVERS)
        if cover is not None:
            process["cover"] = cover
        block.finish()
        for key in process:
            self.places[f"process/{key}"] = block.place(key)
        return process

    def _conflicts(self) -> tuple[str, ...]:
        node = self.fields.node("conflicts")
        if node is None:
            return ()
        items: tuple[Node, ...] = node.items if isinstance(node, Listing) else (node,)
        self.places["conflicts"] = self.fields.place("conflicts")
        return tuple(_conflict_text(item) for item in items)


def _conflict_text(node: Node) -> str:
    if isinstance(node, Scalar):
        return node.text
    if isinstance(node, Block):
        return ", ".join(f"{entry.key.text}: {_conflict_text(entry.value)}" for entry in node.entries)
    return "; ".join(_conflict_text(item) for item in node.items)


def read_formerly(data: bytes) -> tuple[str, ...]:
    """A recipe's earlier names, even from a file with faults elsewhere: its history must not hang on a typo."""
    root, _ = parse_document(data)
    entry = root.find("formerly") if root is not None else None
    if entry is None or not isinstance(entry.value, Listing):
        return ()
    return tuple(item.text for item in entry.value.items if isinstance(item, Scalar) and SLUG.fullmatch(item.text))


def check_name(slug: str, what: str = "recipe") -> Finding | None:
    """What is wrong with a name typed for a new recipe, or None."""
    if is_text(slug) and SLUG.fullmatch(slug) and len(slug) <= 60:
        return None
    do = "write lower-case words joined by hyphens, such as midwinter-clove"
    return error("bad-name", f"{slug!r:.42} cannot be the name of a {what}", do)
