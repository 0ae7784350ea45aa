"""Merging is done on the changes: nothing of either side is lost, nothing is resolved silently, oils total 100."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import assume, event, given
from hypothesis import strategies as st

from formulary.changes.apply import apply_changes
from formulary.changes.compare import compare_recipes
from formulary.changes.merge import Merge, merge_recipes
from formulary.errors import InputError
from formulary.quantity import parse_rate
from formulary.recipes.edit import comparable, edit_recipe
from formulary.recipes.model import Recipe
from formulary.recipes.read import parse_recipe
from tests.laws.strategies import additions, lyes, oil_lines, portions, processes, recipes, scents, waters, words
from tests.laws.strategies import recipe_texts as texts


@st.composite
def three_sides(draw: st.DrawFn) -> tuple[Recipe, Recipe, Recipe]:
    """A recipe, and what two people made of it."""
    base = draw(recipes())
    return base, draw(changed(base)), draw(changed(base))


@st.composite
def changed(draw: st.DrawFn, base: Recipe) -> Recipe:
    """The recipe with some of its parts changed, oils by points as well as drawn anew."""
    parts: dict[str, st.SearchStrategy[Any]] = {
        "oils": st.one_of(oil_lines(), moved_oils(base)),
        "lye": lyes(),
        "water": waters(),
        "process": processes(),
        "notes": words(),
        "name": words(),
    }
    chosen = draw(st.lists(st.sampled_from([*sorted(parts), "lines"]), max_size=3, unique=True))
    recipe = replace(base, **{part: draw(parts[part]) for part in chosen if part != "lines"})
    if "lines" not in chosen:
        return recipe
    extra, scent = draw(additions()), draw(scents())
    names = list(dict.fromkeys(line.material for line in (*extra, *scent)))
    return replace(recipe, additions=extra, scent=scent, portions=draw(portions(names)))


@st.composite
def moved_oils(draw: st.DrawFn, base: Recipe) -> Any:
    """Some points of one oil moved to another that is there."""
    if len(base.oils) < 2:
        return base.oils
    giver, taker = draw(st.permutations(base.oils))[:2]
    points = giver.percent / draw(st.sampled_from([2, 4, 5]))
    moved = {giver.material: giver.percent - points, taker.material: taker.percent + points}
    return tuple(replace(line, percent=moved.get(line.material, line.percent)) for line in base.oils)


def content(recipe: Recipe) -> dict[str, object]:
    return comparable(recipe)


def is_valid(recipe: Recipe, data: st.DataObject) -> bool:
    """Whether the reader takes a file that says it."""
    text = data.draw(texts(replace(recipe, conflicts=())))
    return parse_recipe(text, recipe.slug)[0] is not None


@given(recipes(), st.data())
def test_what_both_sides_did_alike_is_done_once(base: Recipe, data: st.DataObject) -> None:
    same = data.draw(changed(base))
    merge = merge_recipes(base, same, same)
    assert content(merge.recipe) == content(same)
    assert merge.decisions == ()


@given(recipes(), st.data())
def test_what_one_side_alone_did_is_taken(base: Recipe, data: st.DataObject) -> None:
    other = data.draw(changed(base))
    for merge in (merge_recipes(base, other, base), merge_recipes(base, base, other)):
        assert content(merge.recipe) == content(other)
        assert merge.decisions == ()


@given(three_sides())
def test_merging_is_the_same_from_both_sides(sides: tuple[Recipe, Recipe, Recipe]) -> None:
    base, ours, theirs = sides
    one, other = merge_recipes(base, ours, theirs), merge_recipes(base, theirs, ours)
    assert sorted(decision.field for decision in one.decisions) == sorted(
        decision.field for decision in other.decisions
    )
    event(f"conflicts: {bool(one.conflicts)}")
    if not one.conflicts:
        assert content(one.recipe) == content(other.recipe)


@given(three_sides(), st.data())
def test_every_merge_is_a_valid_recipe_that_totals_100(
    sides: tuple[Recipe, Recipe, Recipe], data: st.DataObject
) -> None:
    merge = merge_recipes(*sides)
    assert sum((line.percent for line in merge.recipe.oils), Decimal(0)) == 100
    assert all(line.percent >= 0 for line in merge.recipe.oils)
    assert is_valid(merge.recipe, data)
    assert merge.recipe.conflicts == tuple(str(conflict) for conflict in merge.conflicts)


@given(three_sides())
def test_updating_twice_is_updating_once(sides: tuple[Recipe, Recipe, Recipe]) -> None:
    base, ours, theirs = sides
    merge = merge_recipes(base, ours, theirs)
    assume(not merge.conflicts)
    again = merge_recipes(theirs, merge.recipe, theirs)  # the parent is now theirs
    assert content(again.recipe) == content(merge.recipe)
    assert again.decisions == ()


@given(three_sides())
def test_sending_back_and_then_updating_changes_nothing(sides: tuple[Recipe, Recipe, Recipe]) -> None:
    base, ours, theirs = sides
    merge = merge_recipes(base, ours, theirs)
    assume(not merge.conflicts)
    sent_back = merge_recipes(theirs, theirs, merge.recipe).recipe
    assert content(sent_back) == content(merge.recipe)
    assert content(merge_recipes(sent_back, merge.recipe, sent_back).recipe) == content(merge.recipe)


@given(three_sides())
def test_changes_of_different_parts_are_all_made(sides: tuple[Recipe, Recipe, Recipe]) -> None:
    base, ours, theirs = sides
    mixed = replace(base, oils=ours.oils, notes=ours.notes, name=ours.name)
    other = replace(base, lye=theirs.lye, water=theirs.water, process=theirs.process)
    merge = merge_recipes(base, mixed, other)
    assert merge.decisions == ()
    assert content(merge.recipe) == content(apply_changes(other, compare_recipes(base, mixed)))


@given(three_sides(), st.data())
def test_a_merge_can_be_written_into_our_file(sides: tuple[Recipe, Recipe, Recipe], data: st.DataObject) -> None:
    base, ours, theirs = sides
    merge = merge_recipes(base, ours, theirs)
    text = data.draw(texts(ours))
    try:
        written = edit_recipe(text, merge.recipe)
    except InputError as refusal:
        event(f"refused: {[finding.code for finding in refusal.findings]}")
        return
    read, findings = parse_recipe(written, ours.slug)
    assert read is not None, findings
    assert content(read) == content(merge.recipe)


TEXT = """\
format: 1
name: Harbour base
oils: {olive-oil: 50, coconut-oil: 25, rice-bran-oil: 20, castor-oil: 5}
lye: {alkali: sodium-hydroxide, superfat: 5}
water: {lye_concentration: 33}
additions: [{material: oat-milk, rate: 8 % of oils, at: oils, water: replaces}]
scent: [{material: clove-bud-oil, rate: 1 % of oils}]
"""


def recipe(*changes: tuple[str, str]) -> Recipe:
    text = TEXT
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    read, findings = parse_recipe(text, "harbour-base")
    assert read is not None, findings
    return read


def merged(ours: list[tuple[str, str]], theirs: list[tuple[str, str]]) -> Merge:
    return merge_recipes(recipe(), recipe(*ours), recipe(*theirs))


def percents(merge: Merge) -> dict[str, Decimal]:
    return {line.material: line.percent for line in merge.recipe.oils}


def test_changes_of_different_oils_are_both_taken() -> None:
    merge = merged(
        [("olive-oil: 50", "olive-oil: 45"), ("castor-oil: 5", "castor-oil: 10")],
        [("coconut-oil: 25", "coconut-oil: 22"), ("rice-bran-oil: 20", "rice-bran-oil: 23")],
    )
    assert percents(merge) == {"olive-oil": 45, "coconut-oil": 22, "rice-bran-oil": 23, "castor-oil": 10}
    assert merge.decisions == ()


def test_changes_of_one_oil_in_opposite_directions_are_added_and_told() -> None:
    merge = merged(
        [("olive-oil: 50", "olive-oil: 45"), ("castor-oil: 5", "castor-oil: 10")],
        [("rice-bran-oil: 20", "rice-bran-oil: 18"), ("olive-oil: 50", "olive-oil: 52")],
    )
    assert percents(merge) == {"olive-oil": 47, "coconut-oil": 25, "rice-bran-oil": 18, "castor-oil": 10}
    assert [str(decision) for decision in merge.decisions] == [
        "oils, olive-oil: was 50 %, ours 45 %, theirs 52 %, merged 47 %"
    ]


def test_one_oil_changed_the_same_way_by_different_amounts_is_a_conflict() -> None:
    merge = merged(
        [("olive-oil: 50", "olive-oil: 45"), ("castor-oil: 5", "castor-oil: 10")],
        [("olive-oil: 50", "olive-oil: 47"), ("coconut-oil: 25", "coconut-oil: 28")],
    )
    assert [str(conflict) for conflict in merge.conflicts] == ["oils, olive-oil: was 50 %, ours 45 %, theirs 47 %"]
    assert percents(merge) == {"olive-oil": 45, "coconut-oil": 25, "rice-bran-oil": 20, "castor-oil": 10}


def test_a_total_that_breaks_is_a_conflict_even_where_no_line_collides() -> None:
    merge = merged(
        [("olive-oil: 50", "olive-oil: 45"), ("castor-oil: 5", "castor-oil: 10")],
        [("olive-oil: 50", "olive-oil: 45"), ("coconut-oil: 25", "coconut-oil: 30")],
    )
    (conflict,) = merge.conflicts
    assert conflict.field == "oils"
    assert sum(percents(merge).values()) == 100


@pytest.mark.parametrize(
    ("ours", "theirs", "fields"),
    [
        (("superfat: 5", "superfat: 6"), ("superfat: 5", "superfat: 7"), ["lye, superfat"]),
        (("lye_concentration: 33", "lye_concentration: 35"), ("lye_concentration: 33", "water_to_lye: 2"), ["water"]),
        (("rate: 1 %", "rate: 2 %"), ("rate: 1 %", "rate: 3 %"), ["scent, clove-bud-oil at trace, rate"]),
        (("rate: 8 %", "rate: 9 %"), ("water: replaces", "water: extra"), []),
        (
            ("rate: 1 %", "rate: 2 %"),
            ("scent: [{material: clove-bud-oil, rate: 1 % of oils}]", "scent: []"),
            ["scent, clove-bud-oil at trace"],
        ),
        (("name: Harbour base", "name: A"), ("name: Harbour base", "name: B"), ["name"]),
    ],
)
def test_two_different_changes_of_one_field_are_a_conflict(
    ours: tuple[str, str], theirs: tuple[str, str], fields: list[str]
) -> None:
    merge = merged([ours], [theirs])
    assert [conflict.field for conflict in merge.conflicts] == fields
    if not fields:
        (milk,) = merge.recipe.additions
        assert (milk.rate, milk.water) == (parse_rate("9 % of oils"), "extra")


def test_an_open_conflict_must_be_settled_first() -> None:
    broken = replace(recipe(), conflicts=("superfat",))
    with pytest.raises(InputError) as caught:
        merge_recipes(recipe(), broken, recipe())
    assert [finding.code for finding in caught.value.findings] == ["conflict-open"]


def test_conflicts_are_kept_in_the_file_and_leave_it_when_settled() -> None:
    merge = merged([("superfat: 5", "superfat: 6")], [("superfat: 5", "superfat: 7")])
    ours = TEXT.replace("superfat: 5", "superfat: 6")
    text = edit_recipe(ours, merge.recipe)
    read, _ = parse_recipe(text, "harbour-base")
    assert read is not None
    assert read.conflicts == ("lye, superfat: was 5 %, ours 6 %, theirs 7 %",)
    assert edit_recipe(text, replace(read, conflicts=())) == ours
