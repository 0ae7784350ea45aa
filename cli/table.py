"""`table`: every fact and outcome of the trials, for other programs."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from cli.options import folder_option, json_option, open_chosen_bench
from cli.output import progress, say, say_json

_RENDERED = ("csv", "jsonl", "md")


@click.command()
@click.argument("recipes", metavar="[RECIPE]...", nargs=-1)
@click.option(
    "--by", type=click.Choice(["portion", "trial"]), default="portion", show_default=True, help="One row a ..."
)
@click.option("--as", "form", type=click.Choice(_RENDERED), default="csv", show_default=True, help="What to print.")
@click.option(
    "-o", "--output", metavar="FILE", type=click.Path(path_type=Path), help="Write .csv, .jsonl, .md or .parquet."
)
@json_option
@folder_option
def table(
    recipes: tuple[str, ...], by: Literal["portion", "trial"], form: str, output: Path | None, as_json: bool
) -> None:
    """One row a portion (or a trial) with every fact and outcome; with -o a table schema is written beside it.

    In CSV, here and wherever --as prints it, a text that a spreadsheet would run as a formula (it begins with = + - @)
    gets an apostrophe before it; the other formats keep every text as it is.
    """
    from formulary.data_table_formats import render_table, save_table, table_json

    with open_chosen_bench() as bench, progress("gathering the trials"):
        made = bench.table(recipes, by=by)
    if output is not None:
        written = save_table(made, output)
        say(f"Written: {', '.join(str(path) for path in written)}")
        return
    if as_json:
        say_json(table_json(made, bench.unread))
        return
    say(render_table(made, form).rstrip("\n"))
