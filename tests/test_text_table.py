"""Text tables: no line too wide, numbers under one another, a number never parted from its unit."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from formulary.text_table import Row, align_on_point, paragraph, render_rows, text_width, wrap

WORDS = st.lists(
    st.sampled_from(["olive", "oil", "3.1 mm", "35 %", "1000 g", "recipes/a-long-name.yaml", "ü", "40 °C"]), max_size=40
).map(" ".join)


@given(WORDS, st.integers(20, 120))
def test_no_line_is_wider_than_asked_and_no_word_is_lost(text: str, width: int) -> None:
    lines = wrap(text, width)
    assert all(len(line) <= width for line in lines)
    assert "".join(" ".join(lines).split()) == "".join(text.split())


@given(WORDS, st.integers(30, 120))
def test_a_number_stays_on_the_line_of_its_unit(text: str, width: int) -> None:
    for line in wrap(text, width):
        assert not line.startswith(("mm", "%", "g ", "°C"))


def test_a_word_longer_than_the_line_is_broken_rather_than_let_out() -> None:
    assert all(len(line) <= 20 for line in wrap("a" * 95, 20))


@given(st.lists(st.decimals(-9999, 9999, places=2).map(lambda number: f"{number.normalize():f}"), min_size=1))
def test_points_stand_under_one_another(numbers: list[str]) -> None:
    cells = align_on_point(numbers)
    assert len({len(cell) for cell in cells}) == 1
    points = {len(cell.rstrip()) if "." not in cell else cell.index(".") for cell in cells}
    assert len(points) == 1


@given(st.lists(st.builds(Row, WORDS, st.tuples(st.sampled_from(["", "1.5", "later than 9.0"])), WORDS), max_size=8))
def test_a_table_fits_80_columns(rows: list[Row]) -> None:
    assert all(text_width(line) <= 80 for line in render_rows(rows, width=80))


def test_an_indented_paragraph_keeps_its_indent_on_every_line() -> None:
    lines = paragraph("one two three four five six seven eight nine ten", width=24, indent=6)
    assert len(lines) > 1
    assert all(line.startswith("      ") and not line.startswith("       ") for line in lines)


@given(st.integers(60, 100), st.integers(1, 40), st.integers(1, 30))
def test_a_name_beside_cells_is_never_broken_where_it_fits_a_line(width: int, name: int, cell: int) -> None:
    rows = [Row("n" * name, ("1" * cell, "2" * cell)), Row("two words", ("3",))]
    lines = render_rows(rows, width=width)
    assert any("n" * name in line for line in lines)
    if 2 * (cell + 1) <= width:
        assert max(map(text_width, lines)) <= width
