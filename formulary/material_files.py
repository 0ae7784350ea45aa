"""The maker's own material files: a new one, and a lot added to one; written, not saved yet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from formulary.document import Inline, Listing, Node, Quoted, Scalar, parse_document
from formulary.errors import InputError, StorageError
from formulary.fields import suggest
from formulary.finding import Place
from formulary.materials.model import MaterialKind
from formulary.materials.write import add_lot, render_new_material
from formulary.quantity import NotAQuantity, parse_decimal, parse_percent
from formulary.recipes.read import check_name

if TYPE_CHECKING:
    from formulary.document_edit import Value
    from formulary.folder import Folder


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


def write_new_material(
    folder: Folder, slug: str, *, name: str | None, kind: str | None, values: Mapping[str, Value]
) -> Path:
    """Write `materials/<slug>.yaml` with what is known, and what else may be filled in as comments.

    kind: one of the kinds of materials; that of the built-in material of the same name unless given.
    Raises InputError for a name that is taken or unusable, or a value that cannot stand there.
    """
    fault = check_name(slug, "material")
    if fault is not None:
        raise InputError([fault])
    builtin = folder.register.find(slug)
    kinds = [item.value for item in MaterialKind]
    chosen = kind or (builtin.kind.value if builtin is not None else None)
    if chosen not in kinds:
        what = f"{kind!r} is no kind of material" if kind else f"what kind of material {slug} is was not said"
        do = suggest(kind or "", kinds, f"say one of: {', '.join(kinds)}")
        raise InputError.of("bad-kind", what, do)
    title = name or (builtin.name if builtin is not None else slug.replace("-", " ").capitalize())
    text = render_new_material(slug, title, MaterialKind(chosen), values, overrides=builtin is not None)
    path = folder.root / "materials" / f"{slug}.yaml"
    try:
        path.parent.mkdir(exist_ok=True)
        with path.open("x", encoding="utf-8", newline="") as file:
            file.write(text)
    except FileExistsError:
        what = f"materials/{slug}.yaml exists already"
        raise InputError.of("name-taken", what, "change it in an editor, or add a lot to it") from None
    except OSError as fault_of_disk:
        what = f"materials/{slug}.yaml could not be written ({fault_of_disk.strerror})"
        raise StorageError.of("not-written", what, "check the folder's permissions and the disk's space") from None
    folder.refresh()
    return path


def write_lot(folder: Folder, slug: str, lot: str, values: Mapping[str, Value]) -> Path:
    """Add a lot to a material's file, which is made when the material is a built-in one without a file.

    values: received, opened, best_before, price, and any value that the lot's certificate states.
    Raises InputError for an unknown material, a lot that is known already, or a value that cannot stand there.
    """
    material = folder.register.find(slug)
    if material is None:
        near = folder.register.nearest(slug)
        do = f"did you mean {' or '.join(near)}?" if near else f"add it first: formulary materials add {slug}"
        raise InputError.of("unknown-material", f"no material is called {slug[:40]!r}", do)
    file = f"materials/{slug}.yaml"
    if file not in folder.store.working_paths("materials/"):
        return write_new_material(folder, slug, name=None, kind=None, values={"lots": {lot: values}})
    before = folder.store.read_working(file)
    text = add_lot(before.decode("utf-8"), slug, lot, values)
    folder.store.write_working(file, text.encode("utf-8"), read=before)
    folder.refresh()
    return folder.root / file
