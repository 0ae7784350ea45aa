"""`batch --weighed`: how to go on, once the lye is in the oils and before, and what a person is asked of it."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from tests.cli.conftest import Run
from tests.cli.test_asking import ask
from tests.schemas import read_schema

BATCH = ("batch", "harbour-base", "--oils", "1000g")


def remaining(out: str) -> dict[str, float]:
    return {line["material"]: line["remaining_grams"] for line in json.loads(out)["remaining"]}


@pytest.mark.usefixtures("home")
def test_what_was_forgotten_is_told_with_0_g_and_is_all_that_lacks_once_the_lye_is_in(formulary: Run) -> None:
    ran = formulary(*BATCH, "--weighed", "rice-bran-oil 0 g", "--lye-in", "--json")
    assert ran.status == 0
    assert {name: grams for name, grams in remaining(ran.out).items() if grams} == pytest.approx({"rice-bran-oil": 220})
    before = formulary(*BATCH, "--weighed", "rice-bran-oil 0 g", "--lye-apart", "--json")
    assert min(remaining(before.out).values()) > 100
    assert formulary(*BATCH, "--weighed", "rice-bran-oil -5 g").status == 2


@pytest.mark.usefixtures("home")
def test_the_lye_is_only_in_something_that_was_weighed(formulary: Run) -> None:
    for flag in ("--lye-in", "--lye-apart"):
        ran = formulary(*BATCH, flag)
        assert ran.status == 2
        assert "go with --weighed" in ran.err


@pytest.mark.parametrize("flag", ["--lye-in", "--lye-apart"])
@pytest.mark.parametrize("weighed", ["olive-oil 640 g", "sodium-hydroxide 200 g", "water 260 g", "clove-bud-oil 40 g"])
def test_the_json_of_a_rescue_follows_its_schema(formulary: Run, home: Path, weighed: str, flag: str) -> None:
    schema = read_schema("rescue")
    path = home / "recipes/harbour-base.yaml"
    scent = "scent:\n  - {material: clove-bud-oil, rate: 0.4 % of oils, at: trace}\n"
    path.write_text(path.read_text(encoding="utf-8") + scent, encoding="utf-8")
    assert formulary("materials", "add", "clove-bud-oil", "--limit", "0.5").status == 0
    ran = formulary(*BATCH, "--weighed", weighed, flag, "--json")
    jsonschema.validate(json.loads(ran.out), schema)
    assert ran.status == (1 if weighed.startswith("clove") else 0)


def test_at_a_terminal_it_is_asked_where_the_lye_is(home: Path) -> None:
    for typed, lead in (("y\n", "The lye is in the oils:"), ("\n", "As long as the lye is not in the oils:")):
        status, shown = ask(home, typed, *BATCH, "--weighed", "olive-oil 600 g")
        assert status == 0
        assert "Is the lye in the oils already? [y/N]:" in shown
        assert lead in shown
    status, shown = ask(home, "", *BATCH, "--weighed", "olive-oil 600 g", "--lye-in")
    assert status == 0
    assert "already?" not in shown
