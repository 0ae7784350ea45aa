"""`trial`: start a trial, show one, list them."""

from __future__ import annotations

import click

from cli.options import SentenceGroup, all_option, folder_option, json_option, lots_option, open_chosen
from cli.output import say, say_json, say_next, tell_findings, width
from cli.trial_entries import ENTRY_COMMANDS


@click.group(cls=SentenceGroup)
def trial() -> None:
    """A batch as it was really made, and what happened to it.

    TRIAL is a trial's id, a beginning of it that only one has, or its last four characters.
    """


@trial.command()
@click.argument("recipe", metavar="RECIPE[@VERSION]")
@click.option("--oils", metavar="WEIGHT", help="The size by its oils: 1000g.")
@click.option("--total", metavar="WEIGHT", help="The size by all the batter: 1500g.")
@click.option("--sitting", metavar="NAME", help="Trials of one sitting share oils, jug and room; today's unless given.")
@click.option("--room", metavar="TEMPERATURE", help="How warm the room is: 19C.")
@click.option("--mould", metavar="NAME", help="The mould it is poured into.")
@click.option("--who", metavar="NAME", help="Who makes it.")
@click.option("--despite", metavar="CODE", multiple=True, help="Start in spite of a stop, by its code (repeatable).")
@lots_option
@folder_option
def start(
    recipe: str,
    oils: str | None,
    total: str | None,
    sitting: str | None,
    room: str | None,
    mould: str | None,
    who: str | None,
    despite: tuple[str, ...],
    lots: tuple[str, ...],
) -> None:
    """Start a trial: freeze its plan, save it, and print what to weigh. A recipe with a stop is refused."""
    from formulary.batch.weigh_out_text import render_batch
    from formulary.folder import override_stops
    from formulary.materials.chosen_lots import one_lot_each, parse_chosen_lots
    from trials.bench import open_bench
    from trials.identity import code_of, trial_folder

    conditions = {key: text for key, text in (("room", room), ("mould", mould)) if text is not None}
    with open_chosen() as folder:
        bench = open_bench(folder)
        version = folder.find_version(recipe)
        started = bench.start(
            version,
            oils=oils,
            total=total,
            sitting=sitting,
            lots=one_lot_each(parse_chosen_lots(lots)),
            conditions=conditions,
            who=who,
            despite=despite,
        )
        planned = folder.batch(
            version, oils=oils, total=total, lots={name: {lot: None} for name, lot in started.plan.lots.items()}
        )
        say(render_batch(override_stops(planned, despite), width=width()))
        place = trial_folder(started.id)
        tell_findings(folder.store.remarks)
    say(f"\nTrial {started.id} is started and saved:")
    say(f"  {place}/planned.yaml  its plan, frozen\n  {place}/trial.yaml    to fill in")
    code = code_of(started.id)
    say_next(f"fill in trial.yaml in an editor as it happens, then formulary check; formulary trial show {code}")


@trial.command()
@click.argument("wanted", metavar="TRIAL")
@all_option
@json_option
@folder_option
def show(wanted: str, show_all: bool, as_json: bool) -> None:
    """One trial: what was planned, what was really in the pot, what happened, what was observed."""
    from trials.bench import open_bench
    from trials.trial_text import render_trial, trial_json

    with open_chosen() as folder:
        bench = open_bench(folder)
        found = bench.find_trial(wanted)
        findings = bench.check_trial(found)
        if as_json:
            say_json(trial_json(found, findings, bench.outcomes))
        else:
            say(render_trial(found, findings, bench.outcomes, width=width(), show_all=show_all))


@trial.command()
@click.argument("wanted", metavar="TRIAL")
@json_option
@folder_option
def recalculate(wanted: str, as_json: bool) -> None:
    """A trial's figures by today's register beside the frozen ones; nothing is changed."""
    from trials.bench import open_bench
    from trials.recalculate import render_recalculation

    with open_chosen() as folder:
        bench = open_bench(folder)
        found = bench.recalculate(bench.find_trial(wanted))
    if as_json:
        say_json(found.to_json())
    else:
        say(render_recalculation(found, width=width()))


@trial.command("list")
@click.argument("recipes", metavar="[RECIPE]...", nargs=-1)
@json_option
@folder_option
def list_trials(recipes: tuple[str, ...], as_json: bool) -> None:
    """The trials, by date; of some recipes and their variants, when they are named."""
    from trials.bench import open_bench
    from trials.trial_text import render_trials, trial_row

    with open_chosen() as folder:
        bench = open_bench(folder)
        found = bench.trials(recipes)
        if as_json:
            say_json([trial_row(each, bench.outcomes) for each in found])
        else:
            say(render_trials(found, bench.outcomes, width=width()))


for _entry in ENTRY_COMMANDS:
    trial.add_command(_entry)
