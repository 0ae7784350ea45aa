"""`diff`: what changed between two versions, working files or trials."""

from __future__ import annotations

import click

from cli.options import all_option, folder_option, json_option, open_chosen
from cli.output import DONE, STOPPED, progress, say, say_json, width


@click.command()
@click.argument("before")
@click.argument("after")
@click.option("--oils", metavar="WEIGHT", default="1000 g", help="Lye and water for so much oil; 1000 g unless given.")
@all_option
@json_option
@folder_option
def diff(before: str, after: str, oils: str, show_all: bool, as_json: bool) -> int:
    """What changed from BEFORE to AFTER, in percentages and recalculated lye.

    Each is a version (NAME@latest, NAME@4c1d), a working file (NAME) or a trial (its id, or a beginning of it).
    """
    from formulary.changes.text import render_changes
    from trials.bench import open_bench

    with open_chosen() as folder, progress("working out both sides"):
        changes = open_bench(folder).diff(before, after, oils=oils)
    if as_json:
        say_json(changes.to_json())
    else:
        say(render_changes(changes, width=width(), show_all=show_all))
    return STOPPED if changes.stops else DONE
