"""A base's later saves come into a variant as laid down: taken, kept, added up or left to settle, and never guessed."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from formulary import Folder, open_folder, set_field
from formulary.batch.overriding import demand_weighable
from formulary.errors import ChangedError, InputError, StopError, StorageError
from formulary.folder.returning import redo_last_undo, rename_recipe, restore_version, undo_last_save
from formulary.folder.status import find_status
from formulary.variants.updating import apply_update, find_update
from formulary.workshop.history_text import describe_history
from tests.new_formulary import CLOVE, codes, edit, with_clove
from tests.new_formulary import FIRST as BASE


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return with_clove(tmp_path / "soap")


def save_base(folder: Folder, *changes: tuple[str, str], why: str = "the base") -> None:
    edit(folder, BASE, *changes)
    folder.save_changed(["first-bar"], why=why)


def text_of(folder: Folder, path: str = CLOVE) -> str:
    return (folder.root / path).read_text(encoding="utf-8")


def update(folder: Folder, variant: str = "winter-clove", **settle: str) -> None:
    apply_update(folder, find_update(folder, variant, settle={key.replace("_", "."): settle[key] for key in settle}))


LESS_WATER = ("lye_concentration: 33 ", "lye_concentration: 35 ")
MORE_COCONUT = (("olive-oil: 60", "olive-oil: 57"), ("coconut-oil: 25", "coconut-oil: 28"))


def test_nothing_saved_since_is_said_and_writes_nothing(folder: Folder) -> None:
    found = find_update(folder, "winter-clove")
    assert found.is_empty
    assert found.changes is None
    assert "up to date" in found.sentence
    before = text_of(folder)
    assert not apply_update(folder, found).is_applied
    assert text_of(folder) == before
    assert folder.changed_paths() == ()


def test_finding_an_update_writes_nothing(folder: Folder) -> None:
    save_base(folder, LESS_WATER)
    before, tip = text_of(folder), folder.store.tip
    found = find_update(folder, "winter-clove")
    assert not found.is_empty
    assert (text_of(folder), folder.store.tip, folder.changed_paths()) == (before, tip, ())


def test_what_the_base_alone_changed_is_taken_and_only_its_characters_change(folder: Folder) -> None:
    old = folder.find_version("first-bar").id
    save_base(folder, LESS_WATER, ("cover: covered", "cover: insulated"))
    before = text_of(folder)
    found = find_update(folder, "winter-clove")
    assert {each.field: each.outcome.value for each in found.decisions if each.outcome.value != "kept"} == {
        "water": "taken",
        "process.cover": "taken",
    }
    assert apply_update(folder, found).is_applied
    new = folder.find_version("first-bar@latest").id
    expected = before.replace(old, new).replace(*LESS_WATER).replace("cover: covered", "cover: insulated")
    assert text_of(folder) == expected
    assert folder.changed_paths() == (CLOVE,)  # written, not saved


def test_the_new_lye_is_told_for_the_same_mass_of_oils(folder: Folder) -> None:
    save_base(
        folder,
        ("superfat: 5 ", "superfat: 8 "),
        ("sunflower-oil: 10", "sunflower-oil: 8"),
        ("castor-oil: 5", "castor-oil: 7"),
    )
    found = find_update(folder, "winter-clove", settle={"lye.superfat": "base"})
    assert found.changes is not None
    (lye,) = found.changes.lye
    expected = [folder.batch(version, oils="1000 g").lye[0].grams for version in (found.variant, found.after)]
    assert [lye.before, lye.after] == expected
    assert "sodium hydroxide falls by" in found.changes.sentence
    assert sum((change.points for change in found.changes.recipe.oils), Decimal(0)) == 0


def test_opposite_changes_of_an_oil_are_added_and_told(folder: Folder) -> None:
    save_base(folder, ("olive-oil: 60", "olive-oil: 63"), ("coconut-oil: 25", "coconut-oil: 22"))
    found = find_update(folder, "winter-clove")
    outcomes = {each.field: (each.outcome.value, each.merged) for each in found.decisions}
    assert outcomes["oils.olive-oil"] == ("added", "55 %")
    assert outcomes["oils.coconut-oil"] == ("taken", "22 %")
    assert outcomes["oils.shea-butter"] == ("kept", "8 %")
    apply_update(folder, found)
    oils = folder.find_version("winter-clove").recipe.oils
    assert sum((line.percent for line in oils), Decimal(0)) == 100


def test_what_both_did_alike_is_taken_once_and_told(folder: Folder) -> None:
    save_base(folder, ("superfat: 5 ", "superfat: 6 "))
    found = find_update(folder, "winter-clove")
    assert [each.field for each in found.decisions if each.outcome.value == "alike"] == ["lye.superfat"]
    assert found.changes is None  # in the pot nothing changes; what it is based on does
    apply_update(folder, found)
    base = folder.find_version("winter-clove").recipe.based_on
    assert base is not None
    assert base.version == folder.find_version("first-bar@latest").id
    unsaved = find_status(folder).unsaved
    assert [file.sentence for file in unsaved] == [
        "It is based on a later version of its base and otherwise the same; the lye stays the same."
    ]


def test_updating_twice_is_updating_once_saved_or_not(folder: Folder) -> None:
    save_base(folder, LESS_WATER, *MORE_COCONUT)
    update(folder, oils="both")
    once = text_of(folder)
    for _ in range(2):
        again = find_update(folder, "winter-clove")
        assert again.is_empty
        apply_update(folder, again)
        assert text_of(folder) == once
        if folder.changed_paths():
            folder.save_changed(why="brought up")


def test_a_conflict_stays_in_the_file_and_no_lye_is_worked_out_until_it_is_settled(folder: Folder) -> None:
    save_base(folder, ("superfat: 5 ", "superfat: 7 "), LESS_WATER)
    update(folder)
    version = folder.find_version("winter-clove")
    assert version.recipe.conflicts == (
        "lye.superfat: here 6 %; in first-bar 7 %; before 5 %. Keep what stands above or change it, then delete this"
        " line.",
    )
    assert version.recipe.lye.superfat == 6
    assert version.recipe.water.value == 35  # what is no conflict is there
    batch = folder.batch(version, oils="1000 g")
    assert [finding.code for finding in batch.findings if finding.severity.value == "stop"] == ["conflict-open"]
    with pytest.raises(StopError):
        demand_weighable(batch, despite={"conflict-open"})
    edit(folder, CLOVE, (text_of(folder)[text_of(folder).index("conflicts:") :], ""))
    assert not folder.batch("winter-clove", oils="1000 g").is_stopped
    assert find_update(folder, "winter-clove").is_empty


@pytest.mark.parametrize(("word", "superfat"), [("mine", 6), ("base", 7)])
def test_a_conflict_is_settled_beforehand_or_afterwards_with_the_same_result(
    folder: Folder, word: str, superfat: int
) -> None:
    save_base(folder, ("superfat: 5 ", "superfat: 7 "), LESS_WATER)
    update(folder, lye_superfat=word)
    beforehand = text_of(folder)
    restore_version(folder, "winter-clove@latest", discard=True)
    update(folder)
    assert find_update(folder, "winter-clove").conflicts  # shown once more, with nothing to write
    assert find_update(folder, "winter-clove").is_empty
    update(folder, lye_superfat=word)
    assert text_of(folder) == beforehand
    assert folder.find_version("winter-clove").recipe.lye.superfat == superfat


def test_conflicts_are_settled_one_by_one_and_what_was_edited_meanwhile_stays(folder: Folder) -> None:
    save_base(folder, ("superfat: 5 ", "superfat: 7 "), *MORE_COCONUT)
    update(folder)
    edit(folder, CLOVE, ("rate: 1.2 % of oils", "rate: 1 % of oils"), ("at: trace}", "at: trace}   # my own"))
    update(folder, oils="both")
    left = folder.find_version("winter-clove").recipe
    assert [words.partition(":")[0] for words in left.conflicts] == ["lye.superfat"]
    assert {line.material: line.percent for line in left.oils}["olive-oil"] == 49
    folder.save_changed(why="half settled")  # a save holds open conflicts too
    update(folder, lye_superfat="base")
    recipe = folder.find_version("winter-clove").recipe
    assert recipe.conflicts == ()
    assert recipe.lye.superfat == 7
    assert str(recipe.scent[0].rate) == "1 % of oils"
    assert "# my own" in text_of(folder)


def test_a_conflict_whose_line_was_edited_by_hand_is_not_settled_over_it(folder: Folder) -> None:
    save_base(folder, ("superfat: 5 ", "superfat: 7 "))
    update(folder)
    edit(folder, CLOVE, ("superfat: 6 ", "superfat: 6.5 "))
    before = text_of(folder)
    with pytest.raises(InputError) as fault:
        update(folder, lye_superfat="base")
    assert codes(fault) == ["settled-by-hand"]
    assert text_of(folder) == before


@pytest.mark.parametrize("choice", ["base", "both"])
def test_oils_that_were_edited_since_are_never_mixed_with_those_that_were_chosen(folder: Folder, choice: str) -> None:
    save_base(folder, *MORE_COCONUT)
    edit(folder, CLOVE, ("olive-oil: 52", "olive-oil: 50"), ("coconut-oil: 25", "coconut-oil: 27"))
    folder.save_changed(["winter-clove"], why="a little coconut")
    update(folder)
    assert folder.find_version("winter-clove").recipe.conflicts
    edit(folder, CLOVE, ("sunflower-oil: 10", "sunflower-oil: 8"), ("castor-oil: 5", "castor-oil: 7"))
    before = text_of(folder)
    with pytest.raises(InputError) as fault:
        update(folder, oils=choice)
    assert codes(fault) == ["settled-by-hand"]
    assert text_of(folder) == before
    update(folder, oils="mine")  # what stands is what was chosen then
    recipe = folder.find_version("winter-clove").recipe
    percents = {line.material: line.percent for line in recipe.oils}
    assert (percents["olive-oil"], percents["coconut-oil"], percents["castor-oil"]) == (50, 27, 7)
    assert recipe.conflicts == ()


def test_what_was_edited_and_then_kept_is_told_as_it_stands(folder: Folder) -> None:
    save_base(folder, ("superfat: 5 ", "superfat: 7 "), LESS_WATER)
    update(folder)
    edit(folder, CLOVE, ("superfat: 6 ", "superfat: 6.5 "), ("lye_concentration: 35 ", "lye_concentration: 30 "))
    found = find_update(folder, "winter-clove", settle={"lye.superfat": "mine"})
    told = {each.field: each.merged for each in found.decisions}
    assert (told["lye.superfat"], told["water"]) == ("6.5 %, as edited here since", "30 % lye, as edited here since")
    assert found.after.recipe.lye.superfat == Decimal("6.5")


def test_a_soap_for_skin_that_would_be_one_no_more_is_told_with_how_to_keep_it(folder: Folder) -> None:
    save_base(folder, ("purpose: skin ", "purpose: household "))
    found = find_update(folder, "winter-clove")
    assert [each.severity.value for each in found.findings if each.code == "purpose-changed"] == ["warn"]
    kept = find_update(folder, "winter-clove", settle={"purpose": "mine"})
    assert kept.after.recipe.purpose == "skin"
    assert "purpose-changed" not in [each.code for each in kept.findings]


def test_conflicts_that_no_update_left_are_settled_by_hand(folder: Folder) -> None:
    edit(folder, CLOVE, ("notes:", "conflicts: [superfat 5 or 6]\nnotes:"))
    with pytest.raises(StopError) as fault:
        find_update(folder, "winter-clove")
    assert codes(fault) == ["conflict-open"]


def test_a_file_with_very_many_conflicts_is_told_in_few_words(folder: Folder) -> None:
    many = ", ".join(f"'{number}: {'x' * 99}'" for number in range(500))
    edit(folder, CLOVE, ("notes:", f"conflicts: [{many}]\nnotes:"))
    (told,) = [finding for finding in folder.check() if finding.code == "conflict-open"]
    assert told.what == "500 conflicts are open: 0, 1, 2, 3, 4, 5 and others"
    with pytest.raises(StopError) as fault:
        find_update(folder, "winter-clove")
    assert len(fault.value.findings) == 200


@pytest.mark.parametrize(
    ("settle", "code"),
    [
        ({"lye.superfat": "theirs"}, "not-a-choice"),
        ({"lye.superfat": "both"}, "not-a-choice"),
        ({"scent.clove-bud-oil": "mine"}, "nothing-to-settle"),
        ({"superfat": "mine"}, "nothing-to-settle"),
    ],
)
def test_a_choice_that_fits_nothing_writes_nothing(folder: Folder, settle: dict[str, str], code: str) -> None:
    save_base(folder, ("superfat: 5 ", "superfat: 7 "))
    before = text_of(folder)
    with pytest.raises(InputError) as fault:
        apply_update(folder, find_update(folder, "winter-clove", settle=settle))
    assert codes(fault) == [code]
    assert text_of(folder) == before
    update(folder)
    with pytest.raises(InputError):
        update(folder, water="mine")  # no open conflict


def test_a_change_of_the_base_can_be_declined_for_good(folder: Folder) -> None:
    save_base(folder, LESS_WATER)
    before = folder.find_version("winter-clove").recipe
    update(folder, water="mine")
    after = folder.find_version("winter-clove").recipe
    assert replace(after, based_on=None) == replace(before, based_on=None)
    assert find_update(folder, "winter-clove").is_empty


def test_a_material_that_is_not_here_is_told_without_a_line_that_no_file_has(folder: Folder) -> None:
    own = folder.root / "materials/market-oil.yaml"
    own.parent.mkdir(exist_ok=True)
    own.write_text("{format: 1, name: Market oil, kind: oil, saponification_value: 190}\n", encoding="utf-8")
    save_base(folder, ("sunflower-oil: 10", "market-oil: 10"))
    own.unlink()
    folder.refresh()
    with pytest.raises(InputError) as fault:
        find_update(folder, "winter-clove")
    assert codes(fault) == ["unknown-material"]
    place = fault.value.findings[0].place
    assert (place.path, place.line, place.column) == (CLOVE, None, None)
    assert "market-oil" in str(place.field)


def test_everything_can_be_declined_or_taken_at_once_and_a_name_stays_ones_own(folder: Folder) -> None:
    save_base(folder, LESS_WATER, ("superfat: 5 ", "superfat: 7 "), *MORE_COCONUT, ("name: First bar", "name: New bar"))
    before = folder.find_version("winter-clove").recipe
    update(folder, all="mine")
    declined = folder.find_version("winter-clove").recipe
    assert replace(declined, based_on=None) == replace(before, based_on=None)
    assert not moved_on(folder)
    restore_version(folder, "winter-clove@latest", discard=True)
    update(folder)
    assert len(folder.find_version("winter-clove").recipe.conflicts) == 2
    apply_update(folder, find_update(folder, "winter-clove", settle={"all": "base", "oils": "both"}))
    taken = folder.find_version("winter-clove").recipe
    assert (taken.name, taken.lye.superfat, taken.conflicts) == ("Winter clove", 7, ())
    assert {line.material: line.percent for line in taken.oils}["shea-butter"] == 8


def test_a_variant_keeps_its_own_name_and_notes_and_that_is_no_conflict(folder: Folder) -> None:
    edit(folder, CLOVE, ("Write here what a number cannot say.", "Pour at trace."))
    folder.save_changed(why="how to pour")
    save_base(folder, ("name: First bar", "name: Harbour bar"), ("a number cannot say", "no number says"))
    found = find_update(folder, "winter-clove")
    assert found.conflicts == ()
    assert {each.field for each in found.decisions if each.theirs != each.before} == {"name", "notes"}
    apply_update(folder, found)
    recipe = folder.find_version("winter-clove").recipe
    assert (recipe.name, recipe.notes.strip()) == ("Winter clove", "Pour at trace.")


def test_only_what_is_saved_of_the_base_is_brought_and_that_is_said(folder: Folder) -> None:
    edit(folder, BASE, LESS_WATER)
    found = find_update(folder, "winter-clove")
    assert found.is_empty
    assert [finding.code for finding in found.findings] == ["base-unsaved"]


def test_a_variant_with_unsaved_changes_is_shown_but_not_written(folder: Folder) -> None:
    save_base(folder, LESS_WATER)
    edit(folder, CLOVE, ("castor-oil: 5", "castor-oil: 6"), ("sunflower-oil: 10", "sunflower-oil: 9"))
    before = text_of(folder)
    found = find_update(folder, "winter-clove")
    assert [finding.code for finding in found.findings] == ["variant-unsaved"]
    with pytest.raises(ChangedError) as fault:
        apply_update(folder, found)
    assert codes(fault) == ["unsaved-changes"]
    assert text_of(folder) == before


def test_an_update_can_be_taken_back_before_and_after_it_is_saved(folder: Folder) -> None:
    before = text_of(folder)
    save_base(folder, LESS_WATER, ("superfat: 5 ", "superfat: 7 "))
    update(folder)
    restore_version(folder, "winter-clove@latest", discard=True)
    assert text_of(folder) == before
    update(folder, lye_superfat="mine")
    after = text_of(folder)
    folder.save_changed(why="brought up")
    undo_last_save(folder)
    assert text_of(folder) == before
    assert not find_update(folder, "winter-clove").is_empty
    redo_last_undo(folder)
    assert text_of(folder) == after
    assert find_update(folder, "winter-clove").is_empty


def test_a_file_that_changed_meanwhile_is_not_overwritten(folder: Folder) -> None:
    save_base(folder, LESS_WATER)
    found = find_update(folder, "winter-clove")
    edit(folder, CLOVE, ("castor-oil: 5", "castor-oil: 5   # by hand"))
    with pytest.raises(ChangedError):
        apply_update(folder, found)
    assert "# by hand" in text_of(folder)


def test_several_saves_come_as_one_change_and_a_base_that_went_back_brings_nothing(folder: Folder) -> None:
    save_base(folder, LESS_WATER)
    save_base(folder, ("cover: covered", "cover: open"))
    found = find_update(folder, "winter-clove")
    assert [entry.saved.number for entry in found.saves] == [3, 2]
    assert {each.field for each in found.decisions if each.outcome.value == "taken"} == {"water", "process.cover"}
    restore_version(folder, "first-bar@1")
    assert find_update(folder, "winter-clove").is_empty
    save_base(folder, LESS_WATER)
    assert [entry.saved.number for entry in find_update(folder, "winter-clove").saves] == [5]


def test_a_renamed_base_is_followed_and_an_update_names_it_by_its_new_name(folder: Folder) -> None:
    rename_recipe(folder, "first-bar", "harbour-bar")
    found = find_update(folder, "winter-clove")
    assert found.parent.slug == "harbour-bar"
    assert found.changes is None
    edit(folder, "recipes/harbour-bar.yaml", LESS_WATER)
    folder.save_changed(why="less water")
    update(folder)
    parent = folder.find_version("winter-clove").recipe.based_on
    assert parent is not None
    assert (parent.recipe, parent.version) == ("harbour-bar", folder.find_version("harbour-bar").id)
    assert find_update(folder, "winter-clove").is_empty


def test_a_base_that_was_renamed_in_the_variants_file_by_hand_is_found_by_its_earlier_save(folder: Folder) -> None:
    rename_recipe(folder, "first-bar", "harbour-bar")
    edit(folder, CLOVE, ("{recipe: first-bar,", "{recipe: harbour-bar,"))
    assert find_update(folder, "winter-clove").parent.slug == "harbour-bar"
    assert "branched from first-bar@" in describe_history(folder, "winter-clove")[-1].changed
    assert "became shea butter" in describe_history(folder, "winter-clove")[-1].changed


def test_the_name_of_a_renamed_base_that_another_recipe_took_misleads_nobody(folder: Folder) -> None:
    rename_recipe(folder, "first-bar", "harbour-bar")
    folder.save(
        folder.compose("first-bar", ["olive-oil 700 g", "coconut-oil 300 g"]), why="something else under the old name"
    )
    edit(folder, BASE, ("superfat: 5", "superfat: 9"))
    folder.save_changed(why="and changed")
    found = find_update(folder, "winter-clove")
    assert found.parent.slug == "harbour-bar"
    assert found.changes is None
    assert not moved_on(folder)


def test_a_parent_that_is_not_in_a_shallow_clone_is_refused_by_name(folder: Folder, tmp_path: Path) -> None:
    save_base(folder, LESS_WATER)
    clone = ["git", "clone", "-q", "--depth", "1", folder.root.as_uri(), str(tmp_path / "clone")]
    subprocess.run(clone, check=True, env={**os.environ, "HOME": str(tmp_path)})
    shallow = open_folder(tmp_path / "clone")
    with pytest.raises(InputError) as fault:
        find_update(shallow, "winter-clove")
    assert codes(fault) == ["parent-missing"]
    assert "first-bar@" in str(fault.value)
    assert "git fetch --unshallow" in str(fault.value)


@pytest.mark.parametrize("named", ["winter-clove", "spring-bar"])
def test_a_parent_that_is_not_that_recipes_is_refused_rather_than_guessed(folder: Folder, named: str) -> None:
    folder.save(folder.branch("first-bar@latest", "spring-bar", set_field("superfat", "8")), why="another")
    edit(folder, CLOVE, ("{recipe: first-bar,", f"{{recipe: {named},"))
    with pytest.raises(InputError) as fault:
        find_update(folder, "winter-clove")
    assert codes(fault) == ["parent-unclear"]


def test_a_recipe_without_a_parent_is_refused_with_the_variants_that_may_be_meant(folder: Folder) -> None:
    with pytest.raises(InputError) as fault:
        find_update(folder, "first-bar")
    assert codes(fault) == ["no-parent"]
    assert "winter-clove" in str(fault.value)
    with pytest.raises(InputError) as fault:
        find_update(folder, "winter-clove@latest")
    assert codes(fault) == ["not-a-version"]


def test_a_variant_of_a_variant_gets_one_step_and_is_told_of_the_next(folder: Folder) -> None:
    folder.save(folder.branch("winter-clove@latest", "clove-deluxe", set_field("castor-oil.at", "trace")), why="finer")
    save_base(folder, LESS_WATER)
    found = find_update(folder, "clove-deluxe")
    assert found.is_empty
    assert [finding.code for finding in found.findings] == ["base-behind"]
    assert "formulary update winter-clove" in found.findings[0].do
    update(folder)
    folder.save_changed(why="brought up")
    found = find_update(folder, "clove-deluxe")
    assert found.findings == ()
    assert {each.field for each in found.decisions if each.outcome.value == "taken"} == {"water"}


def test_a_base_that_was_deleted_still_brings_what_was_saved_of_it(folder: Folder) -> None:
    save_base(folder, LESS_WATER)
    (folder.root / BASE).unlink()
    folder.refresh()
    folder.save_changed(why="not made any more")
    found = find_update(folder, "winter-clove")
    assert [finding.code for finding in found.findings] == ["base-gone"]
    assert {each.field for each in found.decisions if each.outcome.value == "taken"} == {"water"}


def test_a_base_with_an_open_conflict_brings_nothing(folder: Folder) -> None:
    save_base(folder, ("notes:", "conflicts: [superfat 5 or 6]\nnotes:"))
    with pytest.raises(InputError) as fault:
        find_update(folder, "winter-clove")
    assert codes(fault) == ["conflict-open"]
    assert not moved_on(folder)


def moved_on(folder: Folder) -> list[str | None]:
    return [finding.place.path for finding in folder.check() if finding.code == "parent-moved-on"]


def test_check_tells_of_variants_that_an_update_would_change_and_of_no_others(folder: Folder) -> None:
    assert not moved_on(folder)
    save_base(folder, ("# An example to read", "# A bar to read"))  # a remark
    assert not moved_on(folder)
    save_base(folder, ("superfat: 5 ", "superfat: 6 "))  # as the variant has it already
    assert not moved_on(folder)
    save_base(folder, LESS_WATER)
    assert moved_on(folder) == [CLOVE]
    assert {finding.severity.value for finding in folder.check() if finding.code == "parent-moved-on"} == {"note"}
    rename_recipe(folder, "first-bar", "harbour-bar")
    assert moved_on(folder) == [CLOVE]
    update(folder)
    assert not moved_on(folder)


def test_history_and_diff_are_right_after_an_update(folder: Folder) -> None:
    save_base(folder, LESS_WATER)
    update(folder)
    report = folder.save_changed(why="brought up")
    assert "based on: first-bar@" in report.message
    assert folder.history("winter-clove")[-1].number == 2
    changes = folder.diff("winter-clove@1", "winter-clove@2")
    assert changes.sentence.startswith("The lye concentration rose from 33 to 35 %")
    sides = changes.to_json()["based_on"]
    assert isinstance(sides, dict)
    assert sides["after"]["version"] == folder.find_version("first-bar@latest").id


CALLS = ("open", "fsync", "replace", "chmod", "unlink")


@pytest.mark.parametrize("call", CALLS)
@pytest.mark.parametrize("after", [False, True])
def test_a_write_that_is_cut_short_leaves_the_old_file_or_the_new_one_whole(
    folder: Folder, monkeypatch: pytest.MonkeyPatch, call: str, after: bool
) -> None:
    save_base(folder, LESS_WATER)
    found = find_update(folder, "winter-clove")
    whole = {found.variant.text, found.after.text}
    original: Callable[..., object] = getattr(os, call)

    def fail(*arguments: object, **named: object) -> object:
        if after:
            original(*arguments, **named)
        raise OSError(5, "the disk gave up")

    with monkeypatch.context() as context:
        context.setattr(os, call, fail)
        with suppress(StorageError, OSError):
            apply_update(folder, found)
    assert text_of(folder) in whole
