"""What proved better in a variant goes back to its base as laid down: what was asked for alone, and never guessed."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterable
from decimal import Decimal
from pathlib import Path

import pytest

from formulary import Folder, SendBack, open_folder, set_field
from formulary.errors import ChangedError, InputError, StopError
from formulary.folder.returning import rename_recipe, restore_version
from formulary.recipes.tweaks import drop
from formulary.variants.send_back_text import Standing
from formulary.variants.updating import apply_update, find_update
from tests.new_formulary import CLOVE, codes, edit, with_clove
from tests.new_formulary import FIRST as BASE

LESS_WATER = ("lye_concentration: 33", "lye_concentration: 35")
PORTIONS = """\
portions:
  - {name: plain, share: 50, gets: {clove-bud-oil: 0}}
  - {name: clove, share: 50, gets: {clove-bud-oil: 100}}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    """A base and a variant of it that is split in two."""
    made = with_clove(tmp_path / "soap")
    save(made, CLOVE, ("notes:", f"{PORTIONS}notes:"))
    return made


def save(folder: Folder, path: str, *changes: tuple[str, str]) -> None:
    edit(folder, path, *changes)
    folder.save_changed([Path(path).stem], why="another")


def text_of(folder: Folder, path: str = BASE) -> str:
    return (folder.root / path).read_text(encoding="utf-8")


def send(folder: Folder, *fields: str) -> SendBack:
    return folder.apply_send_back(folder.find_send_back("winter-clove", *fields))


def standings(found: SendBack) -> dict[str, str]:
    return {each.field: each.standing.value for each in found.variant_changes}


def lines_changed(before: str, after: str) -> list[str]:
    old, new = before.splitlines(), after.splitlines()
    return [line for line in new if line not in old] + [line for line in old if line not in new]


def test_what_a_variant_has_otherwise_is_shown_under_the_names_that_an_update_uses(folder: Folder) -> None:
    found = folder.find_send_back("winter-clove")
    assert standings(found) == dict.fromkeys(["name", "oils", "lye.superfat", "scent.clove-bud-oil", "portions"], "new")
    assert [each.field for each in found.variant_changes if each.is_own] == ["name"]
    assert {each.field: each.needs for each in found.variant_changes if each.needs} == {
        "portions": ("scent.clove-bud-oil",)
    }
    assert (found.is_empty, found.sent, found.changes, found.to_update) == (True, (), None, ())
    assert found.sentence == "winter-clove has 4 changes that can be sent back to first-bar."
    assert "    lye.superfat: 5 % -> 6 %" in str(found).splitlines()


def test_one_field_changes_one_line_of_the_bases_file(folder: Folder) -> None:
    before = text_of(folder)
    found = send(folder, "lye.superfat")
    assert found.sentence == "first-bar gets from winter-clove: lye.superfat."
    assert found.changes is not None
    assert [figure.key for figure in found.changes.lye] == ["sodium-hydroxide"]
    changed = lines_changed(before, text_of(folder))
    assert len(changed) == 2
    assert all("superfat" in line for line in changed)
    assert folder.find_version("first-bar").recipe.lye.superfat == Decimal(6)
    assert [each.path for each in folder.status().unsaved] == [BASE]
    folder.save_changed(["first-bar"], why="6 % was kinder to the skin")
    assert find_update(folder, "winter-clove").changes is None


def test_all_is_everything_but_the_variants_own_and_a_name_goes_when_it_is_named(folder: Folder) -> None:
    send(folder, "all")
    base, variant = (folder.find_version(name).recipe for name in ("first-bar", "winter-clove"))
    assert (base.name, base.based_on) == ("First bar", None)
    assert (base.lye, base.portions) == (variant.lye, variant.portions)
    assert {line.material: line.percent for line in base.oils} == {line.material: line.percent for line in variant.oils}
    restore_version(folder, "first-bar@latest", discard=True)
    found = send(folder, "all", "name")
    assert found.sent == tuple(each.field for each in found.variant_changes)
    assert folder.find_version("first-bar").recipe.name == "Winter clove"


def test_a_beginning_names_all_that_begins_so(folder: Folder) -> None:
    save(
        folder, CLOVE, ("alkali: sodium-hydroxide", "alkali: {by: mass, sodium-hydroxide: 95, potassium-hydroxide: 5}")
    )
    assert folder.find_send_back("winter-clove", "lye", "lye.superfat").sent == ("lye.alkali", "lye.superfat")


