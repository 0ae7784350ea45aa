"""Checks of what goes into the lye vessel besides water: sugars, spirits, beer, milk."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from formulary.finding import Finding, stop, warn
from formulary.materials.model import Material
from formulary.recipes.model import Recipe

# Common practice, no source: what is sugar or spirit through and through boils lye up in the jug.
SUGAR_IN_LYE_PERCENT = 50.0
SPIRIT_IN_LYE_PERCENT = 15.0

Materials = Mapping[str, Material]


def check_liquids(recipe: Recipe, materials: Materials) -> Iterable[Finding]:
    """A stop for honey, sugar or spirits in the jug; a warning for beer not flat and chilled, milk not frozen."""
    for line in recipe.additions:
        if line.at != "lye water":
            continue
        material = materials[line.material]
        place = recipe.place("additions", line.material, line.at)
        alcohol = material.alcohol_percent or 0.0
        if (material.sugars_percent or 0.0) >= SUGAR_IN_LYE_PERCENT or material.group in ("honey", "sugar", "syrup"):
            what = f"{line.material} in the lye heats it at once and may boil it over"
            yield stop("sugar-in-lye", what, "dissolve it in a little of the water and add it at oils or trace", place)
        elif alcohol >= SPIRIT_IN_LYE_PERCENT or material.group == "spirits":
            what = f"{line.material} in the lye boils over"
            yield stop("spirits-in-lye", what, "simmer the alcohol off first, or add a little at trace", place)
        elif (alcohol > 0.0 or material.group == "beer") and not {"flat", "chilled"} <= set(line.prepared):
            what = f"{line.material} in the lye foams over while it holds gas and alcohol"
            do = "boil it, let it stand flat and chill it, then write `prepared: [flat, chilled]`"
            yield warn("beer-not-flat", what, do, place)
        elif material.group in ("milk", "plant-milk") and "frozen" not in line.prepared:
            what = f"{line.material} in the lye scorches and turns orange while the lye is hot"
            do = "freeze it to slush and add the lye slowly, then write `prepared: frozen`"
            yield warn("milk-not-frozen", what, do, place)
