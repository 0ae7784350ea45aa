"""The maker's own material files: a new one, and a lot added to one; written, not saved yet."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from formulary.document.parse import parse_document
from formulary.document.tree import Listing, Node, Scalar
from formulary.document.write import Inline, Quoted
from formulary.errors import InputError
from formulary.finding import Finding, Place
from formulary.materials.chosen_lots import find_weight, parse_lot_name
from formulary.materials.model import MaterialKind
from formulary.materials.read import parse_material
from formulary.materials.write import add_lot, render_new_material
from formulary.names import suggest
from formulary.quantity import NotAQuantity, parse_decimal, parse_percent
from formulary.recipes.read import check_name
from formulary.whole_file import write_new

if TYPE_CHECKING:
    from formulary.document.edit import Value
    from formulary.workshop.files import FormularyFiles


def parse_values(pairs: Iterable[str]) -> dict[str, Value]:
    """Lines of a material's file as typed: `density=0.92 g/ml`, or `limit.percent_of_product=2.9` within a block.

    Raises InputError for what has no `=`.
    """
    values: dict[str, Value] = {}
    for text in pairs:
        key, equals, written = (part.strip() for part in text.partition("="))
        if not (key and equals and written):
            what = f"{text!r} is not KEY=VALUE"
            raise InputError.of(
                "bad-value", what, "write for example density=0.92 g/ml, or limit.percent_of_product=2.9"
            )
        block, _, inner = key.partition(".")
        if key == "limit" and _is_percent(written):
            block, inner = "limit", "percent_of_product"
        if inner:
            within = values.setdefault(block, Inline())
            if isinstance(within, dict):
                within[inner] = _plain(written)
        else:
            values[key] = _flow(key, written) if written[0] in "{[" else _plain(written)
    return values


def _flow(key: str, written: str) -> Value:
    """A value typed as it stands in the files' comments: `{percent_of_product: 2.9, edition: "51"}`, `[eugenol]`."""
    root, findings = parse_document(f"{key}: {written}")
    entry = root.find(key) if root is not None else None
    if entry is None:
        faults = [replace(finding, place=Place(field=key), found=written[:80]) for finding in findings]
        what = f"{written[:60]!r} cannot be read"
        raise InputError(faults) if faults else InputError.of("bad-value", what, "check its brackets and quotes")
    return _value_of(entry.value)


def _value_of(node: Node) -> Value:
    if isinstance(node, Scalar):
        return Quoted(node.text) if node.quoted else _plain(node.text)
    if isinstance(node, Listing):
        return [_value_of(item) for item in node.items]
    return Inline({entry.key.text: _value_of(entry.value) for entry in node.entries})


def _is_percent(text: str) -> bool:
    try:
        parse_percent(text)
    except NotAQuantity:
        return False
    return True


def _plain(text: str) -> Value:
    """A number as such, so that it is written without quotes; anything else as text."""
    try:
        return parse_decimal(text)
    except NotAQuantity:
        return text


@dataclass(frozen=True, slots=True)
class Draft:
    """A file, or a lot in one, before it is written: tells what a value would come to. render: values -> the text."""

    slug: str
    kind: MaterialKind
    render: Callable[[Mapping[str, Value]], str]

    def check(self, values: Mapping[str, Value]) -> tuple[Finding, ...]:
        """What is doubtful about the file with these values. Raises InputError when it could not be read as meant."""
        _, known = parse_material(self.render({}), None, self.slug) if self._stands_alone() else (None, ())
        _, findings = parse_material(self.render(values), None, self.slug)
        before = {(finding.code, finding.what) for finding in known}
        doubts = (finding for finding in findings if (finding.code, finding.what) not in before)
        return tuple(replace(finding, place=Place()) for finding in doubts)

    def _stands_alone(self) -> bool:
        try:
            self.render({})
        except InputError:
            return False
        return True


