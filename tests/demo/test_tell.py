"""The tour tells what was calculated, in lines that fit, and every command in it works when it is typed."""

from __future__ import annotations

import re
import shlex
from datetime import date
from pathlib import Path

import pytest

from cli.main import run
from formulary.text_table import text_width
from trials.demo.build import Demonstration
from trials.demo.tell import NEW_VARIANT, tell_demonstration, tell_tour

COMMAND = re.compile(r"^    \$ ((?:.*\\\n)*.*)", re.MULTILINE)


@pytest.fixture(scope="module")
def told(demonstration: Demonstration, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Demonstration]:
    """The whole tour at the usual width, and the folder after it."""
    import shutil
    from dataclasses import replace

    from trials.bench import open_bench

    root = tmp_path_factory.mktemp("tour") / "harbour soap"
    shutil.copytree(demonstration.folder.root, root)
    toured = replace(demonstration, bench=open_bench(root))
    return "\n\n".join(tell_tour(toured, shown_as="harbour soap")), toured


def _commands(text: str) -> list[list[str]]:
    return [shlex.split(match.group(1).replace("\\\n", " ")) for match in COMMAND.finditer(text)]


def test_no_line_is_wider_than_the_terminal(told: tuple[str, Demonstration], copy_of_it: Demonstration) -> None:
    narrow = "\n\n".join(tell_tour(copy_of_it, shown_as="harbour soap", width=60))
    for text, width in ((told[0], 80), (narrow, 60)):
        # A path cannot be broken without being no path any more.
        lines = [line for line in text.splitlines() if not line.startswith("    trials/")]
        assert [line for line in lines if text_width(line) > width] == []


def test_the_three_weekly_jobs_are_done_in_order(told: tuple[str, Demonstration]) -> None:
    words = [command[1] for command in _commands(told[0]) if command[0] == "formulary"]
    assert words[:8] == ["branch", "diff", "batch", "save", "diff", "compare", "explain", "explain"]


def test_every_command_that_is_told_works_when_it_is_typed(
    told: tuple[str, Demonstration], copy_of_it: Demonstration, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(copy_of_it.folder.root)
    tried = [command for command in _commands(told[0]) if command[0] == "formulary"]
    assert len(tried) >= 10
    for command in tried:
        assert run(command[1:]) == 0, command


def test_the_files_that_are_told_of_are_there(told: tuple[str, Demonstration]) -> None:
    text, toured = told
    paths = re.findall(r"^    ((?:recipes|trials)/\S+)$", text, re.MULTILINE)
    assert len(paths) >= 3
    assert all((toured.folder.root / path).is_file() for path in paths)


def test_the_tour_leaves_nothing_unsaved_and_the_new_variant_in_the_folder(told: tuple[str, Demonstration]) -> None:
    folder = told[1].folder
    assert folder.changed_paths() == ()
    assert len(folder.history(NEW_VARIANT)) == 1


def test_what_was_put_in_is_told_after_what_was_found(told: tuple[str, Demonstration]) -> None:
    text = told[0]
    truth = told[1].truth
    found, put_in = text.index("explain 'working time'"), text.index("What had been put in")
    assert found < put_in
    assert "clove bud oil" in text[found:put_in]
    assert f"{truth.usual_minutes:g} min to work in" in text[put_in:].replace("\n", " ")
    assert "0.47" in text[put_in:]  # e to the power of -0.75


def test_the_pair_that_always_came_together_is_told_as_a_pair(told: tuple[str, Demonstration]) -> None:
    heat = told[0].partition("explain 'peak temperature'")[2]
    assert re.search(r"honey\s+(or|with)\s+oat\s+milk", heat.lower())


def test_it_says_first_that_all_of_it_is_invented(tmp_path: Path) -> None:
    blocks = tell_demonstration(tmp_path / "never built", today=date(2026, 11, 25))
    opening = next(blocks)
    assert "invented" in opening
    assert "Do not make soap by it" in opening.replace("\n", " ")
    assert not (tmp_path / "never built").exists()
