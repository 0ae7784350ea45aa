"""`save`: one commit of what changed."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

import click

from cli.options import folder_option, open_chosen
from cli.output import STOPPED, is_asked, progress, say, say_next, width
from cli.stops import say_deleted, say_stops

if TYPE_CHECKING:
    from formulary.folder.folder import Folder
    from formulary.folder.saving import PreparedSave, SaveReport


_FIGURES = "Its message in the history has the figures of each."


@click.command()
@click.argument("recipes", metavar="[RECIPE]...", nargs=-1)
@click.option("-m", "--why", "why", metavar="WHY", help="Why, in a few words; asked for at a terminal where not said.")
@folder_option
def save(recipes: tuple[str, ...], why: str | None) -> int:
    """Save every changed file of the formulary, or the recipes named, as one commit with the change in words.

    Every file below recipes/, materials/ and trials/ goes in, photos too; `status` lists them first. A file with a
    fault, or over 64 MB, stops the whole save; recipes named are saved without the others, with the materials of
    yours that they use.

    Without -m, a terminal shows what would be saved and asks why, with a proposal to take; nothing is saved before.
    Exit status 1 when it is saved, and a stop stands against a recipe or a trial among the files, or against a recipe
    that holds a material among them.
    """
    from formulary.folder.saving import describe_size, say_unchanged
    from formulary.text_table import paragraph
    from trials.bench import open_bench

    with open_chosen() as folder:
        with progress("looking at what changed"):
            prepared = folder.prepare_save(recipes, check=open_bench(folder).check_files)
        told = why if why is not None else _ask_why(folder, prepared, recipes)
        with progress("saving"):
            report = folder.save_prepared(prepared, why=told)
        say(_saved(report) if why is not None else "Saved.")
        if report.unchanged:
            say("\n" + "\n".join(paragraph(f"{say_unchanged(report.unchanged)}.", width=width())))
        if report.beside_bytes:
            files = f"{len(report.beside_bytes)} file{'s' if len(report.beside_bytes) > 1 else ''}"
            size = describe_size(sum(report.beside_bytes.values()))
            say(f"\nPhotos and the like among them: {files}, {size}, in the history from now on.")
        if why is not None:
            say("")
            _say_indented(f"{told}\n\n{prepared.in_short}\n\n{_FIGURES}" if _is_long(prepared) else report.message)
        follows = _what_next(folder, report)
        say("")
        shown = {f"recipes/{slug}.yaml" for slug, _ in prepared.changes}  # with their stops
        status = say_stops(folder, report.paths, told=shown)
    say_next(follows)
    return STOPPED if any(changes.stops for _, changes in prepared.changes) else status


def _is_long(prepared: PreparedSave) -> bool:
    """Whether the figures of every recipe would bury what is said of each."""
    return len(prepared.changes) > 2


def _say_indented(text: str) -> None:
    say("\n".join(f"  {line}".rstrip() for line in text.rstrip().splitlines()))


def _ask_why(folder: Folder, prepared: PreparedSave, recipes: tuple[str, ...]) -> str:
    """The reason, from the person at the terminal. Raises InputError, with a line to type, where nobody sits."""
    proposed = prepared.proposed_why
    if not is_asked():
        from formulary.errors import InputError

        do = f"type for example: {shlex.join(['formulary', 'save', *recipes, '-m', proposed])}"
        raise InputError.of("why-missing", "a save says why, and nobody is at the terminal to be asked", do)
    from cli.asking import ask_if_known

    say("To be saved:\n")
    _say_indented(prepared.in_short if _is_long(prepared) else prepared.change_in_words)
    say("")
    say_deleted(folder, prepared.files)
    return ask_if_known(f"Why, in a few words? Enter takes: {proposed}", str.strip) or proposed


def _saved(report: SaveReport) -> str:
    """Which files; of those that the message lists by their paths only how many."""
    listed = [path for path in report.paths if _slug(path) in report.recipes] or list(report.paths)[:1]
    more = len(report.paths) - len(listed)
    return f"Saved {', '.join(listed)}{f' and {more} more' if more else ''}."


def _slug(path: str) -> str | None:
    return path.removeprefix("recipes/").removesuffix(".yaml") if path.startswith("recipes/") else None


def _what_next(folder: Folder, report: SaveReport) -> str:
    from formulary.finding import stops

    names = [slug for slug in map(_slug, report.paths) if slug is not None]
    saved = [name for name in names if name in folder.recipes()]
    for name in saved:
        if count := len(folder.find_version(name).recipe.conflicts):
            left = "conflict" if count == 1 else f"{count} conflicts"
            return f"formulary update {name} shows the {left} left open and how to settle with --settle"
    if saved and stops(folder.check_recipe(saved[0])):
        return f"settle what stops recipes/{saved[0]}.yaml; formulary check {saved[0]} tells what is left"
    if saved:
        return f"formulary batch {saved[0]} --oils 1000g shows what to weigh; formulary history {saved[0]} its versions"
    if names:
        return f"formulary history {names[0]} still tells its versions; formulary restore brings one back"
    kept = [path for path in report.paths if (folder.root / path).exists()]
    if not kept:
        gone = list(dict.fromkeys(path.split("/")[2] for path in report.paths if path.count("/") == 3))
        back = f"formulary restore {gone[0]}" if len(gone) == 1 else "formulary undo"
        return f"{back} brings back what was deleted"
    trials = list(dict.fromkeys(path.split("/")[2] for path in kept if path.count("/") == 3))
    if len(trials) == 1:
        from trials.trial.identity import code_of

        return f"formulary trial show {code_of(trials[0])} shows what was recorded; formulary due what to look at next"
    if trials:
        return "formulary trial list shows the trials; formulary due what to look at next"
    materials = [path for path in kept if path.startswith("materials/")]
    if materials:
        name = materials[0].removeprefix("materials/").removesuffix(".yaml")
        return f"formulary materials show {name} shows what is known of it; formulary check what it changes"
    return "formulary check tells whether all is well with it"
