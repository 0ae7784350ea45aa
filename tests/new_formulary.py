"""A new formulary, and what a person does to its files by hand, for tests of the folder as a whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from formulary.errors import FormularyError
from formulary.folder.folder import Folder
from formulary.folder.starting import init_folder
from formulary.recipes.tweaks import add, set_field, swap

FIRST = "recipes/first-bar.yaml"
CLOVE = "recipes/winter-clove.yaml"


def with_clove(root: Path) -> Folder:
    """The first bar and a variant: 8 % of olive oil became shea butter, clove came in, the superfat rose to 6 %."""
    made = init_folder(root)
    clove = made.branch(
        "first-bar@latest",
        "winter-clove",
        swap("8 %", "olive-oil", "shea-butter"),
        add("clove-bud-oil", "1.2 % of oils"),
        set_field("superfat", "6"),
    )
    made.save(clove, why="a clove bar")
    return made


def edit(folder: Folder, path: str, *changes: tuple[str, str]) -> None:
    """Texts in a file written over by hand; each must be there."""
    text = (folder.root / path).read_text(encoding="utf-8")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    (folder.root / path).write_text(text, encoding="utf-8")
    folder.refresh()


def codes(raised: pytest.ExceptionInfo[FormularyError]) -> list[str]:
    return [finding.code for finding in raised.value.findings]
