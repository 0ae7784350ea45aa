"""What a recipe says of where it comes from is held against what is there; an id is only ever an id."""

from __future__ import annotations

import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest

from formulary import Folder, InputError, init_folder, set_field
from formulary.folder.returning import name_version, redo_last_undo, rename_recipe, restore_version, undo_last_save
from tests.new_formulary import FIRST, edit


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return init_folder(tmp_path / "soap")


def put(folder: Folder, slug: str, line: str) -> None:
    """A copy of the first recipe under another name, with one more line."""
    text = (folder.root / FIRST).read_text(encoding="utf-8")
    (folder.root / f"recipes/{slug}.yaml").write_text(f"{text}{line}\n", encoding="utf-8")
    folder.refresh()


def told(folder: Folder) -> list[tuple[str, str, str | None]]:
    codes = ("formerly-live", "formerly-taken", "based-on-itself", "parent-missing")
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
    assert [save.why for save in folder.history("second-bar")] == ["another"]
    folder.save_changed(why="not made any more")
    assert [save.why for save in folder.history("second-bar")] == ["Begin the formulary", "another"]


def test_of_two_recipes_that_claim_a_name_the_renamed_one_has_its_saves_and_the_copy_is_told(folder: Folder) -> None:
    edit(folder, FIRST, ("superfat: 5", "superfat: 6"))
    folder.save_changed(why="softer")
    rename_recipe(folder, "first-bar", "harbour-bar")
    copied = (folder.root / "recipes/harbour-bar.yaml").read_bytes()
    (folder.root / "recipes/a-copy.yaml").write_bytes(copied)  # by hand, in a file manager; first by the alphabet
    folder.refresh()
    for saved in (False, True):
        if saved:
            folder.save_changed(why="copied by hand")
        assert len(folder.history("harbour-bar")) == 3
        assert len(folder.history("a-copy")) == saved
        assert folder.now_called("first-bar") == "harbour-bar"
        told = [finding for finding in folder.check() if finding.code == "formerly-taken"]
        assert [finding.place.path for finding in told] == ["recipes/a-copy.yaml"]
        assert "harbour-bar" in told[0].what
        assert "take first-bar out" in told[0].do
    edit(folder, "recipes/a-copy.yaml", ("formerly: [first-bar]\n", ""))
    assert not [finding for finding in folder.check() if finding.code == "formerly-taken"]


def test_two_claims_that_nothing_saved_decides_go_to_the_recipe_that_was_saved_first(folder: Folder) -> None:
    for slug in ("second-bar", "another-bar"):
        put(folder, slug, "formerly: [early-bar]")
        folder.save_changed(why=slug, now=datetime(2026, 3, 1 if slug == "second-bar" else 2, tzinfo=UTC))
    assert folder.now_called("early-bar") == "second-bar"
    assert [finding.place.path for finding in folder.check() if finding.code == "formerly-taken"] == [
        "recipes/another-bar.yaml"
    ]


def test_a_name_that_was_given_up_can_be_another_recipes_and_each_keeps_its_own_saves(folder: Folder) -> None:
    first = folder.find_version("first-bar").id
    edit(folder, FIRST, ("superfat: 5", "superfat: 6"))
    folder.save_changed(why="softer")
    rename_recipe(folder, "first-bar", "winter-2025")
    folder.save(folder.branch("winter-2025@latest", "first-bar", set_field("superfat", "8")), why="this winter's")
    assert [save.why for save in folder.history("winter-2025")] == [
        "Begin the formulary",
        "softer",
        "Rename first-bar to winter-2025",
    ]
    assert [save.why for save in folder.history("first-bar")] == ["this winter's"]
    assert folder.find_version(f"winter-2025@{first[:8]}").id == first
    assert told(folder) == []
    rename_recipe(folder, "first-bar", "winter-2026")
    assert next(save.why for save in folder.history("winter-2026")) == "this winter's"
    assert len(folder.history("winter-2025")) == 3
    assert folder.now_called("first-bar") == "winter-2026"
    assert told(folder) == []