@pytest.mark.parametrize(
    ("fields", "code", "told"),
    [
        (["oils.olive-oil"], "nothing-to-send", "send all of them: oils"),
        (["water"], "nothing-to-send", "what it changed: name, oils, lye.superfat"),
        (["lye.superfatt"], "nothing-to-send", "did you mean lye.superfat?"),
        (["portions"], "needs-more", "send together: portions scent.clove-bud-oil"),
        (["lye", "portions", "name"], "needs-more", "send together: name lye.superfat portions scent.clove-bud-oil"),
    ],
)
def test_what_cannot_be_sent_by_itself_is_told_with_what_to_type(
    folder: Folder, fields: list[str], code: str, told: str
) -> None:
    with pytest.raises(InputError) as fault:
        folder.find_send_back("winter-clove", *fields)
    assert codes(fault) == [code]
    assert told in str(fault.value)


def test_a_line_that_the_bases_portions_divide_goes_with_them_alone(folder: Folder) -> None:
    folder.save(folder.branch("winter-clove@latest", "winter-plain", drop("clove-bud-oil")), why="no scent")
    with pytest.raises(InputError) as fault:
        folder.find_send_back("winter-plain", "scent")
    assert codes(fault) == ["needs-more"]
    assert "send together: scent.clove-bud-oil portions" in str(fault.value)
    together = folder.find_send_back("winter-plain", "scent", "portions").after.recipe
    assert (together.scent, [portion.gets for portion in together.portions]) == ((), [(), ()])


def test_what_the_base_changed_otherwise_is_settled_by_an_update_first(folder: Folder) -> None:
    save(folder, BASE, LESS_WATER, ("superfat: 5 ", "superfat: 7 "))
    before = text_of(folder)
    found = folder.find_send_back("winter-clove")
    assert standings(found)["lye.superfat"] == Standing.BOTH.value
    assert [finding.code for finding in found.findings] == ["parent-moved-on"]
    for fields in (["lye.superfat"], ["all"]):
        with pytest.raises(StopError) as fault:
            send(folder, *fields)
        assert codes(fault) == ["changed-by-both"]
        assert "update winter-clove first, settle it there, and save it" in str(fault.value)
    assert text_of(folder) == before
    apply_update(folder, find_update(folder, "winter-clove", settle={"lye.superfat": "mine"}))
    with pytest.raises(StopError) as fault:
        send(folder, "lye.superfat")
    assert "is not saved yet: formulary save winter-clove" in str(fault.value)
    folder.save_changed(["winter-clove"], why="brought up")
    send(folder, "lye.superfat")
    recipe = folder.find_version("first-bar").recipe
    assert (recipe.lye.superfat, recipe.water.value) == (Decimal(6), Decimal(35))


def test_what_the_base_changed_besides_stays_and_what_it_has_already_is_no_news(folder: Folder) -> None:
    save(folder, BASE, LESS_WATER, ("superfat: 5 ", "superfat: 6 "))
    found = send(folder, "lye.superfat", "scent")
    assert standings(found)["lye.superfat"] == Standing.THERE.value
    recipe = folder.find_version("first-bar").recipe
    assert (recipe.lye.superfat, recipe.water.value, len(recipe.scent)) == (Decimal(6), Decimal(35), 1)


@pytest.mark.parametrize(
    "changes",
    [
        [("sunflower-oil: 10", "sunflower-oil: 9"), ("castor-oil: 5", "castor-oil: 6")],  # other oils
        [("olive-oil: 60", "olive-oil: 64"), ("coconut-oil: 25", "coconut-oil: 21")],  # the other way
    ],
)
def test_oils_of_both_are_never_mixed_into_a_bar_that_nobody_poured(
    folder: Folder, changes: Iterable[tuple[str, str]]
) -> None:
    save(folder, BASE, *changes)
    with pytest.raises(StopError) as fault:
        send(folder, "oils")
    assert codes(fault) == ["changed-by-both"]
    apply_update(folder, find_update(folder, "winter-clove"))
    folder.save_changed(["winter-clove"], why="brought up")
    send(folder, "oils")
    base, variant = (folder.find_version(name).recipe for name in ("first-bar", "winter-clove"))
    assert sorted((line.material, line.percent) for line in base.oils) == sorted(
        (line.material, line.percent) for line in variant.oils
    )


def test_the_variants_that_an_update_would_then_change_are_told_and_no_others(folder: Folder) -> None:
    def branch(slug: str, superfat: str) -> None:
        folder.save(folder.branch("first-bar@latest", slug, set_field("superfat", superfat)), why="another")

    branch("spring-bar", "5")
    branch("summer-bar", "6")
    branch("autumn-bar", "8")
    folder.save(folder.branch("winter-clove@latest", "clove-deluxe", set_field("castor-oil.at", "trace")), why="finer")
    rename_recipe(folder, "first-bar", "harbour-bar")
    found = folder.find_send_back("winter-clove", "lye.superfat")
    assert found.base.slug == "harbour-bar"
    assert [each.text for each in found.to_update] == [
        "autumn-bar: to be settled: lye.superfat",
        "spring-bar: lye.superfat",
    ]
    folder.apply_send_back(found)
    folder.save_changed(["harbour-bar"], why="kinder")
    moved_on = {finding.place.path for finding in folder.check() if finding.code == "parent-moved-on"}
    assert moved_on == {"recipes/autumn-bar.yaml", "recipes/spring-bar.yaml"}


