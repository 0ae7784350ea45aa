"""The stops that stand against trials whose files a command has just written, told at once."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING

from cli.output import DONE, STOPPED, finding_text, say

if TYPE_CHECKING:
    from formulary.folder import Folder


def say_stops(folder: Folder, paths: Iterable[str]) -> int:
    """Tell the stops against the trials that some files belong to; returns the exit status."""
    written = [path for path in paths if path.startswith("trials/")]
    if not written:
        return DONE
    from trials.bench import open_bench

    found = open_bench(folder).find_stops(written)
    for finding in found:
        say(finding_text(finding, sys.stdout))
    return STOPPED if found else DONE
