"""What a trial's plan does not hold and its numbers rest on, kept beside the trial as it was when it was recorded.

Two things are: the values of materials that went in without standing in the plan, and those of lots whose certificates
were registered after the plan was frozen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from formulary.document.fields import Fields, read_file
from formulary.document.write import Quoted, render_document
from formulary.errors import InputError
from formulary.finding import Finding, has_errors, note
from formulary.materials.frozen import lot_tree, material_tree, read_lot_tree
from formulary.materials.model import Lot, Material
from formulary.read_only import ReadOnly
from trials.trial.digest import bring_back, is_altered, with_digest
from trials.trial.plan import read_frozen_materials

_HEAD = """Values of what went in without standing in the plan, as they were when it was recorded.
Do not change it: what a certificate says later is registered with `formulary materials lot`."""


@dataclass(frozen=True, slots=True)
class Added:
    """What is kept beside a trial: materials by name, and material -> lot -> what its certificate said.

    has_digest: whether a careless change of its file would be noticed; files from before there was one are read, too.
    """

    materials: Mapping[str, Material] = field(default_factory=lambda: ReadOnly({}))
    lots: Mapping[str, Mapping[str, Lot]] = field(default_factory=lambda: ReadOnly({}))
    has_digest: bool = field(default=True, compare=False)


NOTHING_ADDED = Added()


def parse_added(data: bytes | str, path: str | None = None) -> tuple[Added, tuple[Finding, ...]]:
    """What the content of an added.yaml keeps, and every fault found in it."""

    def read(fields: Fields) -> Added:
        added = _read_added(fields)
        if is_altered(fields, data):
            what = "what is kept here is not as it was written: something in the file was changed"
            do = f"{bring_back(fields)}; what a certificate says goes into the register (`formulary materials lot`)"
            fields.report("added-altered", what, do, fields.scalar("digest"), "digest")
        return added

    added, findings = read_file(data, path, read)
    return added or NOTHING_ADDED, findings


def _read_added(fields: Fields) -> Added:
    fields.check_format()
    has_digest = fields.text("digest") is not None
    if not has_digest:
        what = "nothing guards the values that are kept here, since an earlier program wrote them"
        fields.findings.append(
            note("added-unguarded", what, "the next entry of the trial adds a digest", fields.place("format"))
        )
    materials = read_frozen_materials(fields) if fields.has("materials") else {}
    lots: dict[str, Mapping[str, Lot]] = {}
    for entry in fields.entries("lots") if fields.has("lots") else ():
        block = fields.as_block(entry.value, f"lots, {entry.key.text}")
        if block is None:
            continue
        lots[entry.key.text] = {
            each.key.text: read_lot_tree(inner, each.key.text)
            for each in block.block.entries
            if block.has(each.key.text) and (inner := block.as_block(each.value, each.key.text)) is not None
        }
        block.finish()
    fields.finish()
    return Added(materials, lots, has_digest)


def render_added(added: Added) -> str:
    """What is kept as the text of added.yaml, which reads back as the same; raises InputError where it would not."""
    tree: dict[str, object] = {"format": 1}
    if added.materials:
        tree["materials"] = {name: material_tree(item) for name, item in added.materials.items()}
    if added.lots:
        tree["lots"] = {
            name: {Quoted(lot): lot_tree(values) for lot, values in lots.items()} for name, lots in added.lots.items()
        }
    text = with_digest(render_document(tree, comment=_HEAD))
    again, findings = parse_added(text)
    if has_errors(findings) or again != Added(dict(added.materials), {n: dict(lots) for n, lots in added.lots.items()}):
        what = "the values of what went in cannot be kept: the file would not read back as they are"
        names = ", ".join(dict.fromkeys([*added.materials, *added.lots]))
        raise InputError.of("added-not-kept", what, f"look at the materials {names}")
    return text


def merge_lots(
    before: Mapping[str, Mapping[str, Lot]], more: Mapping[str, Mapping[str, Lot]]
) -> ReadOnly[str, ReadOnly[str, Lot]]:
    """Lots by material, those in `more` in the place of earlier ones of their name."""
    names = dict.fromkeys([*before, *more])
    return ReadOnly({name: ReadOnly({**before.get(name, {}), **more.get(name, {})}) for name in names})


def find_unkept_lots(
    named: Mapping[str, tuple[str, ...]], frozen: Mapping[str, Material], register: Mapping[str, Material]
) -> dict[str, dict[str, Lot]]:
    """Of the lots that a trial names, those that are registered today and of which nothing is kept, as they are today.

    named: material -> its lots. frozen: the materials with everything that is kept of their lots.
    """
    found: dict[str, dict[str, Lot]] = {}
    for name, lots in named.items():
        if name not in frozen or name not in register:
            continue
        for lot in lots:
            if lot not in frozen[name].lots and lot in register[name].lots:
                found.setdefault(name, {})[lot] = register[name].lots[lot]
    return found
