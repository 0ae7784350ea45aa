"""Every command that prints JSON has a published schema, which names each key that is printed and asks for it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from tests.cli.conftest import BASE, Run, every_command
from tests.cli.test_terminal import SCENTED
from tests.schemas import read_schema

WITH_JSON = [
    name for name, command in every_command() if any("--json" in getattr(each, "opts", ()) for each in command.params)
]


def schema_of(command: str) -> dict[str, Any]:
    """`trial list` is `trial-list.schema.json`."""
    return dict(read_schema(command.replace(" ", "-")))


BESIDE = Registry().with_resource("batch.schema.json", Resource.from_contents(schema_of("batch")))


def undescribed(tree: Any, schema: dict[str, Any], whole: dict[str, Any], where: str = "") -> Iterator[str]:
    """Each key of a tree that the schema does not name, or could do without; parts of free names are passed over."""
    if "$ref" in schema:
        named, _, part = schema["$ref"].partition("#/$defs/")
        whole = schema_of(named.removesuffix(".schema.json")) if named else whole
        schema = whole["$defs"][part] if part else whole
    if "anyOf" in schema:
        schema = next(each for each in schema["anyOf"] if (tree is None) == (each.get("type") == "null"))
        yield from undescribed(tree, schema, whole, where)
    elif isinstance(tree, dict):
        free = schema.get("additionalProperties")
        for key, value in tree.items():
            if free:
                yield from undescribed(value, free, whole, f"{where}/{key}")
            elif key in schema.get("properties", {}) and key in schema.get("required", ()):
                yield from undescribed(value, schema["properties"][key], whole, f"{where}/{key}")
            else:
                yield f"{where}/{key}"
    elif isinstance(tree, list):
        for number, value in enumerate(tree):
            yield from undescribed(value, schema["items"], whole, f"{where}/{number}")


@pytest.mark.parametrize("command", WITH_JSON)
def test_every_command_with_json_has_a_schema(command: str) -> None:
    schema = schema_of(command)
    Draft202012Validator.check_schema(schema)
    assert f"`{command} --json`" in schema["title"]
    assert schema["type"] == "object", "a list can never get a key beside it"


@pytest.fixture
def season(formulary: Run, home: Path) -> str:
    """A formulary with something of everything in it; the code of its trial."""
    (home / "recipes/harbour-base.yaml").write_text(SCENTED, encoding="utf-8")
    for command in (
        ("materials", "add", "meadow-scent", "--kind", "fragrance", "--limit", "2.9", "--set", "allergens=[eugenol]"),
        ("materials", "lot", "olive-oil", "OL-7", "--set", "saponification_value=190"),
        ("materials", "add", "coconut-oil", "--set", "price=9.00 per 1000 g"),
        ("save", "-m", "what I have"),
        (
            "branch",
            "harbour-base",
            "winter-bar",
            "--swap",
            "8 % olive-oil:shea-butter",
            "--add",
            "goat-milk 5 % of oils at oils extra",
        ),
        ("save", "-m", "winter"),
        ("trial", "start", "harbour-base", "--oils", "1000g", "--lot", "olive-oil=OL-7", "--room", "19C"),
    ):
        ran = formulary(*command)
        assert ran.status == 0, (command, ran.err)
    code = next(home.glob("trials/*/*")).name[-4:]
    for entry in (
        ("event", "lye in", "--at", "0:00"),
        ("event", "light trace", "--at", "4:10"),
        ("event", "poured", "--at", "9:30"),
        ("as-made", "water 290 g"),
        ("bars", "--cut", "12", "--lightest", "98 g"),
        ("observe", "hardness", "3.1mm", "3.3mm", "--age", "28d"),
        ("release", "hold", "--who", "the maker", "--why", "still curing"),
    ):
        ran = formulary("trial", entry[0], code, *entry[1:])
        assert ran.status == 0, (entry, ran.err)
    (home / "materials/olive-oil.yaml").write_text(
        (home / "materials/olive-oil.yaml").read_text(encoding="utf-8").replace("190}", "191}"), encoding="utf-8"
    )
    (home / "recipes/stopped.yaml").write_text(BASE.replace("superfat: 5", "superfat: -3"), encoding="utf-8")
    (home / "recipes/broken.yaml").write_text(BASE.replace("22", "23"), encoding="utf-8")
    (home / ".gitattributes").write_text("", encoding="utf-8")
    return code


PRINTED = (
    "check",
    "show harbour-base",
    "show winter-bar",
    "show stopped",
    "blend winter-bar",
    "ingredients harbour-base",
    "ingredients winter-bar",
    "ingredients TRIAL",
    "cost winter-bar --bars 10",
    "cost harbour-base",
    "status",
    "doctor",
    "ready-by 2040-12-20 harbour-base --bars 60",
    "outcomes",
    "outcomes hardness",
    "materials",
    "materials show meadow-scent",
    "materials where OL-7",
    "send-back winter-bar",
    "trial show TRIAL",
    "trial recalculate TRIAL",
)


def test_what_is_printed_is_in_the_schema_key_by_key(formulary: Run, season: str) -> None:
    amiss = {}
    for command in PRINTED:
        words = command.replace("TRIAL", season).split()
        name = " ".join(words[:2]) if " ".join(words[:2]) in WITH_JSON else words[0]
        tree, schema = json.loads(formulary(*words, "--json").out), schema_of(name)
        faults = [each.message for each in Draft202012Validator(schema, registry=BESIDE).iter_errors(tree)]
        faults += undescribed(tree, schema, schema)
        if faults:
            amiss[command] = faults
    assert amiss == {}
