"""A recipe taken up again from its record is the recipe that was read, digit for digit, and stands where it stood."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.recipes.model import Recipe
from formulary.recipes.read import parse_recipe
from formulary.recipes.record import parse_record, render_record
from tests.laws.strategies import written_recipes


@given(written_recipes().map(lambda written: written[1]))
def test_a_record_gives_back_what_was_read(text: str) -> None:
    recipe, findings = parse_recipe(text, "harbour", "recipes/harbour.yaml")
    assert recipe is not None
    assert findings == ()
    again = parse_record(render_record(recipe), "harbour", "recipes/harbour.yaml")
    assert again == recipe
    assert repr(again) == repr(recipe)  # 5.0 is not written 5
    assert dict(again.places) == dict(recipe.places)
    assert again.place("oils") == recipe.place("oils")


def test_a_record_is_taken_up_under_another_name_and_path() -> None:
    again = parse_record(render_record(_first()), "early", "recipes/early.yaml")
    assert again is not None
    assert (again.slug, again.place("lye").path) == ("early", "recipes/early.yaml")


@given(st.binary(max_size=60))
def test_what_is_no_record_gives_no_recipe(data: bytes) -> None:
    assert parse_record(data, "harbour", None) is None


@pytest.mark.parametrize("cut", range(0, 400, 7))
def test_half_a_record_gives_no_recipe_or_the_same_formula(cut: int) -> None:
    recipe = _first()
    again = parse_record(render_record(recipe)[:cut], "first", None)
    assert again is None or (again.oils, again.lye, again.water) == (recipe.oils, recipe.lye, recipe.water)


def test_notes_with_a_character_that_parts_records_are_not_kept() -> None:
    recipe, _ = parse_recipe(TEXT + 'notes: "a\\0b"\n', "first")
    assert recipe is not None
    assert render_record(recipe) == b""


TEXT = """format: 1
name: First
oils: {olive-oil: 60, coconut-oil: 40}
lye: {alkali: sodium-hydroxide, superfat: 5.0}
water: {lye_concentration: 33}
"""


def _first() -> Recipe:
    recipe, _ = parse_recipe(TEXT, "first")
    assert recipe is not None
    return recipe
