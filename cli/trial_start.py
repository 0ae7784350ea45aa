"""`trial start`: the trials of a sitting, each with its frozen plan, and what to weigh for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli.asking import ask, ask_if_known
from cli.options import RecipeArgument, folder_option, lots_option, open_chosen, sheet_option
from cli.output import DONE, STOPPED, is_asked, say, say_next, width
from cli.pages import demand_page, tell_page
from cli.sizes import SizedCommand, demand_size, match_sizes

if TYPE_CHECKING:
    from formulary.batch.size import Size
    from formulary.folder.folder import Folder
    from formulary.recipes.version import Version
    from formulary.settings import Settings
    from trials.bench import Bench
    from trials.record.starting import StartedTrial
    from trials.trial.model import Trial


@click.command(cls=SizedCommand)
@click.argument("recipes", cls=RecipeArgument, metavar="RECIPE[@VERSION]...", nargs=-1, required=True)
@click.option("--oils", metavar="WEIGHT", multiple=True, help="The size by its oils: 1000g.")
@click.option("--total", metavar="WEIGHT", multiple=True, help="The size by all the batter: 1500g.")
@click.option(
    "--mould-size",
    "mould",
    metavar="INSIDE",
    multiple=True,
    help='The size by a mould, as filled: "25 x 8 x 7 cm", or by its name.',
)
@click.option(
    "--bars", metavar="N", multiple=True, type=click.IntRange(1, 10_000), help="The size by bars, with --bar."
)
@click.option("--bar", metavar="WEIGHT", multiple=True, help="What one bar weighs, as poured: 110g.")
@click.option("--cured", is_flag=True, help="--bar is the weight after the cure.")
@click.option("--sitting", metavar="NAME", help="Trials of one sitting share oils, jug and room; today's unless given.")
@click.option("--room", metavar="TEMPERATURE", help="How warm the room is: 19C.")
@click.option(
    "--mould",
    "poured_into",
    metavar="NAME|INSIDE",
    multiple=True,
    help="The mould it is poured into; by its inside or a name of the settings also the size, where none is said.",
)
@click.option("--who", metavar="NAME", help="Who makes it.")
@click.option("--made", metavar="DATE", help="The day it was made, such as 2026-10-03; today unless given.")
@click.option("--despite", metavar="CODE", multiple=True, help="Start in spite of a stop, by its code (repeatable).")
@lots_option
@sheet_option
@folder_option
def start(
    recipes: tuple[str, ...],
    oils: tuple[str, ...],
    total: tuple[str, ...],
    mould: tuple[str, ...],
    bars: tuple[int, ...],
    bar: tuple[str, ...],
    cured: bool,
    sitting: str | None,
    room: str | None,
    poured_into: tuple[str, ...],
    who: str | None,
    made: str | None,
    despite: tuple[str, ...],
    lots: tuple[str, ...],
    sheet: Path | None,
) -> int:
    """Start a trial: freeze its plan, save it, and print what to weigh. A recipe with a stop is refused.

    Several recipes are loaves of one sitting, sized as by `batch`: all of them are started, in one save, or none; what
    is said of the room, the lots and who makes them holds for all. A mould is said once for all, or for each.

    Of several lots of a material --lot "olive-oil=OL-7 300 g" says how much there is of each, and --lot olive-oil=OL-8
    beside it that the rest is of that one, as for `batch`; the record begins with what is to be weighed of each.

    Without a size it asks, on a terminal, for the weight of the oils, the room and the mould.
    """
    from formulary.batch.overriding import overridden
    from formulary.batch.weigh_out_text import render_findings
    from formulary.finding import stops
    from formulary.materials.chosen_lots import parse_chosen_lots
    from trials.bench import open_bench
    from trials.record.starting import Loaf, start_trials

    demand_page(sheet)
    sizes = match_sizes(recipes, oils=oils, total=total, mould=mould, bars=bars, bar=bar, cured=cured)
    with open_chosen() as folder:
        versions = [folder.find_version(recipe) for recipe in recipes]
        matched = [
            _match_mould(size, into, folder.settings)
            for size, into in zip(sizes, _one_each(poured_into, recipes), strict=True)
        ]
        if is_asked() and not any(size.is_said for size, _ in matched):
            weight = ask("What do the oils weigh, such as 1000 g", _read_size)
            if room is None and sitting is None:
                room = ask_if_known(
                    "How warm is the room, such as 19 °C or 66 °F (Enter: not measured)", _read_temperature
                )
            if not poured_into:
                into = ask_if_known("Which mould is it poured into (Enter: not said)", str.strip)
                matched = [(size, into) for size, _ in matched]
            matched = [(replace(size, oils=weight), into) for size, into in matched]
        for size, into in matched:
            demand_size(size, into)
        bench = open_bench(folder)
        unsaved = [_say_unsaved(folder, each) for each in _first_of_each(versions) if not each.is_saved]
        started = start_trials(
            bench,
            [Loaf(version, size, into) for version, (size, into) in zip(versions, matched, strict=True)],
            sitting=sitting,
            lots=parse_chosen_lots(lots, folder.register),
            conditions={} if room is None else {"room": room},
            who=who,
            made=made,
            despite=despite,
        )
        say(_render_weights(folder, started, despite))
        told = [each for one in started for each in one.batch.findings]
        said = {(each.code, each.what) for each in (*told, *map(overridden, told))}
        trials = [one.trial for one in started]
        found = dict.fromkeys(finding for trial in trials for finding in bench.check_trial(trial))
        new = [each for each in found if (each.code, each.what) not in said]
        _say_lots(trials)
        if new:
            say("\n".join(["", *render_findings(new, width=width())]))
        for text in unsaved:
            _say_paragraph(text)
        _say_started(bench, trials, is_sitting_said=sitting is not None)
        if sheet is not None:
            # Last: a disk that refuses the sheet must not hide that the trials are there.
            _save_sheet(bench, started, despite, sheet)
            tell_page("The sheet to print", sheet)
    return STOPPED if stops(new) else DONE


def _one_each(poured_into: tuple[str, ...], recipes: tuple[str, ...]) -> Sequence[str | None]:
    """The mould of each loaf: one for all, or one for each in their order."""
    from formulary.errors import InputError

    if len(poured_into) <= 1:
        return (poured_into or (None,)) * len(recipes)
    if len(poured_into) != len(recipes):
        what = f"{len(recipes)} recipe{'s' if len(recipes) > 1 else ''} and {len(poured_into)} moulds"
        raise InputError.of("mould-count", what, "say --mould once for all, or once for each in their order")
    return poured_into


def _first_of_each(versions: Sequence[Version]) -> Sequence[Version]:
    return list({version.slug: version for version in versions}.values())


def _render_weights(folder: Folder, started: Sequence[StartedTrial], despite: tuple[str, ...]) -> str:
    """What to weigh: for a loaf by itself, or for those of a sitting together."""
    from formulary.batch.overriding import override_sitting_stops, override_stops
    from formulary.batch.sitting_text import render_sitting
    from formulary.batch.weigh_out_text import render_batch

    batches = [override_stops(each.batch, despite) for each in started]
    if len(batches) == 1:
        return render_batch(batches[0], width=width())
    return render_sitting(override_sitting_stops(folder.sitting(batches), despite), width=width())


def _save_sheet(bench: Bench, started: Sequence[StartedTrial], despite: tuple[str, ...], path: Path) -> None:
    from formulary.batch.overriding import override_sitting_stops, override_stops

    if len(started) == 1:
        bench.sheet(started[0].trial).save(path)
        return
    sitting = bench.folder.sitting([override_stops(each.batch, despite) for each in started])
    trial = started[0].trial
    bench.sheet(override_sitting_stops(sitting, despite), on=trial.made, who=trial.who).save(path)


def _say_paragraph(text: str) -> None:
    from formulary.text_table import paragraph

    say("\n" + "\n".join(paragraph(text, width=width())))


def _say_started(bench: Bench, trials: Sequence[Trial], *, is_sitting_said: bool) -> None:
    """Where the trials are, and with which others they share a sitting."""
    from trials.pours.sentences import say_list
    from trials.record.starting import find_beside
    from trials.trial.identity import code_of, trial_folder

    for trial in trials:
        say(f"\nTrial {trial.id} is started and saved:")
        place = trial_folder(trial.id)
        say(f"  {place}/planned.yaml  its plan, frozen\n  {place}/trial.yaml    to fill in")
    ids = {trial.id for trial in trials}
    beside = [code_of(each.id) for each in find_beside(bench, trials[0]) if each.id not in ids]
    if beside and not is_sitting_said:
        known = f"In the sitting {trials[0].sitting}, as {say_list(beside)}"
        _say_paragraph(f"{known}: --whole-sitting records for all of them. --sitting NAME begins another.")
    codes = [code_of(trial.id) for trial in trials]
    follows = "fill in trial.yaml in an editor as it happens, then formulary check"
    if len(trials) > 1:
        follows += f'; or formulary trial event {codes[0]} "lye in" --whole-sitting as it goes in'
    say_next(f"{follows}; formulary trial show {codes[0]}")


def _say_lots(trials: Sequence[Trial]) -> None:
    """The lots that trials start with, and those by whose certificate nothing could be weighed."""
    from formulary.materials.plain_name import material_words
    from formulary.text_table import paragraph
    from trials.lots.lot_values import describe_lot_values

    named = {(name, use.lot): trial for trial in trials for name, uses in trial.lots.items() for use in uses}
    if not named:
        return
    of_material: dict[str, list[str]] = {}
    for name, lot in named:
        of_material.setdefault(name, []).append(lot)
    said = (f"{material_words(name)} {' and '.join(lots)}" for name, lots in of_material.items())
    _say_paragraph(f"Lots: {', '.join(said)}.")
    for (name, lot), trial in named.items():
        unknown = describe_lot_values(trial, trial, name, [lot])
        if unknown:
            say("\n".join(paragraph(f"{lot}: {unknown}", width=width(), indent=2)))


def _match_mould(size: Size, mould: str | None, settings: Settings) -> tuple[Size, str | None]:
    """A size and the mould that is poured into: either tells the other where it alone was said."""
    from formulary.batch.size import is_mould

    if mould is None and size.mould in settings.moulds:
        return size, size.mould
    if mould is not None and not size.is_said and is_mould(mould, settings):
        return replace(size, mould=mould), mould
    return size, mould


def _read_size(typed: str) -> str:
    from formulary.batch.size import parse_size_g

    parse_size_g(typed)
    return typed.strip()


def _read_temperature(typed: str) -> str:
    from formulary.errors import InputError
    from formulary.quantity import Kind, NotAQuantity, parse_quantity

    try:
        return str(parse_quantity(typed, Kind.TEMPERATURE))
    except NotAQuantity as problem:
        raise InputError.of("bad-value", problem.what, problem.do) from None


def _say_unsaved(folder: Folder, version: Version) -> str:
    """That the recipe's unsaved change is saved with the trial, and what it is."""
    change = folder.unsaved_change(version)
    was_saved = f"recipes/{version.slug}.yaml" in folder.store.tip_blobs("recipes/")
    head = "The recipe's unsaved change is saved with it" if was_saved else "The recipe is new, and is saved with it"
    return f"{head}: {change.sentence}" if change is not None else f"{head}."
