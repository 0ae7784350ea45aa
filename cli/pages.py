"""Pages that are written to a file: their names, and what is said of them."""

from __future__ import annotations

from pathlib import Path

from cli.output import tell


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
