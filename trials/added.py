"""What went into a trial without standing in its plan: its values, kept beside the trial as they were."""

from __future__ import annotations

from collections.abc import Mapping

from formulary.document import render_document
from formulary.errors import InputError
from formulary.fields import Fields, read_file
from formulary.finding import Finding, has_errors
from formulary.materials.frozen import material_tree
from formulary.materials.model import Material
from trials.plan import read_frozen_materials

_HEAD = "Values of what went in without standing in the plan, as they were when it was recorded."


def parse_added(data: bytes | str, path: str | None = None) -> tuple[Mapping[str, Material], tuple[Finding, ...]]:
    """The materials in the content of an added.yaml, by name, and every fault found in it."""
    materials, findings = read_file(data, path, _read_added)
    return materials or {}, findings


def _read_added(fields: Fields) -> Mapping[str, Material]:
    fields.check_format()
    materials = read_frozen_materials(fields)
    fields.finish()
    return materials


def render_added(materials: Mapping[str, Material]) -> str:
    """Materials as the text of added.yaml, which reads back as the same; raises InputError where it would not."""
    tree = {"format": 1, "materials": {name: material_tree(item) for name, item in materials.items()}}
    text = render_document(tree, comment=_HEAD)
    again, findings = parse_added(text)
    if has_errors(findings) or again != dict(materials):
        what = "the values of what went in cannot be kept: the file would not read back as they are"
        raise InputError.of("added-not-kept", what, f"look at the materials {', '.join(materials)}")
    return text
