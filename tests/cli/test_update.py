"""`update` shows what it would do, writes when asked, says what to do next, and fits its terminal."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from tests.cli.conftest import Run, run_apart
from tests.cli.test_json import each_key_removed
from tests.cli.test_terminal import COLOUR, on_a_terminal
from tests.schemas import read_schema

SCHEMAS = {name: read_schema(name) for name in ("update", "diff")}
VARIANT = "recipes/midwinter-clove.yaml"
PROMISED = {
    "": "recipe version sentence base saves decisions changes conflicts findings applied",
    "base": "recipe before after is_unsaved",
    "decisions": "field outcome before mine base merged both",
}


@pytest.fixture
def season(home: Path, formulary: Run) -> Path:
    """A base and a variant, both saved."""
    tweaks = ("--swap", "8% olive-oil:shea-butter", "--add", "clove-bud-oil 1.2 % of oils", "--set", "superfat=6")
    assert formulary("branch", "harbour-base", "midwinter-clove", *tweaks).status == 0
    assert formulary("save", "-m", "a clove bar").status == 0
    return home


def save_base(home: Path, formulary: Run, *changes: tuple[str, str]) -> None:
    text = (home / "recipes/harbour-base.yaml").read_text(encoding="utf-8")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    (home / "recipes/harbour-base.yaml").write_text(text, encoding="utf-8")
    assert formulary("save", "harbour-base", "-m", "the base").status == 0


LESS_WATER = ("lye_concentration: 33", "lye_concentration: 35")
CLASH = (("superfat: 5", "superfat: 7"), ("olive-oil: 53", "olive-oil: 50"), ("coconut-oil: 25", "coconut-oil: 28"))


@pytest.mark.usefixtures("season")
def test_nothing_to_bring_is_said_and_done(formulary: Run) -> None:
    ran = formulary("update", "midwinter-clove")
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith("midwinter-clove is up to date")
    assert "Next" not in ran.out
    assert formulary("update", "midwinter-clove", "--apply").out == ran.out


def test_a_season_from_the_bases_change_to_the_next_batch(season: Path, formulary: Run) -> None:
    save_base(season, formulary, LESS_WATER, *CLASH)
    before = (season / VARIANT).read_bytes()
    assert "`formulary update midwinter-clove`" in formulary("check").out
    shown = formulary("update", "midwinter-clove")
    assert shown.status == 1  # what it would leave must not be weighed out
    assert "water: 33 % lye -> 35 % lye" in shown.out
    assert "--settle oils=mine, =base or =both" in shown.out
    assert (season / VARIANT).read_bytes() == before
    applied = formulary("update", "midwinter-clove", "--apply")
    assert applied.status == 1
    assert "formulary restore midwinter-clove@latest --discard" in applied.out
    assert formulary("batch", "midwinter-clove", "--oils", "1000g").status == 1
    assert formulary("check").status == 1
    assert formulary("trial", "start", "midwinter-clove", "--oils", "1000g").status == 1
    some = formulary("update", "midwinter-clove", "--settle", "oils=both", "--apply")
    assert some.status == 1
    done = formulary("update", "midwinter-clove", "--settle", "lye.superfat=base", "--apply")
    assert done.status == 0
    assert b"conflicts" not in (season / VARIANT).read_bytes()
    assert formulary("diff", "midwinter-clove@latest", "midwinter-clove").out.startswith("3 % of olive oil became")
    assert formulary("save", "-m", "brought up to the base").status == 0
    assert formulary("batch", "midwinter-clove", "--oils", "1000g").status == 0
    assert "up to date" in formulary("update", "midwinter-clove").out
    assert "parent-moved-on" not in formulary("check").out


def test_a_save_with_open_conflicts_says_how_to_settle_them_and_not_to_weigh_out(season: Path, formulary: Run) -> None:
    save_base(season, formulary, *CLASH)
    formulary("update", "midwinter-clove", "--apply")
    saved = formulary("save", "-m", "to be settled later")
    assert saved.status == 1, "saved, and nothing of it can be weighed out"
    words = " ".join(saved.out.split())
    assert "2 conflicts are open in it, to be settled before it is weighed out." in words
    assert "otherwise the same" not in words
    assert "what to weigh" not in words
    assert "Next: formulary update midwinter-clove " in words
    assert "--settle" in words.partition("Next: ")[2]
    assert "--settle oils=mine" in formulary("update", "midwinter-clove").out


def test_what_the_command_says_to_type_works(season: Path, formulary: Run) -> None:
    save_base(season, formulary, LESS_WATER, *CLASH)
    before = (season / VARIANT).read_bytes()
    shown = " ".join(
        formulary("update", "midwinter-clove", "--settle", "oils=both", "--settle", "lye.superfat=mine").out.split()
    )
    typed = shown.rpartition("Next: formulary ")[2].split()
    assert typed[0] == "update"
    applied = formulary(*typed)
    assert applied.status == 0
    back = " ".join(applied.out.split()).partition("To take it back: formulary ")[2].split()[:3]
    assert formulary(*back).status == 0
    assert (season / VARIANT).read_bytes() == before


@pytest.mark.parametrize("options", [[], ["--apply"], ["--settle", "oils=base", "--settle", "lye.superfat=mine"]])
def test_the_json_fits_its_schema_and_no_key_may_go(season: Path, formulary: Run, options: list[str]) -> None:
    save_base(season, formulary, LESS_WATER, *CLASH)
    ran = formulary("update", "midwinter-clove", "--json", *options)
    assert ran.err == ""
    tree: dict[str, Any] = json.loads(ran.out)
    validator = Draft202012Validator(SCHEMAS["update"])
    validator.validate(tree)
    Draft202012Validator(SCHEMAS["diff"]).validate(tree["changes"])
    assert set(tree) == set(SCHEMAS["update"]["properties"])
    for where, keys in PROMISED.items():
        part = tree[where] if where else tree
        for item in part if isinstance(part, list) else [part]:
            assert set(keys.split()) <= set(item), where
    without_changes = {**tree, "changes": None}
    for where, changed in each_key_removed(without_changes):
        assert not validator.is_valid(changed), where
    assert tree["applied"] is ("--apply" in options)
    assert (ran.status == 1) is bool(tree["conflicts"])
    grams = [line["after_grams"] for line in tree["changes"]["lye"]]
    assert (grams == [None]) is bool(tree["conflicts"])


@pytest.mark.usefixtures("season")
@pytest.mark.parametrize(
    ("arguments", "status", "told"),
    [
        (["harbour-base"], 2, "name the variant that is meant: midwinter-clove"),
        (["midwinter-clov"], 2, "did you mean midwinter-clove?"),
        (["midwinter-clove@latest"], 2, "name the recipe alone: midwinter-clove"),
        (["midwinter-clove", "--settle", "oils"], 2, "write mine, base, or for the oils both"),
        (["midwinter-clove", "--settle", "oils=mine"], 2, "nothing is to be settled"),
    ],
)
def test_wrong_input_is_told_with_what_to_write(formulary: Run, arguments: list[str], status: int, told: str) -> None:
    ran = formulary("update", *arguments, "--apply")
    assert (ran.status, ran.out) == (status, "")
    assert told in " ".join(ran.err.split())


def test_two_choices_of_one_thing_are_refused_rather_than_one_of_them_taken(season: Path, formulary: Run) -> None:
    save_base(season, formulary, *CLASH)
    before = (season / VARIANT).read_bytes()
    twice = ("--settle", "oils=base", "--settle", "oils=mine", "--apply")
    ran = formulary("update", "midwinter-clove", *twice)
    assert ran.status == 2
    assert "oils is given twice, as base and as mine" in ran.err
    assert (season / VARIANT).read_bytes() == before


def test_unsaved_changes_of_the_variant_are_not_mixed_with_the_bases(season: Path, formulary: Run) -> None:
    save_base(season, formulary, LESS_WATER)
    text = (season / VARIANT).read_text(encoding="utf-8") + "notes: by hand\n"
    (season / VARIANT).write_text(text, encoding="utf-8")
    assert "variant-unsaved" in formulary("update", "midwinter-clove").out
    ran = formulary("update", "midwinter-clove", "--apply")
    assert ran.status == 3
    assert "formulary save midwinter-clove -m WHY" in ran.err
    assert (season / VARIANT).read_text(encoding="utf-8") == text


@pytest.mark.parametrize("options", [[], ["--all"], ["--apply"]], ids=" ".join)
@pytest.mark.parametrize("columns", [60, 80])
def test_it_fits_a_terminal_and_says_nothing_by_colour_alone(
    season: Path, formulary: Run, options: list[str], columns: int
) -> None:
    save_base(season, formulary, LESS_WATER, *CLASH)
    status, shown = on_a_terminal(["update", "midwinter-clove", *options], season, columns=columns, NO_COLOR="1")
    assert status == 1
    assert not COLOUR.search(shown)
    assert max(map(len, shown.splitlines())) <= columns


def test_it_survives_a_pipe_and_a_terminal_without_its_characters(season: Path, formulary: Run) -> None:
    save_base(season, formulary, LESS_WATER)
    ran = run_apart("update", "midwinter-clove", cwd=season, PYTHONIOENCODING="ascii", LC_ALL="C")
    assert (ran.status, ran.err) == (0, "")
    assert "taken from harbour-base" in ran.out
