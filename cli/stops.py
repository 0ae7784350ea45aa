"""The stops that stand against recipes and trials whose files a command has just written, told at once."""

from __future__ import annotations

import sys
from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING

from cli.output import DONE, STOPPED, finding_text, say

if TYPE_CHECKING:
    from formulary.folder.folder import Folder


def say_stops(folder: Folder, paths: Iterable[str], *, told: Collection[str] = ()) -> int:
    """Tell the stops against the recipes and trials that some files belong to, and against recipes that they change.

    told: the files of recipes whose stops were told already. Returns the exit status.
    """
    written = tuple(paths)
    found = [finding for finding in folder.find_stops(written) if finding.place.path not in told]
    if any(path.startswith("trials/") for path in written):
        from trials.bench import open_bench

        found += open_bench(folder).find_stops(written)
    for finding in found:
        say(finding_text(finding, sys.stdout))
    return STOPPED if found else DONE
