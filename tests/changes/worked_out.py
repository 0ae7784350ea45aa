"""Recipes of one invented bar, worked out under the built-in register, for tests of what is said of changes."""

from __future__ import annotations

from collections.abc import Mapping

from formulary.batch.weigh_out import work_out_batch
from formulary.changes.changes import Changes
from formulary.changes.compare import compare_sides
from formulary.changes.compared_side import ComparedSide
from formulary.materials.model import Material
from formulary.materials.register import read_builtin_register
from formulary.recipes.read import parse_recipe
from formulary.recipes.tweaks import Tweak
from formulary.recipes.version import Version

TEXT = """\
format: 1
name: Harbour base
oils:
  olive-oil: 53
  coconut-oil: 25
  rice-bran-oil: 22
lye: {alkali: sodium-hydroxide, superfat: 5}
water: {lye_concentration: 33}
additions:
  - {material: rose-clay, rate: 2 % of oils, at: oils}
scent:
  - {material: lavender-oil, rate: 2 % of oils, at: trace}
process: {cover: covered, mould: tall-loaf}
notes: Pour slowly.
"""


def version(text: str = TEXT, slug: str = "harbour-base", *, is_saved: bool = True) -> Version:
    recipe, findings = parse_recipe(text, slug, f"recipes/{slug}.yaml", materials=read_builtin_register())
    assert recipe is not None, findings
    return Version(recipe=recipe, text=text, is_saved=is_saved)


def side_of(of: Version, register: Mapping[str, Material], *, oil_mass_g: float = 1000.0) -> ComparedSide:
    batch = work_out_batch(of, register, oil_mass_g=oil_mass_g)
    return ComparedSide(recipe=of.recipe, batch=batch, register=register)


def compare(before: Version, after: Version) -> Changes:
    register = read_builtin_register()
    return compare_sides(side_of(before, register), side_of(after, register))


def tweaked(*tweaks: Tweak) -> Changes:
    """What changes when the base is branched with these tweaks."""
    base = version()
    return compare(base, base.branch("midwinter-clove", *tweaks))
