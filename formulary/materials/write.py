"""A maker's material files as text: a new one with the comments that a beginner needs, and a lot added to one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from formulary.document.edit import CannotEdit, DocumentEdit, Value, render_value
from formulary.document.parse import parse_document
from formulary.document.tree import Block
from formulary.document.write import Inline, Quoted
from formulary.errors import InputError
from formulary.finding import has_errors
from formulary.materials.file_values import file_values
from formulary.materials.model import Material, MaterialKind
from formulary.materials.read import parse_material

# Each: key, how it is written, and why. No number of any material stands there: taken over, it would be a wrong one.
_FAT = (
    ("saponification_value", "{low: ..., high: ...}", "mg KOH per g; a single number from a book is taken to 3 %"),
    ("iodine_value", "{low: ..., high: ...}", "g iodine per 100 g"),
    ("fatty_acids", "{C16:0: ..., C18:1: ..., C18:2: ...}", "percent of the fatty acids"),
    ("density", "... g/ml", "for moulds"),
    ("melting_point", "... °C", ""),
    ("inci", "its name on labels", "the soap's own name goes to inci_in_soap"),
)
_WET = (
    ("group", "milk, plant-milk, juice, puree, beer, spirits, honey and so on", "some checks go by it"),
    ("water", "... %", "all percentages by weight, from the label; without `water` it cannot replace water"),
    ("sugars", "... %", "they heat the loaf"),
    ("fat", "... %", "it counts in the effective superfat"),
    ("fat_saponification_value", "...", "mg KOH per g of that fat, if known"),
    ("acids", "{lactic: ... %}", "they take alkali for themselves"),
    ("density", "... g/ml", ""),
    ("origin", "[milk]", "milk, nut, wheat and the like, for the label"),
)
_POWDER = (
    ("group", "clay, mica, white-pigment and so on", "some checks go by it"),
    ("bulk_density", "... g/ml", "of a loose heap, for spoons"),
    ("measures", "{tsp: {mass: ... g, n: 3}}", "what a level spoon weighs on your own scale, mean of n"),
    ("inci", "its name on labels", ""),
)
# What a beginner may want to fill in, by kind.
_HINTS: Mapping[MaterialKind, Sequence[tuple[str, str, str]]] = {
    MaterialKind.OIL: _FAT,
    MaterialKind.WAX: (*_FAT[:1], ("acid_value", "{low: ..., high: ...}", "waxes react only partly"), *_FAT[3:]),
    MaterialKind.FATTY_ACID: _FAT,
    MaterialKind.ALKALI: (
        ("alkali", "sodium-hydroxide or potassium-hydroxide", "which hydroxide it is"),
        ("assay", "... %", "from the label or certificate; `unknown` counts as 100 %, which is the safe side"),
        ("water", "... %", "the rest; of a ready-made lye beside its assay, with `group: lye-solution`"),
    ),
    MaterialKind.ACID: (
        ("acids", "{citric: ... %}", "water-free acid by weight; the monohydrate of citric acid holds 91.43 %"),
        ("water", "... %", ""),
    ),
    MaterialKind.LIQUID: _WET,
    MaterialKind.FRAGRANCE: (
        ("group", "essential-oil, spice-oil, absolute or fragrance-oil", "some checks go by it"),
        (
            "limit",
            '{percent_of_product: ..., certificate: year-month-day, edition: "..."}',
            "from its certificate, for category 9 (soap); without it nothing made with it is for sale",
        ),
        ("contains", "{eugenol: ... %}", "restricted constituents, percent of the scent"),
        ("limits", "{eugenol: ...}", "their limits in percent of the bar, where the certificate gives them"),
        ("allergens", "[eugenol]", "to be named on the label"),
        ("vanillin", "... %", "it browns"),
        ("flash_point", "... °C", ""),
        ("carrier", "what it is diluted with", ""),
        ("density", "... g/ml", ""),
    ),
    MaterialKind.COLOURANT: _POWDER,
    MaterialKind.ADDITIVE: (*_WET[1:3], *_POWDER),
}
_EVERY = (
    ("price", "such as 24.00 per 100 g", ""),
    ("source", "such as the supplier's certificate", "where these values are from"),
)


def render_new_material(
    slug: str,
    name: str,
    kind: MaterialKind,
    values: Mapping[str, Value] | None = None,
    *,
    builtin: Material | None = None,
) -> str:
    """The text of a new `materials/<slug>.yaml`: what is known, and what else may be filled in as comments.

    Parameters
    ----------
    slug: the material's slug, which is the file's name without `.yaml`.
    name: what the maker calls it.
    kind: what it is.
    values: the file's keys and their values as they are to be written, such as ``{"density": "0.92 g/ml"}``.
    builtin: the built-in material of this slug. One of the same kind stays as it is where the file says nothing, and
        its own values are what stands in the comments.

    Returns
    -------
    the text, which `parse_material` reads without an error.

    Raises
    ------
    InputError: a value cannot stand in such a file; it carries the findings.
    """
    stated = dict(values or {})
    lots = stated.pop("lots", None)
    lines = [f"# {_one_line(name)}. Lines that begin with # are for you; take the # away to fill one in."]
    known: Mapping[str, Value] = {}
    if builtin is not None and builtin.kind is kind:
        lines.append("# A built-in material has this name: what this file does not say stays as it is built in.")
        known = file_values(builtin)
    elif builtin is not None:
        lines.append(f"# The built-in one of this name is of kind {builtin.kind.value}; nothing of it holds here.")
    lines += ["format: 1", f"name: {render_value(name, flow=False)}", f"kind: {kind.value}"]
    hints = (*_HINTS[kind], *_EVERY)
    why = {key: comment for key, _, comment in hints}
    for key, value in stated.items():
        written = render_value(value, flow=not isinstance(value, str))
        lines.append(f"{key}: {written}{_comment(why.get(key, ''))}")
    lines += [_hint(key, form, comment, known.get(key)) for key, form, comment in hints if key not in stated]
    lines.append("# lots:                    # one line a delivery; a lot may state any value above by its certificate")
    lines.append('#   "L-1": {received: 2026-08-02, opened: 2026-08-20, best_before: 2028-02}')
    text = "\n".join(lines) + "\n"
    if isinstance(lots, Mapping):
        for lot, of_lot in lots.items():
            text = add_lot(text, slug, str(lot), of_lot if isinstance(of_lot, Mapping) else {})
    return _checked(text, slug)


def add_lot(text: str, slug: str, lot: str, values: Mapping[str, Value]) -> str:
    """The text of a material file with one lot more; every other character stays as the maker wrote it.

    Parameters
    ----------
    text: the file as it is.
    slug: the material's slug.
    lot: the lot's number, as it stands on the label.
    values: `received`, `opened`, `best_before`, `price`, and any value that the lot's certificate states.

    Raises
    ------
    InputError: the file cannot be read or changed, it has that lot already, or a value cannot stand there.
    """
    path = f"materials/{slug}.yaml"
    root, problems = parse_document(text, path)
    if root is None or has_errors(problems):
        raise InputError(problems)
    edit = DocumentEdit(text)
    new = Inline(values)
    lots = root.find("lots")
    block = lots.value if lots is not None and isinstance(lots.value, Block) else None
    if block is not None and block.find(lot) is not None:
        what = f"lot {lot} of {slug} is known already"
        raise InputError.of("lot-known", what, f"change it in {path}")
    try:
        if lots is None:
            return _checked(_with_first_lot(text, lot, new), slug)
        if block is not None:
            edit.change_block(block, add={Quoted(lot): new})
        else:
            edit.fill_empty(lots, {Quoted(lot): new})
        changed = edit.result()
    except CannotEdit as fault:
        raise InputError.of("cannot-edit", f"{path} cannot be changed here: {fault}", "add the lot by hand") from None
    return _checked(changed, slug)


def _with_first_lot(text: str, lot: str, values: Inline) -> str:
    """The text with a `lots:` block at its end, below what stands there as comments."""
    newline = "\r\n" if "\r\n" in text else "\n"
    whole = text if text.endswith("\n") else text + newline
    return f"{whole}lots:{newline}  {render_value(Quoted(lot))}: {render_value(values)}{newline}"


def _checked(text: str, slug: str) -> str:
    _, findings = parse_material(text, f"materials/{slug}.yaml", slug)
    if has_errors(findings):
        raise InputError(fault.unwritten() for fault in findings)
    return text


def _hint(key: str, form: str, why: str, known: Value | None) -> str:
    """A line to fill in: with the built-in value where there is one, else with how to write one and no value at all."""
    if known is not None:
        written = render_value(known, flow=not isinstance(known, str))
        return f"# {key}: {written}{_comment('; '.join(part for part in ('as it is built in', why) if part))}"
    return f"# {key}:{_comment('; '.join(part for part in (form, why) if part))}"


def _comment(why: str) -> str:
    return f"   # {why}" if why else ""


def _one_line(text: str) -> str:
    return " ".join(text.split())
