"""A variant keeps its parent's comments, remembers which version it came from, and still totals 100."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.errors import InputError
from formulary.materials.register import read_builtin_register
from formulary.recipes.edit import edit_recipe
from formulary.recipes.model import BasedOn, Recipe
from formulary.recipes.read import parse_recipe
from formulary.recipes.tweaks import add, drop, set_field, swap
from formulary.recipes.version import Version
from tests.laws.strategies import written_recipes

MATERIALS = read_builtin_register()
TEXT = """\
# The bar that we sell all year.
format: 1
name: Harbour base
formerly: [everyday-bar]   # until 2024

oils:                      # percent of the oils
  olive-oil: 53            # from the mill
  coconut-oil: 25
  rice-bran-oil: 22
lye:
  alkali: sodium-hydroxide
  superfat: 5              # never lower
water:
  lye_concentration: 33
additions:
  - {material: rose-clay, rate: 2 % of oils, at: oils}
process: {lye_temperature: 38 °C, cover: insulated}
notes: |
  Pour slowly.
"""


def version_of(text: str, slug: str = "harbour-base", *, is_saved: bool = True) -> Version:
    recipe, findings = parse_recipe(text, slug)
    assert recipe is not None, findings
    return Version(recipe=recipe, text=text, is_saved=is_saved)


BASE = version_of(TEXT)


def test_a_variant_is_the_base_with_only_the_tweaks_made() -> None:
    variant = BASE.branch(
        "midwinter-clove",
        swap("10 %", "olive-oil", "hemp-seed-oil"),
        add("clove-bud-oil", "1.2 % of oils"),
        set_field("lye.superfat", "6"),
        register=MATERIALS,
    )
    parent = f'based_on: {{recipe: harbour-base, version: "{BASE.id}"}}\n'
    assert variant.text == (
        TEXT.replace("name: Harbour base", "name: Midwinter clove")
        .replace("[everyday-bar]   # until 2024\n", "[]   # until 2024\n" + parent)
        .replace("olive-oil: 53 ", "olive-oil: 43 ")
        .replace("rice-bran-oil: 22\n", "rice-bran-oil: 22\n  hemp-seed-oil: 10\n")
        .replace("superfat: 5 ", "superfat: 6 ")
        .replace("process:", "scent:\n  - {material: clove-bud-oil, rate: 1.2 % of oils, at: trace}\nprocess:")
    )
    assert variant.slug == "midwinter-clove"
    assert not variant.is_saved
    assert variant.recipe.based_on == BasedOn("harbour-base", BASE.id)
    assert variant.recipe.formerly == ()
    assert sum(line.percent for line in variant.recipe.oils) == 100


def test_a_variant_of_a_variant_remembers_the_nearer_parent() -> None:
    first = BASE.branch("midwinter-clove", register=MATERIALS)
    saved = version_of(first.text, "midwinter-clove")
    second = saved.branch("clove-and-oat", name="Clove & oat: soft", register=MATERIALS)
    assert second.recipe.based_on == BasedOn("midwinter-clove", first.id)
    assert second.recipe.name == "Clove & oat: soft"
    assert second.text.count("based_on") == 1


def test_a_variant_that_gets_a_name_after_its_base_had_one_has_it_in_the_same_brackets() -> None:
    variant = version_of(BASE.branch("midwinter-clove", register=MATERIALS).text, "midwinter-clove")
    renamed = edit_recipe(variant.text, replace(variant.recipe, slug="oat", formerly=("midwinter-clove",)))
    assert renamed == variant.text.replace("formerly: []   #", "formerly: [midwinter-clove]   #")


@given(written_recipes(), st.data())
def test_branching_keeps_every_comment_of_any_layout(written: tuple[Recipe, str], data: st.DataObject) -> None:
    recipe, text = written
    parent = version_of(text, recipe.slug)
    largest = max(recipe.oils, key=lambda line: line.percent)
    points = largest.percent / 4
    target = data.draw(st.sampled_from([name for name in ("olive-oil", "beeswax") if name != largest.material]))
    tweaks = [swap(f"{points} %", largest.material, target), set_field("superfat", "7")]
    variant = parent.branch("bright-new", *tweaks, register=MATERIALS)
    assert sum((line.percent for line in variant.recipe.oils), Decimal(0)) == 100
    assert variant.recipe.based_on == BasedOn(recipe.slug, parent.id)
    # All comments stay but those beside the old names of `formerly`, whose lines go.
    comment = re.compile(r"# (?:line|remark) \d+")
    gone = len(recipe.formerly) if "- old-name" in text else 0
    assert len(comment.findall(text)) - len(comment.findall(variant.text)) <= gone


@pytest.mark.parametrize(
    ("slug", "code"),
    [
        ("a/b", "bad-name"),
        ("-clove", "bad-name"),
        ("Clove", "bad-name"),
        ("..", "bad-name"),
        ("", "bad-name"),
        ("x" * 61, "bad-name"),
        ("harbour-base", "name-taken"),
    ],
)
def test_a_name_that_no_file_should_have_is_refused(slug: str, code: str) -> None:
    with pytest.raises(InputError) as caught:
        BASE.branch(slug, register=MATERIALS)
    assert [finding.code for finding in caught.value.findings] == [code]


def test_an_unsaved_parent_is_refused_because_it_could_not_be_found_again() -> None:
    with pytest.raises(InputError) as caught:
        version_of(TEXT, is_saved=False).branch("midwinter-clove", register=MATERIALS)
    assert [finding.code for finding in caught.value.findings] == ["parent-unsaved"]


def test_a_parent_with_an_open_conflict_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        version_of(TEXT + "conflicts: [superfat 5 or 6]\n").branch("midwinter-clove", register=MATERIALS)
    assert [finding.code for finding in caught.value.findings] == ["conflict-open"]


def test_everything_wrong_with_a_branch_is_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        BASE.branch("Bad/name", swap("60 %", "olive-oil", "hemp-seed-oil"), drop("salt"), register=MATERIALS)
    assert [finding.code for finding in caught.value.findings] == ["bad-name", "swap-too-much", "line-not-there"]


def test_a_material_that_the_register_does_not_know_is_found_in_the_parent_too() -> None:
    small = {name: MATERIALS[name] for name in MATERIALS if name != "rose-clay"}
    with pytest.raises(InputError) as caught:
        BASE.branch("midwinter-clove", register=small)
    assert [finding.code for finding in caught.value.findings] == ["unknown-material"]
