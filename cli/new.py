"""`new`: a recipe from weights."""

from __future__ import annotations

import click

from cli.options import folder_option, open_chosen
from cli.output import DONE, STOPPED, say, say_next, width


@click.command()
@click.argument("recipe", metavar="NAME")
@click.option(
    "--from-weights",
    "weights",
    metavar='"OIL WEIGHT"',
    multiple=True,
    required=True,
    help='An oil and what was weighed of it: "olive-oil 450 g" (repeatable).',
)
@click.option("--name", metavar="TEXT", help="What it is called in full.")
@click.option("--superfat", metavar="PERCENT", help="Percent of the oils without lye; 5 unless given.")
@click.option("--lye-concentration", metavar="PERCENT", help="Percent of lye in lye and water; 33 unless given.")
@click.option("--lye", metavar="WEIGHT", help='The sodium hydroxide that was weighed for these oils: "4.4 oz".')
@click.option("--water", metavar="WEIGHT", help='The water that was weighed for them: "9 oz".')
@folder_option
def new(
    recipe: str,
    weights: tuple[str, ...],
    name: str | None,
    superfat: str | None,
    lye_concentration: str | None,
    lye: str | None,
    water: str | None,
) -> int:
    """A new recipe from weights that you have, in percentages that total exactly 100.

    --lye and --water, of an old notebook, in the place of the superfat and the lye concentration that follow from them.
    Exit status 1 when it is written, and has a stop.
    """
    from formulary.batch.recipe_text import render_recipe
    from formulary.recipes.compose import find_repeated

    with open_chosen() as folder:
        version = folder.compose(
            recipe, weights, name=name, superfat=superfat, lye_concentration=lye_concentration, lye=lye, water=water
        )
        batch = folder.kilogram(version)
        folder.write(version)
        say(render_recipe(version, batch, folder.register, width=width()))
    for oil in find_repeated(weights):
        say(f"\n{oil} was given more than once: its weights are added up.")
    say(f"\nWritten to recipes/{recipe}.yaml, not saved yet.")
    say_next(f"look it over in an editor, then formulary save {recipe} -m WHY")
    return STOPPED if batch.is_stopped else DONE
