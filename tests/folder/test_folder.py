"""A formulary in its folder: versions, saving, going back, status."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from formulary import Folder, InputError, add, init_folder, open_folder, set_field, swap
from formulary.errors import ChangedError, StorageError
from formulary.folder.returning import redo_last_undo, rename_recipe, restore_version, undo_last_save
from formulary.folder.status import find_status
from formulary.identity import blob_id
from tests.new_formulary import FIRST, codes, edit


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return init_folder(tmp_path / "soap")


def test_a_new_formulary_is_saved_whole_and_its_example_can_be_weighed_out(folder: Folder) -> None:
    assert find_status(folder).unsaved == ()
    version = folder.find_version("first-bar")
    assert version.is_saved
    assert not folder.batch(version, oils="500 g").is_stopped
    listed = subprocess.run(
        ["git", "-C", str(folder.root), "ls-files"], capture_output=True, text=True, check=True
    ).stdout.split()
    assert listed == [".gitattributes", ".gitignore", "formulary.yaml", FIRST]


def test_what_the_example_shows_in_comments_can_be_taken_over(folder: Folder) -> None:
    path = folder.root / "recipes/first-bar.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r"^# (scent:|portions:|  - )", r"\1", text, flags=re.MULTILINE), encoding="utf-8")
    folder.refresh()
    batch = folder.batch("first-bar", oils="1000 g")
    assert [portion.name for portion in batch.portions] == ["plain", "scented"]
    assert [(line.material, line.portion) for line in batch.pot.lines if line.role == "scent"] == [
        ("lavender-oil", "scented")
    ]


def test_the_id_of_a_version_is_what_git_calls_its_file(folder: Folder) -> None:
    version = folder.find_version("first-bar")
    named = subprocess.run(
        ["git", "-C", str(folder.root), "hash-object", FIRST], capture_output=True, text=True, check=True
    ).stdout.strip()
    assert version.id == named == blob_id((folder.root / FIRST).read_bytes())


def test_a_version_is_found_by_every_way_of_naming_it(folder: Folder) -> None:
    first = folder.find_version("first-bar")
    edit(folder, FIRST, ("superfat: 5", "superfat: 6"))
    folder.save_changed(why="more superfat")
    second = folder.find_version("first-bar")
    for reference in ("first-bar@latest", f"first-bar@{second.id}", f"first-bar@{second.id[:6]}", "first-bar@2"):
        assert folder.find_version(reference).id == second.id
    for reference in (f"first-bar@{first.id[:8]}", "first-bar@1", "first-bar@main~1"):
        assert folder.find_version(reference).id == first.id
    assert folder.find_version("first-bar@1").label == "the 1st saved"


@pytest.mark.parametrize(
    ("reference", "code"),
    [
        ("firstbar", "no-recipe"),
        ("first-bar@9", "no-version"),
        ("first-bar@beef", "no-version"),
        ("first-bar@--output=x", "no-version"),
        ("-first-bar", "bad-name"),
        ("../first-bar", "bad-name"),
        ("first/bar", "bad-name"),
    ],
)
def test_a_name_that_fits_nothing_is_refused_with_what_there_is(folder: Folder, reference: str, code: str) -> None:
    with pytest.raises(InputError) as raised:
        folder.find_version(reference)
    assert codes(raised) == [code]
    assert raised.value.findings[0].do


def test_a_recipe_is_saved_by_its_name_as_its_file_stands(folder: Folder) -> None:
    edit(folder, FIRST, ("superfat: 5", "superfat: 6"))
    saved = folder.save("first-bar", why="milder")
    assert (saved.is_saved, saved.recipe.lye.superfat) == (True, 6)
    assert folder.changed_paths() == ()
    with pytest.raises(InputError):
        folder.save("first-bar", why="nothing changed")


def test_a_variant_remembers_its_parent_and_its_first_save_says_what_it_changed(folder: Folder) -> None:
    base = folder.find_version("first-bar@latest")
    variant = folder.branch(
        base, "winter-clove", swap("10 %", "olive-oil", "hemp-seed-oil"), add("clove-bud-oil", "1.2 % of oils")
    )
    assert not variant.is_saved
    saved = folder.save(variant, why="winter clove")
    assert saved.is_saved
    assert saved.recipe.based_on is not None
    assert (saved.recipe.based_on.recipe, saved.recipe.based_on.version) == ("first-bar", base.id)
    body = folder.store.history(["recipes/winter-clove.yaml"])[0].body
    assert "hemp seed oil" in body
    assert "clove bud oil" in body


def test_branching_from_a_file_with_unsaved_changes_is_refused(folder: Folder) -> None:
    edit(folder, FIRST, ("superfat: 5", "superfat: 6"))
    with pytest.raises(InputError) as raised:
        folder.branch("first-bar", "winter-clove")
    assert codes(raised) == ["parent-unsaved"]


def test_a_save_keeps_the_file_byte_for_byte_and_says_the_change_in_words(folder: Folder) -> None:
    edit(folder, FIRST, ("superfat: 5  ", "superfat: 6.50  # softer "))
    before = (folder.root / FIRST).read_bytes()
    report = folder.save_changed(why="softer for spring")
    assert report.paths == (FIRST,)
    assert (folder.root / FIRST).read_bytes() == before
    blob = subprocess.run(
        ["git", "-C", str(folder.root), "show", f"HEAD:{FIRST}"], capture_output=True, check=True
    ).stdout
    assert blob == before
    assert report.message.startswith("softer for spring\n")
    assert "superfat" in report.message


def test_a_file_with_a_fault_is_not_saved_and_nothing_beside_it_is(folder: Folder) -> None:
    tip = folder.store.tip
    edit(folder, FIRST, ("castor-oil: 5", "castor-oil: 4.5"))
    folder.write(folder.branch("first-bar@latest", "fine-variant", set_field("superfat", "7")))
    with pytest.raises(InputError) as raised:
        folder.save_changed(why="both")
    assert codes(raised) == ["oils-total"]
    folder.refresh()
    assert folder.store.tip == tip
    folder.save_changed(["fine-variant"], why="only the fine one")
    assert folder.changed_paths() == (FIRST,)


def test_a_broken_file_does_not_stop_work_on_the_others(folder: Folder) -> None:
    folder.save(folder.branch("first-bar@latest", "other-bar"), why="another")
    edit(folder, FIRST, ("superfat: 5", "superfat: five"))
    assert not folder.batch("other-bar", oils="1000 g").is_stopped
    assert [finding.code for finding in folder.check() if finding.severity.value == "error"] == ["bad-value"]


def test_a_material_whose_file_cannot_be_read_is_not_weighed_out_by_other_values(folder: Folder) -> None:
    recipe = folder.find_version("first-bar").recipe
    oil = recipe.oils[0].material
    unused = next(name for name in ("tallow", "lard", "jojoba-wax") if name not in recipe.materials())
    (folder.root / "materials").mkdir(exist_ok=True)
    broken = "format: 1\nname: Oil (invented)\nkind: oil\nlots:\n  A: {saponification_value: plenty}\n"
    (folder.root / f"materials/{unused}.yaml").write_text(broken, encoding="utf-8")
    folder.refresh()
    folder.batch("first-bar", oils="500 g")
    (folder.root / f"materials/{oil}.yaml").write_text(broken, encoding="utf-8")
    folder.refresh()
    with pytest.raises(InputError) as raised:
        folder.batch("first-bar", oils="500 g")
    assert raised.value.findings[0].place.path == f"materials/{oil}.yaml"


def test_restoring_brings_the_content_back_under_the_same_id(folder: Folder) -> None:
    first = folder.find_version("first-bar")
    edit(folder, FIRST, ("superfat: 5", "superfat: 6"))
    folder.save_changed(why="more")
    restored = restore_version(folder, "first-bar@1")
    assert restored.id == first.id
    saves = folder.history("first-bar")
    assert [save.number for save in saves] == [1, 2, 3]
    assert saves[2].returns_to == 1
    with pytest.raises(InputError):
        restore_version(folder, "first-bar@1")


def test_a_deleted_recipe_comes_back(folder: Folder) -> None:
    first = folder.find_version("first-bar")
    (folder.root / FIRST).unlink()
    folder.refresh()
    folder.save_changed(why="not made any more")
    assert folder.recipes() == ()
    assert restore_version(folder, f"first-bar@{first.short_id}").id == first.id


def test_undo_is_a_new_save_and_can_be_undone(folder: Folder) -> None:
    before = folder.find_version("first-bar").id
    edit(folder, FIRST, ("superfat: 5", "superfat: 6"))
    folder.save_changed(why="more")
    after = folder.find_version("first-bar").id
    undo_last_save(folder)
    assert folder.find_version("first-bar").id == before
    redo_last_undo(folder)
    assert folder.find_version("first-bar").id == after
    assert len(folder.history("first-bar")) == 4


def test_unsaved_work_is_never_overwritten_by_going_back(folder: Folder) -> None:
    edit(folder, FIRST, ("superfat: 5", "superfat: 6"))
    folder.save_changed(why="more")
    edit(folder, FIRST, ("superfat: 6", "superfat: 7"))
    held = (folder.root / FIRST).read_bytes()
    for go_back in (lambda: restore_version(folder, "first-bar@1"), lambda: undo_last_save(folder)):
        with pytest.raises(ChangedError):
            go_back()
        assert (folder.root / FIRST).read_bytes() == held


def test_a_renamed_recipe_keeps_its_history(folder: Folder) -> None:
    edit(folder, FIRST, ("superfat: 5", "superfat: 6"))
    folder.save_changed(why="more")
    renamed = rename_recipe(folder, "first-bar", "harbour-bar")
    assert renamed.recipe.formerly == ("first-bar",)
    assert [save.why for save in folder.history("harbour-bar")][:2] == ["Begin the formulary", "more"]
    assert folder.recipes() == ("harbour-bar",)


@pytest.mark.parametrize(
    ("stood", "asked", "stands"),
    [
        ("First bar", None, "Harbour bar"),  # only the file's name in words
        ("The one that works", None, "The one that works"),
        ("The one that works", "For the market: mild", "For the market: mild"),
        ("First bar", " First bar ", "First bar"),
    ],
)
def test_what_people_call_a_recipe_follows_its_file_unless_they_said_otherwise(
    folder: Folder, stood: str, asked: str | None, stands: str
) -> None:
    text = (folder.root / FIRST).read_text(encoding="utf-8")
    (line,) = [line for line in text.splitlines() if line.startswith("name:")]
    (folder.root / FIRST).write_text(text.replace(line, f"name: {stood}  # kept"), encoding="utf-8")
    folder.refresh()
    if folder.store.working_changes():
        folder.save_changed(why="called otherwise")
    with pytest.raises(InputError, match="a name of no letters"):
        rename_recipe(folder, "first-bar", "harbour-bar", name=" ")
    renamed = rename_recipe(folder, "first-bar", "harbour-bar", name=asked)
    assert renamed.recipe.name == stands
    assert "# kept" in renamed.text
    assert len(folder.history("harbour-bar")) > 1


def test_a_recipe_cannot_be_renamed_to_be_called_nothing(folder: Folder) -> None:
    with pytest.raises(InputError):
        rename_recipe(folder, "first-bar", "harbour-bar", name="  ")
    assert folder.recipes() == ("first-bar",)


def test_the_status_tells_unsaved_changes_in_words(folder: Folder) -> None:
    edit(folder, FIRST, ("superfat: 5", "superfat: 6"))
    (folder.root / "materials").mkdir()
    (folder.root / "materials/harbour-scent.yaml").write_text(
        "format: 1\nname: Harbour scent\nkind: fragrance\n", encoding="utf-8"
    )
    folder.refresh()
    unsaved = {file.path: file for file in find_status(folder).unsaved}
    assert unsaved["materials/harbour-scent.yaml"].how == "new"
    assert unsaved[FIRST].how == "changed"
    assert "superfat rose from 5 to 6 %" in (unsaved[FIRST].sentence or "")


def test_the_status_tells_what_changed_in_settings_and_materials(folder: Folder) -> None:
    place = folder.root / "materials/harbour-scent.yaml"
    place.parent.mkdir()
    place.write_text("format: 1\nname: Harbour scent\nkind: fragrance\n", encoding="utf-8")
    (folder.root / "formulary.yaml").write_text("format: 1\nname: Soap\ncure: {days: 28}\n", encoding="utf-8")
    folder.refresh()
    folder.save_changed(why="begin")
    place.write_text("format: 1\nname: Harbour scent # ours\nkind: fragrance\n", encoding="utf-8")
    (folder.root / "formulary.yaml").write_text("format: 1\ncure: {days: 35, water_lost: 60 %}\n", encoding="utf-8")
    folder.refresh()
    assert {file.path: file.sentence for file in find_status(folder).unsaved} == {
        "formulary.yaml": "cure.days 28 → 35, cure.water_lost added (60 %), name removed",
        "materials/harbour-scent.yaml": "only its layout or comments",
    }


def test_a_folder_without_a_formulary_or_without_git_says_so(tmp_path: Path) -> None:
    with pytest.raises(InputError) as raised:
        open_folder(tmp_path)
    assert codes(raised) == ["not-a-formulary"]
    (tmp_path / "formulary.yaml").write_text("format: 1\n", encoding="utf-8")
    with pytest.raises(StorageError):
        open_folder(tmp_path)


def test_a_file_that_was_deleted_by_mistake_comes_back_before_anything_is_saved(folder: Folder) -> None:
    held = (folder.root / FIRST).read_bytes()
    tip = folder.store.tip
    (folder.root / FIRST).unlink()
    folder.refresh()
    with pytest.raises(InputError) as raised:
        folder.find_version("first-bar")
    assert "formulary restore first-bar@latest" in raised.value.findings[0].do
    restore_version(folder, "first-bar@latest")
    assert (folder.root / FIRST).read_bytes() == held
    assert folder.store.tip == tip


def test_unsaved_changes_are_thrown_away_only_when_asked(folder: Folder) -> None:
    held = (folder.root / FIRST).read_bytes()
    edit(folder, FIRST, ("superfat: 5", "superfat: 7"))
    with pytest.raises(ChangedError) as raised:
        restore_version(folder, "first-bar@latest")
    assert "--discard" in raised.value.findings[0].do
    restore_version(folder, "first-bar@latest", discard=True)
    assert (folder.root / FIRST).read_bytes() == held
    assert folder.changed_paths() == ()


@pytest.mark.parametrize("mishap", ["typo", "deleted", "deleted and saved"])
def test_history_through_a_rename_does_not_hang_on_the_file_of_today(folder: Folder, mishap: str) -> None:
    edit(folder, FIRST, ("superfat: 5", "superfat: 6"))
    folder.save_changed(why="more")
    rename_recipe(folder, "first-bar", "harbour-bar")
    whole = [save.id for save in folder.history("harbour-bar")]
    path = folder.root / "recipes/harbour-bar.yaml"
    if mishap == "typo":
        path.write_text(path.read_text(encoding="utf-8").replace("superfat: 6", "superfat: six"), encoding="utf-8")
    else:
        path.unlink()
    folder.refresh()
    if mishap == "deleted and saved":
        folder.save_changed(why="gone")
    assert [save.id for save in folder.history("harbour-bar")] == whole
    assert folder.find_version("harbour-bar@1").id == whole[0]


def test_an_old_name_is_sent_to_the_new_one(folder: Folder) -> None:
    rename_recipe(folder, "first-bar", "harbour-bar")
    for ask in (lambda: folder.find_version("first-bar"), lambda: restore_version(folder, "first-bar@latest")):
        with pytest.raises(InputError) as raised:
            ask()
        assert "harbour-bar" in str(raised.value)
