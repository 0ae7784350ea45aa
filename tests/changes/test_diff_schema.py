"""The JSON of a diff keeps to its published schema, and its keys stay."""

from __future__ import annotations

import json

import jsonschema
import pytest

from formulary.recipes.tweaks import Tweak, add, drop, set_field, swap
from tests.changes.worked_out import compare, tweaked, version
from tests.schemas import read_schema

SCHEMA = read_schema("diff")
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def test_the_schema_is_one_and_names_the_keys_that_others_rely_on() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    promised = {"before", "after", "sentence", "oils", "rates", "lye", "water", "superfat", "process", "register"}
    assert promised | {"findings", "hidden"} <= set(SCHEMA["required"])
    oils, rates, lye = (set(SCHEMA["properties"][key]["items"]["required"]) for key in ("oils", "rates", "lye"))
    assert {"material", "before_percent", "after_percent", "points"} <= oils
    assert {"material", "at", "unit", "before", "after"} <= rates
    assert {"material", "before_grams", "after_grams"} <= lye


@pytest.mark.parametrize(
    "tweaks",
    [
        [],
        [swap("8", "olive-oil", "castor-oil"), add("oat-milk", "8 % of oils", "oils", "replaces")],
        [drop("lavender-oil"), set_field("rose-clay.rate", "3 % of batter"), set_field("coconut-oil.at", "trace")],
        [set_field("superfat", "-3"), set_field("water_to_lye", "2"), set_field("notes", "")],
        [set_field("alkali", "potassium-hydroxide"), set_field("cover", ""), set_field("purpose", "household")],
    ],
)
def test_every_diff_keeps_to_the_schema(tweaks: list[Tweak]) -> None:
    tree = json.loads(json.dumps(tweaked(*tweaks).to_json(), allow_nan=False))
    VALIDATOR.validate(tree)
    assert set(tree) == set(SCHEMA["properties"])


def test_a_diff_with_portions_keeps_to_the_schema() -> None:
    base = version()
    text = base.text + "portions: [{name: a, share: {percent: 60, by_eye: 5}}, {name: b, share: 40}]\n"
    tree = json.loads(json.dumps(compare(base, version(text)).to_json(), allow_nan=False))
    VALIDATOR.validate(tree)
    assert [portion["name"] for portion in tree["portions"]] == ["a", "b"]


def test_numbers_are_exact_as_written() -> None:
    tree = tweaked(swap("0.1 %", "olive-oil", "castor-oil"), swap("0.2 %", "olive-oil", "castor-oil")).to_json()
    assert {line["material"]: line["points"] for line in tree["oils"]} == {"olive-oil": -0.3, "castor-oil": 0.3}  # type: ignore[attr-defined]
