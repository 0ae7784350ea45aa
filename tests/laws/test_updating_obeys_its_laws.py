"""Updating any variant of any base, written in any layout, obeys its laws; git's merge of lines is an outside judge."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from formulary import Folder, InputError
from formulary.changes.decision import MergeOutcome
from formulary.changes.merge import merge_recipes
from formulary.folder.returning import restore_version
from formulary.recipes.model import BasedOn, Recipe, comparable
from formulary.recipes.read import parse_recipe
from formulary.variants.updating import apply_update, find_update
from formulary.workshop.parent import OWN
from tests.laws.seasons import NUMBERS, PHASES, save, seasons, set_up
from tests.laws.strategies import recipe_texts
from tests.recipes.test_editing_keeps_the_file import comment_lines


@settings(max_examples=25, phases=PHASES)
@given(season=seasons(), word=st.sampled_from(["mine", "base"]))
def test_an_update_obeys_its_laws(
    folder: Folder, season: tuple[Recipe, str, Recipe, str, Recipe, str], word: str
) -> None:
    base, _, variant, _, later, _ = season
    slug = set_up(folder, season)
    path = folder.root / f"recipes/{slug}.yaml"
    before = path.read_bytes()
    try:
        found = find_update(folder, slug)
    except InputError as refusal:
        codes = {finding.code for finding in refusal.findings}
        event(f"refused: {sorted(codes)}")
        found = None
    if found is None:
        assert codes == {"edit-by-hand"}
        assert path.read_bytes() == before
        return
    event(f"conflicts: {bool(found.conflicts)}, empty: {found.is_empty}")
    assert path.read_bytes() == before  # finding it changed nothing
    apply_update(folder, found)

    # The file says what the merge of the three recipes says, and follows the last save of its base.
    merged = merge_recipes(base, variant, later, own=OWN).recipe
    read = folder.find_version(slug).recipe
    latest = folder.find_version(f"{found.parent.slug}@latest").id
    assert read.based_on == BasedOn(found.parent.slug, latest)
    for part, value in comparable(merged).items():
        if part not in ("based_on", "conflicts"):
            assert comparable(read)[part] == value, part
    assert len(read.conflicts) == len(merged.conflicts)
    assert sum((line.percent for line in read.oils), Decimal(0)) == 100
    assert all(line.percent >= 0 for line in read.oils)

    # What no line of the file had to go for is there still: remarks, byte order mark, line ends.
    after = path.read_bytes()
    gone = {each.field.partition(".")[0] for each in found.decisions if each.outcome is not MergeOutcome.KEPT}
    if not gone & {"oils", "additions", "scent", "portions", "process", "notes"}:
        assert comment_lines(after.decode()) == comment_lines(before.decode())
        assert after.count(b"# remark") == before.count(b"# remark")
    assert after.startswith(b"\xef\xbb\xbf") == before.startswith(b"\xef\xbb\xbf")
    assert (b"\r\n" in after) == (b"\r\n" in before)

    # Updating twice is updating once; what is settled leaves no trace; and all of it can be taken back.
    if found.conflicts:
        done = find_update(folder, slug, settle={each.field: word for each in found.conflicts})
        apply_update(folder, done)
        assert folder.find_version(slug).recipe.conflicts == ()
    once = path.read_bytes()
    again = find_update(folder, slug)
    assert again.is_empty
    assert not again.saves
    apply_update(folder, again)
    assert path.read_bytes() == once
    if once != before:
        restore_version(folder, f"{slug}@latest", discard=True)
    assert path.read_bytes() == before


@settings(max_examples=10, phases=PHASES)
@given(season=seasons(), data=st.data())
def test_a_base_that_took_over_the_variant_brings_nothing_back(
    folder: Folder, season: tuple[Recipe, str, Recipe, str, Recipe, str], data: st.DataObject
) -> None:
    base, _, variant, _, _, _ = season
    taken_over = replace(variant, name=base.name, based_on=None, notes=base.notes)
    slug = set_up(folder, (*season[:4], taken_over, data.draw(recipe_texts(taken_over))))
    found = find_update(folder, slug)
    assert found.changes is None
    assert {each.outcome for each in found.decisions} <= {MergeOutcome.ALIKE, MergeOutcome.KEPT}


# One field on a line of its own each, far apart, so that a merge of lines cannot meet where the fields do not.
FIELDS = {
    "purpose": ("skin", ("household",)),
    "superfat": ("5", ("6", "7.5")),
    "lye_concentration": ("33", ("35", "30")),
    "kaolin": ("1 % of oils", ("2 % of oils", "15 g per kg oils")),
    "clove-bud-oil": ("1 % of oils", ("0.5 % of oils",)),
    "cover": ("covered", ("open", "insulated")),
    "mould": ("slab", ("tall-loaf",)),
}
LAYOUT = """\
format: 1
name: Any bar
{pad}
purpose: {purpose}
{pad}
oils: {{olive-oil: 75, coconut-oil: 25}}
lye:
  alkali: sodium-hydroxide
  {pad}
  superfat: {superfat}
{pad}
water:
  lye_concentration: {lye_concentration}
{pad}
additions:
  - {{material: kaolin, rate: {kaolin}, at: oils}}
{pad}
scent:
  - {{material: clove-bud-oil, rate: {clove-bud-oil}, at: trace}}
{pad}
process:
  cover: {cover}
{pad}
  mould: {mould}
{pad}
notes: |
  As it was.
