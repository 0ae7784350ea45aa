"""Changes are data that obey laws: they lead from one recipe to the other, and back."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from random import Random
from typing import Any

import pytest
from deepdiff import DeepDiff
from hypothesis import given
from hypothesis import strategies as st

from formulary.changes.apply import apply_changes
from formulary.changes.compare import compare_recipes
from formulary.changes.recipe_changes import RecipeChanges
from formulary.errors import InputError
from formulary.recipes.model import Recipe, comparable
from formulary.recipes.read import parse_recipe
from tests.laws.strategies import additions, lyes, oil_lines, processes, recipes, scents, waters, words


@st.composite
def near_pairs(draw: st.DrawFn) -> tuple[Recipe, Recipe]:
    """Two recipes of which the second is the first with some of its parts drawn anew."""
    before = draw(recipes())
    parts: dict[str, Any] = {
        "oils": oil_lines(),
        "lye": lyes(),
        "water": waters(),
        "process": processes(),
        "notes": words(),
        "name": words(),
        "purpose": st.sampled_from(["skin", "household"]),
    }
    if not before.portions:
        parts |= {"additions": additions(), "scent": scents()}
    chosen = draw(st.lists(st.sampled_from(sorted(parts)), max_size=4, unique=True))
    return before, replace(before, **{part: draw(parts[part]) for part in chosen})


def shuffled(recipe: Recipe, seed: int) -> Recipe:
    """The same recipe with its lines in another order."""
    random = Random(seed)

    def mixed(lines: tuple[Any, ...]) -> Any:
        return tuple(random.sample(lines, len(lines)))

    keys = random.sample(sorted(recipe.process), len(recipe.process))
    return replace(
        recipe,
        oils=mixed(recipe.oils),
        additions=mixed(recipe.additions),
        scent=mixed(recipe.scent),
        portions=mixed(tuple(replace(portion, gets=mixed(portion.gets)) for portion in recipe.portions)),
        lye=replace(recipe.lye, alkalis=mixed(recipe.lye.alkalis)),
        process={key: recipe.process[key] for key in keys},
    )


def same(one: Recipe, other: Recipe) -> bool:
    return one.slug == other.slug and comparable(one) == comparable(other)


@given(near_pairs())
def test_changes_lead_from_the_first_recipe_to_the_second_and_back(pair: tuple[Recipe, Recipe]) -> None:
    before, after = pair
    changes = compare_recipes(before, after)
    assert same(apply_changes(before, changes), after)
    assert same(apply_changes(after, changes.reversed()), before)


@given(recipes(), recipes())
def test_changes_lead_between_any_two_recipes(before: Recipe, after: Recipe) -> None:
    changes = compare_recipes(before, after)
    assert same(apply_changes(before, changes), after)
    assert compare_recipes(after, before) == changes.reversed()


@given(recipes(), st.integers(0, 1000))
def test_a_recipe_compared_with_itself_in_any_order_has_no_changes(recipe: Recipe, seed: int) -> None:
    assert compare_recipes(recipe, shuffled(recipe, seed)).is_empty


@given(near_pairs(), st.integers(0, 1000))
def test_the_order_of_lines_never_matters(pair: tuple[Recipe, Recipe], seed: int) -> None:
    before, after = pair
    assert compare_recipes(shuffled(before, seed), shuffled(after, seed + 1)) == compare_recipes(before, after)


@given(near_pairs())
def test_the_points_of_all_oils_total_zero(pair: tuple[Recipe, Recipe]) -> None:
    changes = compare_recipes(*pair)
    assert sum((change.points for change in changes.oils), Decimal(0)) == 0


@given(recipes(), st.integers(1, 4))
def test_numbers_spelled_with_other_digits_are_no_change(recipe: Recipe, places: int) -> None:
    unit = Decimal(1).scaleb(-places - 2)
    respelled = replace(
        recipe,
        oils=tuple(replace(line, percent=line.percent.quantize(unit)) for line in recipe.oils),
        lye=replace(recipe.lye, superfat=recipe.lye.superfat.quantize(unit)),
        water=replace(recipe.water, value=recipe.water.value.quantize(unit)),
    )
    assert compare_recipes(recipe, respelled).is_empty


@given(recipes())
def test_changes_that_start_from_another_recipe_are_refused(recipe: Recipe) -> None:
    one, two, three = (replace(recipe, lye=replace(recipe.lye, superfat=Decimal(percent))) for percent in (4, 5, 6))
    changes, stranger = compare_recipes(one, two), three
    with pytest.raises(InputError) as caught:
        apply_changes(stranger, changes)
    assert [finding.code for finding in caught.value.findings] == ["does-not-apply"]


def test_changes_do_not_fit_a_recipe_whose_lines_are_others() -> None:
    with_clove = parse("scent: [{material: clove-bud-oil, rate: 1 % of oils}]")
    more_clove = parse("scent: [{material: clove-bud-oil, rate: 2 % of oils}]")
    changes = compare_recipes(with_clove, more_clove)
    for stranger in (parse(""), more_clove):
        with pytest.raises(InputError, match="clove-bud-oil"):
            apply_changes(stranger, changes)


def parse(scent: str) -> Recipe:
    text = "format: 1\nname: x\noils: {olive-oil: 100}\nlye: {alkali: sodium-hydroxide, superfat: 5}\n"
    recipe, findings = parse_recipe(f"{text}water: {{lye_concentration: 33}}\n{scent}\n", "x")
    assert recipe is not None, findings
    return recipe


# deepdiff, a general differ of plain data, as the independent judge.


def plain(recipe: Recipe) -> dict[str, Any]:
    """The recipe as plain data with each line under its own name."""
    return {
        "name": recipe.name,
        "formerly": ",".join(recipe.formerly),
        "parent": str(recipe.based_on),
        "purpose": recipe.purpose,
        "oils": {line.material: (float(line.percent), line.at) for line in recipe.oils},
        "superfat": float(recipe.lye.superfat),
        "alkali": str(sorted((name, float(share)) for name, share in recipe.lye.alkalis)) + str(recipe.lye.by),
        "water": (recipe.water.method, float(recipe.water.value)),
        "additions": {
            f"{line.material} at {line.at}": (
                float(line.rate.amount),
                line.rate.unit,
                line.rate.basis.value,
                line.water,
            )
            for line in recipe.additions
        },
        "scent": {
            f"{line.material} at {line.at}": (float(line.rate.amount), line.rate.unit, line.rate.basis.value)
            for line in recipe.scent
        },
        "portions": {
            portion.name: (
                float(portion.share),
                float(portion.by_eye),
                {name: float(percent) for name, percent in portion.gets},
            )
            for portion in recipe.portions
        },
        "process": dict(recipe.process),
        "notes": recipe.notes,
    }


def judged(before: Recipe, after: Recipe) -> set[tuple[str, ...]]:
    """The parts, and the lines within them, that deepdiff finds to differ."""
    tree = DeepDiff(
        plain(before), plain(after), view="tree", threshold_to_diff_deeper=0, ignore_numeric_type_changes=True
    )
    listed = ("oils", "additions", "scent", "portions", "process")
    paths = [level.path(output_format="list") for levels in tree.values() for level in levels]
    return {tuple(str(part) for part in path[: 2 if path[0] in listed else 1]) for path in paths}


def ours(changes: RecipeChanges) -> set[tuple[str, ...]]:
    singles = {
        "name": changes.name,
        "formerly": changes.formerly,
        "parent": changes.based_on,
        "purpose": changes.purpose,
        "superfat": changes.superfat,
        "alkali": changes.alkali,
        "water": changes.water,
        "notes": changes.notes,
    }
    found: set[tuple[str, ...]] = {(name,) for name, change in singles.items() if change is not None}
    found |= {("oils", change.material) for change in changes.oils}
    found |= {(change.part, f"{change.material} at {change.at}") for change in changes.lines}
    found |= {("portions", change.name) for change in changes.portions}
    return found | {("process", change.field.removeprefix("process.")) for change in changes.process}


@given(near_pairs())
def test_a_general_differ_finds_the_same_lines_changed(pair: tuple[Recipe, Recipe]) -> None:
    assert ours(compare_recipes(*pair)) == judged(*pair)


@given(recipes(), recipes())
def test_a_general_differ_agrees_between_any_two_recipes(before: Recipe, after: Recipe) -> None:
    assert ours(compare_recipes(before, after)) == judged(before, after)
