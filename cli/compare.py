"""`compare`: what differed between trials, and what each did."""

from __future__ import annotations

import click

from cli.options import all_option, folder_option, json_option, open_chosen_bench, table_option
from cli.output import DONE, STOPPED, progress, say, say_json, say_table, tell_findings, width


@click.command()
@click.argument("trials", metavar="TRIAL...", nargs=-1, required=True)
@click.option("--each", is_flag=True, help="Show pours that repeat one another by themselves, too.")
@all_option
@table_option
@json_option
@folder_option
def compare(trials: tuple[str, ...], each: bool, show_all: bool, form: str | None, as_json: bool) -> int:
    """What differed between trials above, what each did below, beside the noise of repeats.

    Between the two stand the alkali and the water for 1000 g of oils, where they differed. Of one trial its portions
    are compared. Of three and more, pours that repeat one another are put together.

    Exit status 1 when a stop stands against one of them as it was made.

    TRIAL is a trial's id, a beginning of it that only one has, or its last four characters. Each portion of a divided
    one has a column of its own, also where one trial alone is named; TRIAL:PORTION is that portion alone.
    """
    from trials.comparison.table import render_comparison

    with open_chosen_bench() as bench, progress("comparing"):
        comparison = bench.compare(*trials, each=each)
    if as_json:
        say_json(comparison.to_json())
    elif form is not None:
        tell_findings(finding for _, finding in comparison.stops)
        say_table(comparison.to_table(show_all=show_all), form)
    else:
        say(render_comparison(comparison, width(), show_all=show_all))
    return STOPPED if comparison.stops else DONE
