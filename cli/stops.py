"""The stops that stand against recipes and trials whose files a command has just written, told at once."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING

from cli.output import DONE, STOPPED, finding_text, say

if TYPE_CHECKING:
    from formulary.folder import Folder


def say_stops(folder: Folder, paths: Iterable[str]) -> int:
    """Tell the stops against the recipes and trials that some files belong to; returns the exit status."""
    from formulary.finding import stops

    written = tuple(paths)
    here = set(folder.recipes())
    slugs = [path.removeprefix("recipes/").removesuffix(".yaml") for path in written if path.startswith("recipes/")]
    found = [finding for slug in slugs if slug in here for finding in stops(folder.check_recipe(slug))]
    if any(path.startswith("trials/") for path in written):
        from trials.bench import open_bench

        found += open_bench(folder).find_stops(written)
    for finding in found:
        say(finding_text(finding, sys.stdout))
    return STOPPED if found else DONE
