"""`blend`, `ingredients` and `cost`: what a recipe is chemically, what its label lists, what it costs."""

from __future__ import annotations

import click

from cli.options import RECIPE_OR_FILE, folder_option, json_option, open_workshop
from cli.output import say, say_json, tell_findings, width


@click.command()
@click.argument("recipe", metavar=RECIPE_OR_FILE)
@json_option
@folder_option
def blend(recipe: str, as_json: bool) -> None:
    """The chemistry of a recipe's oils: fatty acids, calculated values, sugars and water. Facts, no scores."""
    from formulary.batch.blend_text import render_blend

    with open_workshop(recipe) as workshop:
        version = workshop.find_recipe(recipe)
        tell_findings(workshop.remarks(version))
        found = workshop.blend(workshop.batch(version, oils="1000 g"))
    if as_json:
        say_json(found.to_json())
    else:
        say(render_blend(found, width=width()))


@click.command()
@click.argument("recipe", metavar=RECIPE_OR_FILE)
@json_option
@folder_option
def ingredients(recipe: str, as_json: bool) -> None:
    """The ingredient list by INCI name, as put in the pot and as in the bar; what it must say is the maker's duty."""
    from formulary.batch.blend_text import render_ingredients

    with open_workshop(recipe) as workshop:
        version = workshop.find_recipe(recipe)
        tell_findings(workshop.remarks(version))
        found = workshop.ingredients(workshop.batch(version, oils="1000 g"))
    if as_json:
        say_json(found.to_json())
    else:
        say(render_ingredients(found, width=width()))


@click.command()
@click.argument("recipe", metavar=RECIPE_OR_FILE)
@click.option("--oils", metavar="WEIGHT", default="1000 g", show_default=True, help="The size by its oils.")
@click.option("--bars", metavar="N", type=click.IntRange(1, 10_000), help="How many bars it makes.")
@json_option
@folder_option
def cost(recipe: str, oils: str, bars: int | None, as_json: bool) -> None:
    """What a batch's materials cost, by the prices in materials/, for the batch and for each bar."""
    from formulary.batch.blend_text import render_cost

    with open_workshop(recipe) as workshop:
        version = workshop.find_recipe(recipe)
        tell_findings(workshop.remarks(version))
        found = workshop.cost(workshop.batch(version, oils=oils))
    if as_json:
        say_json(found.to_json() | {"bars": bars, "per_bar": found.per_bar(bars) if bars else None})
    else:
        say(render_cost(found, bars=bars, width=width()))
