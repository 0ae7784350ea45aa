"""JSON that others rely on: keys stay, and a removed one is noticed."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from tests.cli.conftest import BASE, Run
from tests.cli.test_terminal import SCENTED
from tests.schemas import read_schema

SCHEMA = read_schema("batch")
# The keys of the issue that promised them, not of our own schema: a schema that loses one is caught here.
PROMISED = {
    "": "recipe version purpose oils lye water superfat additions scent portions batter_grams findings",
    "version": "id label",
    "oils": "material percent grams at",
    "lye": "material grams pure_grams assay_percent",
    "water": "weigh_grams total_grams nominal_percent in_jug_percent effective_percent",
    "superfat": "nominal effective low high worst_low worst_high",
    "additions": "material at grams water_grams",
    "scent": "material at grams percent_of_oils percent_of_batter percent_of_cured percent_of_dry limit_percent",
    "portions": "name share_percent grams scent",
    "findings": "severity code where what do",
}
DIFF_PROMISED = {
    "": "before after sentence oils rates lye water superfat process register findings hidden",
    "oils": "material before_percent after_percent points",
    "rates": "material at unit before after",
    "lye": "material before_grams after_grams",
    "water": "before after",
    "superfat": "before after",
    "findings": "appeared vanished",
}


def each_key_removed(tree: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Copies of a tree, each without one key."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            yield f"{path}/{key}", {name: item for name, item in tree.items() if name != key}
            for where, changed in each_key_removed(value, f"{path}/{key}"):
                yield where, {**tree, key: changed}
    elif isinstance(tree, list):
        for number, value in enumerate(tree):
            for where, changed in each_key_removed(value, f"{path}/{number}"):
                yield where, [*tree[:number], changed, *tree[number + 1 :]]


@pytest.fixture
def batch(home: Path, formulary: Run) -> dict[str, Any]:
    (home / "recipes/harbour-base.yaml").write_text(SCENTED, encoding="utf-8")
    ran = formulary("batch", "harbour-base", "--oils", "1000g", "--json")
    assert ran.status == 0
    return dict(json.loads(ran.out))


def test_the_schema_is_one() -> None:
    Draft202012Validator.check_schema(SCHEMA)


def test_a_batch_fits_its_schema_and_has_every_promised_key(batch: dict[str, Any]) -> None:
    Draft202012Validator(SCHEMA).validate(batch)
    assert_promised(batch, PROMISED)


def assert_promised(tree: dict[str, Any], promised: dict[str, str]) -> None:
    for where, keys in promised.items():
        part = tree[where] if where else tree
        for item in part if isinstance(part, list) else [part]:
            assert set(keys.split()) <= set(item), where


def test_a_removed_key_does_not_fit_the_schema(batch: dict[str, Any]) -> None:
    validator = Draft202012Validator(SCHEMA)
    removed = list(each_key_removed(batch))
    assert len(removed) > 100
    for where, tree in removed:
        assert not validator.is_valid(tree), where


def test_a_stopped_batch_keeps_every_key_with_null_for_grams(home: Path, formulary: Run) -> None:
    text = SCENTED.replace("superfat: 5", "superfat: -3")
    (home / "recipes/harbour-base.yaml").write_text(text, encoding="utf-8")
    ran = formulary("batch", "harbour-base", "--oils", "1000g", "--json")
    assert ran.status == 1
    stopped = json.loads(ran.out)
    Draft202012Validator(SCHEMA).validate(stopped)
    assert_promised(stopped, PROMISED)
    assert "stop" in [finding["severity"] for finding in stopped["findings"]]
    grams = [value for key, value in all_values(stopped) if key.endswith("grams")]
    assert grams
    assert set(grams) == {None}


def all_values(tree: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(tree, dict):
        for name, value in tree.items():
            yield from all_values(value, name)
    elif isinstance(tree, list):
        for value in tree:
            yield from all_values(value, key)
    else:
        yield key, tree


def test_show_and_diff_hold_grams_back_too_while_a_stop_stands(home: Path, formulary: Run) -> None:
    (home / "recipes/harbour-base.yaml").write_text(BASE.replace("superfat: 5", "superfat: -3"), encoding="utf-8")
    shown = formulary("show", "harbour-base", "--json")
    assert shown.status == 1
    tree = json.loads(shown.out)
    assert {value for key, value in all_values(tree) if key.endswith("grams")} == {None}
    differed = formulary("diff", "harbour-base@latest", "harbour-base", "--json")
    assert differed.status == 1
    tree = json.loads(differed.out)
    assert_promised(tree, DIFF_PROMISED)
    assert tree["lye"][0]["before_grams"] is not None
    assert tree["lye"][0]["after_grams"] is None


def test_a_diff_has_every_promised_key(home: Path, formulary: Run) -> None:
    (home / "recipes/harbour-base.yaml").write_text(SCENTED, encoding="utf-8")
    ran = formulary("diff", "harbour-base@latest", "harbour-base", "--json")
    assert ran.status == 0
    tree = json.loads(ran.out)
    assert_promised(tree, DIFF_PROMISED)
    assert tree["hidden"] > 0


def test_numbers_are_not_rounded(batch: dict[str, Any]) -> None:
    untouched = copy.deepcopy(batch)
    assert json.loads(json.dumps(batch)) == untouched
    assert batch["superfat"]["effective"] != round(batch["superfat"]["effective"], 3)


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize(
    "arguments",
    [
        ["check"],
        ["show", "harbour-base"],
        ["history", "harbour-base"],
        ["trial", "list"],
        ["materials"],
        ["materials", "show", "olive-oil"],
        ["outcomes"],
        ["outcomes", "hardness"],
    ],
    ids=" ".join,
)
def test_every_reading_command_prints_json_and_nothing_else(arguments: list[str], formulary: Run) -> None:
    ran = formulary(*arguments, "--json")
    assert (ran.status, ran.err) == (0, "")
    assert json.loads(ran.out) is not None
