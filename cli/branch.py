"""`branch`: a variant of a recipe."""

from __future__ import annotations

import click

from cli.options import RecipeArgument, folder_option, open_chosen
from cli.output import DONE, STOPPED, say, say_next, width


@click.command()
@click.argument("recipe", cls=RecipeArgument, metavar="RECIPE[@VERSION]")
@click.argument("variant")
@click.option("--swap", "swaps", metavar='"10% OIL:OIL"', multiple=True, help="So much of one oil becomes another.")
@click.option("--drop", "drops", metavar="NAME", multiple=True, help="Leave an addition or a scent out.")
@click.option("--add", "adds", metavar='"NAME 1.2 % of oils at trace"', multiple=True, help="A new addition or scent.")
@click.option("--set", "sets", metavar="FIELD=VALUE", multiple=True, help="Another value: lye.superfat=6.")
@click.option("--name", metavar="TEXT", help="What people call it; made of VARIANT unless given.")
@folder_option
def branch(
    recipe: str,
    variant: str,
    swaps: tuple[str, ...],
    drops: tuple[str, ...],
    adds: tuple[str, ...],
    sets: tuple[str, ...],
    name: str | None,
) -> int:
    """A variant of a saved version that remembers its parent; its oils still total 100, its comments stay.

    Options may be repeated; swaps come first, then drops, adds and sets. The file is written and not yet saved. Exit
    status 1 when it is written, and has a stop.
    """
    from formulary.changes.text import render_details
    from formulary.errors import InputError
    from formulary.recipes.tweaks import faults_beside, parse_tweaks
    from formulary.text_table import paragraph

    with open_chosen() as folder:
        parent = folder.find_version(recipe)
        tweaks, unread = parse_tweaks(swaps=swaps, drops=drops, adds=adds, sets=sets)
        try:
            made = folder.branch(parent, variant, *tweaks, name=name)
        except InputError as fault:
            raise InputError((*unread, *faults_beside(unread, fault.findings))) from None
        if unread:
            raise InputError(unread)
        changes = folder.diff(parent, made)
        path = folder.write(made)
        say("\n".join([*paragraph(changes.sentence, width=width()), *render_details(changes, width=width())]))
        say(f"\nWritten to {path.relative_to(folder.root)}, not saved yet; it remembers {parent.name}.")
    say_next(f"look it over in an editor, then formulary save {variant} -m WHY")
    return STOPPED if changes.stops else DONE