def test_only_what_is_saved_of_the_variant_is_sent_and_that_is_said(folder: Folder) -> None:
    edit(folder, CLOVE, ("superfat: 6 ", "superfat: 8 "))
    found = send(folder, "lye.superfat")
    assert [each.text for each in found.to_update] == ["winter-clove: to be settled: lye.superfat"]
    assert [finding.code for finding in found.findings] == ["variant-unsaved"]
    assert folder.find_version("first-bar").recipe.lye.superfat == Decimal(6)


def test_the_version_of_the_trial_that_proved_better_can_be_sent_though_others_were_saved_since(folder: Folder) -> None:
    better = folder.find_version("winter-clove@latest").name
    save(folder, CLOVE, ("superfat: 6 ", "superfat: 9 "))
    found = folder.apply_send_back(folder.find_send_back(better, "lye.superfat"))
    assert (found.is_earlier, [finding.code for finding in found.findings]) == (True, ["earlier-version"])
    assert folder.find_version("first-bar").recipe.lye.superfat == Decimal(6)
    assert [each.text for each in found.to_update] == ["winter-clove: to be settled: lye.superfat"]
    assert not folder.find_send_back("winter-clove@latest").is_earlier
    folder.save_changed(["first-bar"], why="6 % was kinder to the skin")
    assert [each.field for each in find_update(folder, "winter-clove").conflicts] == ["lye.superfat"]
    save(folder, BASE, ("superfat: 6 ", "superfat: 7 "))
    with pytest.raises(StopError) as fault:
        folder.find_send_back(better, "lye.superfat")
    assert f"formulary restore {better} makes it the last save again; then update" in str(fault.value)


def test_a_base_with_unsaved_changes_is_shown_but_not_written(folder: Folder) -> None:
    edit(folder, BASE, LESS_WATER)
    before = text_of(folder)
    found = folder.find_send_back("winter-clove", "lye.superfat")
    assert [finding.code for finding in found.findings] == ["base-unsaved"]
    assert found.changes is not None
    assert [figure.key for figure in found.changes.lye] == ["sodium-hydroxide"]
    with pytest.raises(ChangedError) as fault:
        folder.apply_send_back(found)
    assert codes(fault) == ["unsaved-changes"]
    assert "formulary save first-bar" in str(fault.value)
    assert text_of(folder) == before
    edit(folder, BASE, ("superfat: 5 ", "superfat: 7 "))
    with pytest.raises(StopError) as stopped:
        send(folder, "lye.superfat")
    assert "save first-bar first (formulary save first-bar -m WHY); then update winter-clove" in str(stopped.value)


def test_a_file_that_changed_meanwhile_is_not_overwritten(folder: Folder) -> None:
    found = folder.find_send_back("winter-clove", "oils")
    edit(folder, BASE, ("castor-oil: 5", "castor-oil: 5   # by hand"))
    with pytest.raises(ChangedError):
        folder.apply_send_back(found)
    assert "# by hand" in text_of(folder)


def test_it_can_be_taken_back_before_and_after_it_is_saved(folder: Folder) -> None:
    before = text_of(folder)
    send(folder, "all")
    restore_version(folder, "first-bar@latest", discard=True)
    assert text_of(folder) == before
    send(folder, "all")
    folder.save_changed(["first-bar"], why="all of it proved better")
    folder.undo()
    assert text_of(folder) == before


@pytest.mark.parametrize("path", [BASE, CLOVE])
@pytest.mark.parametrize("is_saved", [False, True])
def test_an_open_conflict_of_either_is_settled_first(folder: Folder, path: str, is_saved: bool) -> None:
    edit(folder, path, ("notes:", "conflicts: ['lye.superfat: 5 or 6']\nnotes:"))
    if is_saved:
        folder.save_changed(why="to be settled later")
    with pytest.raises(StopError) as fault:
        folder.find_send_back("winter-clove")
    assert codes(fault) == ["conflict-open"]
    assert Path(path).stem in str(fault.value)


