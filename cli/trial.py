"""`trial`: start a trial, show one, list them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli.asking import ask, ask_if_known
from cli.options import (
    SentenceGroup,
    all_option,
    folder_option,
    json_option,
    lots_option,
    open_chosen,
    open_chosen_bench,
    parse_day,
    sheet_option,
    table_option,
)
from cli.output import DONE, STOPPED, is_asked, progress, say, say_json, say_next, tell_findings, width
from cli.pages import demand_page, tell_page
from cli.trial_entries import ENTRY_COMMANDS

if TYPE_CHECKING:
    from formulary.batch.size import Size
    from formulary.folder import Folder
    from formulary.recipes.version import Version
    from formulary.settings import Settings
    from trials.model import Trial


@click.group(cls=SentenceGroup)
def trial() -> None:
    """A batch as it was really made, and what happened to it.

    TRIAL is a trial's id, a beginning of it that only one has, or its last four characters. What is recorded is saved
    at once; exit status 1 says that it is, and that a stop stands against the loaf.
    """


@trial.command()
@click.argument("recipe", metavar="RECIPE[@VERSION]")
@click.option("--oils", metavar="WEIGHT", help="The size by its oils: 1000g.")
@click.option("--total", metavar="WEIGHT", help="The size by all the batter: 1500g.")
@click.option("--mould-size", metavar="INSIDE", help='The size by a mould, as filled: "25 x 8 x 7 cm", or by its name.')
@click.option("--bars", metavar="N", type=click.IntRange(1, 10_000), help="The size by bars, with --bar.")
@click.option("--bar", metavar="WEIGHT", help="What one bar weighs, as poured: 110g.")
@click.option("--cured", is_flag=True, help="--bar is the weight after the cure.")
@click.option("--sitting", metavar="NAME", help="Trials of one sitting share oils, jug and room; today's unless given.")
@click.option("--room", metavar="TEMPERATURE", help="How warm the room is: 19C.")
@click.option(
    "--mould",
    metavar="NAME|INSIDE",
    help="The mould it is poured into; by its inside or a name of the settings also the size, where none is said.",
)
@click.option("--who", metavar="NAME", help="Who makes it.")
@click.option("--made", metavar="DATE", help="The day it was made, such as 2026-10-03; today unless given.")
@click.option("--despite", metavar="CODE", multiple=True, help="Start in spite of a stop, by its code (repeatable).")
@lots_option
@sheet_option
@folder_option
def start(
    recipe: str,
    oils: str | None,
    total: str | None,
    mould_size: str | None,
    bars: int | None,
    bar: str | None,
    cured: bool,
    sitting: str | None,
    room: str | None,
    mould: str | None,
    who: str | None,
    made: str | None,
    despite: tuple[str, ...],
    lots: tuple[str, ...],
    sheet: Path | None,
) -> int:
    """Start a trial: freeze its plan, save it, and print what to weigh. A recipe with a stop is refused.

    Without a size it asks, on a terminal, for the weight of the oils, the room and the mould.
    """
    from formulary.batch.overriding import override_stops
    from formulary.batch.size import Size
    from formulary.batch.weigh_out_text import render_batch, render_findings
    from formulary.finding import stops
    from formulary.materials.chosen_lots import one_lot_each, parse_chosen_lots
    from formulary.text_table import paragraph
    from trials.bench import open_bench
    from trials.identity import code_of, trial_folder
    from trials.starting import start_trial

    demand_page(sheet)
    with open_chosen() as folder:
        version = folder.find_version(recipe)
        size = Size(oils=oils, total=total, mould=mould_size, bars=bars, bar=bar, cured=cured)
        size, mould = _match_mould(size, mould, folder.settings)
        if is_asked() and not size.is_said:
            size = replace(size, oils=ask("What do the oils weigh, such as 1000 g", _read_size))
            if room is None and sitting is None:
                room = ask_if_known("How warm is the room, such as 19 °C (Enter: not measured)", _read_temperature)
            if mould is None:
                mould = ask_if_known("Which mould is it poured into (Enter: not said)", str.strip)
        _demand_size(size, mould)
        bench = open_bench(folder)
        unsaved = None if version.is_saved else _say_unsaved(folder, version)
        started = start_trial(
            bench,
            version,
            size,
            sitting=sitting,
            lots=one_lot_each(parse_chosen_lots(lots)),
            conditions={key: text for key, text in (("room", room), ("mould", mould)) if text is not None},
            who=who,
            made=None if made is None else parse_day(made),
            despite=despite,
        )
        trial = started.trial
        say(render_batch(override_stops(started.batch, despite), width=width()))
        _say_lots(trial)
        said = {(each.code, each.what) for each in started.batch.findings}
        new = [each for each in bench.check_trial(trial) if (each.code, each.what) not in said]
        if new:
            say("\n".join(["", *render_findings(new, width=width())]))
        if unsaved is not None:
            say("\n" + "\n".join(paragraph(unsaved, width=width())))
        place, code = trial_folder(trial.id), code_of(trial.id)
        say(f"\nTrial {trial.id} is started and saved:")
        say(f"  {place}/planned.yaml  its plan, frozen\n  {place}/trial.yaml    to fill in")
        say_next(f"fill in trial.yaml in an editor as it happens, then formulary check; formulary trial show {code}")
        if sheet is not None:
            # Last: a disk that refuses the sheet must not hide that the trial is there.
            bench.sheet(trial).save(sheet)
            tell_page("The sheet to print", sheet)
    return STOPPED if stops(new) else DONE


def _say_lots(trial: Trial) -> None:
    """The lots that a trial starts with, and those by whose certificate nothing could be weighed."""
    from formulary.materials.plain_name import material_words
    from formulary.text_table import paragraph
    from trials.lot_values import describe_lot_values

    named = [(name, use.lot) for name, uses in trial.lots.items() for use in uses]
    if not named:
        return
    said = ", ".join(f"{material_words(name)} {lot}" for name, lot in named)
    say("\n" + "\n".join(paragraph(f"Lots: {said}.", width=width())))
    for name, lot in named:
        unknown = describe_lot_values(trial, trial, name, lot)
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


def _demand_size(size: Size, mould: str | None) -> None:
    if size.is_said:
        return
    from formulary.errors import InputError

    what = "a batch needs one size"
    if mould is not None:
        what += f", and {mould[:40]!r} is neither the inside of a mould nor one of the settings"
    do = 'say one: --oils 1000g, --total 1500g, --mould-size "25 x 8 x 7 cm", or --bars 12 --bar 110g'
    raise InputError.of("size", what, do)


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


@trial.command()
@click.argument("wanted", metavar="TRIAL")
@all_option
@json_option
@folder_option
def show(wanted: str, show_all: bool, as_json: bool) -> int:
    """One trial: what was planned, what was really in the pot, what happened, what was observed.

    Exit status 1 when a stop stands against the batch as it was made.
    """
    from datetime import date

    from formulary.finding import stops
    from trials.bench import open_bench
    from trials.trial_json import trial_json
    from trials.trial_text import render_trial

    with open_chosen() as folder:
        bench = open_bench(folder)
        found = bench.find_trial(wanted)
        today, register = date.today(), folder.register
        findings = bench.check_trial(found, today)
        if as_json:
            say_json(trial_json(found, findings, bench.outcomes, register=register, today=today))
        else:
            text = render_trial(
                found, findings, bench.outcomes, width=width(), show_all=show_all, register=register, today=today
            )
            say(text)
    return STOPPED if stops(findings) else DONE


@trial.command("sheet")
@click.argument("wanted", metavar="TRIAL")
@click.option(
    "-o",
    "--output",
    "target",
    metavar="FILE.html",
    type=click.Path(path_type=Path),
    help="TRIAL.html here, unless given.",
)
@folder_option
def write_sheet(wanted: str, target: Path | None) -> None:
    """A trial's sheet for the bench, to print: its planned weights, boxes to tick, and lines for what happens.

    What is recorded already is filled in. While a stop stands, there is no sheet and the exit status is 1.
    """
    with open_chosen_bench() as bench:
        found = bench.find_trial(wanted)
        path = target or Path(f"{found.id}.html")
        demand_page(path)
        bench.sheet(found).save(path)
    tell_page("The sheet to print", path)


@trial.command()
@click.argument("wanted", metavar="TRIAL")
@json_option
@folder_option
def recalculate(wanted: str, as_json: bool) -> int:
    """A trial's figures by today's register beside the frozen ones; nothing is changed.

    Exit status 1 when the loaf passes a limit, or is unsafe, by today's values only.
    """
    from formulary.finding import stops
    from trials.bench import open_bench
    from trials.recalculate import render_recalculation

    with open_chosen() as folder:
        bench = open_bench(folder)
        found = bench.recalculate(bench.find_trial(wanted))
    if as_json:
        say_json(found.to_json())
    else:
        say(render_recalculation(found, width=width()))
    return STOPPED if stops(found.appeared) else DONE


@trial.command("list")
@click.argument("recipes", metavar="[RECIPE]...", nargs=-1)
@click.option("--by", "outcome", metavar="OUTCOME", help="Every pour in the order of OUTCOME, the best first.")
@table_option
@json_option
@folder_option
def list_trials(recipes: tuple[str, ...], outcome: str | None, form: str | None, as_json: bool) -> int:
    """The trials, by the date they were made; of some recipes and their variants, when they are named.

    With --by the best pour on an outcome comes first, such as "hardness at 28 d", and those that may be as good, since
    repeats differ as much, have a star. Exit status 1 when something has come up against a loaf that is recorded as
    sold.
    """
    from formulary.data_table_formats import render_table
    from formulary.finding import stops
    from trials.ranking import render_ranking
    from trials.trial_text import render_trials, trials_json, trials_table

    with open_chosen_bench() as bench, progress("reading the trials"):
        found = bench.trials(recipes)
        ranked = None if outcome is None else bench.rank(outcome, recipes)
        unfit = bench.find_unfit_sales(found)
        against = [finding for findings in unfit.values() for finding in findings]
        if as_json:
            order = None if ranked is None else ranked.to_json()
            told: dict[str, object] | str = trials_json(found, bench.outcomes, bench.unread, order, unfit)
        elif form is not None:
            table = trials_table(found, bench.outcomes) if ranked is None else ranked.to_table()
            told = render_table(table, form).rstrip("\n")
        elif ranked is not None:
            told = render_ranking(ranked, width())
        else:
            told = render_trials(found, bench.outcomes, width=width(), unfit=unfit)
    if not as_json and (form is not None or ranked is not None):
        tell_findings(against)  # the list itself has no room for them
    say(told) if isinstance(told, str) else say_json(told)
    return STOPPED if stops(against) else DONE


for _entry in ENTRY_COMMANDS:
    trial.add_command(_entry)
