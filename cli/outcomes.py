"""`outcomes`: what can be observed."""

from __future__ import annotations

import click

from cli.options import as_one_name, folder_option, json_option, open_chosen
from cli.output import say, say_json, width


@click.command()
@click.argument("name", metavar="[NAME]", nargs=-1, callback=as_one_name)
@json_option
@folder_option
def outcomes(name: str | None, as_json: bool) -> None:
    """What trials are compared on: unit, direction, ages; with NAME how to measure it.

    Your own go into formulary.yaml, each with a scale: graded (its grades in order), yes-no, measured, percent, count
    or log time:

    \b
      outcomes:
        scent left:
          scale: graded
          grades: [none, some, much]
          ages: [28 d, 90 d]
          direction: higher
          how: smell the bar at arm's length, then close by

    Words of your own for events stand there too (events: {swirled: what it means}), and what `due` asks for when
    (follow_up: {hardness: [28 d]}).
    """
    from trials.bench import open_bench
    from trials.outcomes.known import find_outcome
    from trials.outcomes.text import render_outcome, render_outcomes

    with open_chosen() as folder:
        known = open_bench(folder).outcomes
    if name is not None:
        outcome, _ = find_outcome(name, known)
        say_json({"outcomes": [outcome.to_json()]}) if as_json else say(render_outcome(outcome, width=width()))
    elif as_json:
        say_json({"outcomes": [outcome.to_json() for outcome in known.values()]})
    else:
        say(render_outcomes(known, width=width()))