def test_a_settled_conflict_that_is_not_saved_yet_is_told_so(folder: Folder) -> None:
    save(folder, CLOVE, ("notes:", "conflicts: ['lye.superfat: 5 or 6']\nnotes:"))
    edit(folder, CLOVE, ("conflicts: ['lye.superfat: 5 or 6']\n", ""))
    with pytest.raises(StopError) as fault:
        folder.find_send_back("winter-clove")
    assert "not saved yet: formulary save winter-clove" in str(fault.value)


def test_a_base_that_was_deleted_is_named_with_how_to_bring_it_back(folder: Folder) -> None:
    (folder.root / BASE).unlink()
    folder.refresh()
    folder.save_changed(why="not made any more")
    with pytest.raises(InputError) as fault:
        folder.find_send_back("winter-clove", "oils")
    assert codes(fault) == ["base-gone"]
    assert "formulary restore first-bar@latest" in str(fault.value)


def test_a_base_that_is_not_in_a_shallow_clone_is_refused_by_name(folder: Folder, tmp_path: Path) -> None:
    save(folder, BASE, LESS_WATER)
    clone = ["git", "clone", "-q", "--depth", "1", folder.root.as_uri(), str(tmp_path / "clone")]
    subprocess.run(clone, check=True, env={**os.environ, "HOME": str(tmp_path)})
    with pytest.raises(InputError) as fault:
        open_folder(tmp_path / "clone").find_send_back("winter-clove")
    assert codes(fault) == ["parent-missing"]


def test_a_recipe_without_a_base_a_version_that_is_none_and_one_never_saved_are_refused(folder: Folder) -> None:
    folder.write(folder.branch("first-bar@latest", "spring-bar", set_field("superfat", "8")))
    for named, code, told in (
        ("first-bar", "no-parent", "name the variant that is meant: spring-bar, winter-clove"),
        ("winter-clove@abcd1234", "no-version", "versions of it: winter-clove@"),
        ("spring-bar", "no-version", "formulary save spring-bar"),
    ):
        with pytest.raises(InputError) as fault:
            folder.find_send_back(named)
        assert codes(fault) == [code]
        assert told in str(fault.value)


def test_it_goes_one_step_and_the_next_is_told(folder: Folder) -> None:
    deluxe = folder.branch("winter-clove@latest", "clove-deluxe", set_field("superfat", "7"))
    folder.save(deluxe, why="finer")
    before = text_of(folder)
    found = folder.apply_send_back(folder.find_send_back("clove-deluxe", "all"))
    assert found.base.slug == "winter-clove"
    assert [finding.code for finding in found.findings] == ["one-step"]
    assert "formulary send-back winter-clove" in found.findings[0].do
    assert "a variant, of first-bar;" in found.findings[0].what
    assert text_of(folder) == before
    folder.save_changed(["winter-clove"], why="finer")
    assert send(folder, "lye").after.recipe.lye.superfat == Decimal(7)
    folder.save_changed(["first-bar"], why="once more")
    folder.rename("first-bar", "quay-base")
    assert "a variant, of quay-base;" in folder.find_send_back("clove-deluxe", "all").findings[0].what


def test_a_base_for_skin_that_would_be_one_no_more_is_warned_of(folder: Folder) -> None:
    save(folder, CLOVE, ("purpose: skin ", "purpose: household "))
    found = folder.find_send_back("winter-clove", "all")
    assert [(each.severity.value, each.code) for each in found.findings] == [("warn", "purpose-changed")]
    assert folder.find_send_back("winter-clove", "lye", "oils").findings == ()


def test_a_stop_that_the_base_would_get_is_told(folder: Folder) -> None:
    save(folder, CLOVE, ("purpose: skin ", "purpose: household "), ("superfat: 6 ", "superfat: -2 "))
    found = folder.find_send_back("winter-clove", "lye.superfat")
    assert found.changes is not None
    assert found.changes.stops
    assert not folder.find_send_back("winter-clove", "lye.superfat", "purpose").after.is_saved


def test_a_layout_that_cannot_be_changed_safely_is_told_and_nothing_written(folder: Folder) -> None:
    share = "share:\n    percent: 50"
    save(folder, BASE, ("\nprocess:", f"\nportions:\n- name: a\n  {share}\n- {{name: b, share: 50}}\nprocess:"))
    folder.save(folder.branch("first-bar@latest", "swirl-bar", set_field("superfat", "6")), why="a swirl")
    save(folder, "recipes/swirl-bar.yaml", (share, "share: {percent: 50, by_eye: 5}"))
    before = text_of(folder)
    with pytest.raises(InputError) as fault:
        folder.find_send_back("swirl-bar", "portions")
    assert codes(fault) == ["edit-by-hand"]
    assert "change `portions` in an editor; make that change by hand, save it" in str(fault.value)
    assert text_of(folder) == before
