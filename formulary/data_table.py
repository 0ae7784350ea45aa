"""A table for other programs: columns that say what they hold, and rows of plain values."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import pandas

Cell = str | int | float | None
Kind = Literal["string", "integer", "number", "date"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TableColumn:
    """One column: its name for programs, what people call it, its unit, its scale and what bounds its values.

    kind: of its values, by the words of the Table Schema. scale: of an outcome. options: the only words there are.
    """

    name: str
    title: str
    kind: Kind
    unit: str = ""
    scale: str = ""
    low: float | None = None
    high: float | None = None
    options: tuple[str, ...] = ()
    is_required: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """Columns and rows; a missing value is None. `formulary.save_table` writes it, `to_dataframe` is for pandas.

    key: the columns that together tell a row from all others.
    """

    columns: tuple[TableColumn, ...]
    rows: tuple[tuple[Cell, ...], ...]
    key: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return f"<Table of {len(self.rows)} rows and {len(self.columns)} columns>"

    def column(self, name: str) -> tuple[Cell, ...]:
        """The values of one column. Raises KeyError."""
        names = [column.name for column in self.columns]
        if name not in names:
            raise KeyError(name)
        return tuple(row[names.index(name)] for row in self.rows)

    def to_dataframe(self) -> pandas.DataFrame:
        """The table as a pandas DataFrame, with whole numbers and missing values kept. Needs pandas to be installed."""
        import pandas

        types = {"string": "string", "integer": "Int64", "number": "float64", "date": "string"}
        series = {
            column.name: pandas.Series([row[number] for row in self.rows], dtype=types[column.kind])
            for number, column in enumerate(self.columns)
        }
        frame = pandas.DataFrame(series)
        for column in self.columns:
            if column.kind == "date":
                frame[column.name] = pandas.to_datetime(frame[column.name])
        return frame


def plain_name(text: str) -> str:
    """A name for programs: lower-case letters, digits and underscores."""
    plain = text.replace("%", "percent").replace("°", "")
    return re.sub(r"[^a-z0-9]+", "_", plain.lower()).strip("_") or "column"


def free_name(text: str, taken: set[str], *, endings: tuple[str, ...] = ("",)) -> str:
    """A plain name that no other column has, with none of the endings behind it; they are taken from then on.

    Names that differ in their punctuation alone, or in letters other than a to z, would come out as one.
    """
    base = plain_name(text)
    name, number = base, 2
    while not taken.isdisjoint(name + ending for ending in endings):
        name, number = f"{base}_{number}", number + 1
    taken.update(name + ending for ending in endings)
    return name
