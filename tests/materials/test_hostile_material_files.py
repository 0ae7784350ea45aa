"""Whatever stands in a material file gives a material or findings with a place, and never an exception."""

from __future__ import annotations

import re

from hypothesis import given
from hypothesis import strategies as st

from formulary.finding import has_errors
from formulary.materials.frozen import material_tree
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from tests.materials.test_reading_a_material_file import EVERYTHING

KEYS = sorted(set(re.findall(r"^\s*(\w+):", EVERYTHING, re.MULTILINE)))
VALUES = [
    "",
    "~",
    "no",
    "-1",
    "0",
    "1e400",
    "NaN",
    ".inf",
    "00123",
    "12:30",
    "0.05",
    "999999999999999999999999",
    "5 %",
    "-5 °C",
    "1 g/ml",
    "1 per 0 g",
    "{}",
    "[]",
    "[[]]",
    "{low: 1}",
    "{low: 9, high: 1}",
    "{C18:1: 5}",
    "{citric: x}",
    "{tsp: {}}",
    "{A: {}}",
    "{A: []}",
    "2026-02-30",
    "0000-01",
    "'\\0'",
    '"\\u0000"',
    "ö" * 50,
]


@given(st.binary(max_size=200))
def test_any_bytes(data: bytes) -> None:
    material, findings = parse_material(data, "m.yaml", "thing")
    assert (material is None) == has_errors(findings)


@given(
    st.sampled_from(["oil", "wax", "fatty-acid", "alkali", "acid", "liquid", "fragrance", "colourant", "additive"]),
    st.lists(st.tuples(st.sampled_from(KEYS), st.sampled_from(VALUES)), max_size=6, unique_by=lambda pair: pair[0]),
)
def test_any_value_behind_any_key(kind: str, pairs: list[tuple[str, str]]) -> None:
    lines = "".join(f"{key}: {value}\n" for key, value in pairs if key not in ("format", "name", "kind"))
    text = f"format: 1\nname: x\nkind: {kind}\nalkali: sodium-hydroxide\n{lines}"
    text = text if kind == "alkali" else text.replace("alkali: sodium-hydroxide\n", "")
    material, findings = parse_material(text, "m.yaml", "thing")
    assert (material is None) == has_errors(findings)
    for finding in findings:
        assert finding.place.path == "m.yaml"
        assert finding.place.line is not None
        assert finding.do
    if material is not None:
        read_builtin_register().combined_with([material])
        assert material_tree(material)
        for lot in material.lots:
            material.with_lot(lot)


@given(st.integers(0, len(EVERYTHING) - 1), st.text(max_size=3), st.integers(0, 5))
def test_any_small_change_of_a_good_file(offset: int, put: str, gone: int) -> None:
    text = EVERYTHING[:offset] + put + EVERYTHING[offset + gone :]
    material, findings = parse_material(text, "m.yaml", "thing")
    assert (material is None) == has_errors(findings)
