"""A maker's `materials/<slug>.yaml`: text in, a material and findings out."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from formulary.chemistry.alkali import Alkali
from formulary.document.fields import Fields, read_file
from formulary.finding import Finding, has_errors, in_file_order
from formulary.materials.model import GROUPS, GROUPS_OF_KIND, Known, Lot, Material, MaterialKind
from formulary.materials.read_measures import read_measures
from formulary.materials.read_values import ValueReader
from formulary.materials.register import read_builtin_register
from formulary.materials.value_texts import parse_best_before
from formulary.materials.working_value import unknown_assay, with_working_value

MAKERS_FILE = "the maker's file"


def parse_material(text: str | bytes, path: str | None, slug: str) -> tuple[Material | None, tuple[Finding, ...]]:
    """The material that a file describes, and everything that is wrong with the file.

    Parameters
    ----------
    text: the file's content.
    path: its name, for the findings.
    slug: the material's slug, which is the file's name without `.yaml`.

    Returns
    -------
    the material, or None when any finding is an error; and the findings in file order. What the file does not
    state is not known; `Register.combined_with` fills it in from the built-in material of the same slug.
    """

    def read(fields: Fields) -> Material | None:
        fields.check_format()
        material = _read_material(fields, slug)
        fields.finish()
        return material

    material, findings = read_file(text, path, read)
    return (None if has_errors(findings) else material), in_file_order(findings)


def _read_material(fields: Fields, slug: str) -> Material | None:
    name = fields.text("name", required=True)
    word = fields.choice("kind", [kind.value for kind in MaterialKind], required=True)
    source = fields.text("source")
    known = Known("maker", source or MAKERS_FILE)
    kind = MaterialKind(word) if word is not None else MaterialKind.ADDITIVE
    alkali = _read_alkali(fields, slug, name or "", kind)
    stated: dict[str, Any] = {
        "group": fields.choice("group", GROUPS if word is None else GROUPS_OF_KIND[kind]),
        "inci": fields.text("inci"),
        "inci_in_soap": fields.text("inci_in_soap"),
        "alkali": alkali,
        "notes": fields.text("notes"),
        "measures": read_measures(fields, kind),
    }
    builtin = read_builtin_register().find(slug)
    if builtin is not None and builtin.kind is not kind:
        builtin = None
    group = stated["group"] or (builtin.group if builtin is not None else None)
    reader = ValueReader(fields, kind, known, is_certificate=False, group=group, builtin=builtin)
    stated["origin"] = reader.read_texts("origin")
    stated.update(reader.read(alkali))
    reference = stated.pop("saponification_value", None)
    stated["reference_saponification_value"] = reference
    stated["lots"] = _read_lots(fields, reader, alkali)
    stated = {attribute: value for attribute, value in stated.items() if value is not None}
    if name is None or word is None:
        return None
    material = Material(
        slug=slug,
        name=name,
        kind=kind,
        stated=frozenset(stated),
        stated_working_value=reader.stated_working(),
        sources={attribute.removeprefix("reference_"): known for attribute in stated},
        **stated,
    )
    if kind is MaterialKind.ALKALI and material.assay_percent is None:
        material = replace(material, assay_percent=unknown_assay(alkali))
    return with_working_value(material)


def _read_alkali(fields: Fields, slug: str, name: str, kind: MaterialKind) -> Alkali | None:
    if kind is not MaterialKind.ALKALI:
        if fields.has("alkali"):
            what = f"`alkali` belongs to a material of kind alkali, not to kind {kind.value}"
            fields.report("alkali-kind", what, "remove the line", None, "alkali")
        return None
    word = fields.choice("alkali", [alkali.value for alkali in Alkali])
    named = next((alkali for alkali in Alkali if slug.startswith(alkali.value)), None)
    alkali = Alkali(word) if word is not None else named
    if alkali is None:
        if not fields.has("alkali"):
            what = "the file does not say which hydroxide the alkali is"
            do = "add a line `alkali: sodium-hydroxide` or `alkali: potassium-hydroxide`"
            fields.report("alkali-missing", what, do)
        return None
    # A sheet calls the alkali by its name, and potassium hydroxide weighs half as much again.
    other = next((other for other in Alkali if other is not alkali and _is_called(other, slug, name)), None)
    if other is not None:
        called, counted = (each.value.replace("-", " ") for each in (other, alkali))
        what = f"this is called {called}, and worked out as {counted}"
        do = f"read its label: if it is {called}, write `alkali: {other.value}`; else give it another file and `name`"
        fields.report("alkali-misnamed", what, do, None, "alkali" if word is not None else "name")
    return alkali


_CALLED = {
    Alkali.SODIUM_HYDROXIDE: ("sodium-hydroxide", "caustic-soda", "naoh"),
    Alkali.POTASSIUM_HYDROXIDE: ("potassium-hydroxide", "caustic-potash", "koh"),
}


def _is_called(alkali: Alkali, *names: str) -> bool:
    """Whether one of the names is a usual one of that hydroxide."""
    said = [f"-{'-'.join(re.findall('[a-z]+', name.lower()))}-" for name in names]
    return any(f"-{word}-" in each for word in _CALLED[alkali] for each in said)


def _read_lots(fields: Fields, general: ValueReader, alkali: Alkali | None) -> dict[str, Lot] | None:
    if not fields.has("lots"):
        return None
    lots: dict[str, Lot] = {}
    for entry in fields.entries("lots"):
        name = entry.key.text
        inner = fields.as_block(entry.value, f"lots, {name}")
        if inner is None:
            continue
        if not name.strip():
            inner.report("lot-name-empty", "a lot has no name", "write what stands on its label, in quotes")
        source = inner.text("source")
        known = Known("maker", source or f"certificate of lot {name}")
        received, opened = inner.date("received"), inner.date("opened")
        best_before = inner.parsed("best_before", parse_best_before)
        values = general.of_lot(inner, known).read(alkali)
        inner.finish()
        if received and opened and opened < received:
            inner.report("lot-dates", "the lot was opened before it was received", "check the two dates")
        lots[name] = Lot(name, received, opened, best_before, values)
    return lots
