"""Editing a recipe changes the characters that were asked for and nothing else."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import assume, event, given
from hypothesis import strategies as st

from formulary.errors import InputError
from formulary.rate import Basis, Rate
from formulary.recipes.edit import edit_recipe
from formulary.recipes.model import BasedOn, OilLine, Recipe, Water, comparable
from formulary.recipes.read import parse_recipe
from tests.laws.strategies import (
    COVERS,
    additions,
    lyes,
    oil_lines,
    portions,
    processes,
    recipes,
    scents,
    waters,
    words,
    written_recipes,
)


def lines(text: str) -> list[str]:
    return re.split(r"(?<=\n)", text)


def changed_lines(before: str, after: str) -> tuple[Counter[str], Counter[str]]:
    """The lines that went and the lines that came."""
    old, new = Counter(lines(before)), Counter(lines(after))
    return old - new, new - old


def comment_lines(text: str) -> list[str]:
    """Comments that stand on lines of their own."""
    return re.findall(r"^ *# line \d+", text, re.MULTILINE)


@given(written_recipes())
def test_editing_to_what_the_file_says_already_changes_no_byte(written: tuple[Recipe, str]) -> None:
    recipe, text = written
    assert edit_recipe(text, recipe) == text


@given(written_recipes(), st.data())
def test_one_changed_value_changes_one_line(written: tuple[Recipe, str], data: st.DataObject) -> None:
    recipe, text = written
    changes = [
        replace(recipe, name="Another name"),
        replace(recipe, lye=replace(recipe.lye, superfat=recipe.lye.superfat + Decimal("1.5"))),
        replace(recipe, water=replace(recipe.water, value=recipe.water.value + Decimal("0.25"))),
        replace(recipe, water=Water("percent_of_oils", Decimal("36.5"))),
    ]
    for index, line in enumerate(recipe.scent):
        new = replace(line, rate=Rate(Decimal("4.25"), "%", Basis.OILS))
        changes.append(replace(recipe, scent=(*recipe.scent[:index], new, *recipe.scent[index + 1 :])))
    for index, line in enumerate(recipe.additions):
        new = replace(line, rate=Rate(line.rate.amount + 1, line.rate.unit, line.rate.basis))
        changes.append(replace(recipe, additions=(*recipe.additions[:index], new, *recipe.additions[index + 1 :])))
    if "cover" in recipe.process:
        cover = next(word for word in COVERS if word != recipe.process["cover"])
        changes.append(replace(recipe, process={**recipe.process, "cover": cover}))
    intended = data.draw(st.sampled_from(changes))
    assume(comparable(intended) != comparable(recipe))
    gone, come = changed_lines(text, edit_recipe(text, intended))
    assert (gone.total(), come.total()) == (1, 1)
    comment = re.compile(r"#.*")
    assert comment.findall(next(iter(gone))) == comment.findall(next(iter(come))) or "Another" in next(iter(come))


@given(written_recipes(min_oils=2), st.data())
def test_a_swap_between_two_oils_changes_their_two_lines(written: tuple[Recipe, str], data: st.DataObject) -> None:
    recipe, text = written
    giver, taker = data.draw(st.permutations(recipe.oils))[:2]
    points = giver.percent / 2
    moved = {giver.material: giver.percent - points, taker.material: taker.percent + points}
    oils = tuple(replace(line, percent=moved.get(line.material, line.percent)) for line in recipe.oils)
    after = edit_recipe(text, replace(recipe, oils=oils))
    gone, come = changed_lines(text, after)
    assert (gone.total(), come.total()) in ((2, 2), (1, 1))  # one line when all oils stand on it
    assert comment_lines(after) == comment_lines(text)
    assert after.count("# remark") == text.count("# remark")


@given(written_recipes(), st.sampled_from(["hemp-seed-oil", "walnut-oil"]))
def test_a_new_oil_adds_one_line_and_keeps_all_comments(written: tuple[Recipe, str], name: str) -> None:
    recipe, text = written
    assume(name not in [line.material for line in recipe.oils])
    largest = max(recipe.oils, key=lambda line: line.percent)
    points = largest.percent / 2
    oils = [replace(line, percent=line.percent - points) if line == largest else line for line in recipe.oils]
    after = edit_recipe(text, replace(recipe, oils=(*oils, OilLine(name, points))))
    gone, come = changed_lines(text, after)
    assert (gone.total(), come.total()) in ((1, 2), (1, 1), (2, 3))  # the last line may need a comma
    assert comment_lines(after) == comment_lines(text)
    assert after.count("# remark") == text.count("# remark")


@given(written_recipes(), recipes())
def test_any_recipe_can_be_edited_into_any_other_or_is_refused(written: tuple[Recipe, str], other: Recipe) -> None:
    recipe, text = written
    intended = replace(other, slug=recipe.slug)
    try:
        after = edit_recipe(text, intended)
    except InputError as refusal:
        codes = {finding.code for finding in refusal.findings}
        event(f"refused: {codes}")
        after = None
    if after is None:
        assert codes == {"edit-by-hand"}
        return
    read, findings = parse_recipe(after, recipe.slug)
    assert findings == ()
    assert read is not None
    assert comparable(read) == comparable(intended)


@given(written_recipes(), st.data())
def test_changes_of_any_part_are_made_and_comments_outside_what_goes_survive(
    written: tuple[Recipe, str], data: st.DataObject
) -> None:
    recipe, text = written
    extra, scent = data.draw(additions()), data.draw(scents())
    part = data.draw(
        st.sampled_from(["oils", "lye", "water", "additions", "process", "parent", "notes", "formerly", "purpose"])
    )
    if part == "oils":
        intended = replace(recipe, oils=data.draw(oil_lines()))
    elif part == "lye":
        intended = replace(recipe, lye=data.draw(lyes()))
    elif part == "water":
        intended = replace(recipe, water=data.draw(waters()))
    elif part == "additions":
        intended = replace(recipe, additions=extra, scent=scent, portions=data.draw(portions((*extra, *scent))))
    elif part == "process":
        intended = replace(recipe, process=data.draw(processes()))
    elif part == "parent":
        intended = replace(recipe, based_on=BasedOn("harbour-base", "0123456789" * 4))
    elif part == "formerly":
        intended = replace(recipe, formerly=())
    elif part == "purpose":
        intended = replace(recipe, purpose="household")
    else:
        intended = replace(recipe, notes=data.draw(words()))
    after = edit_recipe(text, intended)
    read, findings = parse_recipe(after, recipe.slug)
    assert findings == ()
    assert read is not None
    assert comparable(read) == comparable(intended)
    if part not in ("additions", "process", "oils"):
        assert comment_lines(after) == comment_lines(text)
        # Where the last lines of a file go, a blank line above them may become its end.
        assert after.endswith("\n") == text.endswith("\n")
    assert after.startswith("\ufeff") == text.startswith("\ufeff")
    assert ("\r\n" in after) == ("\r\n" in text)
    assert re.sub("\r\n", "", after).count("\n") == re.sub("\r\n", "", text).count("\n") or "\r\n" not in text


BASE = """\
# Our everyday bar.
format: 1
name: Harbour base   # made since the first winter

