"""`chart`: drawings of a recipe's story, of the effects on an outcome, and of trials thickening and curing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli.options import RecipeArgument, SentenceGroup, folder_option, open_chosen_bench, outcome_argument
from cli.output import progress, say, width

if TYPE_CHECKING:
    from trials.charts.figure import Chart

ENDINGS = ("svg", "png", "pdf")

output_option = click.option(
    "-o", "--output", "target", metavar="FILE", help="Where to: a name that ends in .svg, .png or .pdf."
)
width_option = click.option(
    "--width",
    "width_mm",
    metavar="MM",
    type=click.FloatRange(80, 400),
    default=160,
    help="In millimetres; 160 unless given.",
)


@click.group(cls=SentenceGroup)
def chart() -> None:
    """Draw to an SVG, PNG or PDF file."""


@chart.command()
@click.argument("recipe", cls=RecipeArgument)
@click.option("--outcome", default="working time", help="What is drawn over the versions; working time unless given.")
@output_option
@width_option
@folder_option
def story(recipe: str, outcome: str, target: str | None, width_mm: float) -> None:
    """A recipe and its variants along time: what changed in each version, and OUTCOME of every trial above."""
    path = _demand_target(target, f"{recipe}-story")
    with open_chosen_bench() as bench, progress("drawing"):
        told = bench.story(recipe, outcome)
        _demand_something(told.nothing, "formulary outcomes tells what can be observed, and how; draw one that was")
        _save(told.draw(width_mm=width_mm), path)


@chart.command()
@outcome_argument
@click.option("--within", metavar="RECIPE", multiple=True, help="Only this recipe and its variants (repeatable).")
@output_option
@width_option
@folder_option
def effects(outcome: str, within: tuple[str, ...], target: str | None, width_mm: float) -> None:
    """How likely each candidate moved OUTCOME, and what one step of it does, with its 90 % interval."""
    from formulary.text_table import paragraph

    path = _demand_target(target, f"{outcome.replace(' ', '-')}-effects")
    with open_chosen_bench() as bench, progress("weighing what did it"):
        answer = bench.explain(outcome, within=within, with_next=False)
        _save(answer.draw(width_mm=width_mm), path)
    if answer.no_answer is not None:  # which is an answer, and stands in the drawing, too
        say("\n".join(paragraph(f"There is nothing to weigh in it yet: {answer.no_answer}.", width=width())))


@chart.command()
@click.argument("trials", metavar="TRIAL...", nargs=-1, required=True)
@output_option
@width_option
@folder_option
def cure(trials: tuple[str, ...], target: str | None, width_mm: float) -> None:
    """Mass loss and hardness of trials against days, a line for every trial and portion."""
    path = _demand_target(target, f"{'-'.join(trials[:3])}-cure")
    with open_chosen_bench() as bench, progress("drawing"):
        measured = bench.cure(*trials)
        do = f'for example: formulary trial observe {trials[0]} hardness "3.1 mm" --age 28d'
        _demand_something(measured.nothing, do)
        _save(measured.draw(width_mm=width_mm), path)


@chart.command()
@click.argument("trials", metavar="TRIAL...", nargs=-1, required=True)
@output_option
@width_option
@folder_option
def trace(trials: tuple[str, ...], target: str | None, width_mm: float) -> None:
    """How the batter of trials thickened over minutes, their portions one under another.

    A portion poured before it thickened ends in an open arrow: too thick to pour would have come later.
    """
    path = _demand_target(target, f"{'-'.join(trials[:3])}-trace")
    with open_chosen_bench() as bench, progress("drawing"):
        thickened = bench.trace(*trials)
        do = f'for example: formulary trial event {trials[0]} "light trace" --at 4:10'
        _demand_something(thickened.nothing, do)
        _save(thickened.draw(width_mm=width_mm), path)


def _demand_target(target: str | None, usual: str) -> Path:
    """The file to write. Raises InputError for an ending that is no drawing."""
    from formulary.errors import InputError

    path = Path(target or f"{usual}.svg")
    if path.suffix[1:].lower() not in ENDINGS:
        do = f"end the name in .svg, .png or .pdf: {path.stem or 'chart'}.svg"
        raise InputError.of("chart-ending", f"{path.name!r} does not say what kind of drawing", do)
    return path


def _demand_something(nothing: str | None, do: str) -> None:
    """Raises InputError where there is nothing to draw: a file with a sentence in it is no chart."""
    from formulary.errors import InputError

    if nothing is not None:
        raise InputError.of("nothing-to-draw", f"nothing is drawn: {nothing}", do)


def _save(drawn: Chart, path: Path) -> None:
    from formulary.whole_file import write_whole

    write_whole(path, drawn.to_bytes(path.suffix[1:].lower()))
    say(f"Drawn to {path}.")