def parse_kind(text: str) -> MaterialKind:
    """The kind that a person means. Raises InputError with the nearest."""
    kinds = [item.value for item in MaterialKind]
    if text.strip() not in kinds:
        do = suggest(text.strip(), kinds, f"say one of: {', '.join(kinds)}")
        raise InputError.of("bad-kind", f"{text.strip()[:40]!r} is no kind of material", do)
    return MaterialKind(text.strip())


def draft_material(folder: FormularyFiles, slug: str, *, name: str | None, kind: str | None) -> Draft:
    """A new `materials/<slug>.yaml`.

    kind: one of the kinds of materials; that of the built-in material of the same name unless given.
    Raises InputError for a name that is taken or unusable, or a kind that is none.
    """
    fault = check_name(slug, "material")
    if fault is not None:
        raise InputError([fault])
    if (folder.root / "materials" / f"{slug}.yaml").exists():
        raise _taken(slug)
    builtin = folder.register.find(slug)
    if kind is None and builtin is None:
        what = f"what kind of material {slug} is was not said"
        raise InputError.of("bad-kind", what, f"say one of: {', '.join(MaterialKind)}")
    chosen = builtin.kind if kind is None and builtin is not None else parse_kind(kind or "")
    title = name or (builtin.name if builtin is not None else slug.replace("-", " ").capitalize())
    return Draft(slug, chosen, lambda values: render_new_material(slug, title, chosen, values, builtin=builtin))


def _taken(slug: str) -> InputError:
    do = "change it in an editor, or add a lot to it"
    return InputError.of("name-taken", f"materials/{slug}.yaml exists already", do)


def write_new_material(
    folder: FormularyFiles, slug: str, *, name: str | None, kind: str | None, values: Mapping[str, Value]
) -> Path:
    """Write `materials/<slug>.yaml` with what is known, and what else may be filled in as comments.

    Raises InputError as `draft_material`, and for a value that cannot stand there.
    """
    text = draft_material(folder, slug, name=name, kind=kind).render(values)
    path = folder.root / "materials" / f"{slug}.yaml"
    try:
        write_new(path, text.encode("utf-8"), named=f"materials/{slug}.yaml")
    except FileExistsError:
        raise _taken(slug) from None
    folder.refresh()
    return path


def draft_lot(folder: FormularyFiles, slug: str, lot: str) -> Draft:
    """A lot in its material's file, which is new when the material is a built-in one without a file.

    Raises InputError as `find_material`, and for a lot that is known already, no name, or a weight behind it.
    """
    lot = parse_lot_name(lot)
    weight = find_weight(lot)
    if weight is not None:
        do = f'name the lot alone; {weight} is said where it is used: --lot "{slug}={lot}"'
        raise InputError.of("weighed-lot", f"{lot!r} is a lot and a weight", do)
    material = folder.find_material(slug)
    before = _own_file(folder, slug)
    if before is None:
        new = draft_material(folder, slug, name=None, kind=None)
        return Draft(slug, material.kind, lambda values: new.render({"lots": {lot: values}}))
    add_lot(before, slug, lot, {})
    return Draft(slug, material.kind, lambda values: add_lot(before, slug, lot, values))


def _own_file(folder: FormularyFiles, slug: str) -> str | None:
    file = f"materials/{slug}.yaml"
    if file not in folder.store.working_paths("materials/"):
        return None
    return folder.store.read_working(file).decode("utf-8")


def write_lot(folder: FormularyFiles, slug: str, lot: str, values: Mapping[str, Value]) -> Path:
    """Add a lot to a material's file, which is made when the material is a built-in one without a file.

    values: received, opened, best_before, price, and any value that the lot's certificate states.
    Raises InputError as `draft_lot`, and for a value that cannot stand there.
    """
    lot = parse_lot_name(lot)
    draft_lot(folder, slug, lot)
    before = _own_file(folder, slug)
    if before is None:
        return write_new_material(folder, slug, name=None, kind=None, values={"lots": {lot: values}})
    file = f"materials/{slug}.yaml"
    text = add_lot(before, slug, lot, values)
    folder.store.write_working(file, text.encode("utf-8"), read=before.encode("utf-8"))
    folder.refresh()
    return folder.root / file
