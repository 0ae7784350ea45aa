"""`init` and `demo`: a formulary to begin with, one's own or an invented one."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from cli.output import Steps, say, say_next, tell_findings, width

DEMONSTRATION = "harbour-soap"


@click.command()
@click.argument("folder", metavar="DIR")
@click.option("--name", metavar="TEXT", help="What the formulary is called; the folder's name unless given.")
def init(folder: str, name: str | None) -> None:
    """Make a new formulary: settings, folders, git, and an example recipe with comments for a beginner."""
    from formulary.folder.starting import EXAMPLE, init_folder

    with init_folder(folder, name=name) as made:
        say(f"{made.settings.name} is a formulary now, in {folder}, kept under git.")
        say("  formulary.yaml          its settings: scales, spoons, cure")
        say(f"  recipes/{EXAMPLE}.yaml  an example to read and to change")
        tell_findings(made.store.remarks)
    say_next(f"cd {shlex.quote(folder)} && formulary show {EXAMPLE}")


@click.command()
@click.argument("folder", metavar="[DIR]", required=False)
@click.option("--seed", type=click.IntRange(0), help="Another year than the usual one, drawn with this number.")
def demo(folder: str | None, seed: int | None) -> None:
    """Build an invented formulary in DIR and do the three weekly jobs on it, with the commands for each.

    Without DIR it is built in harbour-soap here, or the first free name after it. Every number is calculated now.
    """
    from datetime import date

    from trials.demo.build import SEED
    from trials.demo.tell import tell_demonstration

    place = folder or _free_place()
    with Steps() as steps:
        blocks = tell_demonstration(
            place, today=date.today(), seed=SEED if seed is None else seed, width=width(), progress=steps.tell
        )
        for block in blocks:
            steps.clear()
            say(f"{block}\n")


def _free_place() -> str:
    number = 1
    place = DEMONSTRATION
    while Path(place).exists():
        number += 1
        place = f"{DEMONSTRATION}-{number}"
    return place
