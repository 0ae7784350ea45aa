"""`explain`: which tweak did it, and how sure one can be."""

from __future__ import annotations

import click

from cli.options import all_option, folder_option, json_option, open_chosen_bench, outcome_argument
from cli.output import progress, say, say_json, width


@click.command()
@outcome_argument
@click.option(
    "--within", "within", metavar="RECIPE", multiple=True, help="Only this recipe and its variants (repeatable)."
)
@click.option("--trial", metavar="TRIAL", help="Tell first what moved this one, beside the pour before it.")
@all_option
@json_option
@folder_option
def explain(outcome: str, within: tuple[str, ...], trial: str | None, show_all: bool, as_json: bool) -> None:
    """Which of the things that varied between trials moved OUTCOME, how sure, and what cannot be told apart.

    Chances are in percent, and can add to more than 100 %: several causes can be at work at once. The interval beside
    an effect holds the true one in 9 of 10 cases (90 %).

    OUTCOME is one of `formulary outcomes`, with its age where it has one: "working time", "hardness at 28 d". When
    there is not enough evidence it says so, with exit status 0.
    """
    from trials.answer.text import render_explanation

    with open_chosen_bench() as bench, progress("weighing what did it"):
        answer = bench.explain(outcome, within=within, trial=trial)
    if as_json:
        say_json(answer.to_json())
    else:
        say(render_explanation(answer, width(), show_all=show_all))
