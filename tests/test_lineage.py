"""What a recipe says of where it comes from is held against what is there; an id is only ever an id."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from formulary import Folder, InputError, init_folder, set_field

FIRST = "recipes/first-bar.yaml"


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return init_folder(tmp_path / "soap")


def put(folder: Folder, slug: str, line: str) -> None:
    """A copy of the first recipe under another name, with one more line."""
    text = (folder.root / FIRST).read_text(encoding="utf-8")
    (folder.root / f"recipes/{slug}.yaml").write_text(f"{text}{line}\n", encoding="utf-8")
    folder.refresh()


def told(folder: Folder) -> list[tuple[str, str, str | None]]:
    codes = ("formerly-live", "based-on-itself", "parent-missing")
    found = [finding for finding in folder.check() if finding.code in codes]
    assert all(finding.place.line is not None for finding in found)
    return [(finding.severity.value, finding.code, finding.place.path) for finding in found]


@pytest.mark.parametrize("tag", ["4c1d", "beef0123", "0" * 39, "0" * 40])
def test_a_tag_or_branch_that_looks_like_an_id_is_never_taken_for_one(folder: Folder, tag: str) -> None:
    git = ["git", "-C", str(folder.root), "-c", "user.name=x", "-c", "user.email=x@example.org"]
    commit = subprocess.run([*git, "rev-parse", "HEAD"], capture_output=True, text=True, check=True).stdout.strip()
    subprocess.run([*git, "update-ref", f"refs/tags/{tag}", commit], check=True)
    subprocess.run([*git, "update-ref", f"refs/heads/{tag}", commit], check=True)
    folder.refresh()
    with pytest.raises(InputError) as raised:
        folder.find_version(f"first-bar@{tag}")
    assert [finding.code for finding in raised.value.findings] == ["no-version"]


def test_all_digits_of_a_commit_still_name_what_it_holds(folder: Folder) -> None:
    assert folder.store.tip is not None
    assert folder.find_version(f"first-bar@{folder.store.tip}").id == folder.find_version("first-bar").id


def test_a_variant_of_a_saved_version_and_a_renamed_recipe_are_sound(folder: Folder) -> None:
    folder.save(folder.branch("first-bar@latest", "second-bar", set_field("superfat", "7")), why="softer")
    put(folder, "third-bar", "formerly: [early-bar]")
    assert told(folder) == []


def test_a_parent_that_is_not_in_this_clone_is_a_note(folder: Folder) -> None:
    put(folder, "second-bar", f'based_on: {{recipe: nowhere, version: "{"ab" * 20}"}}')
    assert told(folder) == [("note", "parent-missing", "recipes/second-bar.yaml")]


def test_a_recipe_based_on_itself_is_an_error(folder: Folder) -> None:
    own = folder.find_version("first-bar").id
    put(folder, "second-bar", f'based_on: {{recipe: second-bar, version: "{own}"}}')
    assert told(folder) == [("error", "based-on-itself", "recipes/second-bar.yaml")]


def test_earlier_names_that_are_recipes_now_are_errors_in_a_circle_too(folder: Folder) -> None:
    put(folder, "second-bar", "formerly: [third-bar]")
    put(folder, "third-bar", "formerly: [second-bar, third-bar]")
    assert told(folder) == [
        ("error", "formerly-live", "recipes/second-bar.yaml"),
        ("error", "formerly-live", "recipes/third-bar.yaml"),
        ("error", "formerly-live", "recipes/third-bar.yaml"),
    ]


def test_a_recipe_never_takes_the_saves_of_another_that_there_is(folder: Folder) -> None:
    put(folder, "second-bar", "formerly: [first-bar]")
    folder.save_changed(why="another")
    assert [save.why for save in folder.history("second-bar")] == ["another"]
    with pytest.raises(InputError):
        folder.find_version(f"second-bar@{folder.find_version('first-bar').id[:8]}")
    (folder.root / FIRST).unlink()
    folder.refresh()
    assert [save.why for save in folder.history("second-bar")] == ["Begin the formulary", "another"]
