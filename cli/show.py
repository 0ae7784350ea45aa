"""`show`: a recipe with its lye for 1000 g of oils."""

from __future__ import annotations

import click

from cli.options import RECIPE_OR_FILE, RecipeArgument, all_option, folder_option, json_option, open_workshop
from cli.output import DONE, STOPPED, say, say_json, width


@click.command()
@click.argument("recipe", cls=RecipeArgument, metavar=RECIPE_OR_FILE)
@all_option
@json_option
@folder_option
def show(recipe: str, show_all: bool, as_json: bool) -> int:
    """A recipe: percentages, lye for 1000 g of oils, water, additions, scent, findings.

    With --all also what the working saponification values rest on. FILE is the path of a recipe's file, which needs no
    formulary.
    """
    from formulary.batch.recipe_text import recipe_json, render_recipe

    with open_workshop(recipe) as workshop:
        version = workshop.find_recipe(recipe)
        batch = workshop.kilogram(version)
        if as_json:
            say_json(recipe_json(version, batch))
        else:
            say(render_recipe(version, batch, workshop.register, width=width(), show_all=show_all))
    return STOPPED if batch.is_stopped else DONE
