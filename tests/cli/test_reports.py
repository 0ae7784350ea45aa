"""The report from the command line: where it goes, and what is refused before anything is worked out."""

from __future__ import annotations

from pathlib import Path

from tests.pages.reading import demand_self_contained, text_of

from .conftest import Run


def test_a_report_stands_here_unless_a_place_is_named(formulary: Run, home: Path) -> None:
    ran = formulary("report", "harbour-base")
    assert (ran.status, ran.err) == (0, "")
    assert ran.out == "Written to harbour-base-report.html: 0 trials, 0 outcomes.\n"
    said = text_of(demand_self_contained((home / "harbour-base-report.html").read_text(encoding="utf-8")))
    assert "The base" in said
    assert formulary("report", "harbour-base", "-o", "elsewhere.html").status == 0
    assert (home / "elsewhere.html").exists()


def test_what_is_no_page_no_recipe_or_no_outcome_is_refused(formulary: Run, home: Path) -> None:
    recipe = home / "recipes" / "harbour-base.yaml"
    before = recipe.read_bytes()
    for words, code in (
        (("harbour-base", "-o", str(recipe)), "page-ending"),
        (("harbour-bas",), "no-recipe"),
        (("harbour-base", "--outcome", "hardnes"), "unknown-outcome"),
        (("harbour-base", "-o", "no/such/folder/page.html"), "not-written"),
    ):
        ran = formulary("report", *words)
        assert ran.status == (3 if code == "not-written" else 2)
        assert ran.out == ""
        assert f"[{code}]" in ran.err
    assert recipe.read_bytes() == before
    assert not list(home.glob("*.html"))
