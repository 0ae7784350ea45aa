"""A table as CSV, JSON lines or Markdown, with a Table Schema beside it, and as Parquet."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterable
from pathlib import Path

from formulary.data_table import Cell, Table, TableColumn
from formulary.errors import InputError
from formulary.finding import Finding
from formulary.whole_file import write_whole

TEXT_FORMATS = ("csv", "jsonl", "md")
FORMATS = (*TEXT_FORMATS, "parquet")
# How a cell begins that a spreadsheet takes for a formula when it opens a CSV file, whatever the quotes around it
# (OWASP, "CSV Injection", from memory), with the wide forms of the same signs. A plain number is none.
_BEGINS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")


def render_table(table: Table, form: str) -> str:
    """The table as text: csv, jsonl or md. Raises InputError for another form."""
    if form not in TEXT_FORMATS:
        raise InputError.of("table-format", f"{form!r:.40} is no form of a table", f"write {', '.join(TEXT_FORMATS)}")
    return {"csv": render_csv, "jsonl": render_json_lines, "md": render_markdown}[form](table)


def render_csv(table: Table) -> str:
    """The table as CSV (RFC 4180): a line of names, then the rows; a missing value is empty, every digit is kept.

    A text that a spreadsheet would run as a formula begins with an apostrophe; the other formats keep it as it is.
    """
    rows = [tuple(column.name for column in table.columns), *table.rows]
    return "".join(_csv_line([_csv_cell(cell) for cell in row]) for row in rows)


def _csv_line(cells: list[str]) -> str:
    # With the ends of lines that RFC 4180 names a cell is quoted for either half of one: a bare return within a text
    # would begin a row.
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\r\n").writerow(cells)
    return stream.getvalue().removesuffix("\r\n") + "\n"


def render_json_lines(table: Table) -> str:
    """The table as JSON lines: one object a row, with null for a missing value."""
    names = [column.name for column in table.columns]
    lines = (json.dumps(dict(zip(names, row, strict=True)), ensure_ascii=False) for row in table.rows)
    return "".join(f"{line}\n" for line in lines)


def table_json(table: Table, unread: Iterable[Finding] = ()) -> dict[str, object]:
    """The table with its schema: one object a row, None for a missing value.

    unread: one finding for each trial that could not be read, and so has no row.
    """
    names = [column.name for column in table.columns]
    return {
        "schema": table_schema(table),
        "rows": [dict(zip(names, row, strict=True)) for row in table.rows],
        "unread": [finding.to_json() for finding in unread],
    }


def render_markdown(table: Table) -> str:
    """The table for a page, with what people call each column and its unit; columns without any value are left out."""
    shown = [number for number in range(len(table.columns)) if any(row[number] is not None for row in table.rows)]
    heads = [table.columns[number] for number in shown]
    lines = [
        "| " + " | ".join(_escape(_head(column)) for column in heads) + " |",
        "|" + "|".join(" ---: " if column.kind in ("number", "integer") else " --- " for column in heads) + "|",
    ]
    for row in table.rows:
        lines.append("| " + " | ".join(_escape(_shown(row[number])) for number in shown) + " |")
    return "\n".join(lines) + "\n"


def table_schema(table: Table) -> dict[str, object]:
    """The table's Frictionless Table Schema: names, types, units, scales and bounds, as plain data."""
    key: dict[str, object] = {"primaryKey": list(table.key)} if table.key else {}
    return {"fields": [_field(column) for column in table.columns], "missingValues": [""], **key}


def save_table(table: Table, path: Path | str) -> tuple[Path, ...]:
    """Write the table in the format that the name ends in (.csv, .jsonl, .md or .parquet), its schema beside it.

    Returns what was written. Raises InputError for another ending or when Parquet is not installed, StorageError when
    the disk refuses.
    """
    path = Path(path)
    ending = path.suffix.removeprefix(".")
    if ending not in FORMATS:
        do = f"end the name in one of: {', '.join(f'.{name}' for name in FORMATS)}"
        raise InputError.of("table-format", f"{path.name} does not say which format", do)
    beside = path.with_suffix(".schema.json")
    data = _parquet(table) if ending == "parquet" else render_table(table, ending).encode("utf-8")
    schema = json.dumps(table_schema(table), indent=2, ensure_ascii=False)
    write_whole(path, data)
    write_whole(beside, f"{schema}\n".encode())
    return path, beside


def _parquet(table: Table) -> bytes:
    try:
        import pyarrow  # noqa: F401

        frame = table.to_dataframe()
    except ImportError:
        what = "Parquet needs pandas and pyarrow, which are not installed"
        raise InputError.of("parquet-missing", what, "pip install 'soap-formulary[parquet]', or choose .csv") from None
    stream = io.BytesIO()
    frame.to_parquet(stream, index=False)
    return stream.getvalue()


def _csv_cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return f"'{cell}" if cell.startswith(_BEGINS_FORMULA) and not _NUMBER.fullmatch(cell) else cell
    return repr(cell) if isinstance(cell, float) else str(cell)


def _head(column: TableColumn) -> str:
    return f"{column.title}, {column.unit}" if column.unit else column.title


def _shown(cell: Cell) -> str:
    if cell is None:
        return ""
    return f"{cell:.6g}" if isinstance(cell, float) else str(cell)


def _escape(text: str) -> str:
    """A text as text of a page: it ends no cell and no row, and is no mark-up."""
    for sign in "\\|<":
        text = text.replace(sign, f"\\{sign}")
    return " ".join(text.splitlines())


def _field(column: TableColumn) -> dict[str, object]:
    field: dict[str, object] = {"name": column.name, "type": column.kind, "title": column.title}
    if column.unit:
        field["unit"] = column.unit
    if column.scale:
        field["scale"] = column.scale
    constraints: dict[str, object] = {}
    if column.is_required:
        constraints["required"] = True
    if column.low is not None:
        constraints["minimum"] = column.low if column.kind == "number" else int(column.low)
    if column.high is not None:
        constraints["maximum"] = column.high if column.kind == "number" else int(column.high)
    if column.options:
        constraints["enum"] = list(column.options)
    if constraints:
        field["constraints"] = constraints
    return field
