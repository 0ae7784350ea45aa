"""What is compared and listed is printed as CSV, JSON lines and Markdown by one writer, with the same rows in each."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from tests.cli.conftest import BASE, Run


@pytest.fixture
def codes(formulary: Run, home: Path) -> tuple[str, str]:
    """Two saves of a recipe, and two trials."""
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g", "--room", "19C").status == 0
    one = next(home.glob("trials/*/*")).name[-4:]
    (home / "recipes/harbour-base.yaml").write_text(BASE.replace("superfat: 5", "superfat: 6"), encoding="utf-8")
    assert formulary("save", "-m", "milder | and softer").status == 0
    assert formulary("trial", "start", "harbour-base", "--oils", "1000g", "--room", "23C").status == 0
    (two,) = {folder.name[-4:] for folder in home.glob("trials/*/*")} - {one}
    for code, minutes in ((one, "9:30"), (two, "5:00")):
        assert formulary("trial", "event", code, "lye in", "--at", "0:00").status == 0
        assert formulary("trial", "event", code, "light trace", "--at", minutes).status == 0
    return one, two


@pytest.mark.parametrize(
    ("command", "head"),
    [
        ("diff first-bar harbour-base", "part,what,at,unit,before,after,change,before_text,after_text"),
        ("compare ONE TWO", "part,what,unit,ONE,TWO,repeats_differ_by"),
        ("history harbour-base", "number,version,saved,author,why,changed,trials"),
        ("trial list", "trial,recipe,version,made,sitting,outcomes"),
        ("trial list --by LIGHT", "trial,portion,recipe,version,made,value,may_be_best"),
    ],
)
def test_every_format_has_the_same_rows(formulary: Run, codes: tuple[str, str], command: str, head: str) -> None:
    def filled(text: str) -> str:
        return text.replace("ONE", codes[0]).replace("TWO", codes[1])

    words = [filled(word).replace("LIGHT", "time to light trace") for word in command.split()]
    printed = {form: formulary(*words, "--as", form) for form in ("csv", "jsonl", "md")}
    assert {ran.status for ran in printed.values()} == {0}
    as_csv = list(csv.reader(io.StringIO(printed["csv"].out)))
    assert as_csv[0] == filled(head).split(",")
    objects = [json.loads(line) for line in printed["jsonl"].out.splitlines()]
    assert len(objects) == len(as_csv) - 1 == len(printed["md"].out.splitlines()) - 2 > 1
    for cells, row in zip(as_csv[1:], objects, strict=True):
        assert list(row) == as_csv[0]
        assert cells == ["" if value is None else str(value) for value in row.values()]


@pytest.mark.usefixtures("home")
def test_the_lines_of_a_diff_carry_the_figures_of_its_json(formulary: Run) -> None:
    printed = formulary("diff", "first-bar", "harbour-base", "--as", "jsonl").out
    rows = [json.loads(line) for line in printed.splitlines()]
    tree = json.loads(formulary("diff", "first-bar", "harbour-base", "--json").out)
    oils = {row["what"]: (row["before"], row["after"]) for row in rows if row["part"] == "oils"}
    assert oils == {line["material"]: (line["before_percent"], line["after_percent"]) for line in tree["oils"]}
    assert sum(row["change"] for row in rows if row["part"] == "oils") == pytest.approx(0)
    (lye,) = [row for row in rows if row["part"] == "lye"]
    assert (lye["before"], lye["after"]) == tuple(tree["lye"][0][key] for key in ("before_grams", "after_grams"))
    everything = formulary("diff", "first-bar", "harbour-base", "--as", "jsonl", "--all").out.splitlines()
    assert len(everything) > len(rows)


@pytest.mark.usefixtures("codes")
def test_a_bar_in_a_text_ends_no_cell_of_a_page(formulary: Run) -> None:
    page = formulary("history", "harbour-base", "--as", "md").out
    assert "milder \\| and softer" in page