def test_restoring_a_version_from_before_a_rename_keeps_the_history(folder: Folder) -> None:
    rename_recipe(folder, "first-bar", "harbour-bar")
    whole = [save.id for save in folder.history("harbour-bar")]
    restore_version(folder, "harbour-bar@1")
    assert [save.id for save in folder.history("harbour-bar")] == [*whole, whole[0]]
    assert folder.now_called("first-bar") == "harbour-bar"


def test_undoing_a_rename_gives_the_saves_back_and_redoing_it_takes_them_again(folder: Folder) -> None:
    first = folder.find_version("first-bar").id
    rename_recipe(folder, "first-bar", "harbour-bar")
    renamed = folder.find_version("harbour-bar").id
    undo_last_save(folder)
    assert [save.id for save in folder.history("first-bar")] == [first]
    assert [save.id for save in folder.history("harbour-bar")] == [renamed]
    redo_last_undo(folder)
    assert next(save.id for save in folder.history("harbour-bar")) == first
    assert folder.find_version("harbour-bar").id == renamed


def test_a_version_saved_under_an_earlier_name_can_have_a_lasting_name(folder: Folder) -> None:
    first = folder.find_version("first-bar").id
    rename_recipe(folder, "first-bar", "harbour-bar")
    name_version(folder, "harbour-bar@1", "shop-2026")
    assert folder.find_version("harbour-bar@shop-2026").id == first


def test_earlier_names_lead_through_several_renames_and_back(folder: Folder) -> None:
    first = folder.find_version("first-bar").id
    for before, after in (("first-bar", "b-bar"), ("b-bar", "c-bar"), ("c-bar", "first-bar")):
        rename_recipe(folder, before, after)
    saves = folder.history("first-bar")
    assert [save.why for save in saves][1:] == [
        "Rename first-bar to b-bar",
        "Rename b-bar to c-bar",
        "Rename c-bar to first-bar",
    ]
    assert saves[0].id == first
    assert told(folder) == []


def test_an_undone_rename_back_is_told_from_an_undone_rename(folder: Folder) -> None:
    first = folder.find_version("first-bar").id
    rename_recipe(folder, "first-bar", "winter-bar")
    restore_version(folder, "winter-bar@1")
    whole = [save.id for save in folder.history("winter-bar")]
    assert whole[0] == whole[2] == first
    rename_recipe(folder, "winter-bar", "first-bar")
    assert [save.id for save in folder.history("first-bar")][:3] == whole
    undo_last_save(folder)
    assert folder.find_version("winter-bar").id == first
    assert [save.id for save in folder.history("winter-bar")][:3] == whole


def test_the_history_tells_that_a_deleted_recipe_came_back(folder: Folder) -> None:
    first = folder.find_version("first-bar").id
    (folder.root / "recipes/first-bar.yaml").unlink()
    folder.save_changed(why="not made any more")
    restore_version(folder, f"first-bar@{first[:8]}")
    saves = folder.history("first-bar")
    assert [(save.id, save.number, save.returns_to) for save in saves] == [(first, 1, None), (first, 2, 1)]
    assert saves[-1].why.startswith("Restore first-bar")
    assert folder.histories()["first-bar"] == saves


def test_a_rename_is_undone_also_after_its_recipe_was_deleted_and_came_back(folder: Folder) -> None:
    whole = [save.id for save in folder.history("first-bar")]
    rename_recipe(folder, "first-bar", "harbour-bar")
    (folder.root / "recipes/harbour-bar.yaml").unlink()
    folder.refresh()
    folder.save_changed(why="not made any more")
    undo_last_save(folder)
    undo_last_save(folder)
    assert [save.id for save in folder.history("first-bar")] == whole
    assert {slug: [save.id for save in saves] for slug, saves in folder.histories().items()} == {"first-bar": whole}
