"""What stands against recipes and trials whose files a command has just written, told at once."""

from __future__ import annotations

import sys
from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING

from cli.output import DONE, STOPPED, finding_text, say

if TYPE_CHECKING:
    from formulary.folder.folder import Folder


def say_stops(folder: Folder, paths: Iterable[str], *, told: Collection[str] = ()) -> int:
    """Tell the stops against the recipes and trials that some files belong to, and against recipes that they change.

    So are loaves that were sold and whose files are gone, which stops nothing. told: the files of recipes whose stops
    were told already. Returns the exit status.
    """
    written = tuple(paths)
    found = [finding for finding in folder.find_stops(written) if finding.place.path not in told]
    if _are_of_trials(written):
        from trials.bench import open_bench

        found += open_bench(folder).find_stops(written)
    for finding in found:
        say(finding_text(finding, sys.stdout))
    say_deleted(folder, written)
    return STOPPED if found else DONE


def say_deleted(folder: Folder, paths: Collection[str]) -> None:
    """Tell the loaves that were sold, and that some files belong to, whose files are not here any more."""
    if _are_of_trials(paths):
        from trials.bench import open_bench
        from trials.files.deleted import check_deleted

        for finding in check_deleted(open_bench(folder), paths):
            say(finding_text(finding, sys.stdout))


def _are_of_trials(paths: Iterable[str]) -> bool:
    return any(path.startswith("trials/") for path in paths)
