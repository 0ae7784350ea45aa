"""`restore`, `undo`, `redo`, `name`, `rename` and `status`: going back, another name, and how the formulary stands."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from cli.options import RecipeArgument, folder_option, json_option, open_chosen
from cli.output import DONE, STOPPED, WRONG_INPUT, finding_text, progress, say, say_json, say_next, width
from cli.stops import say_deleted, say_stops

if TYPE_CHECKING:
    from formulary.finding import Finding
    from formulary.folder.folder import Folder
    from formulary.folder.saving import SaveReport


@click.command()
@click.argument("version", metavar="RECIPE@VERSION | TRIAL")
@click.option("-m", "--why", "why", metavar="WHY", help="Why, in a few words.")
@click.option("--discard", is_flag=True, help="Throw away changes of the file that were not saved.")
@folder_option
def restore(version: str, why: str | None, discard: bool) -> int:
    """Bring a version of a recipe back, as a new save; a deleted file comes back too.

    RECIPE@latest with --discard throws away what was changed since the last save. TRIAL puts the record and the plan of
    a trial back as they were saved, also of a deleted one; with --discard also where they were changed since.
    """
    from trials.bench import open_bench

    with open_chosen() as folder:
        if _names_a_trial(folder, version):
            restored_files = open_bench(folder).restore(version, discard=discard)
            for path in restored_files:
                say(f"{path} is again as it was saved.")
            status = say_stops(folder, restored_files)
            say_next("formulary check tells whether all is well with it; formulary status what is not saved")
            return status
        before = folder.store.tip
        restored = folder.restore(version, why=why, discard=discard)
        is_saved_anew = folder.store.tip != before  # else its file alone went back
        say(f"{restored.slug} is again what {restored.name} was{', and saved' if is_saved_anew else ''}.")
        status = say_stops(folder, [f"recipes/{restored.slug}.yaml"])
    shows = "shows the return" if is_saved_anew else "tells its versions"
    say_next(f"formulary history {restored.slug} {shows}")
    return status


def _names_a_trial(folder: Folder, wanted: str) -> bool:
    """Whether a trial is meant: what is no recipe's name, here or in the last save, and fits a trial saved once."""
    from formulary.errors import InputError
    from trials.bench import open_bench
    from trials.record.returning import find_saved_trial

    if "@" in wanted or wanted in folder.recipes() or f"recipes/{wanted}.yaml" in folder.store.tip_blobs("recipes/"):
        return False
    try:
        find_saved_trial(open_bench(folder), wanted)
    except InputError as fault:
        return any(finding.code == "ambiguous-trial" for finding in fault.findings)
    return True


@click.command()
@folder_option
def undo() -> int:
    """Undo the last save, as a new save; again goes one step further back.

    What was undone is kept in history, and `redo` brings it back, until something else is saved.
    """
    with open_chosen() as folder:
        status = _say_report(folder, folder.undo())
    say_next("formulary undo once more goes one step further back; formulary redo brings this back")
    return status


@click.command()
@folder_option
def redo() -> int:
    """Bring back what the last undo took away, as a new save; again brings back the undo before it.

    Only while nothing else was saved since.
    """
    with open_chosen() as folder:
        status = _say_report(folder, folder.redo())
    say_next("formulary undo takes it away again; formulary history RECIPE shows the way")
    return status


def _say_report(folder: Folder, report: SaveReport) -> int:
    gone = {path for path in report.paths if not (folder.root / path).exists()}
    say("\n".join([report.message, *(f"  {path}{'  removed' if path in gone else ''}" for path in report.paths)]))
    return say_stops(folder, report.paths)


@click.command()
@click.argument("version", cls=RecipeArgument, metavar="RECIPE[@VERSION]")
@click.argument("lasting", metavar="NAME")
@folder_option
def name(version: str, lasting: str) -> None:
    """Give a saved version a lasting name, such as shop-2026; RECIPE@shop-2026 finds it from then on."""
    with open_chosen() as folder:
        named = folder.name_version(version, lasting)
    say(f"{named.name} is called {lasting} now.")
    say_next(f"formulary show {named.slug}@{lasting}")


@click.command()
@click.argument("before", metavar="OLD")
@click.argument("after", metavar="NEW")
@click.option("--name", "called", metavar="NAME", help='What people call it: "Winter spice".')
@folder_option
def rename(before: str, after: str, called: str | None) -> None:
    """Give a recipe another name; its history and its trials stay with it.

    What people call it, its `name:`, follows where it only said OLD; --name says another.
    """
    from formulary.text_table import paragraph

    with open_chosen() as folder:
        was_called = folder.find_version(before).recipe.name
        renamed = folder.rename(before, after, name=called)
    say(f"{before} is {renamed.slug} now, and saved.")
    name = renamed.recipe.name
    if name != was_called:
        told = f"People call it {name} now; it was {was_called}."
    else:
        told = f"People still call it {name}: the line `name:` of recipes/{renamed.slug}.yaml says so."
    say("\n".join(paragraph(told, width=width())))
    say_next(f"formulary history {renamed.slug} shows its saves under both names")


@click.command()
@json_option
@folder_option
def status(as_json: bool) -> int:
    """What is not saved yet, in words, and what is wrong in the files."""

    def check_files(paths: tuple[str, ...]) -> tuple[Finding, ...]:
        from trials.bench import open_bench

        return open_bench(folder).check_files(paths)

    with open_chosen() as folder, progress("looking for what changed"):
        found = folder.status(check=check_files)
    if as_json:
        say_json(found.to_json())
    else:
        say(found.render(width=width()))
        for finding in found.findings:
            say(finding_text(finding, sys.stdout))
        say_deleted(folder, [file.path for file in found.unsaved])
    severities = {finding.severity.value for finding in found.findings}
    return WRONG_INPUT if "error" in severities else STOPPED if "stop" in severities else DONE
