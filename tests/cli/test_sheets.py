"""The sheet for the bench from the command line: beside a weigh-out, at the start of a trial, and later."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.pages.reading import cells, demand_self_contained, text_of

from .conftest import BASE, Run

NO_SUPERFAT = BASE.replace("superfat: 5", "superfat: -3")


def test_a_batch_prints_as_ever_and_writes_the_sheet_beside_it(formulary: Run, home: Path) -> None:
    plain = formulary("batch", "harbour-base", "--oils", "1000g")
    ran = formulary("batch", "harbour-base", "--oils", "1000g", "--sheet", "bench.html")
    assert (ran.status, ran.out) == (0, plain.out)
    assert "bench.html" in ran.err
    page = demand_self_contained((home / "bench.html").read_text(encoding="utf-8"))
    assert "530" in cells(page, "grams")
    ran = formulary("batch", "harbour-base", "--oils", "1000g", "--sheet", "bench.html", "--json")
    assert json.loads(ran.out)["oil_mass_grams"] == 1000.0


def test_a_stop_writes_no_sheet_and_says_of_an_earlier_one_not_to_weigh_by_it(formulary: Run, home: Path) -> None:
    formulary("batch", "harbour-base", "--oils", "1000g", "--sheet", "bench.html")
    earlier = (home / "bench.html").read_bytes()
    (home / "recipes" / "harbour-base.yaml").write_text(NO_SUPERFAT, encoding="utf-8")
    for words in (["harbour-base"], ["harbour-base", "harbour-base"]):
        ran = formulary("batch", *words, "--oils", "1000g", "--sheet", "new.html")
        assert ran.status == 1
        assert "No sheet was written" in ran.err
        assert not (home / "new.html").exists()
    ran = formulary("batch", "harbour-base", "--oils", "1000g", "--sheet", "bench.html", "--despite", "lye-excess")
    assert ran.status == 1
    assert "do not weigh by it" in ran.err
    assert (home / "bench.html").read_bytes() == earlier


def test_a_sitting_has_one_sheet(formulary: Run, home: Path) -> None:
    ran = formulary("batch", "harbour-base", "harbour-base", "--oils", "900g", "--sheet", "both.html")
    assert ran.status == 0
    said = text_of(demand_self_contained((home / "both.html").read_text(encoding="utf-8")))
    assert "One jug of lye for all" in said
    assert "Loaf 2" in said


def test_a_recipe_file_outside_of_any_formulary_has_a_sheet(
    formulary: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sent.yaml").write_text(BASE, encoding="utf-8")
    ran = formulary("batch", "./sent.yaml", "--oils", "500g", "--sheet", "bench.html")
    assert ran.status == 0
    assert "265" in cells(demand_self_contained((tmp_path / "bench.html").read_text(encoding="utf-8")), "grams")


def test_another_ending_is_refused_before_anything_is_done(formulary: Run, home: Path) -> None:
    recipe = home / "recipes" / "harbour-base.yaml"
    ran = formulary("batch", "harbour-base", "--oils", "1000g", "--sheet", str(recipe))
    assert (ran.status, ran.out) == (2, "")
    assert recipe.read_text(encoding="utf-8") == BASE
    ran = formulary("trial", "start", "harbour-base", "--oils", "1000g", "--sheet", "bench.pdf")
    assert ran.status == 2
    assert "No trial here yet" in formulary("trial", "list").out


def test_a_trial_is_started_with_its_sheet_and_has_it_again_later(formulary: Run, home: Path) -> None:
    ran = formulary("trial", "start", "harbour-base", "--oils", "1000g", "--who", "Wren", "--sheet", "bench.html")
    assert ran.status == 0
    (code,) = [path.name[-4:] for path in home.glob("trials/*/*")]
    first = (home / "bench.html").read_text(encoding="utf-8")
    said = text_of(demand_self_contained(first))
    assert code in said
    assert "Wren" in said
    assert formulary("trial", "sheet", code, "-o", "again.html").status == 0
    assert (home / "again.html").read_text(encoding="utf-8") == first
    formulary("trial", "as-made", code, "sodium-hydroxide 190 g")
    ran = formulary("trial", "sheet", code, "-o", "late.html")
    assert (ran.status, ran.out) == (1, "")
    assert "lye-excess" in ran.err
    assert not (home / "late.html").exists()


def test_a_page_in_the_folder_is_no_change_to_save(formulary: Run, home: Path) -> None:
    formulary("batch", "harbour-base", "--oils", "1000g", "--sheet", "bench.html")
    before = formulary("status").out
    assert "bench.html" not in before
    assert (home / "bench.html").exists()


def test_no_sheet_goes_with_a_weighing_under_way(formulary: Run, home: Path) -> None:
    words = ("--oils", "1000g", "--weighed", "olive-oil 600 g", "--sheet", "bench.html")
    ran = formulary("batch", "harbour-base", *words)
    assert ran.status == 2
    assert not (home / "bench.html").exists()


def test_a_sheet_that_cannot_be_written_does_not_hide_that_the_trial_is_started(formulary: Run, home: Path) -> None:
    ran = formulary("trial", "start", "harbour-base", "--oils", "1000g", "--sheet", "no-such-folder/bench.html")
    assert ran.status == 3
    assert "no-such-folder" in ran.err
    (started,) = home.glob("trials/*/*")
    assert f"Trial {started.name} is started and saved" in ran.out
