"""`trial`: show a trial, list them, print its sheet, work it out by today's register."""

from __future__ import annotations

from pathlib import Path

import click

from cli.options import (
    SentenceGroup,
    all_option,
    folder_option,
    json_option,
    open_chosen,
    open_chosen_bench,
    table_option,
)
from cli.output import DONE, STOPPED, progress, say, say_json, tell_findings, width
from cli.pages import demand_page, page_option, tell_page
from cli.trial_entries import ENTRY_COMMANDS
from cli.trial_start import start


@click.group(cls=SentenceGroup)
def trial() -> None:
    """A batch as it was really made, and what happened to it.

    TRIAL is a trial's id, a beginning of it that only one has, or its last four characters. What is recorded is saved
    at once; exit status 1 says that it is, and that a stop stands against the loaf.
    """


@trial.command()
@click.argument("wanted", metavar="TRIAL")
@all_option
@json_option
@folder_option
def show(wanted: str, show_all: bool, as_json: bool) -> int:
    """One trial: what was planned, what was really in the pot, what happened, what was observed.

    Exit status 1 when a stop stands against the batch as it was made.
    """
    from datetime import date

    from formulary.finding import stops
    from trials.bench import open_bench
    from trials.trial_json import trial_json
    from trials.trial_text import render_trial

    with open_chosen() as folder:
        bench = open_bench(folder)
        found = bench.find_trial(wanted)
        today, register = date.today(), folder.register
        findings = bench.check_trial(found, today)
        if as_json:
            say_json(trial_json(found, findings, bench.outcomes, register=register, today=today))
        else:
            text = render_trial(
                found, findings, bench.outcomes, width=width(), show_all=show_all, register=register, today=today
            )
            say(text)
    return STOPPED if stops(findings) else DONE


@trial.command("sheet")
@click.argument("wanted", metavar="TRIAL")
@page_option("TRIAL.html here, unless given.")
@folder_option
def write_sheet(wanted: str, target: Path | None) -> None:
    """A trial's sheet for the bench, to print: its planned weights, boxes to tick, and lines for what happens.

    What is recorded already is filled in. While a stop stands, there is no sheet and the exit status is 1.
    """
    with open_chosen_bench() as bench:
        found = bench.find_trial(wanted)
        path = target or Path(f"{found.id}.html")
        demand_page(path)
        bench.sheet(found).save(path)
    tell_page("The sheet to print", path)


@trial.command()
@click.argument("wanted", metavar="TRIAL")
@json_option
@folder_option
def recalculate(wanted: str, as_json: bool) -> int:
    """A trial's figures by today's register beside the frozen ones; nothing is changed.

    Exit status 1 when the loaf passes a limit, or is unsafe, by today's values only.
    """
    from formulary.finding import stops
    from trials.as_made.recalculate import render_recalculation
    from trials.bench import open_bench

    with open_chosen() as folder:
        bench = open_bench(folder)
        found = bench.recalculate(bench.find_trial(wanted))
    if as_json:
        say_json(found.to_json())
    else:
        say(render_recalculation(found, width=width()))
    return STOPPED if stops(found.appeared) else DONE


@trial.command("list")
@click.argument("recipes", metavar="[RECIPE]...", nargs=-1)
@click.option("--by", "outcome", metavar="OUTCOME", help="Every pour in the order of OUTCOME, the best first.")
@table_option
@json_option
@folder_option
def list_trials(recipes: tuple[str, ...], outcome: str | None, form: str | None, as_json: bool) -> int:
    """The trials, by the date they were made; of some recipes and their variants, when they are named.

    With --by the best pour on an outcome comes first, such as "hardness at 28 d", and those that may be as good, since
    repeats differ as much, have a star. Exit status 1 when something has come up against a loaf that is recorded as
    sold.
    """
    from formulary.data_table_formats import render_table
    from formulary.finding import stops
    from trials.pours.ranking import render_ranking
    from trials.trial_text import render_trials, trials_json, trials_table

    with open_chosen_bench() as bench, progress("reading the trials"):
        found = bench.trials(recipes)
        ranked = None if outcome is None else bench.rank(outcome, recipes)
        unfit = bench.find_unfit_sales(found)
        against = [finding for findings in unfit.values() for finding in findings]
        if as_json:
            order = None if ranked is None else ranked.to_json()
            told: dict[str, object] | str = trials_json(found, bench.outcomes, bench.unread, order, unfit)
        elif form is not None:
            table = trials_table(found, bench.outcomes) if ranked is None else ranked.to_table()
            told = render_table(table, form).rstrip("\n")
        elif ranked is not None:
            told = render_ranking(ranked, width())
        else:
            told = render_trials(found, bench.outcomes, width=width(), unfit=unfit)
    if not as_json and (form is not None or ranked is not None):
        tell_findings(against)  # the list itself has no room for them
    say(told) if isinstance(told, str) else say_json(told)
    return STOPPED if stops(against) else DONE


for _entry in (start, *ENTRY_COMMANDS):
    trial.add_command(_entry)
