"""A maker's kitchen for tests: recipe, settings and own materials as texts, and everything that is said of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from formulary.batch.checks import check_pot, check_recipe
from formulary.batch.figures import work_out_pot
from formulary.batch.ingredients import list_ingredients
from formulary.batch.model import Batch, Pot, PotLine
from formulary.batch.settings_checks import check_settings
from formulary.batch.weigh_out import WATER, work_out_batch
from formulary.finding import Finding, has_errors
from formulary.materials.chosen_lots import ChosenLots, with_chosen_lots
from formulary.materials.read import parse_material
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.model import Recipe
from formulary.recipes.read import parse_recipe
from formulary.settings import Settings, parse_settings
from tests.batch.recipes import PLAIN


@dataclass(frozen=True)
class Kitchen:
    """A recipe, settings, the maker's materials, the size and lots; `made`: what went in besides, as it was made."""

    recipe: str = PLAIN
    settings: str = "format: 1\n"
    materials: Mapping[str, str] = field(default_factory=dict)
    oils_g: float = 1000.0
    lots: ChosenLots = field(default_factory=dict)
    made: tuple[PotLine, ...] | None = None

    def find(self) -> tuple[Finding, ...]:
        """Everything that is said of it: of the files, of the recipe, and of the batch, as planned or as made."""
        register, settings, recipe, found = self._read()
        if recipe is not None:
            found = (*found, *check_recipe(recipe, register))
        if recipe is None or has_errors(found):
            return found
        batch = self.weigh_out()
        named = {*recipe.materials(), WATER, *(line.material for line in self.made or ())}
        materials = with_chosen_lots({name: register[name] for name in named}, dict(self.lots))
        if self.made is None:
            return (*found, *batch.findings, *list_ingredients(batch, materials, settings).findings)
        pot = Pot((*batch.pot.lines, *self.made), batch.pot.portions)
        step_g, figures = float(settings.alkali_step_g), work_out_pot(pot, materials, settings)
        return (*found, *check_pot(pot, figures, materials, recipe.purpose, alkali_step_g=step_g))

    def read_recipe(self) -> Recipe:
        """The recipe, which must be readable."""
        _, _, recipe, found = self._read()
        assert recipe is not None, [str(finding) for finding in found]
        return recipe

    def weigh_out(self) -> Batch:
        """The batch as planned."""
        register, settings, recipe, found = self._read()
        assert recipe is not None, [str(finding) for finding in found]
        return work_out_batch(recipe, register, settings, oil_mass_g=self.oils_g, lots=dict(self.lots))

    def _read(self) -> tuple[Register, Settings, Recipe | None, tuple[Finding, ...]]:
        settings, faults = parse_settings(self.settings)
        assert not faults, [str(finding) for finding in faults]
        found = list(check_settings(settings))
        makers = []
        for slug, text in self.materials.items():
            material, faults = parse_material(text, f"materials/{slug}.yaml", slug)
            assert material is not None, [str(finding) for finding in faults]
            found += faults
            makers.append(material)
        register = read_builtin_register().combined_with(makers)
        recipe, faults = parse_recipe(self.recipe, "plain", "recipes/plain.yaml", materials=register)
        return register, settings, recipe, (*found, *faults)

    def said(self) -> set[str]:
        """`severity code` of every finding."""
        return {f"{finding.severity.value} {finding.code}" for finding in self.find()}
