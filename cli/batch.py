"""`batch`: what to weigh."""

from __future__ import annotations

import click

from cli.options import all_option, folder_option, json_option, lots_option, open_chosen, parse_lots
from cli.output import DONE, STOPPED, say, say_json, tell, width


@click.command()
@click.argument("recipe", metavar="RECIPE[@VERSION]")
@click.option("--oils", metavar="WEIGHT", help="The size by its oils: 1000g.")
@click.option("--total", metavar="WEIGHT", help="The size by all the batter: 1500g.")
@click.option(
    "--despite", metavar="CODE", multiple=True, help="Weigh out in spite of a stop, by its code (repeatable)."
)
@lots_option
@all_option
@json_option
@folder_option
def batch(
    recipe: str,
    oils: str | None,
    total: str | None,
    despite: tuple[str, ...],
    lots: tuple[str, ...],
    show_all: bool,
    as_json: bool,
) -> int:
    """What to weigh for a size, in working order, with the cautions.

    While a stop stands, no weight is shown and the exit status is 1. An excess of lye on skin, an unknown
    saponification value and an open conflict can never be overridden.
    """
    from formulary.batch.weigh_out_text import render_batch
    from formulary.finding import stops
    from formulary.folder import override_stops

    with open_chosen() as folder:
        worked_out = folder.batch(recipe, oils=oils, total=total, lots=parse_lots(lots))
    for code in set(despite) - {finding.code for finding in stops(worked_out.findings)}:
        tell(f"note: nothing stops this batch by {code!r}, so --despite {code} changes nothing")
    worked_out = override_stops(worked_out, despite)
    if as_json:
        say_json(worked_out.to_json())
    else:
        say(render_batch(worked_out, width=width(), show_all=show_all))
    return STOPPED if worked_out.is_stopped else DONE