oils:                # percent of the oils
  olive-oil:    53.0 # the mill's own
  coconut-oil:  25
  # castor makes the lather last
  castor-oil:   22

lye: {alkali: sodium-hydroxide, superfat: 5 %}
water: {lye_concentration: 33}
notes: >
  Pour cool.
"""


def read(text: str) -> Recipe:
    recipe, findings = parse_recipe(text, "harbour-base")
    assert recipe is not None, findings
    return recipe


def test_numbers_keep_the_digits_and_the_signs_that_they_were_written_with() -> None:
    recipe = read(BASE)
    oils = (
        replace(recipe.oils[0], percent=recipe.oils[0].percent - 10),
        recipe.oils[1],
        recipe.oils[2],
        OilLine("hemp-seed-oil", Decimal(10)),
    )
    after = edit_recipe(BASE, replace(recipe, oils=oils, lye=replace(recipe.lye, superfat=Decimal(6))))
    assert after == BASE.replace("53.0", "43.0").replace("5 %", "6 %").replace(
        "  castor-oil:   22\n", "  castor-oil:   22\n  hemp-seed-oil: 10\n"
    )


def test_braces_over_several_lines_stay_so() -> None:
    tall = BASE.replace("oils:                # percent of the oils\n", "oils: {              # percent of the oils\n")
    tall = tall.replace("53.0 #", "53.0, #").replace("  coconut-oil:  25\n", "  coconut-oil:  25,\n")
    tall = tall.replace("  castor-oil:   22\n", "  castor-oil:   22   # sold out\n  }\n")
    recipe = read(tall)
    oils = (replace(recipe.oils[0], percent=Decimal("43.0")), *recipe.oils[1:], OilLine("hemp-seed-oil", Decimal(10)))
    after = edit_recipe(tall, replace(recipe, oils=oils))
    assert after == tall.replace("53.0", "43.0").replace(
        "  castor-oil:   22   # sold out\n", "  castor-oil:   22,   # sold out\n  hemp-seed-oil: 10\n"
    )
    gone = (replace(recipe.oils[0], percent=Decimal("78.0")), recipe.oils[2])
    assert edit_recipe(tall, replace(recipe, oils=gone)) == tall.replace("53.0", "78.0").replace(
        "  coconut-oil:  25,\n", ""
    )


def test_a_new_section_stands_where_it_belongs() -> None:
    recipe = read(BASE)
    after = edit_recipe(BASE, replace(recipe, process={"cover": "insulated"}))
    assert after == BASE.replace("notes:", "process:\n  cover: insulated\nnotes:")


def test_a_new_section_is_set_apart_where_the_others_are() -> None:
    spaced = BASE.replace("water:", "\n# how much water\nwater:")
    after = edit_recipe(spaced, replace(read(spaced), process={"cover": "insulated"}))
    assert after == spaced.replace("notes:", "\nprocess:\n  cover: insulated\nnotes:")


def test_a_folded_note_can_be_replaced() -> None:
    recipe = read(BASE)
    after = edit_recipe(BASE, replace(recipe, notes="Pour at 30 °C: slowly."))
    assert after == BASE.replace(">\n  Pour cool.", '"Pour at 30 °C: slowly."')


@pytest.mark.parametrize("between", [", ", "\n  "])
def test_how_a_liquid_goes_in_can_be_set_changed_and_taken_away(between: str) -> None:
    line = between.join(["material: oat-milk", "rate: 8 % of oils", "at: lye water", "water: replaces"])
    line = f"- {line}" if "\n" in between else f"- {{{line}}}"
    text = BASE.replace("notes:", f"additions:\n{line}\nnotes:")
    recipe = read(text)
    now = text
    for how in (("frozen",), ("chilled",), ("frozen", "flat"), ("flat",), ()):
        milk = replace(recipe.additions[-1], prepared=how)
        now = edit_recipe(now, replace(recipe, additions=(*recipe.additions[:-1], milk)))
        assert read(now).additions[-1].prepared == how
    assert now == text


def test_what_cannot_be_changed_safely_is_refused_by_name() -> None:
    text = BASE.replace(
        "notes: >\n  Pour cool.\n", "portions:\n- name: a\n  share:\n    percent: 50\n- {name: b, share: 50}\n"
    )
    recipe = read(text)
    halves = (replace(recipe.portions[0], by_eye=Decimal(5)), recipe.portions[1])
    with pytest.raises(InputError) as refusal:
        edit_recipe(text, replace(recipe, portions=halves))
    assert [finding.code for finding in refusal.value.findings] == ["edit-by-hand"]
    assert "`portions`" in refusal.value.findings[0].do
