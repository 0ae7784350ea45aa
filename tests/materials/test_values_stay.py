"""What is known of a material cannot be changed by whoever looks it up: it is the same for all that a process does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any, cast

import pytest

from formulary.materials.model import Lot, Material
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from tests.materials.test_reading_a_material_file import EVERYTHING


def mappings_of(value: Material | Lot) -> dict[str, Mapping[str, object]]:
    held = {each.name: getattr(value, each.name) for each in fields(value)}
    return {name: each for name, each in held.items() if isinstance(each, Mapping)}


def test_no_value_of_a_material_or_lot_can_be_written_over() -> None:
    own, findings = parse_material(EVERYTHING, "materials/thing.yaml", "thing")
    assert own is not None, findings
    oil = read_builtin_register()["castor-oil"]
    assert set(mappings_of(oil)) == {"fatty_acids", "acids", "limits", "contains", "measures", "lots", "sources"}
    for holder in (oil, own, own.with_lot(next(iter(own.lots))), *own.lots.values()):
        for name, held in mappings_of(holder).items():
            with pytest.raises(TypeError):
                cast("dict[str, Any]", held)[name] = 0.0


def test_values_of_a_certificate_stay_as_well() -> None:
    text = "{format: 1, name: Oil, kind: oil, lots: {OL-7: {fatty_acids: {'C18:1': 70, 'C16:0': 20}}}}"
    oil, findings = parse_material(text, "materials/oil.yaml", "oil")
    assert oil is not None, findings
    with pytest.raises(TypeError):
        oil.lots["OL-7"].overrides["fatty_acids"]["C18:1"] = 0.0
    assert oil.with_lot("OL-7") in {oil.with_lot("OL-7")}


def test_who_made_a_material_of_a_dict_cannot_change_it_either() -> None:
    given = {"C18:1": 70.0}
    oil = read_builtin_register()["olive-oil"]
    made = Material(slug="thing", name="Thing", kind=oil.kind, fatty_acids=given)
    given["C18:1"] = 0.0
    assert made.fatty_acids == {"C18:1": 70.0}
