"""The published schema of a recipe says what the reader says, so that editors complete and check alike."""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.recipes.model import COVERS, PROCESS_AMOUNTS, PURPOSES, STAGES, WATER_METHODS, Recipe
from formulary.recipes.read import PREPARED, parse_recipe
from tests.laws.strategies import written_recipes
from tests.schemas import read_as_editor, read_schema

SCHEMA = read_schema("recipe")
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)

# What a schema cannot say of a file: sums, keys that stand twice, one line that depends on another, a bound on a
# number that is written as a text.
BEYOND_A_SCHEMA = {
    "oils-total",
    "oils-empty",
    "alkali-total",
    "portions-total",
    "portions-gets",
    "unknown-line",
    "duplicate-line",
    "volume-refused",
}


def codes(tree: Any) -> set[str]:
    """What the reader finds in the file; JSON is YAML."""
    _, findings = parse_recipe(json.dumps(tree, ensure_ascii=False), "harbour-base")
    return {finding.code for finding in findings}


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_reader_and_schema_know_the_same_words() -> None:
    properties = SCHEMA["properties"]
    line = properties["additions"]["items"]["properties"]
    assert tuple(properties["purpose"]["enum"]) == PURPOSES
    assert tuple(line["at"]["enum"]) == STAGES
    assert tuple(properties["water"]["properties"]) == WATER_METHODS
    assert tuple(properties["process"]["properties"]["cover"]["enum"]) == COVERS
    assert set(properties["process"]["properties"]) == {*PROCESS_AMOUNTS, "cover", "mould"}
    assert tuple(SCHEMA["$defs"]["prepared"]["enum"]) == PREPARED


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("format: 1\nzzzzqqqq: 1\n", ()),
        ("format: 1\nlye: {zzzzqqqq: 1}\n", ("lye",)),
        ("format: 1\nwater: {zzzzqqqq: 1}\n", ("water",)),
        ("format: 1\nbased_on: {zzzzqqqq: 1}\n", ("based_on",)),
        ("format: 1\nadditions: [{zzzzqqqq: 1}]\n", ("additions", "items")),
        ("format: 1\nscent: [{zzzzqqqq: 1}]\n", ("scent", "items")),
        ("format: 1\nportions: [{zzzzqqqq: 1}]\n", ("portions", "items")),
        ("format: 1\nprocess: {zzzzqqqq: 1}\n", ("process",)),
    ],
)
def test_reader_and_schema_know_the_same_keys(text: str, path: tuple[str, ...]) -> None:
    _, findings = parse_recipe(text, "harbour-base")
    told = next(finding.do for finding in findings if finding.code == "unknown-key")
    schema: Any = SCHEMA
    for step in path:
        schema = schema[step] if step == "items" else schema["properties"][step]
    assert set(told.removeprefix("keys here: ").split(", ")) == set(schema["properties"])


@given(written_recipes())
def test_every_valid_recipe_passes_in_every_layout(written: tuple[Recipe, str]) -> None:
    VALIDATOR.validate(read_as_editor(written[1]))


def places(tree: Any) -> list[tuple[Any, Any]]:
    """Every (container, key) of a tree."""
    found: list[tuple[Any, Any]] = []
    items = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in items:
        found += [(tree, key), *places(value)]
    return found


JUNK = (None, True, -5, 10**9, 0.5, "", "junk", "Two Words", "5 parsecs", [], [1], {}, {"zzz": 1}, "no-such-word")


@given(written_recipes(), st.data())
def test_reader_and_schema_agree_on_broken_recipes_where_a_schema_can_tell(
    written: tuple[Recipe, str], draw: st.DataObject
) -> None:
    tree = read_as_editor(written[1])
    container, key = draw.draw(st.sampled_from(places(tree)))
    change = draw.draw(st.sampled_from(["replace", "drop", "add"]))
    if change == "drop":
        del container[key]
    elif change == "add" and isinstance(container, dict):
        container["zzzzqqqq"] = draw.draw(st.sampled_from(JUNK))
    else:
        container[key] = draw.draw(st.sampled_from(JUNK))
    found = codes(tree)
    if not VALIDATOR.is_valid(tree):
        assert found, "the schema refuses what the reader takes"
    if found - BEYOND_A_SCHEMA:
        assert not VALIDATOR.is_valid(tree), found
