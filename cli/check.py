"""`check`: every file, all findings."""

from __future__ import annotations

import sys

import click

from cli.options import folder_option, json_option, open_workshop
from cli.output import DONE, STOPPED, WRONG_INPUT, finding_text, progress, say, say_json, tell_findings


@click.command()
@click.argument("named", metavar="[RECIPE|FILE]...", nargs=-1)
@json_option
@folder_option
def check(named: tuple[str, ...], as_json: bool) -> int:
    """Read every file, or the recipes named, and tell everything that is wrong or worth knowing.

    FILE is the path of a recipe's file, which needs no formulary.
    Errors go to stderr, the rest to stdout. Exit status 2 when a file has an error, 1 when a stop stands.
    """
    from formulary.finding import Severity, count_findings, has_errors, in_file_order, stops
    from formulary.folder import Folder
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
        say(f"{checked} checked: {count_findings(findings)}.")
        for finding in findings:
            if finding.severity is Severity.ERROR:
                tell_findings([finding])
            else:
                say(finding_text(finding, sys.stdout))
    return WRONG_INPUT if has_errors(findings) else STOPPED if stops(findings) else DONE
