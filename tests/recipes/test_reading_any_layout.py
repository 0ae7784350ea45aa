"""A recipe says the same in every layout that a person may write it in."""

from __future__ import annotations

from hypothesis import given

from formulary.recipes.model import Recipe
from formulary.recipes.read import parse_recipe
from tests.laws.strategies import written_recipes


@given(written_recipes())
def test_every_layout_of_a_recipe_reads_as_that_recipe(written: tuple[Recipe, str]) -> None:
    recipe, text = written
    read, findings = parse_recipe(text.encode(), recipe.slug)
    assert findings == ()
    assert read == recipe
