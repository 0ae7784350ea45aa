"""`history`: the versions of a recipe."""

from __future__ import annotations

import click

from cli.options import RecipeArgument, folder_option, json_option, open_chosen_bench, table_option
from cli.output import progress, say, say_json, say_table, width


@click.command()
@click.argument("recipe", cls=RecipeArgument)
@table_option
@json_option
@folder_option
def history(recipe: str, form: str | None, as_json: bool) -> None:
    """The versions of a recipe, newest first: when, why, what changed, and its trials."""
    from formulary.workshop.history_text import history_table, render_history, with_trials
    from trials.trial_text import trial_lines

    with open_chosen_bench() as bench, progress("reading the history"):
        entries = with_trials(bench.folder.describe_history(recipe), trial_lines(bench.trials(), bench.outcomes))
    if as_json:
        unread = [finding.to_json() for finding in bench.unread]
        is_cut_short = any(entry.saved.is_cut_short for entry in entries)
        versions = [entry.to_json() for entry in entries]
        say_json({"recipe": recipe, "is_cut_short": is_cut_short, "versions": versions, "unread": unread})
    elif form is not None:
        say_table(history_table(entries), form)
    else:
        say(render_history(recipe, entries, width=width()))
