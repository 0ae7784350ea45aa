"""`blend`, `ingredients` and `cost`: what a recipe is chemically, what its label lists, what it costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from cli.options import RECIPE_OR_FILE, RecipeArgument, folder_option, json_option, lots_option, open_workshop
from cli.output import DONE, STOPPED, say, say_json, tell_findings, width

if TYPE_CHECKING:
    from formulary.workshop.workshop import Workshop
    from trials.bench import Bench
    from trials.trial.model import Trial


@click.command()
@click.argument("recipe", cls=RecipeArgument, metavar=RECIPE_OR_FILE)
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
@click.argument("named", cls=RecipeArgument, metavar=f"{RECIPE_OR_FILE}|TRIAL[:PORTION]")
@json_option
@folder_option
def ingredients(named: str, as_json: bool) -> int:
    """The ingredient list by INCI name, as put in the pot and as in the bar; what it must say is the maker's duty.

    Of a trial it is that of the loaf as it was made. Of a divided batter each portion has its own, since its bars hold
    what it got alone; with :PORTION behind the name that one is shown. Exit status 1 when a stop stands against it.
    """
    from formulary.batch.blend_text import render_ingredients
    from formulary.finding import stops
    from formulary.history.versions import split_portion

    name, portion = split_portion(named)
    with open_workshop(name) as workshop:
        of_trial = _find_trial(workshop, name)
        if of_trial is not None:
            bench, trial = of_trial
            found = bench.ingredients(trial, portion=portion)
        else:
            version = workshop.find_recipe(name)
            tell_findings(workshop.remarks(version))
            found = workshop.ingredients(workshop.batch(version, oils="1000 g"), portion=portion)
    if as_json:
        say_json(found.to_json())
    else:
        say(render_ingredients(found, width=width()))
    return STOPPED if stops(found.findings) else DONE


@click.command()
@click.argument("named", cls=RecipeArgument, metavar=f"{RECIPE_OR_FILE}|TRIAL")
@click.option("--oils", metavar="WEIGHT", help="The size by its oils; 1000 g unless a size is said.")
@click.option("--total", metavar="WEIGHT", help="The size by all the batter: 1500g.")
@click.option("--mould", metavar="INSIDE", help='The size by a mould, as filled: "25 x 8 x 7 cm", or one by its name.')
@click.option(
    "--bars", metavar="N", type=click.IntRange(1, 10_000), help="How many bars it makes; with --bar it is the size."
)
@click.option("--bar", metavar="WEIGHT", help="What one bar weighs, as poured: 110g.")
@click.option("--cured", is_flag=True, help="--bar is the weight after the cure.")
@lots_option
@json_option
@folder_option
def cost(
    named: str,
    oils: str | None,
    total: str | None,
    mould: str | None,
    bars: int | None,
    bar: str | None,
    cured: bool,
    lots: tuple[str, ...],
    as_json: bool,
) -> None:
    """What a batch's materials cost, by the prices in materials/, for the batch and for each bar.

    A price of a lot counts with --lot. A trial costs what was really weighed, at the prices of its own lots that were
    kept with it; for each of the bars that were cut, where that was noted. Of a weight that is known only about it
    costs from the least to the most; what nobody weighed is told, and not counted.
    """
    from formulary.batch.blend_text import render_cost
    from formulary.batch.size import Size
    from trials.trial.identity import code_of

    naming = "--lot {material}={lot}"
    size = Size(oils=oils, total=total, mould=mould, bars=bars if bar else None, bar=bar, cured=cured)
    with open_workshop(named) as workshop:
        of_trial = _find_trial(workshop, named)
        if of_trial is not None:
            bench, trial = of_trial
            if size.is_said or cured or lots:
                raise click.UsageError("a trial has its own size and lots; only --bars goes with it")
            found = bench.cost(trial)
            naming = f"formulary trial lot {code_of(trial.id)} {{material}} {{lot}}"
            bars = bars or trial.bars.cut
        else:
            from formulary.batch.lot_shares import check_lots_of_cost
            from formulary.materials.chosen_lots import parse_chosen_lots

            version = workshop.find_recipe(named)
            tell_findings(workshop.remarks(version))
            size = size if size.is_said else Size(oils="1000 g", cured=cured)
            batch = workshop.batch_of_size(version, size, lots=parse_chosen_lots(lots, workshop.register))
            tell_findings(check_lots_of_cost(batch))
            found = workshop.cost(batch)
    if as_json:
        say_json(found.to_json() | {"bars": bars, "per_bar": found.per_bar(bars) if bars and found.is_known else None})
    else:
        say(render_cost(found, bars=bars, width=width(), naming=naming))


def _find_trial(workshop: Workshop, name: str) -> tuple[Bench, Trial] | None:
    """The trial of that name, and the bench it is on; None where it is a recipe. Raises as `find_named_trial`."""
    from formulary.folder.folder import Folder
    from trials.bench import open_bench
    from trials.files.named_trial import find_named_trial

    if not isinstance(workshop, Folder):
        return None
    bench = open_bench(workshop)
    trial = find_named_trial(bench, name)
    return None if trial is None else (bench, trial)
