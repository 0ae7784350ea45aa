"""Checks of what goes into the lye vessel besides water: sugars, spirits, beer, milk."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from formulary.batch.model import Pot
from formulary.finding import Finding, Place, stop, warn
from formulary.materials.model import Material
from formulary.recipes.model import Recipe

# Common practice, no source: what is sugar or spirit through and through boils lye up in the jug.
SUGAR_IN_LYE_PERCENT = 50.0
SPIRIT_IN_LYE_PERCENT = 15.0

Materials = Mapping[str, Material]
Locate = Callable[..., Place]


def check_liquids(recipe: Recipe, materials: Materials) -> Iterable[Finding]:
    """A stop for honey, sugar or spirits in the jug; a warning for beer not flat and chilled, milk not frozen."""
    for line in recipe.additions:
        if line.at != "lye water":
            continue
        material = materials[line.material]
        place = recipe.place("additions", line.material, line.at)
        if _is_sugar(material):
            what = f"{line.material} in the lye heats it at once and may boil it over"
            yield stop("sugar-in-lye", what, "dissolve it in a little of the water and add it at oils or trace", place)
        elif _is_spirit(material):
            what = f"{line.material} in the lye boils over"
            do = "simmer the alcohol off first and weigh it as water, or add a little at trace"
            yield stop("spirits-in-lye", what, do, place)
        elif _is_beer(material) and not {"flat", "chilled"} <= set(line.prepared):
            what = f"{line.material} in the lye foams over while it holds gas and alcohol"
            do = "boil it, let it stand flat and chill it, then write `prepared: [flat, chilled]`"
            yield warn("beer-not-flat", what, do, place)
        elif material.group in ("milk", "plant-milk") and "frozen" not in line.prepared:
            what = f"{line.material} in the lye scorches and turns orange while the lye is hot"
            do = "freeze it to slush and add the lye slowly, then write `prepared: frozen`"
            yield warn("milk-not-frozen", what, do, place)


def check_liquids_as_made(pot: Pot, materials: Materials, locate: Locate) -> Iterable[Finding]:
    """A warning for honey, sugar or spirits that went into the jug: what boiled over is missing from the lye.

    How milk and beer were prepared only matters before the lye is mixed.
    """
    added = [line.material for line in pot.lines if line.role == "addition" and line.at == "lye water"]
    for name in dict.fromkeys(added):
        if _is_sugar(materials[name]) or _is_spirit(materials[name]):
            code = "sugar-in-lye" if _is_sugar(materials[name]) else "spirits-in-lye"
            what = f"{name} went into the lye, which it may have boiled over"
            do = "if any was lost, take the superfat as unknown; correct the stage in the record if it is a slip"
            yield warn(code, what, do, locate("additions", name, "lye water"))


def _is_sugar(material: Material) -> bool:
    return (material.sugars_percent or 0.0) >= SUGAR_IN_LYE_PERCENT or material.group in ("honey", "sugar", "syrup")


def _is_spirit(material: Material) -> bool:
    return (material.alcohol_percent or 0.0) >= SPIRIT_IN_LYE_PERCENT or material.group == "spirits"


def _is_beer(material: Material) -> bool:
    return (material.alcohol_percent or 0.0) > 0.0 or material.group == "beer"
