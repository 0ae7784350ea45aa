"""Recipes valid by construction, and the same recipes written in every layout that a person may choose.

Names are those of the built-in register, so that what is made here can also be worked out as a batch.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise
from random import Random
from types import MappingProxyType

from hypothesis import strategies as st

from formulary.quantity import format_decimal
from formulary.rate import Basis, Rate
from formulary.recipes.model import (
    COVERS,
    PORTION_STAGES,
    STAGES,
    Addition,
    BasedOn,
    Lye,
    OilLine,
    Recipe,
    RecipePortion,
    ScentLine,
    Water,
)

OILS = (
    "olive-oil",
    "coconut-oil",
    "sunflower-oil",
    "castor-oil",
    "hemp-seed-oil",
    "rice-bran-oil",
    "shea-butter",
    "sweet-almond-oil",
)
DRY = ("rose-clay", "kaolin", "salt")
WET = ("oat-milk", "goat-milk", "cucumber-puree")
FRAGRANCES = ("clove-bud-oil", "lavender-oil", "peppermint-oil", "sweet-orange-oil")
SLUGS = ("harbour-base", "midwinter-clove", "nettle-spring", "sea-clay")
# Words that some YAML reader takes for something else, and characters that need quotes.
AWKWARD = (
    "no",
    "12:30",
    "010",
    "1.10",
    "null",
    "~",
    "5 %",
    "a # b",
    "a: b",
    "- dash",
    "[x]",
    "{y}",
    "it's",
    'say "so"',
    "back\\slash",
    "Größe, 38 °C",
    "🌿 fern",
    "e\u0301",
    "tab\there",
    "*star",
    "&and",
    "!bang",
    "%percent",
    "@at",
    "`tick`",
    "key:",
    "?",
    "| pipe",
    "> more",
    "'quoted'",
    " lead",
    "trail ",
    "two\nlines",
    "0x1f",
    "=",
    "<<",
)


def words() -> st.SearchStrategy[str]:
    """Short texts, awkward ones among them."""
    plain = st.text(alphabet="abcdefgh ABC,.;:#-'\"{}[]%äß°0123456789", min_size=1, max_size=20)
    return st.one_of(st.sampled_from(AWKWARD), plain.filter(lambda text: bool(text.strip())))


@st.composite
def shares(draw: st.DrawFn, count: int, total: int = 10_000) -> list[Decimal]:
    """`count` percentages above 0 that total exactly 100, from a composition of 10 000 basis points."""
    if count == 1:
        return [Decimal(total) / 100]
    step = draw(st.sampled_from([100, 50, 1]))  # whole, half or hundredth percent
    cuts = draw(st.lists(st.integers(1, total // step - 1), min_size=count - 1, max_size=count - 1, unique=True))
    edges = [0, *sorted(cuts), total // step]
    return [Decimal((high - low) * step) / 100 for low, high in pairwise(edges)]


def hundredths(low: int, high: int) -> st.SearchStrategy[Decimal]:
    """Decimals with two places between two whole numbers."""
    return st.integers(low * 100, high * 100).map(lambda number: Decimal(number) / 100)


def rates(*, high: int = 10, volumes: bool = False) -> st.SearchStrategy[Rate]:
    """Rates by percent or grams per kilogram (tablespoons too when asked for)."""
    percent = st.builds(Rate, hundredths(0, high), st.just("%"), st.sampled_from(Basis))
    per_kg = st.builds(Rate, hundredths(0, high * 10), st.just("g"), st.just(Basis.OILS))
    spoons = st.builds(Rate, st.sampled_from([Decimal("0.5"), Decimal(2)]), st.just("tbsp"), st.just(Basis.OILS))
    return st.one_of(percent, per_kg, *([spoons] if volumes else []))


@st.composite
def oil_lines(draw: st.DrawFn, min_size: int = 1) -> tuple[OilLine, ...]:
    """Oils that total exactly 100."""
    names = draw(st.lists(st.sampled_from(OILS), min_size=min_size, max_size=6, unique=True))
    percents = draw(shares(len(names)))
    held = draw(st.lists(st.sampled_from(["oils", "oils", "trace"]), min_size=len(names), max_size=len(names)))
    return tuple(OilLine(name, percent, at) for name, percent, at in zip(names, percents, held, strict=True))


@st.composite
def additions(draw: st.DrawFn) -> tuple[Addition, ...]:
    """Dry and wet additions, each line with its own (material, stage)."""
    keys = draw(st.lists(st.tuples(st.sampled_from(DRY + WET), st.sampled_from(STAGES)), max_size=3, unique=True))
    lines = []
    for material, at in keys:
        water = draw(st.sampled_from(["replaces", "extra"])) if material in WET else None
        lines.append(Addition(material, draw(rates()), at, water))
    return tuple(lines)


@st.composite
def scents(draw: st.DrawFn) -> tuple[ScentLine, ...]:
    """Fragrances at trace or with the oils."""
    names = draw(st.lists(st.sampled_from(FRAGRANCES), max_size=2, unique=True))
    return tuple(ScentLine(name, draw(rates(high=5)), draw(st.sampled_from(["trace", "oils"]))) for name in names)


@st.composite
def portions(draw: st.DrawFn, lines: Sequence[Addition | ScentLine]) -> tuple[RecipePortion, ...]:
    """No portions, or two or three with shares, and parts of those lines that can be divided, that total 100."""
    divisible = list(dict.fromkeys(line.material for line in lines if line.at in PORTION_STAGES))
    count = draw(st.sampled_from([0, 0, 2, 3]))
    if not count:
        return ()
    split = draw(shares(count))
    gets: list[list[tuple[str, Decimal]]] = [[] for _ in range(count)]
    for material in draw(st.lists(st.sampled_from(divisible), max_size=2, unique=True)) if divisible else []:
        whole = draw(st.integers(0, count - 1))
        for index in range(count):
            gets[index].append((material, Decimal(100 if index == whole else 0)))
    by_eye = draw(st.sampled_from([Decimal(0), Decimal("0.5")]))
    return tuple(
        RecipePortion(f"part-{index}", split[index], by_eye if by_eye < split[index] else Decimal(0), tuple(part))
        for index, part in enumerate(gets)
    )


def processes() -> st.SearchStrategy[MappingProxyType[str, str]]:
    """What a recipe may say of the making."""
    parts = st.fixed_dictionaries(
        {},
        optional={
            "lye_temperature": st.integers(20, 50).map(lambda degrees: f"{degrees} °C"),
            "oil_temperature": st.integers(20, 50).map(lambda degrees: f"{degrees} °C"),
            "mould": st.sampled_from(["tall-loaf", "slab", "no"]),
            "cover": st.sampled_from(COVERS),
            "cure": st.integers(28, 60).map(lambda days: f"{days} d"),
        },
    )
    return parts.map(MappingProxyType)


def waters() -> st.SearchStrategy[Water]:
    """One of the three rules."""
    return st.one_of(
        st.builds(Water, st.just("lye_concentration"), hundredths(25, 40)),
        st.builds(Water, st.just("water_to_lye"), hundredths(1, 3)),
        st.builds(Water, st.just("percent_of_oils"), hundredths(25, 40)),
    )


def lyes() -> st.SearchStrategy[Lye]:
    """Sodium hydroxide with a superfat of 1 to 20, sometimes none; now and then two alkalis."""
    superfat = st.one_of(st.just(Decimal(0)), hundredths(1, 20))
    single = st.builds(lambda percent: Lye((("sodium-hydroxide", Decimal(100)),), percent), superfat)
    pair = st.builds(
        lambda percent, by, part: Lye(
            (("sodium-hydroxide", Decimal(part)), ("potassium-hydroxide", Decimal(100 - part))), percent, by
        ),
        superfat,
        st.sampled_from(["mass", "moles"]),
        st.integers(5, 95),
    )
    return st.one_of(single, single, single, pair)


@st.composite
def recipes(draw: st.DrawFn, *, awkward_texts: bool = True, min_oils: int = 1) -> Recipe:
    """A valid recipe: oils of exactly 100 %, one rule for the water, lines with names of their own."""
    extra, scent = draw(additions()), draw(scents())
    text = words() if awkward_texts else st.sampled_from(["Harbour bar", "Winter bar"])
    parent = st.builds(BasedOn, st.sampled_from(SLUGS), st.text("0123456789abcdef", min_size=40, max_size=40))
    return Recipe(
        slug=draw(st.sampled_from(SLUGS)),
        name=draw(text),
        oils=draw(oil_lines(min_oils)),
        lye=draw(lyes()),
        water=draw(waters()),
        purpose=draw(st.sampled_from(["skin", "skin", "household"])),
        formerly=draw(st.sampled_from([(), (), ("old-name",), ("old-name", "older-name")])),
        based_on=draw(st.none() | parent),
        additions=extra,
        scent=scent,
        portions=draw(portions((*extra, *scent))),
        process=draw(processes()),
        notes=draw(st.just("") | text),
    )


def recipe_texts(recipe: Recipe) -> st.SearchStrategy[str]:
    """The recipe as somebody may have written it: block or flow, comments, quotes, blank lines, line ends."""
    return st.integers(0, 2**32).map(lambda seed: _Writer(Random(seed)).write(recipe))


@st.composite
def written_recipes(draw: st.DrawFn, *, min_oils: int = 1) -> tuple[Recipe, str]:
    """A recipe and a text that says it."""
    recipe = draw(recipes(min_oils=min_oils))
    return recipe, draw(recipe_texts(recipe))


class _Writer:
    """Writes one recipe, choosing each detail of its layout by a seed (a draw for each would be slow)."""

    def __init__(self, random: Random) -> None:
        self.random = random
        self.comment_count = 0
        self.step = random.choice(["  ", "    ", " "])

    def one_of(self, *options: str) -> str:
        return self.random.choice(options)

    def once_in(self, times: int) -> bool:
        return self.random.randrange(times) == 0

    def comment(self) -> str:
        """A comment behind a value, sometimes; each is numbered, so that none can get lost unseen."""
        if not self.once_in(5):
            return ""
        self.comment_count += 1
        return f"{self.one_of(' ', '    ')}# remark {self.comment_count}: keep - [this], {{too}}"

    def between(self, indent: str = "") -> list[str]:
        """Blank lines or a comment on its own line, sometimes."""
        what = self.random.randrange(6)
        if what == 0:
            return [""]
        if what == 1:
            self.comment_count += 1
            return [f"{indent}# line {self.comment_count}"]
        return []

    def number(self, value: Decimal, *, sign: bool) -> str:
        text = format_decimal(value)
        if sign:
            text += self.one_of("", "", "", " %", "%")
        if "." not in text and "%" not in text:
            text += self.one_of("", "", ".0", ".00")
        quote = self.one_of("", "", "", '"', "'")
        return f"{quote}{text}{quote}"

    def text(self, value: str) -> str:
        """A text in quotes when it needs them, sometimes when it does not."""
        simple = value.replace("-", "").replace(" ", "").isalnum() and value.isascii() and value[0].isalpha()
        simple = simple and value.lower() not in ("no", "null", "yes", "on", "off", "true", "false", "y", "n")
        if simple and not value.endswith(" "):
            quote = self.one_of("", "", "", '"', "'")
            return f"{quote}{value}{quote}"
        escaped = value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n").replace("\t", "\\t")
        return f'"{escaped}"'

    def rate(self, rate: Rate) -> str:
        text = str(rate)
        return text.replace(" %", "%", 1) if self.once_in(2) else text

    def write(self, recipe: Recipe) -> str:
        lines = [*self.between(), "format: 1" + self.comment(), f"name: {self.text(recipe.name)}" + self.comment()]
        if recipe.formerly or self.once_in(2):
            lines += self.words("formerly", recipe.formerly)
        if recipe.based_on is not None:
            parent = {"recipe": recipe.based_on.recipe, "version": f'"{recipe.based_on.version}"'}
            lines += self.block("based_on", parent)
        if recipe.purpose != "skin" or self.once_in(2):
            lines.append(f"purpose: {recipe.purpose}" + self.comment())
        lines += self.between() + self.block("oils", {line.material: self.oil(line) for line in recipe.oils})
        lines += self.between() + self.block("lye", self.lye(recipe.lye))
        lines += self.between() + self.block("water", self.water(recipe.water))
        items = [self.addition(line) for line in recipe.additions]
        lines += self.between() + self.items("additions", items)
        items = [self.scent(line) for line in recipe.scent]
        lines += self.items("scent", items)
        lines += self.items("portions", [self.portion(portion) for portion in recipe.portions])
        if recipe.process:
            lines += self.block("process", {key: self.text(value) for key, value in recipe.process.items()})
        if recipe.notes:
            lines.append(f"notes: {self.text(recipe.notes)}" + self.comment())
        newline = self.one_of("\n", "\n", "\n", "\r\n")
        text = newline.join(lines) + self.one_of(newline, newline, "", newline * 2)
        return self.one_of("", "", "", "\ufeff") + text

    def oil(self, line: OilLine) -> str:
        percent = self.number(line.percent, sign=True)
        if line.at == "oils" and not self.once_in(4):
            return percent
        return self.flow({"percent": percent, "at": line.at})

    def lye(self, lye: Lye) -> dict[str, str]:
        if lye.by is None:
            alkali = lye.alkalis[0][0]
        else:
            alkali = self.flow({"by": lye.by, **{name: str(share) for name, share in lye.alkalis}})
        small = 0 < lye.superfat < 1
        superfat = f"{lye.superfat} %" if small else self.number(lye.superfat, sign=True)
        return {"alkali": alkali, "superfat": superfat}

    def water(self, water: Water) -> dict[str, str]:
        return {water.method: self.number(water.value, sign=water.method != "water_to_lye")}

    def addition(self, line: Addition) -> dict[str, str]:
        item = {"material": line.material, "rate": self.rate(line.rate), "at": line.at}
        if line.water is not None:
            item["water"] = line.water
        return item

    def scent(self, line: ScentLine) -> dict[str, str]:
        item = {"material": line.material, "rate": self.rate(line.rate)}
        if line.at != "trace" or self.once_in(2):
            item["at"] = line.at
        return item

    def portion(self, portion: RecipePortion) -> dict[str, str]:
        share = f"{portion.share} %" if portion.share < 1 else self.number(portion.share, sign=True)
        if portion.by_eye:
            share = self.flow({"percent": share, "by_eye": str(portion.by_eye)})
        item = {"name": portion.name, "share": share}
        if portion.gets:
            item["gets"] = self.flow({name: self.number(percent, sign=True) for name, percent in portion.gets})
        return item

    def flow(self, block: dict[str, str]) -> str:
        pairs = ", ".join(f"{key}: {value}" for key, value in block.items())
        pad = self.one_of("", "", " ")
        return f"{{{pad}{pairs}{pad}}}"

    def tall_flow(self, head: str, start: str, parts: list[str], end: str) -> list[str]:
        """Braces or brackets over several lines, with comments between and sometimes a comma at the end."""
        last = len(parts) - 1
        lines = [head + start + self.comment()]
        for number, part in enumerate(parts):
            lines += self.between(self.step)
            comma = "," if number < last or self.once_in(2) else ""
            lines.append(f"{self.step}{part}{comma}" + self.comment())
        return [*lines, f"{self.step}{end}" + self.comment()]

    def block(self, key: str, block: dict[str, str]) -> list[str]:
        if self.once_in(4):
            return [f"{key}: {self.flow(block)}" + self.comment()]
        if self.once_in(6):
            return self.tall_flow(f"{key}: ", "{", [f"{name}: {value}" for name, value in block.items()], "}")
        lines = [f"{key}:" + self.comment()]
        wide = max(len(name) for name in block) if self.once_in(2) else 0
        for name, value in block.items():
            lines += self.between(self.step)
            lines.append(f"{self.step}{name}:{' ' * max(1, wide - len(name) + 1)}{value}" + self.comment())
        return lines

    def words(self, key: str, names: Sequence[str]) -> list[str]:
        if not names or self.once_in(2):
            return [f"{key}: [{', '.join(names)}]" + self.comment()]
        indent = self.one_of("", self.step)
        return [f"{key}:", *(f"{indent}- {name}" + self.comment() for name in names)]

    def items(self, key: str, items: list[dict[str, str]]) -> list[str]:
        if not items:
            return [f"{key}: []" + self.comment()] if self.once_in(4) else []
        if self.once_in(6):
            return [f"{key}: [{', '.join(self.flow(item) for item in items)}]" + self.comment()]
        if self.once_in(6):
            return self.tall_flow(f"{key}: ", "[", [self.flow(item) for item in items], "]")
        lines = [f"{key}:" + self.comment()]
        indent = self.one_of("", self.step)
        for item in items:
            lines += self.between(indent)
            if self.once_in(2):
                lines.append(f"{indent}- {self.flow(item)}" + self.comment())
                continue
            start = f"{indent}- "
            for name, value in item.items():
                lines.append(f"{start}{name}: {value}" + self.comment())
                start = f"{indent}  "
        return lines
