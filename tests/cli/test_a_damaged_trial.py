"""A trial that cannot be read is never left out without a word."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from tests.cli.conftest import Run
from tests.cli.test_lots_and_entries import start_trial
from tests.schemas import read_schema


@pytest.fixture
def damaged(home: Path, formulary: Run) -> str:
    """The id of a trial whose file is broken, beside one that is whole; both used lot OL-7."""
    assert formulary("materials", "lot", "olive-oil", "OL-7", "--set", "saponification_value=184").status == 0
    start_trial(formulary)
    start_trial(formulary)
    path = next(iter(sorted(home.glob("trials/*/*/trial.yaml"))))
    path.write_text(path.read_text(encoding="utf-8") + "- [\n", encoding="utf-8")
    return path.parent.name


def whole_trial(home: Path, damaged: str) -> str:
    return next(path.parent.name for path in home.glob("trials/*/*/trial.yaml") if path.parent.name != damaged)


def test_a_recall_says_that_it_is_not_complete(formulary: Run, damaged: str) -> None:
    ran = formulary("materials", "where", "OL-7")
    assert ran.status == 2
    assert "went into 1 batch" in ran.out
    assert "1 trial could not be read" in ran.out
    assert damaged in ran.err
    assert "formulary check" in ran.err
    told = formulary("materials", "where", "OL-7", "--json")
    assert told.status == 2
    assert [damaged in finding["what"] for finding in json.loads(told.out)["unread"]] == [True]


@pytest.mark.parametrize(
    "command",
    [
        ("trial", "list"),
        ("due",),
        ("table",),
        ("history", "harbour-base"),
        ("chart", "story", "harbour-base", "-o", "story.svg"),
        ("explain", "working time"),
        ("next", "working time"),
    ],
    ids=" ".join,
)
def test_what_gathers_trials_tells_which_one_is_missing(
    formulary: Run, home: Path, damaged: str, command: tuple[str, ...]
) -> None:
    whole = whole_trial(home, damaged)
    for what, at in (("scent in", "2:00"), ("poured", "9:00")):  # a chart wants something to draw
        assert formulary("trial", "event", whole, what, "--at", at).status == 0
    ran = formulary(*command)
    assert ran.status == 0
    assert damaged in ran.err
    assert "could not be read" in ran.err


SCHEMAS = {
    ("trial", "list"): "trial-list",
    ("due",): "due",
    ("table",): "table",
    ("history", "harbour-base"): "history",
}


def each_key_lost(tree: Any) -> Iterator[Any]:
    """Copies of a tree, each without one key."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            yield {name: item for name, item in tree.items() if name != key}
            yield from ({**tree, key: changed} for changed in each_key_lost(value))
    elif isinstance(tree, list):
        for number, value in enumerate(tree):
            yield from ([*tree[:number], changed, *tree[number + 1 :]] for changed in each_key_lost(value))


@pytest.mark.parametrize("command", SCHEMAS, ids=" ".join)
def test_a_program_is_told_which_trial_is_missing_and_where_its_fault_stands(
    formulary: Run, damaged: str, home: Path, command: tuple[str, ...]
) -> None:
    formulary("trial", "observe", whole_trial(home, damaged)[-4:], "gel", "100 %", "--age", "1d")
    told = json.loads(formulary(*command, "--json").out)
    (missing,) = told["unread"]
    lines = (home / f"trials/{damaged[:4]}/{damaged}/trial.yaml").read_text(encoding="utf-8").splitlines()
    assert missing["where"]["path"] == f"trials/{damaged[:4]}/{damaged}/trial.yaml"
    assert missing["where"]["line"] in (len(lines), len(lines) + 1)
    assert damaged in missing["what"]
    assert missing["do"]
    schema = read_schema(SCHEMAS[command])
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    validator.validate(told)
    # what a table says of each column, and its columns of facts, differ from table to table
    fixed = {**told, "schema": {}, "rows": []} if SCHEMAS[command] == "table" else told
    lost = list(each_key_lost(fixed))
    assert len(lost) > 10
    assert not any(validator.is_valid(tree) for tree in lost)


@pytest.mark.usefixtures("home")
@pytest.mark.parametrize("command", SCHEMAS, ids=" ".join)
def test_a_program_is_told_that_nothing_is_missing(formulary: Run, command: tuple[str, ...]) -> None:
    start_trial(formulary)
    ran = formulary(*command, "--json")
    assert (ran.status, ran.err, json.loads(ran.out)["unread"]) == (0, "", [])


def test_a_comparison_tells_which_trial_its_noise_could_not_count(formulary: Run, damaged: str, home: Path) -> None:
    whole = whole_trial(home, damaged)
    ran = formulary("compare", whole, whole, "--json")
    assert damaged in ran.err
    assert len(json.loads(ran.out)["unread"]) == 1


def test_a_trial_folder_without_its_record_is_told_too(formulary: Run, damaged: str, home: Path) -> None:
    (home / f"trials/{damaged[:4]}/{damaged}/trial.yaml").unlink()
    ran = formulary("materials", "where", "OL-7")
    assert ran.status == 2
    assert "no trial.yaml" in ran.err


@pytest.mark.usefixtures("home")
def test_where_all_trials_can_be_read_nothing_is_told(formulary: Run) -> None:
    start_trial(formulary)
    ran = formulary("materials", "where", "OL-7")
    assert (ran.status, ran.err) == (0, "")
