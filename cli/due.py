"""`due` and `ready-by`: what to look at now, and when to pour."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import click

from cli.options import RecipeArgument, folder_option, json_option, open_chosen_bench
from cli.output import DONE, STOPPED, progress, say, say_json, tell_findings, width


@click.command()
@click.option("--ahead", metavar="DAYS", type=click.IntRange(0, 3650), default=14, show_default=True, help="How far.")
@click.option("--ics", metavar="FILE", type=click.Path(path_type=Path), help="Write it for a calendar (iCalendar).")
@click.option("--all", "show_all", is_flag=True, help="List what was missed long ago, too.")
@json_option
@folder_option
def due(ahead: int, ics: Path | None, show_all: bool, as_json: bool) -> int:
    """What should be looked at now and next, late ones first: cut, free alkali, colour, mass, hardness, shelf.

    Exit status 1 when something has come up against a loaf that is recorded as sold.
    """
    from formulary.finding import stops
    from trials.due.text import due_json, render_calendar, render_due, write_calendar

    now = datetime.now().astimezone()
    with open_chosen_bench() as bench, progress("reading the trials"):
        trials = bench.trials()
        unread = bench.unread
        found = bench.due(now.date(), days_ahead=ahead, among=trials)
        unfit = bench.find_unfit_sales(trials, now.date())
    against = [finding for findings in unfit.values() for finding in findings]
    if ics is not None:
        write_calendar(ics, render_calendar(found, now))
        tell_findings(against)
        say(f"{sum(not item.is_missed for item in found)} entries are written to {ics}.")
    elif as_json:
        say_json(due_json(found, unread, unfit))
    else:
        say(render_due(found, now.date(), width=width(), show_all=show_all, unfit=unfit))
    return STOPPED if stops(against) else DONE


@click.command("ready-by")
@click.argument("on", metavar="DATE")
@click.argument("recipe", cls=RecipeArgument, metavar="RECIPE[@VERSION]")
@click.option("--bars", metavar="N", type=click.IntRange(1, 100_000), required=True, help="Bars to be sold.")
@click.option("--per-loaf", metavar="N", type=click.IntRange(1, 10_000), help="Bars a mould gives; as in the past.")
@click.option("--bar", metavar="WEIGHT", help='What one weighs after the cure, "100 g", for the oils to weigh out.')
@json_option
@folder_option
def ready_by(on: str, recipe: str, bars: int, per_loaf: int | None, bar: str | None, as_json: bool) -> None:
    """When to pour for a market day: the date less labels, cure and drying; says when it is already too late.

    The cure is as long as the recipe says (`process: cure`), else formulary.yaml, and is counted as for a sale.
    """
    from trials.due.ready import render_ready_by

    with open_chosen_bench() as bench, progress("reading the trials"):
        ready = bench.ready_by(on, recipe, date.today(), bars=bars, bars_per_loaf=per_loaf, bar=bar)
    if as_json:
        say_json(ready.to_json())
    else:
        say(render_ready_by(ready, width=width()))
