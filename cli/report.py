"""`report`: the story of recipes, their trials, and what did it, as one page."""

from __future__ import annotations

from pathlib import Path

import click

from cli.options import RecipeArgument, folder_option, open_chosen_bench
from cli.output import Steps, say
from cli.pages import demand_page, page_option


@click.command()
@click.argument("recipes", cls=RecipeArgument, metavar="RECIPE...", nargs=-1, required=True)
@click.option(
    "--outcome",
    "outcomes",
    metavar="OUTCOME",
    multiple=True,
    help="Tell and draw this one (repeatable); all that were observed are told unless given.",
)
@page_option("Where to; RECIPE-report.html here unless given.")
@folder_option
def report(recipes: tuple[str, ...], outcomes: tuple[str, ...], target: Path | None) -> None:
    """The story of recipes and their variants, to read, print or hand on.

    One HTML file that needs nothing beside it: every save with what changed in words, every trial with what was made
    otherwise, what was observed beside how far repeats differ, and what `explain` says of it, with a drawing.

    Without --outcome every outcome that was observed is told and the first is drawn; each takes about a second. With
    it, what to pour next is told, too.
    """
    path = target or Path(f"{recipes[0]}-report.html")
    demand_page(path)
    with open_chosen_bench() as bench, Steps() as steps:
        made = bench.report(*recipes, outcomes=outcomes, tell=steps.tell)
        made.save(path)
    say(f"Written to {path}: {_counted(len(made.trials), 'trial')}, {_counted(len(made.answers), 'outcome')}.")


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
