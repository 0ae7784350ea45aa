"""Pages that are written to a file: their names, and what is said of them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from cli.output import tell

_Command = TypeVar("_Command", bound=Callable[..., Any])


def page_option(where: str) -> Callable[[_Command], _Command]:
    """`-o FILE.html`: the file to write a page to. where: which file that is unless given, for the help."""
    kind = click.Path(path_type=Path)
    return click.option("-o", "--output", "target", metavar="FILE.html", type=kind, help=where)


def demand_page(path: Path | None) -> None:
    """Raises InputError, before anything is done, for a name that is no page's."""
    if path is not None:
        from trials.pages.page import demand_page_name

        demand_page_name(path)


def tell_page(what: str, path: Path) -> None:
    """Say that a page was written; on stderr, so that JSON stays JSON."""
    tell(f"{what} is in {path}.")


def tell_no_sheet(path: Path) -> None:
    """Say that a stop leaves no sheet, and that one which lies there is not of this weigh-out."""
    earlier = f"; {path} is from before: do not weigh by it" if path.exists() else ""
    tell(f"No sheet was written: nothing may be weighed out{earlier}.")
