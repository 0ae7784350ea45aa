"""A recipe taken up again from its record is the recipe that was read, digit for digit, and stands where it stood."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.changes.compare import compare_recipes
from formulary.finding import Place
from formulary.recipes.kept_recipe import parse_kept_recipe, render_kept_recipe
from formulary.recipes.model import Recipe
from formulary.recipes.read import parse_recipe
from tests.laws.strategies import written_recipes


@given(written_recipes().map(lambda written: written[1]))
def test_a_record_gives_back_what_was_read(text: str) -> None:
    recipe, findings = parse_recipe(text, "harbour", "recipes/harbour.yaml")
    assert recipe is not None
    assert findings == ()
    again = parse_kept_recipe(render_kept_recipe(recipe), "harbour", "recipes/harbour.yaml", _no_places)
    assert again == recipe
    assert repr(again) == repr(recipe)  # 5.0 is not written 5
    assert dict(again.places) == dict(recipe.places)
    assert again.place("oils") == recipe.place("oils")


def test_a_record_is_taken_up_under_another_name_and_path() -> None:
    again = parse_kept_recipe(render_kept_recipe(_first()), "early", "recipes/early.yaml", _no_places)
    assert again is not None
    assert (again.slug, again.place("lye").path) == ("early", "recipes/early.yaml")


@given(st.binary(max_size=60))
def test_what_is_no_record_gives_no_recipe(data: bytes) -> None:
    assert parse_kept_recipe(data, "harbour", None, _no_places) is None


@pytest.mark.parametrize("cut", range(0, 400, 7))
def test_half_a_record_gives_no_recipe_or_the_same_formula(cut: int) -> None:
    recipe = _first()
    again = parse_kept_recipe(render_kept_recipe(recipe)[:cut], "first", None, _no_places)
    assert again is None or (again.oils, again.lye, again.water) == (recipe.oils, recipe.lye, recipe.water)


@given(data=st.data())
def test_a_part_of_another_kind_gives_no_recipe_or_one_that_can_be_told(data: st.DataObject) -> None:
    """Whatever stands where in a record, with brackets that close: no fault comes of it, then or later."""
    recipe = _full()
    *formula, places, notes = render_kept_recipe(recipe).split(b"\0")
    is_place = data.draw(st.booleans())
    parts = [json.loads(part) for part in ([places] if is_place else formula)]
    holder: Any = parts
    while True:
        at = data.draw(st.sampled_from(sorted(holder)) if isinstance(holder, dict) else st.integers(0, len(holder) - 1))
        if not isinstance(holder[at], list | dict) or not holder[at] or data.draw(st.booleans()):
            break
        holder = holder[at]
    holder[at] = data.draw(st.sampled_from([None, 5, True, "", "x", "NaN", "1e99", "Infinity", [], {}, [[]], ["a"]]))
    changed = [json.dumps(part).encode() for part in parts]
    record = b"\0".join([*formula, *changed, notes] if is_place else [*changed, places, notes])
    again = parse_kept_recipe(record, "full", "recipes/full.yaml", lambda: recipe.places)
    if is_place:
        assert again == recipe
    if again is not None:
        assert all(isinstance(place, Place) and isinstance(str(place), str) for place in again.places.values())
        assert all(isinstance(material, str) for material in again.materials())
        assert compare_recipes(recipe, again) is not None


@pytest.mark.parametrize("broken", [b"", b"[", b"5", b'["lye",1,2]', b'["lye","1",2,"lye"]', b"\xff", b"[" * 200_000])
def test_places_that_are_none_are_read_from_the_file(broken: bytes) -> None:
    recipe = _first()
    *formula, _, notes = render_kept_recipe(recipe).split(b"\0")
    again = parse_kept_recipe(b"\0".join([*formula, broken, notes]), "first", None, lambda: recipe.places)
    assert again is not None
    assert dict(again.places) == dict(recipe.places)


def test_notes_with_a_character_that_parts_records_are_not_kept() -> None:
    recipe, _ = parse_recipe(TEXT + 'notes: "a\\0b"\n', "first")
    assert recipe is not None
    assert render_kept_recipe(recipe) == b""


TEXT = """format: 1
name: First
oils: {olive-oil: 60, coconut-oil: 40}
lye: {alkali: sodium-hydroxide, superfat: 5.0}
water: {lye_concentration: 33}
"""


FULL = """format: 1
name: Full
formerly: [earlier]
based_on: {recipe: first-bar, version: 0123456789012345678901234567890123456789}
oils: {olive-oil: 60, coconut-oil: 40}
lye: {alkali: {sodium-hydroxide: 90, potassium-hydroxide: 10, by: mass}, superfat: 5.0}
water: {lye_concentration: 33}
additions:
  - {material: kaolin-clay, rate: 1 % of oils, at: trace}
  - {material: oat-milk, rate: 10 % of oils, at: oils, water: replaces, prepared: chilled}
scent:
  - {material: lavender-oil, rate: 2 % of oils, at: trace}
portions:
  - {name: white, share: 50 %}
  - {name: grey, share: 50 %, gets: {kaolin-clay: 100 %}}
process: {lye_temperature: 38 °C, mould: tray}
notes: Slowly.
"""


def _full() -> Recipe:
    recipe, findings = parse_recipe(FULL, "full", "recipes/full.yaml")
    assert recipe is not None, findings
    return recipe


def _no_places() -> dict[str, Place]:
    raise AssertionError("asked although they are here")


def _first() -> Recipe:
    recipe, _ = parse_recipe(TEXT, "first")
    assert recipe is not None
    return recipe
