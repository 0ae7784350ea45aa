"""Options that several commands share, and the formulary that a command works on."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeVar

import click

from cli.output import tell_findings

if TYPE_CHECKING:
    from pathlib import Path

    from formulary.folder.folder import Folder
    from formulary.workshop.workshop import Workshop
    from trials.bench import Bench

_Command = TypeVar("_Command", bound=Callable[..., Any])
_CHOSEN = "formulary.folder"


class SentenceGroup(click.Group):
    """A group whose help shows the first sentence of each command, whole."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = []
        for name in self.list_commands(ctx):
            command = self.get_command(ctx, name)
            if command is not None:
                rows.append((name, " ".join((command.help or "").split("\n\n")[0].split())))
        with formatter.section("Commands"):
            formatter.write_dl(rows)


def _remember_folder(context: click.Context, _: click.Parameter, value: str | None) -> None:
    if value is not None:
        context.find_root().meta[_CHOSEN] = value


def folder_option(command: _Command) -> _Command:
    """`--folder DIR`: the formulary to work on, instead of the one that the current folder is in."""
    return click.option(
        "--folder",
        metavar="DIR",
        expose_value=False,
        callback=_remember_folder,
        help="The formulary's folder, when it is not the one you are in.",
    )(command)


json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON, for programs.")
table_option = click.option(
    "--as", "form", type=click.Choice(["csv", "jsonl", "md"]), help="Print it as a table for other programs."
)
RECIPE_OR_FILE = "RECIPE[@VERSION]|FILE"


_MOST_LISTED = 60


class RecipeArgument(click.Argument):
    """A recipe that has to be named; without one, those that there are stand in the place of a name."""

    def process_value(self, ctx: click.Context, value: object) -> object:
        try:
            return super().process_value(ctx, value)
        except click.MissingParameter as fault:
            from formulary.errors import FormularyError, InputError
            from formulary.history.versions import list_recipes

            try:
                with open_chosen() as folder:
                    here = list_recipes(folder.recipes(), _MOST_LISTED)
            except FormularyError:
                raise fault from None
            do = f"{here}; `{ctx.command_path} --help` shows how it is called"
            raise InputError.of("usage", f"no recipe is named: {self.make_metavar(ctx)}", do) from None


def as_one_name(_: click.Context, __: click.Parameter, words: tuple[str, ...]) -> str | None:
    """Words that nobody put into quotes as the one name that they are: `explain working time`."""
    return " ".join(words) if words else None


outcome_argument = click.argument("outcome", metavar="OUTCOME", nargs=-1, required=True, callback=as_one_name)
all_option = click.option("--all", "show_all", is_flag=True, help="Show what is left out as unchanged or minor, too.")


def lots_option(command: _Command) -> _Command:
    """`--lot material=LOT`, as often as needed."""
    return click.option(
        "--lot", "lots", metavar="MATERIAL=LOT", multiple=True, help="Use a lot's certificate values (repeatable)."
    )(command)


def sheet_option(command: _Command) -> _Command:
    """`--sheet FILE.html`: the sheet for the bench, beside what is printed."""
    from pathlib import Path

    return click.option(
        "--sheet",
        metavar="FILE.html",
        type=click.Path(path_type=Path),
        help="Write a sheet for the bench, too: to print, to tick and to write on.",
    )(command)


def find_root() -> Path:
    """The formulary's folder: as `--folder` says, else the nearest one upward that holds a `formulary.yaml`.

    Raises InputError when there is none.
    """
    from pathlib import Path

    from formulary.settings import SETTINGS_FILE

    chosen = click.get_current_context().find_root().meta.get(_CHOSEN)
    if chosen is not None:
        return Path(chosen)
    try:
        here = Path.cwd()
    except FileNotFoundError:
        here = Path("/")
    for folder in (here, *here.parents):
        if (folder / SETTINGS_FILE).is_file():
            return folder
    from formulary.errors import InputError

    what = f"there is no {SETTINGS_FILE} here or in a folder above, so this is no formulary"
    raise InputError.of("not-a-formulary", what, "go to the folder of yours, name it with --folder DIR, or `init` one")


def find_cache() -> Path | None:
    """This person's folder for what this program can work out again; None where the system has no such place."""
    from pathlib import Path

    try:
        home = Path.home()
    except RuntimeError:
        return None
    if sys.platform == "win32":
        usual, named = home / "AppData" / "Local", os.environ.get("LOCALAPPDATA", "")
    elif sys.platform == "darwin":
        usual, named = home / "Library" / "Caches", ""
    else:  # XDG Base Directory Specification
        usual, named = home / ".cache", os.environ.get("XDG_CACHE_HOME", "")
    place = Path(named) if named and Path(named).is_absolute() else usual
    return place / "soap-formulary"


@contextmanager
def open_chosen() -> Iterator[Folder]:
    """The formulary to work on, opened; what a save in it left to be known, such as that nobody signed it, is told."""
    from formulary.folder.folder import open_folder

    with open_folder(find_root(), cache=find_cache()) as folder:
        try:
            yield folder
        finally:
            tell_findings(folder.store.remarks)


@contextmanager
def open_workshop(*recipes: str) -> Iterator[Workshop]:
    """The formulary to work on; or, outside of any, what recipes' files by themselves are worked out by.

    recipes: as named on the command line. Raises InputError where one of them needs a formulary and there is none.
    """
    from formulary.errors import InputError
    from formulary.history.versions import is_recipe_file

    try:
        find_root()
    except InputError as fault:
        from dataclasses import replace

        if not recipes or not all(is_recipe_file(recipe) for recipe in recipes):
            more = "; or name a recipe's file by its path, ./recipe.yaml" if recipes else ""
            raise InputError(replace(finding, do=f"{finding.do}{more}") for finding in fault.findings) from None
        from formulary.workshop.recipe_file import RecipeFiles

        yield RecipeFiles()
        return
    with open_chosen() as folder:
        yield folder


@contextmanager
def open_chosen_bench() -> Iterator[Bench]:
    """The bench of the formulary to work on; which trials could not be read, and so are missing, is told."""
    from trials.bench import open_bench

    with open_chosen() as folder:
        bench = open_bench(folder)
        try:
            yield bench
        finally:
            tell_findings(bench.unread)
