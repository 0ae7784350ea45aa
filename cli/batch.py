"""`batch`: what to weigh, for one loaf or for several poured in one sitting."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli.options import (
    RECIPE_OR_FILE,
    RecipeArgument,
    all_option,
    folder_option,
    json_option,
    lots_option,
    open_workshop,
    sheet_option,
)
from cli.output import DONE, STOPPED, is_asked, say, say_json, tell_findings, width
from cli.pages import demand_page, tell_no_sheet, tell_page
from cli.sizes import SizedCommand, demand_size, match_sizes

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from formulary.batch.model import Batch
    from formulary.batch.sitting_model import Sitting
    from formulary.finding import Finding
    from formulary.workshop.workshop import Workshop


@click.command(cls=SizedCommand)
@click.argument("recipes", cls=RecipeArgument, metavar=f"{RECIPE_OR_FILE}...", nargs=-1, required=True)
@click.option("--oils", metavar="WEIGHT", multiple=True, help="The size by its oils: 1000g.")
@click.option("--total", metavar="WEIGHT", multiple=True, help="The size by all the batter: 1500g.")
@click.option(
    "--mould",
    "--mould-size",
    "mould",
    metavar="INSIDE",
    multiple=True,
    help='The size by a mould, as filled: "25 x 8 x 7 cm", or one by its name.',
)
@click.option(
    "--bars", metavar="N", multiple=True, type=click.IntRange(1, 10_000), help="The size by bars, with --bar."
)
@click.option("--bar", metavar="WEIGHT", multiple=True, help="What one bar weighs, as poured: 110g.")
@click.option("--cured", is_flag=True, help="--bar is the weight after the cure.")
@click.option(
    "--weighed", metavar='"MATERIAL WEIGHT"', multiple=True, help="What is in the vessel by now, when it went over."
)
@click.option(
    "--lye-in/--lye-apart",
    "lye_is_in",
    default=None,
    help="With --weighed: the lye is in the oils already, or still by itself. Asked at a terminal; else it is apart.",
)
@click.option(
    "--despite", metavar="CODE", multiple=True, help="Weigh out in spite of a stop, by its code (repeatable)."
)
@lots_option
@sheet_option
@all_option
@json_option
@folder_option
def batch(
    recipes: tuple[str, ...],
    oils: tuple[str, ...],
    total: tuple[str, ...],
    mould: tuple[str, ...],
    bars: tuple[int, ...],
    bar: tuple[str, ...],
    cured: bool,
    weighed: tuple[str, ...],
    lye_is_in: bool | None,
    despite: tuple[str, ...],
    lots: tuple[str, ...],
    sheet: Path | None,
    show_all: bool,
    as_json: bool,
) -> int:
    """What to weigh for a size, in working order, with the cautions.

    Several recipes are loaves of one sitting: one pot of the oils they share, one jug of lye where its strength is
    shared. One size holds for all of them; else each has its own, in their order, and a recipe of two loaves is named
    twice:

    \b
      formulary batch harbour-base mint --oils 800g
      formulary batch harbour-base --oils 1000g mint --oils 500g mint --mould tall

    FILE is the path of a recipe's file, such as one that somebody sent, and needs no formulary: outside of one the
    built-in materials and the usual settings count.

    A lot counts in every loaf that holds its material. Of several lots of one, --lot "olive-oil=OL-7 300 g" says how
    much of each there is, for all loaves, and --lot olive-oil=OL-8 beside it that the rest is of that one: the sheet
    says what to weigh of each, in that proportion, since the lye is worked out for it.

    With --weighed, how to go on when something went over or was forgotten: what is in the vessels by now, "castor-oil
    0 g" for what is not, "lye 300 g" for all that is in the jug of a lye that was mixed as planned. Once the lye is in
    the oils (--lye-in) all that goes in before counts as there, unless it is named, and no alkali can follow.

    While a stop stands, no weight is shown and the exit status is 1. An excess of lye on skin, an unknown
    saponification value and an open conflict can never be overridden.
    """
    from formulary.materials.chosen_lots import parse_chosen_lots
    from formulary.materials.lot_dates import check_dates_of_chosen

    sizes = match_sizes(recipes, oils=oils, total=total, mould=mould, bars=bars, bar=bar, cured=cured)
    if weighed:
        _demand_one_under_way(recipes, sheet)
    elif lye_is_in is not None:
        raise click.UsageError("--lye-in and --lye-apart go with --weighed")
    demand_page(sheet)
    with open_workshop(*recipes) as workshop:
        chosen = parse_chosen_lots(lots, workshop.register)
        loaves = [(workshop.find_recipe(recipe), size) for recipe, size in zip(recipes, sizes, strict=True)]
        for size in sizes:
            demand_size(size)
        batches = workshop.batches_of_sizes(loaves, lots=chosen)
        tell_findings(check_dates_of_chosen(workshop.register, chosen, date.today()))
        if weighed:
            tell_findings(workshop.remarks(workshop.find_recipe(recipes[0])))
            return _print_rescue(workshop, batches[0], weighed, despite, lye_is_in=lye_is_in, as_json=as_json)
        if len(batches) > 1:
            return _print_sitting(workshop, batches, despite, as_json, sheet)
        return _print_batch(workshop, batches[0], despite, as_json, show_all, sheet)


def _demand_one_under_way(recipes: tuple[str, ...], sheet: Path | None) -> None:
    if len(recipes) > 1:
        raise click.UsageError("--weighed goes with one recipe at a time")
    if sheet is not None:
        raise click.UsageError("--sheet goes with a weigh-out from its start, and --weighed with one under way")


def _save_sheet(workshop: Workshop, weigh_out: Batch | Sitting | None, path: Path | None) -> None:
    """Write the sheet for the bench where one is asked for; of what is stopped there is none."""
    if path is None:
        return
    if weigh_out is None:
        tell_no_sheet(path)
        return
    from trials.outcomes.known import own_event_words
    from trials.pages.sheet import make_sheet

    make_sheet(weigh_out, on=date.today(), own_events=own_event_words(workshop.settings)).save(path)
    tell_page("The sheet to print", path)


def _demand_standing(despite: tuple[str, ...], findings: Iterable[Finding]) -> None:
    """Refuse codes by which nothing stops what is to be weighed out."""
    from formulary.batch.overriding import demand_standing
    from formulary.finding import stops

    demand_standing(despite, stops(findings), says="nothing stops this batch")


def _print_batch(
    workshop: Workshop, planned: Batch, despite: tuple[str, ...], as_json: bool, show_all: bool, sheet: Path | None
) -> int:
    from formulary.batch.overriding import override_stops
    from formulary.batch.weigh_out_text import render_batch

    _demand_standing(despite, planned.findings)
    weighable = override_stops(planned, despite)
    if as_json:
        say_json(weighable.to_json())
    else:
        say(render_batch(weighable, width=width(), show_all=show_all))
    _save_sheet(workshop, None if weighable.is_stopped else weighable, sheet)
    return STOPPED if weighable.is_stopped else DONE


def _print_sitting(
    workshop: Workshop, planned: Sequence[Batch], despite: tuple[str, ...], as_json: bool, sheet: Path | None
) -> int:
    from formulary.batch.overriding import override_sitting_stops, override_stops
    from formulary.batch.sitting_text import render_sitting
    from formulary.batch.weigh_out_text import render_batch

    batches = [override_stops(batch, despite) for batch in planned]
    stopped = [each for each in batches if each.is_stopped]
    if not stopped:
        sitting = workshop.sitting(batches)
        told = [finding for batch in planned for finding in batch.findings]
        _demand_standing(despite, [*told, *sitting.findings])
        sitting = override_sitting_stops(sitting, despite)
        if as_json:
            say_json(sitting.to_json())
        else:
            say(render_sitting(sitting, width=width()))
        _save_sheet(workshop, None if sitting.is_stopped else sitting, sheet)
        return STOPPED if sitting.is_stopped else DONE
    if as_json:
        nothing: dict[str, object] = {"pot": None, "jug": None, "jug_reason": None, "own": None, "findings": []}
        say_json({"batches": [each.to_json() for each in batches], **nothing})
    else:
        say("\n\n".join(dict.fromkeys(render_batch(each, width=width()) for each in stopped)))
    _save_sheet(workshop, None, sheet)
    return STOPPED


def _print_rescue(
    workshop: Workshop,
    planned: Batch,
    weighed: tuple[str, ...],
    despite: tuple[str, ...],
    *,
    lye_is_in: bool | None,
    as_json: bool,
) -> int:
    from formulary.batch.overriding import demand_weighable, override_rescue_stops
    from formulary.batch.sitting_text import render_rescue

    weighable = demand_weighable(planned, despite=despite)
    if lye_is_in is None:
        lye_is_in = is_asked() and click.confirm("Is the lye in the oils already?", err=True)
    rescue = workshop.rescue(weighable, weighed, lye_is_in=lye_is_in)
    _demand_standing(despite, [*planned.findings, *rescue.findings])
    rescue = override_rescue_stops(rescue, despite)
    if as_json:
        say_json(rescue.to_json())
    else:
        say(render_rescue(rescue, width=width()))
    return STOPPED if rescue.is_stopped else DONE
