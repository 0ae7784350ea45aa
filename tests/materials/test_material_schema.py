"""The published schema of a material file says what the reader says, so that editors complete and check alike."""

from __future__ import annotations

import jsonschema
import pytest

from formulary.chemistry.acids import ACIDS
from formulary.materials.model import GROUPS, MaterialKind
from formulary.materials.read import parse_material
from tests.materials.test_reading_a_material_file import EVERYTHING, FAULTS
from tests.schemas import read_as_editor, read_schema

SCHEMA = read_schema("material")
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)

# What a schema cannot say of a file: sums, order, other fields, keys that stand twice.
BEYOND_A_SCHEMA = {
    "range-order",
    "fatty-acids-total",
    "fraction",
    "composition-total",
    "assay-kind",
    "assay-low",
    "saponification-impossible",
    "alkali-kind",
    "alkali-missing",
    "alkali-misnamed",
    "measure-refused",
    "lot-dates",
    "duplicate-key",
}


def known_keys(text: str, within: str = "") -> set[str]:
    """The keys that the reader knows, as it tells them of an unknown one."""
    _, findings = parse_material(text, "m.yaml", "thing")
    told = next(
        finding for finding in findings if finding.code == "unknown-key" and within in (finding.place.field or "")
    )
    assert told.do.startswith("keys here: ")
    return set(told.do.removeprefix("keys here: ").split(", "))


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_every_key_of_the_format_passes() -> None:
    VALIDATOR.validate(read_as_editor(EVERYTHING))


def test_reader_and_schema_know_the_same_keys() -> None:
    keys = known_keys("format: 1\nname: x\nkind: oil\nzzzzqqqq: 1\n")
    assert keys == set(SCHEMA["properties"])
    lot = known_keys("format: 1\nname: x\nkind: oil\nlots: {A: {zzzzqqqq: 1}}\n", "lots")
    assert lot == set(SCHEMA["properties"]["lots"]["additionalProperties"]["properties"])


def test_reader_and_schema_know_the_same_words() -> None:
    assert SCHEMA["properties"]["kind"]["enum"] == [kind.value for kind in MaterialKind]
    assert tuple(SCHEMA["properties"]["group"]["enum"]) == GROUPS
    assert set(ACIDS) <= set(SCHEMA["properties"]["acids"]["propertyNames"]["enum"])


@pytest.mark.parametrize(("text", "code"), [(text, code) for text, code in FAULTS if code not in BEYOND_A_SCHEMA])
def test_what_the_reader_refuses_the_schema_refuses_where_it_can(text: str, code: str) -> None:
    assert not VALIDATOR.is_valid(read_as_editor(text)), code