"""
PAD = "\n".join(["#"] * 8)


def laid_out(changes: dict[str, str]) -> str:
    values = {name: changes.get(name, value) for name, (value, _) in FIELDS.items()}
    text = LAYOUT
    for name, value in {**values, "pad": PAD}.items():
        text = text.replace("{" + name + "}", value)
    return text.replace("{{", "{").replace("}}", "}")


@st.composite
def independent_changes(draw: st.DrawFn) -> tuple[dict[str, str], dict[str, str]]:
    """What two sides made of fields, each field changed by one of them at most, or by both alike."""
    mine: dict[str, str] = {}
    theirs: dict[str, str] = {}
    for name, (_, others) in FIELDS.items():
        value = draw(st.sampled_from(others))
        for side in draw(st.sampled_from([(), (mine,), (theirs,), (mine, theirs)])):
            side[name] = value
    return mine, theirs


def merged_by_git(place: Path, mine: str, base: str, theirs: str) -> str:
    """What `git merge-file` (a merge of lines in three ways, of any texts) makes of them."""
    for name, text in (("mine", mine), ("base", base), ("theirs", theirs)):
        (place / name).write_text(text, encoding="utf-8")
    command = ["git", "merge-file", "-p", "mine", "base", "theirs"]
    return subprocess.run(command, cwd=place, check=True, capture_output=True, text=True).stdout


@given(changes=independent_changes())
def test_where_nothing_adds_it_is_what_a_general_merge_of_lines_gives(
    folder: Folder, changes: tuple[dict[str, str], dict[str, str]]
) -> None:
    texts = [laid_out(side) for side in (changes[0], {}, changes[1])]
    judged, faults = parse_recipe(merged_by_git(folder.root.parent, *texts), "any-bar")
    assert judged is not None, faults
    mine, before, theirs = (parse_recipe(text, "any-bar")[0] for text in texts)
    assert mine is not None
    assert before is not None
    assert theirs is not None
    merge = merge_recipes(before, mine, theirs)
    assert not merge.conflicts
    assert comparable(merge.recipe) == comparable(judged)


@settings(max_examples=8, phases=PHASES)
@given(changes=independent_changes())
def test_the_written_file_is_line_for_line_what_a_general_merge_of_lines_gives(
    folder: Folder, changes: tuple[dict[str, str], dict[str, str]]
) -> None:
    mine, base, theirs = (laid_out(side) for side in (changes[0], {}, changes[1]))
    assume(theirs != base)
    number = next(NUMBERS)
    first = save(folder, f"base-{number}", base)
    parent = f'based_on: {{recipe: base-{number}, version: "{first.id}"}}\n'
    save(folder, f"variant-{number}", mine + parent)
    second = save(folder, f"base-{number}", theirs)
    apply_update(folder, find_update(folder, f"variant-{number}"))
    expected = merged_by_git(folder.root.parent, mine, base, theirs) + parent.replace(first.id, second.id)
    assert (folder.root / f"recipes/variant-{number}.yaml").read_text(encoding="utf-8") == expected
