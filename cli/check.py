"""`check`: every file, all findings."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING

import click

from cli.options import folder_option, json_option, open_workshop
from cli.output import DONE, STOPPED, WRONG_INPUT, finding_text, progress, say, say_json, tell_findings, width

if TYPE_CHECKING:
    from formulary.finding import Place


@click.command()
@click.argument("named", metavar="[RECIPE|FILE]...", nargs=-1)
@json_option
@folder_option
def check(named: tuple[str, ...], as_json: bool) -> int:
    """Read every file, or the recipes named, and tell everything that is wrong or worth knowing.

    FILE is the path of a recipe's file, which needs no formulary.
    The most urgent first; what is said of several alike stands once, with all of them. Errors go to stderr, the rest to
    stdout; --json has each at its own place. Exit status 2 when a file has an error, 1 when a stop stands.
    """
    from formulary.finding import Severity, count_findings, group_alike, has_errors, in_file_order, stops
    from formulary.folder.folder import Folder
    from formulary.text_table import paragraph
    from trials.bench import open_bench

    with open_workshop(*named) as workshop, progress("reading the files"):
        recipes: tuple[str, ...] = named
        trials: tuple[str, ...] = ()
        findings = tuple(dict.fromkeys(finding for name in named for finding in workshop.check_recipe(name)))
        if not named and isinstance(workshop, Folder):
            bench = open_bench(workshop)
            recipes, trials = workshop.recipes(), bench.trial_ids()
            findings = in_file_order([*workshop.check(), *bench.check()])
    if as_json:
        say_json(
            {
                "recipes": list(recipes),
                "trials": list(trials),
                "findings": [finding.to_json() for finding in findings],
            }
        )
    else:
        checked = f"{len(recipes)} recipe{'' if len(recipes) == 1 else 's'}"
        checked += f" and {len(trials)} trial{'' if len(trials) == 1 else 's'}" if trials else ""
        say("\n".join(paragraph(f"{checked} checked: {count_findings(findings)}.", width=width())))
        for finding, others in group_alike(findings):
            if finding.severity is Severity.ERROR:
                tell_findings([finding])
            else:
                say(finding_text(finding, sys.stdout))
            if others:
                say(_also(others))
    return WRONG_INPUT if has_errors(findings) else STOPPED if stops(findings) else DONE


def _also(places: Iterable[Place]) -> str:
    """Where else the same is to be said, by the names that commands take."""
    from formulary.text_table import paragraph

    said = ", ".join(dict.fromkeys(map(_name, places)))
    return "\n".join(paragraph(f"the same: {said}", width=width(), indent=4))


def _name(place: Place) -> str:
    parts = (place.path or "").removesuffix(".yaml").split("/")
    if parts[0] != "trials" or len(parts) < 4:
        return parts[-1]
    from trials.trial.identity import code_of

    return code_of(parts[2])
