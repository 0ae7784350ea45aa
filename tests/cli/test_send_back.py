"""`send-back` shows what can be sent and what that would do, writes when asked, and says what to do next."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from tests.cli.conftest import Run
from tests.cli.test_json import each_key_removed
from tests.cli.test_terminal import COLOUR, on_a_terminal
from tests.schemas import read_schema

SCHEMAS = {name: read_schema(name) for name in ("send-back", "diff")}
BASE = "recipes/harbour-base.yaml"
PROMISED = {
    "": "recipe version sentence base fields changes to_update findings applied",
    "base": "recipe before after is_unsaved",
    "fields": "field before after standing own needs sent",
    "to_update": "recipe fields conflicts",
}


@pytest.fixture
def season(home: Path, formulary: Run) -> Path:
    """A base and two variants, all saved."""
    for variant, superfat in (("midwinter-clove", "6"), ("spring-bar", "7")):
        tweaks = ("--swap", "8% olive-oil:shea-butter", "--add", "clove-bud-oil 1.2 % of oils")
        assert formulary("branch", "harbour-base", variant, *tweaks, "--set", f"superfat={superfat}").status == 0
    assert formulary("save", "-m", "two clove bars").status == 0
    return home


def test_from_what_proved_better_to_the_other_variants(season: Path, formulary: Run) -> None:
    before = (season / BASE).read_bytes()
    listed = formulary("send-back", "midwinter-clove")
    assert (listed.status, listed.err) == (0, "")
    assert "    lye.superfat: 5 % -> 6 %" in listed.out
    assert "midwinter-clove's own, sent only when named" in listed.out
    typed = " ".join(listed.out.split()).partition("Next: formulary ")[2].partition(" (or others, or all)")[0]
    assert formulary(*typed.split()).status == 0
    shown = formulary("send-back", "midwinter-clove", "lye.superfat")
    assert shown.status == 0
    words = " ".join(shown.out.split())
    assert "The superfat rose from 5 to 6 %" in words
    assert "spring-bar: to be settled: lye.superfat" in words
    assert (season / BASE).read_bytes() == before
    applied = formulary(*words.partition("Next: formulary ")[2].split())
    assert applied.status == 0
    assert (season / BASE).read_bytes() == before.replace(b"superfat: 5", b"superfat: 6")
    words = " ".join(applied.out.split())
    assert "then formulary save harbour-base -m WHY, then formulary update spring-bar" in words
    back = words.partition("To take it back: formulary ")[2].split()[:3]
    assert formulary(*back).status == 0
    assert (season / BASE).read_bytes() == before
    assert formulary("send-back", "midwinter-clove", "lye.superfat", "--apply").status == 0
    assert formulary("save", "harbour-base", "-m", "kinder").status == 0
    assert "1 change is here already" in " ".join(formulary("update", "midwinter-clove").out.split())
    assert "harbour-base has already" in " ".join(formulary("send-back", "midwinter-clove").out.split())


def test_a_version_is_sent_as_it_is_named_in_the_list_of_trials(season: Path, formulary: Run) -> None:
    version = str(json.loads(formulary("show", "midwinter-clove", "--json").out)["version"]["id"])[:8]
    path = season / "recipes/midwinter-clove.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("superfat: 6", "superfat: 9"), encoding="utf-8")
    assert formulary("save", "-m", "too much").status == 0
    shown = formulary("send-back", f"midwinter-clove@{version}", "lye")
    words = " ".join(shown.out.split())
    assert "The superfat rose from 5 to 6 %" in words
    assert words.endswith(f"Next: formulary send-back midwinter-clove@{version} lye.superfat --apply")


def test_a_stop_that_the_base_would_get_is_told_by_the_exit_status(season: Path, formulary: Run) -> None:
    path = season / "recipes/midwinter-clove.yaml"
    text = path.read_text(encoding="utf-8").replace("superfat: 6", "superfat: -2")
    path.write_text(text + "purpose: household\n", encoding="utf-8")
    assert formulary("save", "midwinter-clove", "-m", "for floors").status == 0
    assert formulary("send-back", "midwinter-clove", "lye").status == 1
    assert formulary("send-back", "midwinter-clove", "lye", "purpose").status == 0


def test_what_the_base_changed_too_is_an_open_conflict(season: Path, formulary: Run) -> None:
    text = (season / BASE).read_text(encoding="utf-8").replace("superfat: 5", "superfat: 8")
    (season / BASE).write_text(text, encoding="utf-8")
    assert formulary("save", "-m", "kinder").status == 0
    assert "changed in harbour-base, too: update midwinter-clove first" in formulary("send-back", "midwinter-clove").out
    ran = formulary("send-back", "midwinter-clove", "all", "--apply")
    assert (ran.status, ran.out) == (1, "")
    assert "update midwinter-clove first, settle it there" in " ".join(ran.err.split())
    assert (season / BASE).read_text(encoding="utf-8") == text


@pytest.mark.usefixtures("season")
@pytest.mark.parametrize(
    ("arguments", "status", "told"),
    [
        (["harbour-base"], 2, "name the variant that is meant: midwinter-clove, spring-bar"),
        (["midwinter-clov"], 2, "did you mean midwinter-clove?"),
        (["midwinter-clove@abcd1234"], 2, "versions of it: midwinter-clove@"),
        (["midwinter-clove", "lye.superfatt"], 2, "did you mean lye.superfat?"),
        (["midwinter-clove", "water"], 2, "what it changed: name, oils, lye.superfat, scent.clove-bud-oil"),
        ([], 2, "missing argument 'VARIANT[@VERSION]'"),
    ],
)
def test_wrong_input_is_told_with_what_to_write(formulary: Run, arguments: list[str], status: int, told: str) -> None:
    ran = formulary("send-back", *arguments, "--apply")
    assert (ran.status, ran.out) == (status, "")
    assert told in " ".join(ran.err.split())


def test_unsaved_changes_of_the_base_are_not_mixed_with_what_is_sent(season: Path, formulary: Run) -> None:
    text = (season / BASE).read_text(encoding="utf-8") + "notes: by hand\n"
    (season / BASE).write_text(text, encoding="utf-8")
    shown = formulary("send-back", "midwinter-clove", "oils")
    assert "base-unsaved" in shown.out
    assert " ".join(shown.out.split()).endswith(
        "Next: formulary save harbour-base -m WHY, then formulary send-back midwinter-clove oils --apply"
    )
    ran = formulary("send-back", "midwinter-clove", "oils", "--apply")
    assert ran.status == 3
    assert (season / BASE).read_text(encoding="utf-8") == text


@pytest.mark.parametrize("arguments", [[], ["lye", "scent"], ["all", "name", "--apply"]], ids=" ".join)
def test_the_json_fits_its_schema_and_no_key_may_go(season: Path, formulary: Run, arguments: list[str]) -> None:
    ran = formulary("send-back", "midwinter-clove", "--json", *arguments)
    assert (ran.status, ran.err) == (0, "")
    tree: dict[str, Any] = json.loads(ran.out)
    validator = Draft202012Validator(SCHEMAS["send-back"])
    validator.validate(tree)
    assert set(tree) == set(SCHEMAS["send-back"]["properties"])
    for where, keys in PROMISED.items():
        part = tree[where] if where else tree
        for item in part if isinstance(part, list) else [part]:
            assert set(keys.split()) == set(item), where
    for where, changed in each_key_removed({**tree, "changes": None}):
        assert not validator.is_valid(changed), where
    assert (tree["changes"] is None) is not bool(arguments)
    if arguments:
        Draft202012Validator(SCHEMAS["diff"]).validate(tree["changes"])
    assert tree["applied"] is ("--apply" in arguments)
    assert any(each["sent"] for each in tree["fields"]) is bool(arguments)
    assert [each["recipe"] for each in tree["to_update"]] == (["spring-bar"] if arguments else [])
    assert (b"superfat: 6" in (season / BASE).read_bytes()) is ("--apply" in arguments)


@pytest.mark.parametrize("arguments", [[], ["all", "--all"], ["all", "name", "--apply"]], ids=" ".join)
@pytest.mark.parametrize("columns", [50, 80])
def test_it_fits_a_terminal_and_says_nothing_by_colour_alone(season: Path, arguments: list[str], columns: int) -> None:
    words = ["send-back", "midwinter-clove", *arguments]
    status, shown = on_a_terminal(words, season, columns=columns, NO_COLOR="1")
    assert status == 0
    assert not COLOUR.search(shown)
    assert max(map(len, shown.splitlines())) <= columns, shown
