"""A frozen material reads back exactly: a trial's numbers never change by themselves."""

from __future__ import annotations

import pytest

from formulary.document.fields import Fields
from formulary.document.parse import parse_document
from formulary.document.write import render_document
from formulary.finding import Finding
from formulary.materials.frozen import material_tree, read_material_tree
from formulary.materials.model import Material
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from tests.materials.test_reading_a_material_file import EVERYTHING


def there_and_back(material: Material) -> Material:
    text = render_document({"material": material_tree(material)})
    root, problems = parse_document(text, "planned.yaml")
    assert root is not None, problems
    findings: list[Finding] = []
    inner = Fields(root, findings, path="planned.yaml").block_of("material")
    assert inner is not None
    back = read_material_tree(inner, material.slug)
    assert findings == []
    return back


@pytest.mark.parametrize("slug", read_builtin_register())
def test_every_builtin_material_reads_back_the_same(slug: str) -> None:
    material = read_builtin_register()[slug]
    assert there_and_back(material) == material


def test_a_makers_material_with_every_key_reads_back_the_same() -> None:
    text = EVERYTHING.replace("kind: fragrance", "kind: additive").replace("group: spice-oil", "group: sugar")
    text = text.replace("notes: strong", "notes: strong\nmeasures: {tsp: {mass: 2.1 g, n: 3}}")
    material, findings = parse_material(text, "m.yaml", "thing")
    assert material is not None, findings
    assert there_and_back(material) == material
    lot = material.with_lot("CB-2291")
    assert there_and_back(lot) == lot


def test_a_lot_of_an_overridden_builtin_oil_reads_back_the_same() -> None:
    text = (
        "format: 1\nname: Oil\nkind: oil\nprice: 9.50 per l\n"
        "lots: {'007': {saponification_value: 188.3, fatty_acids: {C18:1: 70.1, C16:0: 12}, best_before: 2028-02}}\n"
    )
    makers, findings = parse_material(text, "m.yaml", "olive-oil")
    assert makers is not None, findings
    material = read_builtin_register().combined_with([makers])["olive-oil"].with_lot("007")
    assert there_and_back(material) == material


def test_a_frozen_copy_changed_by_hand_is_told_of() -> None:
    text = "material: {kind: oil, name: x, density_g_per_ml: heavy, colour: green, sources: {name: {obtained: dreamt}}}"
    root, _ = parse_document(text, "planned.yaml")
    assert root is not None
    findings: list[Finding] = []
    inner = Fields(root, findings, path="planned.yaml").block_of("material")
    assert inner is not None
    read_material_tree(inner, "x")
    assert {finding.code for finding in findings} == {"bad-value", "unknown-key", "not-a-choice", "missing-key"}
