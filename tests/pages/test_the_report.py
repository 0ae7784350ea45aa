"""The report: saves, trials, observations and answers of a recipe and its variants, as the library tells each."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from formulary.errors import InputError
from formulary.folder.folder import open_folder
from formulary.folder.starting import init_folder
from tests.trials.examples import MIDWINTER_CLOVE
from trials import record
from trials.bench import Bench, open_bench
from trials.pages.report import Report

from .reading import demand_self_contained, text_of

DAY = date(2026, 11, 26)
NOW = datetime(2026, 10, 3, 9, 0, tzinfo=UTC)
NASTY = '<script>alert(1)</script>"&amp;'
BASE = """\
format: 1
name: Quay base
oils: {olive-oil: 60, coconut-oil: 25, sunflower-oil: 15}
lye: {alkali: sodium-hydroxide, superfat: 5}
water: {lye_concentration: 33}
"""


@pytest.fixture(scope="module")
def quay(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A base, its variant, a recipe never saved; two trials of the base that repeat one another, one of the variant."""
    root = tmp_path_factory.mktemp("reports") / "quay"
    with init_folder(root) as folder:
        (root / "recipes" / "quay-base.yaml").write_text(BASE, encoding="utf-8")
        folder.refresh()
        base = folder.save(folder.find_version("quay-base"), why="the base")
        folder.save(base.branch("quay-oat", name="Quay oat"), why=f"a bar for {NASTY}")
        (root / "recipes" / "midwinter-clove.yaml").write_text(MIDWINTER_CLOVE, encoding="utf-8")
        bench = open_bench(folder)
        for number, (recipe, code, minutes) in enumerate(
            [("quay-base", "k7wq", "9:00"), ("quay-base", "m3hd", "10:00"), ("quay-oat", "x2gv", "6:30")]
        ):
            day = NOW + timedelta(days=number)
            trial = bench.start(recipe, oils="1000 g", now=day, draw_code=lambda code=code: code, who=NASTY)
            bench.record(
                record.lye_in(trial, day),
                trial.event("light trace", "3:00"),
                trial.event("too thick to pour", minutes),
                record.condition(trial, "blender", NASTY),
                record.as_made(trial, "water 300 g"),
                now=day,
            )
    return root


@pytest.fixture
def bench(quay: Path, tmp_path: Path) -> Iterator[Bench]:
    """The same in a folder of its own, to be written to."""
    root = tmp_path / "quay"
    shutil.copytree(quay, root)
    with open_folder(root) as folder:
        yield open_bench(folder)


def read_report(bench: Bench, *names: str, outcomes: tuple[str, ...] = ()) -> Report:
    return bench.report(*names, outcomes=outcomes, on=DAY)


def test_a_report_is_one_file_that_runs_nothing_and_asks_for_nothing(bench: Bench) -> None:
    html = read_report(bench, "quay-base", outcomes=("working time",)).html
    page = demand_self_contained(html)
    assert len(list(page.iter("img"))) == 1
    assert all(picture.get("alt") for picture in page.iter("img"))


def test_no_column_of_words_is_left_what_others_leave_over(bench: Bench) -> None:
    """A cell may break within words, for a word wider than paper; so a column without a width could be one letter."""
    page = demand_self_contained(read_report(bench, "quay-base", outcomes=("working time",)).html)
    for head in ("why", "made otherwise than planned"):
        tables = [table for table in page.iter("table") if head in [text_of(cell) for cell in table.iter("th")]]
        assert tables, head
        for table in tables:
            widths = [each.get("style") for each in table.iter("col")]
            heads = [cell for cell in table.iter("th") if cell.get("class") != "short"]
            assert len([width for width in widths if width]) == len(heads)


def test_it_tells_every_save_every_trial_and_what_explain_says(bench: Bench) -> None:
    report = read_report(bench, "quay-base")
    said = text_of(demand_self_contained(report.html))
    assert [recipe.slug for recipe in report.recipes] == ["quay-base", "quay-oat"]
    for slug in ("quay-base", "quay-oat"):
        for saved in bench.folder.history(slug):
            assert saved.id[:8] in said
            assert saved.why in said
    for trial in bench.trials(["quay-base"]):
        assert trial.id[-4:] in said
    assert said.count("water 300 g") == 3
    assert {answer.label for answer in report.answers} >= {"working time", "time to light trace"}
    for answer in report.answers:
        told = bench.explain(answer.label, within=["quay-base"], with_next=False)
        assert told.sentence in said
    assert DAY.isoformat() in said


def test_what_was_observed_stands_there_as_explain_counts_it(bench: Bench) -> None:
    page = demand_self_contained(read_report(bench, "quay-base", outcomes=("working time",)).html)
    rows = [[text_of(cell) for cell in row] for row in page.iter("tr")]
    told = {row[0]: row[1] for row in rows if len(row) == 2 and row[0] in ("k7wq", "m3hd", "x2gv")}
    assert set(told) == {"k7wq", "m3hd", "x2gv"}
    tree = bench.explain("working time", within=["quay-base"], with_next=False)
    for item in tree.seen:
        assert f"{item.value.value:.1f}" in told[item.pour.trial.id[-4:]] or item.value.bound != "exact"


