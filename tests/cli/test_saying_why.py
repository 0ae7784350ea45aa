"""A save that was not told why proposes the change in words; nothing is saved that was not shown, nor before a word."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from formulary.errors import ChangedError, InputError
from formulary.folder.folder import open_folder
from tests.cli.conftest import BASE, Run
from tests.cli.test_asking import ask
from tests.cli.test_circumstances_of_a_folder import git

PATH = "recipes/harbour-base.yaml"


@pytest.fixture
def edited(home: Path) -> Path:
    (home / PATH).write_text(BASE.replace("superfat: 5", "superfat: 6"), encoding="utf-8")
    return home


def saved_why(folder: Path) -> str:
    return git(folder, "log", "-1", "--format=%s").strip()


@pytest.mark.parametrize(("typed", "why"), [("\n", ""), ("milder for children\n", "milder for children")])
def test_at_a_terminal_the_change_is_shown_and_a_reason_proposed(edited: Path, typed: str, why: str) -> None:
    status, shown = ask(edited, typed, "save")
    assert status == 0, shown
    assert shown.index("sodium hydroxide falls by") < shown.index("Why, in a few words?")
    assert saved_why(edited) == (why or "harbour-base: the superfat rose from 5 to 6 %")
    assert saved_why(edited) in " ".join(shown.split())
    assert "sodium hydroxide falls" in git(edited, "log", "-1", "--format=%b")


def test_leaving_the_question_saves_nothing(edited: Path) -> None:
    before = git(edited, "rev-parse", "HEAD")
    status, _ = ask(edited, "\x04", "save")
    assert status == 130
    assert git(edited, "rev-parse", "HEAD") == before


def test_where_nobody_sits_the_line_to_type_is_told_and_works(formulary: Run, edited: Path) -> None:
    before = git(edited, "rev-parse", "HEAD")
    refused = formulary("save", "harbour-base")
    assert refused.status == 2
    assert git(edited, "rev-parse", "HEAD") == before
    program, *arguments = shlex.split(refused.err.partition("type for example: ")[2])
    assert program == "formulary"
    assert formulary(*arguments).status == 0
    assert saved_why(edited) == "harbour-base: the superfat rose from 5 to 6 %"


@pytest.mark.usefixtures("home")
def test_where_nothing_changed_nobody_is_asked_why(formulary: Run) -> None:
    refused = formulary("save")
    assert refused.status == 2
    assert "nothing has changed" in refused.err


def test_what_was_shown_is_saved_and_a_later_edit_stays_unsaved(edited: Path) -> None:
    shown = (edited / PATH).read_bytes()
    with open_folder(edited) as folder:
        prepared = folder.prepare_save()
        (edited / PATH).write_text(BASE.replace("superfat: 5", "superfat: 8"), encoding="utf-8")
        report = folder.save_prepared(prepared, why="milder")
        assert "from 5 to 6 %" in report.message
        assert folder.find_version("harbour-base@latest").text.encode() == shown
        assert [each.path for each in folder.status().unsaved] == [PATH]
        assert "superfat: 8" in (edited / PATH).read_text(encoding="utf-8")
    assert git(edited, "status", "--short").split() == ["M", PATH]


def test_what_somebody_else_saved_meanwhile_is_not_overwritten(formulary: Run, edited: Path) -> None:
    with open_folder(edited) as folder:
        prepared = folder.prepare_save()
        (edited / PATH).write_text(BASE.replace("superfat: 5", "superfat: 8"), encoding="utf-8")
        assert formulary("save", "-m", "eight").status == 0
        with pytest.raises(ChangedError):
            folder.save_prepared(prepared, why="milder")
    assert saved_why(edited) == "eight"


def test_a_new_recipe_is_told_by_what_is_in_it_and_a_comment_as_one(formulary: Run, home: Path) -> None:
    (home / "recipes/quay.yaml").write_text(BASE, encoding="utf-8")
    (home / PATH).write_text(f"{BASE}# a comment\n", encoding="utf-8")
    told = formulary("status").out
    assert "only its layout or comments" in told
    saved = " ".join(formulary("save", "-m", "the quay bar").out.split())
    assert "quay: a new recipe, of olive oil 53 %, coconut oil 25 %, rice bran oil 22 %; superfat 5 %." in saved
    assert f"also: {PATH}: only its layout or comments" in saved
    assert saved.count("recipes/quay.yaml") == 1


def test_a_version_whose_file_was_changed_is_refused_with_what_differs(edited: Path) -> None:
    with open_folder(edited) as folder:
        with pytest.raises(InputError) as fault:
            folder.save(folder.find_version("harbour-base@latest"), why="back")
        (finding,) = fault.value.findings
        assert "the superfat rose from 5 to 6 %" in finding.what
        assert finding.place.path == PATH
        assert folder.save(folder.find_version("harbour-base"), why="as it is").is_saved


def test_after_a_save_of_records_alone_what_follows_is_about_them(formulary: Run, home: Path) -> None:
    for _ in range(2):
        assert formulary("trial", "start", "harbour-base", "--oils", "1000g").status == 0
    paths = sorted(home.glob("trials/*/*/trial.yaml"))
    paths[0].write_text(f"{paths[0].read_text(encoding='utf-8')}# by hand\n", encoding="utf-8")
    code = paths[0].parent.name[-4:]
    saved = formulary("save", "-m", "what happened").out
    assert f"formulary trial show {code}" in " ".join(saved.split())
    for path in paths:
        path.write_text(f"{path.read_text(encoding='utf-8')}# again\n", encoding="utf-8")
    saved = formulary("save", "-m", "the day after").out
    assert "formulary trial list" in saved
    assert "RECIPE" not in saved
    for path in paths:
        assert saved.count(path.relative_to(home).as_posix()) <= 2
    assert saved.count(paths[1].relative_to(home).as_posix()) == 1


def test_a_save_of_many_recipes_says_of_each_what_changed_and_leaves_the_figures_to_its_message(
    formulary: Run, home: Path
) -> None:
    names = ("harbour-base", "quay", "mole")
    for name in names[1:]:
        (home / f"recipes/{name}.yaml").write_text(BASE, encoding="utf-8")
    assert formulary("save", "-m", "two more").status == 0
    for name, superfat in zip(names, ("7", "1.5", "-3"), strict=True):
        text = BASE.replace("superfat: 5", f"superfat: {superfat}")
        (home / f"recipes/{name}.yaml").write_text(text, encoding="utf-8")
    ran = formulary("save", "-m", "other superfats")
    said = " ".join(ran.out.split())
    assert ran.status == 1  # a stop stands against one of them
    for told in (
        "harbour-base: The superfat rose from 5 to 7 %",
        "warn: the effective superfat",
        "stop: the superfat is",
    ):
        assert told in said
    message = git(home, "log", "-1", "--format=%B")
    assert message.startswith("other superfats\n")
    assert message.count("  after   change\n") == 3
    assert "  after   change\n" not in ran.out
