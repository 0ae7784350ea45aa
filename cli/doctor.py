"""`doctor`: what ails the folder and the installation, and mending what can safely be mended."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click

from cli.options import folder_option, json_option, open_chosen
from cli.output import DONE, STORAGE, finding_text, is_asked, progress, say, say_json, tell_findings, width


@click.command()
@click.option("--mend", "do_mend", is_flag=True, help="Mend what can safely be mended, asking before each.")
@click.option("--yes", is_flag=True, help="With --mend: do not ask.")
@json_option
@folder_option
def doctor(do_mend: bool, yes: bool, as_json: bool) -> int:
    """What is wrong with the formulary's folder and with this installation; mends what it safely can, asking first.

    Exit status 3 while something is damaged, or a file holds an error, that only a person can mend.
    """
    import sys

    import cli
    import formulary
    import trials
    from formulary.text_table import paragraph
    from trials.bench import open_bench

    unmended = False
    places = tuple(str(Path(str(package.__file__)).parents[1]) for package in (cli, formulary, trials))
    with open_chosen() as folder:
        with progress("looking the folder over"):
            ailments = folder.examine(imported_from=places, check_trials=open_bench(folder).check)
        if as_json:
            found = [each.finding.to_json() | {"can_be_mended": each.mend is not None} for each in ailments]
            say_json({"findings": found})
        elif not ailments:
            say("\n".join(paragraph("Nothing is wrong with the folder or the installation.", width=width())))
        for each in () if as_json else ailments:
            say(finding_text(each.finding, sys.stdout))
            if each.mend is None:
                continue
            if do_mend and (yes or (is_asked() and click.confirm("    mend it now?"))):
                unmended = not _mend(each.mend) or unmended
            else:
                say("    formulary doctor --mend puts it right")
    grave = any(each.finding.severity.value == "error" for each in ailments)
    return STORAGE if grave or unmended else DONE


def _mend(mend: Callable[[], str]) -> bool:
    """Mends one thing and tells it; False where the disk or git refuses."""
    from formulary.errors import StorageError

    try:
        say(f"    mended: {mend()}")
    except StorageError as fault:
        say("    not mended, and why:")
        tell_findings(fault.findings)
        return False
    return True
