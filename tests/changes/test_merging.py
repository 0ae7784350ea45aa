"""Merging is done on the changes: nothing of either side is lost, nothing is resolved silently, oils total 100."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import assume, event, given
from hypothesis import strategies as st

from formulary.changes.apply import apply_changes
from formulary.changes.compare import compare_recipes
from formulary.changes.decision import Choice, MergeOutcome, conflict_field
from formulary.changes.merge import Merge, merge_recipes
from formulary.errors import InputError
from formulary.rate import parse_rate
from formulary.recipes.edit import edit_recipe
from formulary.recipes.model import Recipe, comparable
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
    return replace(recipe, additions=extra, scent=scent, portions=draw(portions((*extra, *scent))))


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


def both_changed(merge: Merge) -> list[str]:
    """What both sides changed, differently."""
    alone = (MergeOutcome.TAKEN, MergeOutcome.KEPT, MergeOutcome.ALIKE)
    return [each.field for each in merge.decisions if each.outcome not in alone]


def is_valid(recipe: Recipe, data: st.DataObject) -> bool:
    """Whether the reader takes a file that says it."""
    text = data.draw(texts(replace(recipe, conflicts=())))
    return parse_recipe(text, recipe.slug)[0] is not None


@given(recipes(), st.data())
def test_what_both_sides_did_alike_is_done_once(base: Recipe, data: st.DataObject) -> None:
    same = data.draw(changed(base))
    merge = merge_recipes(base, same, same)
    assert content(merge.recipe) == content(same)
    assert {each.outcome for each in merge.decisions} <= {MergeOutcome.ALIKE}
    assert bool(merge.decisions) == (content(base) != content(same))


@given(recipes(), st.data())
def test_what_one_side_alone_did_is_taken(base: Recipe, data: st.DataObject) -> None:
    other = data.draw(changed(base))
    for merge, outcome in (
        (merge_recipes(base, other, base), MergeOutcome.KEPT),
        (merge_recipes(base, base, other), MergeOutcome.TAKEN),
    ):
        assert content(merge.recipe) == content(other)
        assert {each.outcome for each in merge.decisions} <= {outcome}
        assert bool(merge.decisions) == (content(base) != content(other))


@given(three_sides())
def test_merging_is_the_same_from_both_sides(sides: tuple[Recipe, Recipe, Recipe]) -> None:
    base, ours, theirs = sides
    one, other = merge_recipes(base, ours, theirs), merge_recipes(base, theirs, ours)
    # While a line is open, mine stands, and what the other side's portions get of it may be open with it.
    open_lines = any(each.field.startswith(("additions.", "scent.")) for each in (*one.conflicts, *other.conflicts))
    told = [
        sorted(each.field for each in merge.decisions if not (open_lines and each.field.startswith("portions")))
        for merge in (one, other)
    ]
    assert told[0] == told[1]
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
    assert [conflict_field(words) for words in merge.recipe.conflicts] == [each.field for each in merge.conflicts]


@given(three_sides())
def test_updating_twice_is_updating_once(sides: tuple[Recipe, Recipe, Recipe]) -> None:
    base, ours, theirs = sides
    merge = merge_recipes(base, ours, theirs)
    assume(not merge.conflicts)
    again = merge_recipes(theirs, merge.recipe, theirs)  # the parent is now theirs
    assert content(again.recipe) == content(merge.recipe)
    assert {each.outcome for each in again.decisions} <= {MergeOutcome.KEPT}


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
    assert not (both_changed(merge))
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


def merged(
    ours: list[tuple[str, str]], theirs: list[tuple[str, str]], choices: Mapping[str, Choice] | None = None
) -> Merge:
    return merge_recipes(recipe(), recipe(*ours), recipe(*theirs), choices=choices or {})


def percents(merge: Merge) -> dict[str, Decimal]:
    return {line.material: line.percent for line in merge.recipe.oils}


def test_changes_of_different_oils_are_both_taken() -> None:
    merge = merged(
        [("olive-oil: 50", "olive-oil: 45"), ("castor-oil: 5", "castor-oil: 10")],
        [("coconut-oil: 25", "coconut-oil: 22"), ("rice-bran-oil: 20", "rice-bran-oil: 23")],
    )
    assert percents(merge) == {"olive-oil": 45, "coconut-oil": 22, "rice-bran-oil": 23, "castor-oil": 10}
    assert {each.field: each.outcome.value for each in merge.decisions} == {
        "oils.olive-oil": "kept",
        "oils.castor-oil": "kept",
        "oils.coconut-oil": "taken",
        "oils.rice-bran-oil": "taken",
    }


def test_changes_of_one_oil_in_opposite_directions_are_added_and_told() -> None:
    merge = merged(
        [("olive-oil: 50", "olive-oil: 45"), ("castor-oil: 5", "castor-oil: 10")],
        [("rice-bran-oil: 20", "rice-bran-oil: 18"), ("olive-oil: 50", "olive-oil: 52")],
    )
    assert percents(merge) == {"olive-oil": 47, "coconut-oil": 25, "rice-bran-oil": 18, "castor-oil": 10}
    (added,) = [each for each in merge.decisions if each.outcome is MergeOutcome.ADDED]
    assert (added.field, added.before, added.mine, added.theirs, added.merged) == (
        "oils.olive-oil",
        "50 %",
        "45 %",
        "52 %",
        "47 %",
    )


def test_one_oil_changed_the_same_way_by_different_amounts_is_a_conflict_of_the_oils() -> None:
    ours = [("olive-oil: 50", "olive-oil: 45"), ("castor-oil: 5", "castor-oil: 10")]
    theirs = [("olive-oil: 50", "olive-oil: 47"), ("coconut-oil: 25", "coconut-oil: 28")]
    merge = merged(ours, theirs)
    assert merge.recipe.conflicts == (
        "oils: here olive-oil 45 %, coconut-oil 25 %, castor-oil 10 %; in harbour-base olive-oil 47 %, coconut-oil 28 %"
        ", castor-oil 5 %; before olive-oil 50 %, coconut-oil 25 %, castor-oil 5 %; both changes together olive-oil"
        " 42 %, coconut-oil 28 %, castor-oil 10 %. Keep what stands above or change it, then delete this line.",
    )
    assert percents(merge) == {"olive-oil": 45, "coconut-oil": 25, "rice-bran-oil": 20, "castor-oil": 10}
    for choice, olive, coconut, castor in (
        (Choice.MINE, 45, 25, 10),
        (Choice.THEIRS, 47, 28, 5),
        (Choice.BOTH, 42, 28, 10),
    ):
        settled = merged(ours, theirs, {"oils": choice})
        assert not settled.recipe.conflicts
        assert [(each.field, each.outcome) for each in settled.decisions] == [("oils", MergeOutcome.SETTLED)]
        assert percents(settled) == {
            "olive-oil": olive,
            "coconut-oil": coconut,
            "rice-bran-oil": 20,
            "castor-oil": castor,
        }


def test_a_total_that_breaks_is_a_conflict_even_where_no_line_collides() -> None:
    merge = merged(
        [("olive-oil: 50", "olive-oil: 45"), ("castor-oil: 5", "castor-oil: 10")],
        [("olive-oil: 50", "olive-oil: 45"), ("coconut-oil: 25", "coconut-oil: 30")],
    )
    (conflict,) = merge.conflicts
    assert conflict.field == "oils"
    assert sum(percents(merge).values()) == 100


def test_an_oil_that_one_side_took_out_and_the_other_changed_is_a_conflict() -> None:
    merge = merged(
        [("castor-oil: 5", "castor-oil: 8"), ("rice-bran-oil: 20", "rice-bran-oil: 17")],
        [(", castor-oil: 5", ""), ("coconut-oil: 25", "coconut-oil: 30")],
    )
    assert [each.field for each in merge.conflicts] == ["oils"]


def test_an_oil_that_one_side_took_out_and_the_other_holds_back_is_a_conflict() -> None:
    held_back = [("castor-oil: 5", "castor-oil: {percent: 5, at: trace}")]
    without = [(", castor-oil: 5", ""), ("coconut-oil: 25", "coconut-oil: 30")]
    for ours, theirs in ((held_back, without), (without, held_back)):
        assert [each.field for each in merged(ours, theirs).conflicts] == ["oils"]


def test_both_changes_that_leave_less_than_nothing_of_an_oil_are_a_conflict_and_cannot_be_had_together() -> None:
    ours = [("rice-bran-oil: 20", "rice-bran-oil: 8"), ("castor-oil: 5", "castor-oil: 17")]
    theirs = [("rice-bran-oil: 20", "rice-bran-oil: 10"), ("coconut-oil: 25", "coconut-oil: 35")]
    (conflict,) = merged(ours, theirs).conflicts
    assert conflict.together is None
    with pytest.raises(InputError) as caught:
        merged(ours, theirs, {"oils": Choice.BOTH})
    assert [finding.code for finding in caught.value.findings] == ["negative-amount"]


@given(recipes(min_oils=2), st.data())
def test_oils_with_both_changes_together_total_100_and_have_no_negative_amount(
    base: Recipe, data: st.DataObject
) -> None:
    ours, theirs = (replace(base, oils=data.draw(st.one_of(moved_oils(base), oil_lines()))) for _ in range(2))
    (conflict, *_) = (*merge_recipes(base, ours, theirs).conflicts, None)
    event(f"conflict: {conflict is not None}, together: {conflict is not None and conflict.together is not None}")
    if conflict is None:
        return
    if conflict.together is None:
        with pytest.raises(InputError):
            merge_recipes(base, ours, theirs, choices={"oils": Choice.BOTH})
        return
    oils = merge_recipes(base, ours, theirs, choices={"oils": Choice.BOTH}).recipe.oils
    assert sum((line.percent for line in oils), Decimal(0)) == 100
    assert all(line.percent > 0 for line in oils)


@given(three_sides(), st.sampled_from([Choice.MINE, Choice.THEIRS]))
def test_settling_everything_for_one_side_leaves_no_conflict(
    sides: tuple[Recipe, Recipe, Recipe], choice: Choice
) -> None:
    merge = merge_recipes(*sides)
    settled = merge_recipes(*sides, choices={each.field: choice for each in merge.conflicts})
    assert settled.conflicts == ()
    if choice is Choice.MINE:
        assert content(settled.recipe) == content(replace(merge.recipe, conflicts=()))


@given(three_sides(), st.sampled_from([Choice.MINE, Choice.THEIRS]), st.data())
def test_settling_some_of_it_opens_no_conflict_that_was_not_there(
    sides: tuple[Recipe, Recipe, Recipe], choice: Choice, data: st.DataObject
) -> None:
    fields = [each.field for each in merge_recipes(*sides).conflicts]
    some = data.draw(st.lists(st.sampled_from(fields), unique=True)) if fields else []
    settled = merge_recipes(*sides, choices=dict.fromkeys(some, choice))
    assert {each.field for each in settled.conflicts} == set(fields) - set(some)


def test_what_portions_get_of_a_scent_goes_with_it_when_that_is_chosen() -> None:
    line = "scent: [{material: clove-bud-oil, rate: 1 % of oils}]"
    divided = line.replace("1 %", "2 %") + (
        "\nportions: [{name: plain, share: 50, gets: {clove-bud-oil: 0}}, "
        "{name: clove, share: 50, gets: {clove-bud-oil: 100}}]"
    )
    assert [each.field for each in merged([(line, divided)], [(line, "scent: []")]).conflicts] == [
        "scent.clove-bud-oil"
    ]
    settled = merged([(line, divided)], [(line, "scent: []")], {"scent.clove-bud-oil": Choice.THEIRS})
    assert settled.conflicts == ()
    assert settled.recipe.scent == ()
    assert [(each.name, each.gets) for each in settled.recipe.portions] == [("plain", ()), ("clove", ())]
    told = {each.field: each.outcome for each in settled.decisions}
    assert told["portions"] is MergeOutcome.SETTLED


@given(three_sides())
def test_what_they_changed_can_be_declined_thing_by_thing(sides: tuple[Recipe, Recipe, Recipe]) -> None:
    before, ours, theirs = sides
    merge = merge_recipes(before, ours, theirs)
    assume(not merge.conflicts)
    assume(not any(each.field.startswith("portions") for each in merge.decisions))
    theirs_alone = [each for each in merge.decisions if each.outcome in (MergeOutcome.TAKEN, MergeOutcome.ADDED)]
    fields = {"oils" if each.field.startswith("oils") else each.field for each in theirs_alone}
    declined = merge_recipes(before, ours, theirs, choices=dict.fromkeys(fields, Choice.MINE))
    assert content(declined.recipe) == content(ours)


@pytest.mark.parametrize(
    ("ours", "theirs", "fields"),
    [
        (("superfat: 5", "superfat: 6"), ("superfat: 5", "superfat: 7"), ["lye.superfat"]),
        (("lye_concentration: 33", "lye_concentration: 35"), ("lye_concentration: 33", "water_to_lye: 2"), ["water"]),
        (("rate: 1 %", "rate: 2 %"), ("rate: 1 %", "rate: 3 %"), ["scent.clove-bud-oil.rate"]),
        (("rate: 8 %", "rate: 9 %"), ("water: replaces", "water: extra"), []),
        (
            ("rate: 1 %", "rate: 2 %"),
            ("scent: [{material: clove-bud-oil, rate: 1 % of oils}]", "scent: []"),
            ["scent.clove-bud-oil"],
        ),
        (("at: oils", "at: trace"), ("at: oils", "at: lye water"), ["additions.oat-milk"]),
        (("at: oils", "at: trace"), ("rate: 8 %", "rate: 9 %"), ["additions.oat-milk"]),
        (("name: Harbour base", "name: A"), ("name: Harbour base", "name: B"), ["name"]),
    ],
)
def test_two_different_changes_of_one_field_are_a_conflict(
    ours: tuple[str, str], theirs: tuple[str, str], fields: list[str]
) -> None:
    merge = merged([ours], [theirs])
    assert [conflict.field for conflict in merge.conflicts] == fields
    assert len(merge.recipe.additions) == 1
    if not fields:
        (milk,) = merge.recipe.additions
        assert (milk.rate, milk.water) == (parse_rate("9 % of oils"), "extra")
    for field in fields:
        mine = merged([ours], [theirs], {field: Choice.MINE})
        other = merged([ours], [theirs], {field: Choice.THEIRS})
        assert content(mine.recipe) == content(recipe(ours))
        assert content(other.recipe) == content(recipe(theirs))


def test_what_is_ones_own_stays_where_both_changed_it_and_is_told() -> None:
    sides = recipe(), recipe(("name: Harbour base", "name: A")), recipe(("name: Harbour base", "name: B"))
    merge = merge_recipes(*sides, own=("name", "notes"))
    assert merge.recipe.name == "A"
    (decision,) = merge.decisions
    assert (decision.outcome, decision.theirs) == (MergeOutcome.KEPT, "B")


@pytest.mark.parametrize(
    ("choices", "code"),
    [
        ({"water": Choice.MINE}, "nothing-to-settle"),
        ({"lye.superfat": Choice.BOTH}, "not-a-choice"),
        ({"scent.clove-bud-oil": Choice.MINE}, "nothing-to-settle"),
    ],
)
def test_a_choice_that_fits_nothing_is_refused_and_says_what_there_is(choices: dict[str, Choice], code: str) -> None:
    with pytest.raises(InputError) as caught:
        merged([("superfat: 5", "superfat: 6")], [("superfat: 5", "superfat: 7")], choices)
    assert [finding.code for finding in caught.value.findings] == [code]
    if code == "nothing-to-settle":
        assert "lye.superfat" in caught.value.findings[0].do


def test_a_choice_for_one_thing_goes_before_one_for_all_that_it_is_part_of() -> None:
    theirs = [("superfat: 5", "superfat: 7"), ("alkali: sodium-hydroxide", "alkali: potassium-hydroxide")]
    choices = {"lye": Choice.MINE, "lye.superfat": Choice.THEIRS}
    for ordered in (choices, dict(reversed(choices.items()))):
        lye = merged([("superfat: 5", "superfat: 6")], theirs, ordered).recipe.lye
        assert lye.superfat == 7
        assert [name for name, _ in lye.alkalis] == ["sodium-hydroxide"]


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
    assert read.conflicts == (
        "lye.superfat: here 6 %; in harbour-base 7 %; before 5 %. Keep what stands above or change it, then delete"
        " this line.",
    )
    assert edit_recipe(text, replace(read, conflicts=())) == ours