def test_a_recipe_without_its_base_is_told_alone(bench: Bench) -> None:
    report = read_report(bench, "quay-oat")
    assert [recipe.slug for recipe in report.recipes] == ["quay-oat"]
    assert [trial.id[-4:] for trial in report.trials] == ["x2gv"]


def test_a_recipe_that_nobody_poured_or_saved_says_so(bench: Bench) -> None:
    said = text_of(demand_self_contained(read_report(bench, "midwinter-clove").html))
    assert "It was never saved." in said
    assert "No trial of these recipes was started yet." in said
    assert "nothing can be told" in said


def test_what_is_not_saved_or_cannot_be_read_is_said_and_not_told(bench: Bench) -> None:
    root = bench.folder.root
    (root / "recipes" / "quay-base.yaml").write_text(BASE.replace("superfat: 5", "superfat: 6"), "utf-8")
    (root / "recipes" / "quay-oat.yaml").write_text("format: 1\noils: {", encoding="utf-8")
    (lost,) = root.glob("trials/*/*m3hd/trial.yaml")
    lost.write_text("format: 1\n", encoding="utf-8")
    report = read_report(open_bench(root), "quay-base")
    said = text_of(demand_self_contained(report.html))
    assert "changes that are not saved" in said
    assert "cannot be read as it is now" in said
    assert "could not be read" in said
    assert [trial.id[-4:] for trial in report.trials] == ["k7wq", "x2gv"]


def test_a_loaf_that_is_caustic_as_made_is_told_as_a_stop(bench: Bench) -> None:
    trial = bench.find_trial("k7wq")
    bench.record(record.as_made(trial, "sodium-hydroxide 190 g"), now=NOW)
    assert "STOP: " in text_of(demand_self_contained(read_report(bench, "quay-base").html))


def test_a_loaf_that_was_rebatched_is_told_with_what_it_took_in_and_its_tests_at_their_own_ages(bench: Bench) -> None:
    trial = bench.find_trial("k7wq")
    later = NOW + timedelta(days=40)
    bench.record(
        record.as_made(trial, "extra honey 12 g at oils"),
        trial.observe("free alkali", "present", age="1 d"),
        record.handle(trial, "rebatched", "48 h", taken_in=["olive oil 80 g"]),
        trial.observe("free alkali", "none", age="4 d"),
        now=later,
    )
    bench.record(record.release(trial, "sell", who="Rowan", why="mild", on="2026-11-05"), now=later)
    bench.record(trial.observe("free alkali", "present", age="36 d"), now=later)
    page = demand_self_contained(read_report(bench, "quay-base").html)
    rows = [[text_of(cell) for cell in row] for row in page.iter("tr")]
    (row,) = [row for row in rows if len(row) == 6 and row[1] == "k7wq"]
    assert "rebatched with 80 g of olive oil, 48 h after pouring" in row[4]
    assert "extra honey 12 g in the oils" in row[4], "the stage is half of what went otherwise"
    assert row[5].startswith("sell, by Rowan on 2026-11-05: mild.")
    assert "Not fit to sell: free alkali: present at 36 d" in row[5]
    assert ["k7wq", "present at 1 d; rebatched at 2 d; none at 4 d; present at 36 d"] in rows
    assert not any("none to present" in cell for row in rows for cell in row), "no test is worked out between two"


def test_that_nothing_can_be_told_is_said_once_for_all_of_which_it_is_so(bench: Bench) -> None:
    trial = bench.find_trial("k7wq")
    bench.record(
        trial.observe("hardness", "3.1 mm", age="28 d"),
        trial.observe("lather", "40 mm", age="28 d"),
        now=NOW + timedelta(days=40),
    )
    page = demand_self_contained(read_report(bench, "quay-base").html)
    said = [text_of(element) for element in page.iter("p")]
    alone = [text for text in said if "one trial alone cannot be compared with anything" in text]
    assert len(alone) == 2, "once in short, and once with what each rests on"


def test_what_a_person_wrote_is_text_and_never_markup(bench: Bench) -> None:
    html = read_report(bench, "quay-base").html
    page = demand_self_contained(html)
    assert text_of(page).count(NASTY) >= 4
    assert "<script" not in html


def test_the_same_formulary_gives_the_same_file(bench: Bench) -> None:
    once = read_report(bench, "quay-base", outcomes=("working time",)).html
    assert read_report(open_bench(bench.folder.root), "quay-base", outcomes=("working time",)).html == once


def test_an_unknown_recipe_or_outcome_is_refused_with_the_nearest(bench: Bench) -> None:
    for names, outcomes in ((("quay-bas",), ()), (("quay-base",), ("hardnes",))):
        with pytest.raises(InputError) as caught:
            read_report(bench, *names, outcomes=outcomes)
        assert any("quay-base" in finding.do or "hardness" in finding.do for finding in caught.value.findings)
