"""What to ask a maker of a new material, or of a lot, so that it can be used safely: questions as data, answers as
values of the file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from typing import TYPE_CHECKING

from formulary.document.write import Inline, Quoted
from formulary.materials.constituent_names import parse_constituent
from formulary.materials.model import Material, MaterialKind
from formulary.quantity import NotAQuantity, parse_decimal

if TYPE_CHECKING:
    from formulary.document.edit import Value


class Form(Enum):
    """How an answer is typed."""

    PLAIN = "a number, an amount or words"
    LABEL = "words that may look like a number"
    RANGE = "a number, or two with `to` between them"
    PARTS = "names, each with its percent"
    WORDS = "words with commas between them"


@dataclass(frozen=True, slots=True)
class Question:
    """One thing to ask. key: where the answer stands in the file, `limit.edition` within a block.

    after: the key that must have been answered for this to make sense. is_needed: nothing can be written without it.
    group: what the material is once this is answered.
    """

    key: str
    asks: str
    form: Form = Form.PLAIN
    after: str | None = None
    is_needed: bool = False
    group: str | None = None


_SAPONIFICATION = Question(
    "saponification_value", "Saponification value, mg KOH per g, such as 190, or as a range 184 to 196", Form.RANGE
)
_FATTY_ACIDS = Question(
    "fatty_acids",
    "Fatty acids in percent, which give or check its lye, such as C16:0 11, C18:1 72, C18:2 9",
    Form.PARTS,
)
_ACID_VALUE = Question("acid_value", "Acid value, mg KOH per g, such as 20, or as a range 17 to 24", Form.RANGE)
_DENSITY = Question("density", "Density, for moulds, such as 0.92 g/ml")
_MELTING = Question("melting_point", "Melting point in °C or °F, such as 24 °C")
_WATER = Question("water", "Water, percent by weight, such as 90")
_SUGARS = Question("sugars", "Sugars, percent by weight, from the label, such as 4; they heat the loaf")
_LIMIT = (
    Question(
        "limit.percent_of_product", "The most that its certificate allows in soap, percent of the bar, such as 2.9"
    ),
    Question("limit.certificate", "Date of that certificate, such as 2026-02-11", after="limit.percent_of_product"),
    Question(
        "limit.edition", "Edition of the standard that it names, such as 51", Form.LABEL, "limit.percent_of_product"
    ),
)
_CONTAINS = Question(
    "contains", "Restricted constituents, percent of the scent, such as eugenol 82, linalool 3", Form.PARTS
)
_SOURCE = Question("source", "Where these values are from, such as the supplier's certificate")

_OF_KIND: Mapping[MaterialKind, Sequence[Question]] = {
    MaterialKind.OIL: (_SAPONIFICATION, _FATTY_ACIDS, _DENSITY, _MELTING),
    MaterialKind.WAX: (_SAPONIFICATION, _ACID_VALUE, _DENSITY, _MELTING),
    MaterialKind.FATTY_ACID: (_SAPONIFICATION, _ACID_VALUE, _FATTY_ACIDS, _DENSITY, _MELTING),
    MaterialKind.ALKALI: (
        Question("alkali", "Which hydroxide is it: sodium-hydroxide or potassium-hydroxide", is_needed=True),
        Question(
            "water",
            "Water in it, percent, if it is a ready-made lye, such as 50 (Enter: it is solid)",
            group="lye-solution",
        ),
        Question("assay", "Percent of hydroxide in that lye, such as 50", after="water", is_needed=True),
        Question("assay", "How much of it is pure hydroxide, percent, from its label, such as 98.5"),
    ),
    MaterialKind.ACID: (
        Question("acids", "Which acid, and percent of it free of water, such as citric 100, or acetic 5", Form.PARTS),
        _WATER,
    ),
    MaterialKind.LIQUID: (
        Question(
            "group", "What it is most like: milk, plant-milk, juice, puree, beer, spirits, honey, syrup, infusion"
        ),
        _WATER,
        _SUGARS,
        Question("fat", "Fat, percent by weight; it counts in the superfat, such as 3.5"),
        Question("fat_saponification_value", "Saponification value of that fat, if known, such as 230", after="fat"),
        Question("acids", "Acids, percent by weight; they take alkali, such as lactic 0.9, citric 5", Form.PARTS),
        Question("alcohol", "Alcohol, percent by weight, such as 4"),
        Question("density", "Density, such as 1.03 g/ml"),
    ),
    MaterialKind.FRAGRANCE: (
        Question("group", "What it is: essential-oil, spice-oil, absolute or fragrance-oil"),
        *_LIMIT,
        _CONTAINS,
        Question("flash_point", "Flash point in °C or °F, such as 71 °C"),
        Question("vanillin", "Vanillin, percent; it browns, such as 4"),
        Question("allergens", "Allergens to name on the label, such as eugenol, linalool", Form.WORDS),
    ),
    MaterialKind.COLOURANT: (
        Question("group", "What it is: clay, mica, white-pigment, pigment, charcoal or plant-powder"),
    ),
    MaterialKind.ADDITIVE: (
        Question("group", "What it is most like: sugar, salt, starch, grain, exfoliant, chelator, milk-powder, clay"),
        _WATER,
        _SUGARS,
    ),
}
_OF_DELIVERY = (
    Question("received", "When it came, such as 2026-08-02"),
    Question("opened", "When it was opened, such as 2026-08-20"),
    Question("best_before", "Its best before, such as 2028-02"),
    Question("price", "What it cost, such as 22.50 per 100 g"),
)
_OF_CERTIFICATE: Mapping[MaterialKind, Sequence[Question]] = {
    MaterialKind.OIL: (_SAPONIFICATION,),
    MaterialKind.WAX: (_SAPONIFICATION, _ACID_VALUE),
    MaterialKind.FATTY_ACID: (_SAPONIFICATION, _ACID_VALUE),
    MaterialKind.ALKALI: (Question("assay", "How much of it is pure hydroxide, percent, such as 98.5"),),
    MaterialKind.FRAGRANCE: (*_LIMIT, _CONTAINS),
}


def questions_for_material(slug: str, kind: MaterialKind) -> tuple[Question, ...]:
    """What to ask of a new material of a kind."""
    named = kind is MaterialKind.ALKALI and slug.startswith(("sodium-hydroxide", "potassium-hydroxide"))
    return (*(each for each in _OF_KIND[kind] if not (named and each.key == "alkali")), _SOURCE)


def questions_for_lot(kind: MaterialKind) -> tuple[Question, ...]:
    """What to ask of a delivery of a material of a kind."""
    return (*_OF_DELIVERY, *_OF_CERTIFICATE.get(kind, ()))


_RANGE = re.compile(r"(\S+)\s*(?:-|–|\bto\b)\s*(\S+)")
_PART = re.compile(r"(?P<name>\S.*?)(?:\s*[=:]\s*|\s+)(?P<percent>[0-9.]+)\s*%?")
_ACID_ALONE = re.compile(r"C[0-9]+:[0-9](?:n[0-9])?", re.IGNORECASE)


def parse_answer(question: Question, text: str) -> Value:
    """An answer as it is to stand in the file. Raises NotAQuantity for parts that do not name what they are of.

    >>> parse_answer(_SAPONIFICATION, "184 to 196")
    {'low': Decimal('184'), 'high': Decimal('196')}
    """
    stripped = text.strip()
    if question.form is Form.LABEL:
        return Quoted(stripped)
    if question.form is Form.WORDS:
        return [word.strip() for word in stripped.strip("[]").split(",") if word.strip()]
    if question.form is Form.RANGE:
        match = _RANGE.fullmatch(stripped)
        if match is not None:
            return Inline({"low": _plain(match.group(1)), "high": _plain(match.group(2))})
    if question.form is Form.PARTS:
        return Inline(_parse_parts(stripped, question))
    return _plain(stripped)


def _parse_parts(text: str, question: Question) -> dict[str, Value]:
    parts: dict[str, Value] = {}
    example = question.asks.rpartition("such as ")[2]
    for piece in _split_parts(text.strip("{}")):
        match = None if _ACID_ALONE.fullmatch(piece) else _PART.fullmatch(piece)
        if match is None:
            raise NotAQuantity(*_fault_of_part(piece, parts, example))
        name = match.group("name").strip().rstrip(":")
        if question.key == "contains":
            parse_constituent(name)
        if name.casefold() in (known.casefold() for known in parts):
            what = f"{name[:24]!r} stands twice in the list"
            raise NotAQuantity(what, f"write it once, with its whole percent: {example}")
        parts[name] = _plain(match.group("percent"))
    return parts


def _split_parts(text: str) -> list[str]:
    """The parts of a list; the comma in a name such as 1,8-cineole is the name's own."""
    pieces: list[str] = []
    for piece in text.split(","):
        if (
            pieces
            and re.fullmatch(r"\s*(?:\S*-)?[0-9]", pieces[-1])
            and re.match(r"[0-9]{1,2}-[a-z]", piece, re.IGNORECASE)
        ):
            pieces[-1] += f",{piece}"
        else:
            pieces.append(piece)
    return [piece.strip() for piece in pieces]


