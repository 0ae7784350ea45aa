"""`diff`: what changed between two versions, working files or trials."""

from __future__ import annotations

import click

from cli.options import all_option, folder_option, json_option, open_workshop, table_option
from cli.output import DONE, STOPPED, progress, say, say_json, say_table, tell_findings, width


@click.command()
@click.argument("before")
@click.argument("after")
@click.option("--oils", metavar="WEIGHT", default="1000 g", help="Lye and water for so much oil; 1000 g unless given.")
@all_option
@table_option
@json_option
@folder_option
def diff(before: str, after: str, oils: str, show_all: bool, form: str | None, as_json: bool) -> int:
    """What changed from BEFORE to AFTER, in percentages and recalculated lye.

    Each is a version (NAME@latest, NAME@4c1d), a working file (NAME), a trial (its id, or a beginning of it), or the
    path of a recipe's file; with :PORTION behind it that portion alone (k7wq:plain). Two files need no formulary.
    """
    from formulary.changes.text import render_changes
    from formulary.folder.folder import Folder
    from formulary.history.versions import is_recipe_file, split_portion
    from trials.bench import open_bench

    named = [split_portion(side)[0] for side in (before, after)]
    with open_workshop(*named) as workshop, progress("working out both sides"):
        sides = open_bench(workshop) if isinstance(workshop, Folder) else workshop
        changes = sides.diff(before, after, oils=oils)
        files = [workshop.find_recipe(name) for name in named if is_recipe_file(name)]
    tell_findings(dict.fromkeys(finding for version in files for finding in workshop.remarks(version)))
    if as_json:
        say_json(changes.to_json())
    elif form is not None:
        say_table(changes.to_table(show_all=show_all), form)
    else:
        say(render_changes(changes, width=width(), show_all=show_all))
    return STOPPED if changes.stops else DONE
