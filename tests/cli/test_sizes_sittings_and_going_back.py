"""Sizes by mould and bars, sittings, rescue, new recipes from weights, labels, cost, and going back."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run


def test_a_mould_by_its_inside_or_by_its_name_gives_the_same_batch(formulary: Run, home: Path) -> None:
    by_inside = formulary("batch", "harbour-base", "--mould", "25 x 8 x 7 cm", "--json")
    settings = home / "formulary.yaml"
    settings.write_text(settings.read_text(encoding="utf-8") + "moulds: {tall: 25 x 8 x 7 cm}\n", encoding="utf-8")
    by_name = formulary("batch", "harbour-base", "--mould", "tall", "--json")
    assert by_inside.status == by_name.status == 0
    assert json.loads(by_inside.out)["batter_grams"] == json.loads(by_name.out)["batter_grams"]


@pytest.mark.usefixtures("home")
def test_bars_are_counted_by_poured_mass_unless_cured(formulary: Run) -> None:
    poured = json.loads(formulary("batch", "harbour-base", "--bars", "12", "--bar", "100g", "--json").out)
    cured = json.loads(formulary("batch", "harbour-base", "--bars", "12", "--bar", "100g", "--cured", "--json").out)
    assert poured["batter_grams"] == pytest.approx(1200, abs=1)
    left = cured["batter_grams"] - 0.6 * cured["water"]["total_grams"]
    assert left == pytest.approx(1200, abs=1.5)


@pytest.mark.parametrize(
    "arguments", [[], ["--oils", "1000g", "--total", "1500g"], ["--bars", "12"], ["--mould", "25 x 8 cm"]]
)
@pytest.mark.usefixtures("home")
def test_a_batch_without_one_size_is_wrong_input(formulary: Run, arguments: list[str]) -> None:
    ran = formulary("batch", "harbour-base", *arguments)
    assert ran.status == 2
    assert ran.err
    assert not ran.out


@pytest.mark.usefixtures("home")
def test_two_recipes_are_loaves_of_one_sitting(formulary: Run) -> None:
    ran = formulary("batch", "harbour-base", "first-bar", "--oils", "800g", "--json")
    assert ran.status == 0
    tree = json.loads(ran.out)
    assert [batch["recipe"] for batch in tree["batches"]] == ["harbour-base", "first-bar"]
    in_jug = {line["material"]: line["grams"] for line in tree["jug"]["lines"]}
    lye = sum(line["grams"] for batch in tree["batches"] for line in batch["lye"])
    assert in_jug["sodium-hydroxide"] == pytest.approx(lye)
    text = formulary("batch", "harbour-base", "first-bar", "--oils", "800g").out
    assert "One jug of lye for all" in text
    assert "Goggles" in text


@pytest.mark.usefixtures("home")
def test_a_weighing_that_went_over_says_what_remains(formulary: Run) -> None:
    ran = formulary("batch", "harbour-base", "--oils", "1000g", "--weighed", "olive-oil 560 g", "--json")
    tree = json.loads(ran.out)
    assert tree["way"] == "new-alkali"
    assert tree["superfat_percent"] == pytest.approx(5, abs=0.1)
    assert formulary("batch", "harbour-base", "--oils", "1000g", "--weighed", "olive-oil 560").status == 2


@pytest.mark.usefixtures("home")
def test_a_rescue_that_stops_exits_with_1_and_without_grams(formulary: Run) -> None:
    assert formulary("materials", "add", "clove-bud-oil", "--limit", "0.5").status == 0
    assert formulary("branch", "harbour-base", "clove", "--add", "clove-bud-oil 0.5 % of oils").status == 0
    asked = ("batch", "clove", "--oils", "1000g", "--weighed", "clove-bud-oil 20 g")
    ran = formulary(*asked, "--json")
    assert ran.status == 1
    assert {line["remaining_grams"] for line in json.loads(ran.out)["remaining"]} == {None}
    assert formulary(*asked).status == 1
    assert formulary(*asked, "--despite", "scent-limit").status == 0


def test_a_new_recipe_from_weights_totals_100(formulary: Run, home: Path) -> None:
    weights = [
        item for oil in ("olive-oil", "coconut-oil", "castor-oil") for item in ("--from-weights", f"{oil} 333 g")
    ]
    ran = formulary("new", "thirds", *weights)
    assert ran.status == 0
    assert "olive-oil: 33.34" in (home / "recipes/thirds.yaml").read_text(encoding="utf-8")
    assert formulary("save", "thirds", "-m", "from the old notebook").status == 0
    assert formulary("new", "thirds", *weights).status == 2
    wrong = formulary("new", "fourths", "--from-weights", "olive 333 g")
    assert wrong.status == 2
    assert "olive-oil" in wrong.err
    assert not (home / "recipes/fourths.yaml").exists()


@pytest.mark.parametrize("command", ["blend", "ingredients", "cost"])
@pytest.mark.usefixtures("home")
def test_what_a_recipe_is_can_be_read_as_text_and_as_json(formulary: Run, command: str) -> None:
    text = formulary(command, "harbour-base")
    assert text.status == 0
    assert max(len(line) for line in text.out.splitlines()) <= 80
    assert json.loads(formulary(command, "harbour-base", "--json").out)


def test_going_back_and_forth_keeps_everything_in_history(formulary: Run, home: Path) -> None:
    path = home / "recipes/harbour-base.yaml"
    first = path.read_bytes()
    path.write_text(path.read_text(encoding="utf-8").replace("superfat: 5", "superfat: 7"), encoding="utf-8")
    told = formulary("status")
    assert "superfat rose from 5 to 7 %" in " ".join(told.out.split())
    assert formulary("save", "-m", "softer").status == 0
    assert formulary("restore", "harbour-base@1").status == 0
    assert path.read_bytes() == first
    assert formulary("undo").status == 0
    assert b"superfat: 7" in path.read_bytes()
    assert formulary("rename", "harbour-base", "quay-base").status == 0
    history = formulary("history", "quay-base", "--json")
    assert history.status == 0
    assert len(json.loads(history.out)["versions"]) == 5
    assert formulary("status").out.startswith("Everything is saved.")


def test_undo_again_goes_further_back_and_redo_comes_forward(formulary: Run, home: Path) -> None:
    path = home / "recipes/harbour-base.yaml"
    texts = [path.read_bytes()]
    for number in (6, 7):
        path.write_bytes(texts[-1].replace(b"superfat: %d" % (number - 1), b"superfat: %d" % number))
        texts.append(path.read_bytes())
        assert formulary("save", "-m", f"to {number}").status == 0
    for text in (texts[1], texts[0]):
        ran = formulary("undo")
        assert ran.status == 0
        assert path.read_bytes() == text
        assert "Undo: to" in ran.out
        assert "formulary redo" in ran.out
    for text in (texts[1], texts[2]):
        assert formulary("redo").status == 0
        assert path.read_bytes() == text
    nothing = formulary("redo")
    assert nothing.status == 2
    assert "no undo" in nothing.err
    history = json.loads(formulary("history", "harbour-base", "--json").out)["versions"]
    assert len(history) == 7
    path.write_bytes(b"# mine, unsaved\n" + texts[2])
    refused = formulary("undo")
    assert refused.status == 3
    assert path.read_bytes().startswith(b"# mine")
