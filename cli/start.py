"""`init` and `demo`: a formulary to begin with, one's own or an invented one."""

from __future__ import annotations

import shlex

import click

from cli.output import say, say_next


@click.command()
@click.argument("folder", metavar="DIR")
@click.option("--name", metavar="TEXT", help="What the formulary is called; the folder's name unless given.")
def init(folder: str, name: str | None) -> None:
    """Make a new formulary: settings, folders, git, and an example recipe with comments for a beginner."""
    from formulary.starting import EXAMPLE, init_folder

    with init_folder(folder, name=name) as made:
        say(f"{made.settings.name} is a formulary now, in {folder}, kept under git.")
        say("  formulary.yaml          its settings: scales, spoons, cure")
        say(f"  recipes/{EXAMPLE}.yaml  an example to read and to change")
    say_next(f"cd {shlex.quote(folder)} && formulary show {EXAMPLE}")
