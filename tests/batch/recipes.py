"""Recipes for tests of batches: one plain bar, and changes to its text."""

from __future__ import annotations

from formulary.batch.model import Batch
from formulary.batch.weigh_out import work_out_batch
from formulary.materials.register import read_builtin_register
from formulary.recipes.model import Recipe
from formulary.recipes.read import parse_recipe
from formulary.settings import Settings

PLAIN = """\
format: 1
name: Plain bar
oils:
  olive-oil: 60
  coconut-oil: 25
  sunflower-oil: 15
lye: {alkali: sodium-hydroxide, superfat: 5}
water: {lye_concentration: 33}
"""


def read_recipe(text: str) -> Recipe:
    """The recipe in a text that must be readable."""
    recipe, findings = parse_recipe(text, "plain", "recipes/plain.yaml", materials=read_builtin_register())
    assert recipe is not None, [str(finding) for finding in findings]
    return recipe


def weigh_out(text: str, *, oil_mass_g: float = 1000.0, settings: Settings | None = None) -> Batch:
    """The batch of a recipe text with the built-in materials."""
    return work_out_batch(read_recipe(text), read_builtin_register(), settings, oil_mass_g=oil_mass_g)


def codes(batch: Batch, severity: str) -> set[str]:
    """The codes of a batch's findings of one severity."""
    return {finding.code for finding in batch.findings if finding.severity.value == severity}
