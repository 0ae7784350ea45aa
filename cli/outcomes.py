"""`outcomes`: what can be observed."""

from __future__ import annotations

import click

from cli.options import folder_option, json_option, open_chosen
from cli.output import say, say_json, width


@click.command()
@click.argument("name", required=False)
@json_option
@folder_option
def outcomes(name: str | None, as_json: bool) -> None:
    """What trials are compared on: unit, direction, ages; with NAME how to measure it."""
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
