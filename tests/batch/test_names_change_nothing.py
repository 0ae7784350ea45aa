"""What a portion or a material is called changes nothing of what is worked out and checked."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import formulary
from formulary.batch.model import Batch
from formulary.batch.weigh_out import work_out_batch
from formulary.finding import Finding
from formulary.materials.model import Material
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from formulary.names import SLUG
from formulary.recipes.read import parse_recipe

PLAIN = {"oil": "an-oil", "alkali": "an-alkali", "acid": "an-acid", "milk": "a-milk", "scent": "a-scent"}
FILES = {
    "oil": "kind: oil\nsaponification_value: 190\n",
    "alkali": "kind: alkali\nalkali: sodium-hydroxide\nassay: 98\n",
    "acid": "kind: acid\nacids: {citric: 100 %}\n",
    "milk": "kind: liquid\nwater: 90 %\n",
    "scent": "kind: fragrance\nlimit: {percent_of_product: 3, certificate: 2026-01-01}\ncontains: {eugenol: 20 %}\n",
}


def recipe_of(names: dict[str, str], first: str, second: str) -> str:
    """An excess of lye in the second portion, which gets no acid, and too much scent in the first."""
    oil, alkali, acid, milk, scent = (names[role] for role in PLAIN)
    return f"""\
format: 1
name: Bar
oils: {{{oil}: 50, coconut-oil: 30, rice-bran-oil: 20}}
lye: {{alkali: {alkali}, superfat: 2}}
water: {{lye_concentration: 33}}
additions:
  - {{material: {acid}, rate: 3 % of oils, at: trace}}
  - {{material: {milk}, rate: 5 % of oils, at: oils, water: replaces}}
scent:
  - {{material: {scent}, rate: 3 % of oils, at: trace}}
portions:
  - {{name: {first}, share: {{percent: 50, by_eye: 10}}, gets: {{{acid}: 100, {scent}: 100}}}}
  - {{name: {second}, share: {{percent: 50, by_eye: 10}}, gets: {{{acid}: 0, {scent}: 0}}}}
"""


@cache
def register_of(*names: str) -> dict[str, Material]:
    own = {}
    for name, text in zip(names, FILES.values(), strict=True):
        material, findings = parse_material(f"format: 1\nname: X\n{text}".encode(), f"materials/{name}.yaml", name)
        assert material is not None, findings
        own[name] = material
    return {**read_builtin_register(), **own}


def work_out(names: dict[str, str], first: str = "first-one", second: str = "other-one") -> Batch | tuple[Finding, ...]:
    """The batch, or what the recipe is refused for."""
    register = register_of(*(names[role] for role in FILES))
    recipe, findings = parse_recipe(recipe_of(names, first, second), "bar", materials=register)
    return findings if recipe is None else work_out_batch(recipe, register, oil_mass_g=1000.0)


def figures(batch: Batch) -> object:
    """All that is worked out, without names."""
    portions = [
        (each.superfat_percent, each.grams, [line.percent_of_cured for line in each.scent]) for each in batch.portions
    ]
    told = sorted((finding.severity.value, finding.code) for finding in batch.findings)
    return [line.grams for line in batch.pot.lines], batch.superfat, batch.water, portions, told


@cache
def words_of_the_program() -> tuple[str, ...]:
    """Every word in the source of what works a batch out that can be a name: one may mean something there."""
    assert formulary.__file__ is not None
    found = set()
    for package in ("batch", "chemistry", "recipes"):
        for file in (Path(formulary.__file__).parent / package).glob("*.py"):
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Constant) and isinstance(node.value, str) and SLUG.fullmatch(node.value):
                    found.add(node.value)
    return tuple(sorted(found))


def test_a_portion_may_be_called_by_any_word_of_the_program_but_by_the_one_that_is_refused() -> None:
    usual = work_out(PLAIN)
    assert isinstance(usual, Batch)
    assert {("stop", "lye-excess"), ("stop", "scent-limit")} <= {
        (finding.severity.value, finding.code) for finding in usual.findings
    }
    refused = set()
    for word in words_of_the_program():
        found = work_out(PLAIN, second=word)
        if isinstance(found, Batch):
            assert figures(found) == figures(usual), word
        else:
            refused.add(word)
    assert refused == {"whole"}


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(sorted(PLAIN)), st.data())
def test_a_material_may_be_called_by_any_word_that_is_no_other_material(role: str, data: st.DataObject) -> None:
    word = data.draw(st.sampled_from(words_of_the_program()).filter(lambda word: word not in read_builtin_register()))
    found, usual = work_out({**PLAIN, role: word}), work_out(PLAIN)
    assert isinstance(usual, Batch)
    assert isinstance(found, Batch), found
    assert figures(found) == figures(usual)


@pytest.mark.parametrize("word", ["0042", "1e5", "no", "yes", "true"])
def test_a_name_that_yaml_takes_for_something_else_is_a_name(word: str) -> None:
    usual = work_out(PLAIN)
    assert isinstance(usual, Batch)
    for found in (work_out(PLAIN, word), *(work_out({**PLAIN, role: word}) for role in PLAIN)):
        assert isinstance(found, Batch), found
        assert figures(found) == figures(usual)
