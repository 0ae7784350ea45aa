"""What may not go into the lye vessel, by its sugars, its alcohol, or what it is; at the bounds and just beside them.

The bounds are common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from formulary.batch.liquid_checks import check_liquids, check_liquids_as_made
from formulary.batch.model import Pot, PotLine
from formulary.finding import Place
from formulary.materials.model import Material, MaterialKind
from tests.batch.finding_cases import added

NOTHING = Material("liquid", "Liquid", MaterialKind.LIQUID, group=None)
KINDS = [
    (replace(NOTHING, sugars_percent=50.0), "sugar-in-lye"),
    (replace(NOTHING, sugars_percent=49.9), None),
    (replace(NOTHING, group="honey"), "sugar-in-lye"),
    (replace(NOTHING, group="sugar", sugars_percent=0.0), "sugar-in-lye"),
    (replace(NOTHING, group="syrup"), "sugar-in-lye"),
    (replace(NOTHING, alcohol_percent=15.0), "spirits-in-lye"),
    (replace(NOTHING, alcohol_percent=14.9), "beer-not-flat"),
    (replace(NOTHING, group="spirits"), "spirits-in-lye"),
    (replace(NOTHING, alcohol_percent=0.5), "beer-not-flat"),
    (replace(NOTHING, group="beer"), "beer-not-flat"),
    (replace(NOTHING, group="beer", alcohol_percent=0.0), "beer-not-flat"),
    (replace(NOTHING, group="wine", alcohol_percent=12.0), "beer-not-flat"),
    (replace(NOTHING, alcohol_percent=0.0, sugars_percent=0.0), None),
    (NOTHING, None),
    (replace(NOTHING, group="milk"), "milk-not-frozen"),
    (replace(NOTHING, group="plant-milk"), "milk-not-frozen"),
    (replace(NOTHING, group="infusion"), None),
]
RECIPE = added("oat-milk", 5, "lye water", water="extra").read_recipe()


@pytest.mark.parametrize(("material", "code"), KINDS)
def test_what_is_said_of_a_liquid_in_the_lye(material: Material, code: str | None) -> None:
    found = [finding.code for finding in check_liquids(RECIPE, {"oat-milk": material})]
    assert found == ([] if code is None else [code])
    elsewhere = replace(RECIPE, additions=(replace(RECIPE.additions[0], at="oils"),))
    assert list(check_liquids(elsewhere, {"oat-milk": material})) == []


@pytest.mark.parametrize(("material", "code"), KINDS)
def test_what_went_into_the_lye_is_told_of_it_when_it_may_have_boiled_over(
    material: Material, code: str | None
) -> None:
    boils = {"sugar-in-lye", "spirits-in-lye"}
    pot = Pot((PotLine("liquid", "addition", "lye water", 5.0), PotLine("liquid", "addition", "lye water", 6.0)))
    found = [finding.code for finding in check_liquids_as_made(pot, {"liquid": material}, lambda *_: Place())]
    assert found == ([code] if code in boils else [])
    for line in (PotLine("liquid", "addition", "oils", 5.0), PotLine("liquid", "scent", "lye water", 5.0)):
        assert list(check_liquids_as_made(Pot((line,)), {"liquid": material}, lambda *_: Place())) == []


def test_every_liquid_of_a_recipe_is_looked_at() -> None:
    milk = RECIPE.additions[0]
    recipe = replace(RECIPE, additions=(replace(milk, at="oils"), milk, replace(milk, material="beer")))
    materials = {"oat-milk": replace(NOTHING, group="milk"), "beer": replace(NOTHING, group="beer")}
    assert [finding.code for finding in check_liquids(recipe, materials)] == ["milk-not-frozen", "beer-not-flat"]


@pytest.mark.parametrize(
    ("material", "prepared", "code"),
    [
        ("beer", ("flat",), "beer-not-flat"),
        ("beer", ("chilled",), "beer-not-flat"),
        ("beer", ("flat", "chilled"), None),
        ("beer", ("chilled", "flat", "frozen"), None),
        ("milk", ("frozen",), None),
        ("milk", ("chilled",), "milk-not-frozen"),
    ],
)
def test_how_a_liquid_is_prepared_counts(material: str, prepared: tuple[str, ...], code: str | None) -> None:
    recipe = replace(RECIPE, additions=(replace(RECIPE.additions[0], prepared=prepared),))
    found = [finding.code for finding in check_liquids(recipe, {"oat-milk": replace(NOTHING, group=material)})]
    assert found == ([] if code is None else [code])
