"""A table that somebody opens in a spreadsheet holds texts and numbers, and runs nothing.

How a formula begins: OWASP, "CSV Injection" (from memory).
"""

from __future__ import annotations

import csv
import io
import json
import string

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from formulary.data_table import Table, TableColumn
from formulary.data_table_formats import render_csv, render_json_lines, render_markdown

FORMULAS = (
    *("=1+1", "=cmd|' /C calc'!A0", "+1+1", "-2+3", "@SUM(A1)", "\t=1+1", "\r=1+1", "\n=1+1", '=HYPERLINK("x","y")'),
    *("\uff1d1+1", "\uff0b1", "\uff0d1+1", "\uff20SUM(A1)", "-1.5.2", "-", "=1,2", '"=1"', "=-5", "+5 %"),
)
BEGINNINGS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"
texts = st.text(st.sampled_from(string.printable + BEGINNINGS), max_size=12)


def table(*cells: str | int | float | None) -> Table:
    columns = tuple(TableColumn(name=f"c{number}", title="", kind="string") for number in range(len(cells)))
    return Table(columns=columns, rows=(cells,))


def cells_of(made: Table) -> list[str]:
    _, row = csv.reader(io.StringIO(render_csv(made), newline=""))
    return row


def is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


@given(texts, texts)
@example("=1", "-3")
@example("fine\r=1+1", "fine\n=1+1")  # nothing within a text begins a row
def test_no_text_of_a_csv_file_is_a_formula_and_none_is_lost(one: str, two: str) -> None:
    for written, text in zip(cells_of(table(one, "between", two)), (one, "between", two), strict=True):
        assert not written.startswith(tuple(BEGINNINGS)) or is_number(written)
        assert written in (text, f"'{text}")


@pytest.mark.parametrize("text", FORMULAS)
def test_what_begins_as_a_formula_is_written_as_text_in_csv_alone(text: str) -> None:
    made = table(text, 1)
    assert cells_of(made)[0] == (text if text.startswith('"') else f"'{text}")
    assert json.loads(render_json_lines(made))["c0"] == text
    assert "'" + text.strip()[:2] not in render_markdown(made)


@given(texts)
@example("a\rb\nc")
def test_a_text_stays_in_its_cell_of_a_page_and_is_no_markup(text: str) -> None:
    head, _, *rows = render_markdown(table(f"x{text}", "y|<b>")).splitlines()
    assert len(rows) == 1
    # CommonMark: what stands behind a backslash is a plain sign.
    plain = rows[0].replace("\\\\", "")
    assert plain.replace("\\|", "").count("|") == head.count("|") == 3
    assert "<" not in plain.replace("\\<", "")


@given(st.one_of(st.integers(-(10**15), 10**15), st.floats(allow_nan=False, allow_infinity=False)))
def test_a_number_stays_a_number_below_zero_too(number: float) -> None:
    (written, said) = cells_of(table(number, "-3"))
    assert float(written) == number
    assert said == "-3"


@pytest.mark.parametrize("text", ["olive-oil", "8.2 %", "-3", "+0.5", "a=b", "2026-10-03", "", "'quoted'"])
def test_an_ordinary_text_is_written_as_it_is(text: str) -> None:
    assert cells_of(table(text, "x"))[0] == text