def _fault_of_part(piece: str, parts: Mapping[str, Value], example: str) -> tuple[str, str]:
    """What is wrong with one part of a list, and what to write."""
    if parts and re.fullmatch(r"[0-9]+\s*%?", piece):
        name, percent = list(parts.items())[-1]
        if isinstance(percent, Decimal) and percent == percent.to_integral_value():
            written = f"{percent:f}"
            what = f"'{name} {written},{piece}' has a comma in its number"
            return what, f"write {name} {written}.{piece}, with a point"
    do = f"write a name and a number, a comma between them: {example}"
    if _ACID_ALONE.fullmatch(piece):
        return f"{piece!r} has no percent", do
    return f"{piece[:24]!r} is not a name and its percent", do


def _plain(text: str) -> Value:
    try:
        return parse_decimal(text)
    except NotAQuantity:
        return text


def with_answer(values: Mapping[str, Value], question: Question, answer: Value) -> dict[str, Value]:
    """The values of a file with one answer more, in its place within a block where it has one."""
    block, _, inner = question.key.partition(".")
    changed = dict(values)
    if not inner:
        changed[block] = answer
        if question.group is not None:
            changed["group"] = question.group
        return changed
    within = changed.get(block)
    changed[block] = Inline({**(within if isinstance(within, Mapping) else {}), inner: answer})
    return changed


def has_answer(values: Mapping[str, Value], key: str) -> bool:
    """Whether the values state a key already, `limit.edition` within its block."""
    block, _, inner = key.partition(".")
    within = values.get(block)
    if not inner or (within is not None and not isinstance(within, Mapping)):
        return block in values
    return isinstance(within, Mapping) and inner in within


def find_open_points(material: Material) -> tuple[str, ...]:
    """What a material lacks to be used safely, each with what that means."""
    kind = material.kind
    found = []
    if kind.is_fat and material.saponification_value is None:
        other = "" if kind is MaterialKind.WAX else ", or its fatty acids,"
        found.append(f"without a saponification value{other} no lye can be worked out for it")
    if kind is MaterialKind.FRAGRANCE and material.limit is None:
        found.append("without the limit of its certificate nothing made with it is for sale")
    if kind is MaterialKind.LIQUID and material.water_percent is None:
        found.append("without its water it cannot replace water")
    if kind is MaterialKind.ACID and not material.acids:
        found.append("without its acid no alkali is counted for it, and the bar gets softer than stated")
    if material.group == "lye-solution" and material.has_unknown_assay:
        found.append("without its strength it counts as pure, and far too little would be weighed")
    return tuple(found)
