"""Checks of lye: what is weighed, the water, and what the jug can dissolve."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping

from formulary.batch.figures import alkali_of, assay, water_in
from formulary.batch.model import Pot, WeighedAlkali
from formulary.batch.scale import SMALL_WEIGHT_PART, Scale, format_shown, format_step
from formulary.chemistry.alkali import Alkali
from formulary.chemistry.heat import may_boil
from formulary.chemistry.solubility import saturation, water_g_to_dissolve
from formulary.finding import Finding, Place, note, stop, warn
from formulary.materials.model import Material
from formulary.materials.plain_name import material_words
from formulary.quantity import format_number
from formulary.recipes.model import Recipe
from formulary.settings import Settings
from formulary.temperature import say_both

COARSE_STEP_PERCENT = 0.5
# Freezing point of a 50 % sodium lye 14 °C (a manufacturer's technical page on caustic soda solution); weaker lyes of
# less than about 45 % stay clear in any kitchen (from memory).
CRYSTALLISING_PERCENT = 45.0
# Weaker lyes warm up too, and the cautions on every weigh-out say so (common practice, no source).
STRONG_JUG_PERCENT = 38.0
# A rounding of the last digit is no excess of lye.
_TOLERANCE = 1e-9

Materials = Mapping[str, Material]
Locate = Callable[..., Place]


def check_alkali_weights(
    lye: Collection[WeighedAlkali], materials: Materials, settings: Settings, locate: Locate
) -> Iterable[Finding]:
    """An assay that is not known, and a scale too coarse for what is weighed."""
    place = locate("lye", "alkali")
    step_g = float(settings.alkali_step_g)
    for alkali in lye:
        if materials[alkali.material].has_unknown_assay:
            low = assay(materials[alkali.material])[0]
            named = material_words(alkali.material)
            what = f"the assay of the {named} is not known: taken as 100 %, the band from {low:g} %"
            do = f"formulary materials add {alkali.material} --set assay=98.5, with the figure of its certificate"
            if not materials[alkali.material].builtin:
                do = f"set `assay` in materials/{alkali.material}.yaml from its certificate"
            yield note("assay-unknown", what, do, place)
        if _crystallises(materials[alkali.material], alkali.assay_percent):
            what = f"{material_words(alkali.material)} crystallises in a cold room"
            what += f", at 50 % from about {say_both(14.0, 0)} down"
            do = "warm it until it is clear to the bottom before you weigh it, or it is not as strong as it says"
            yield warn("lye-crystallises", what, do, place)
        if alkali.grams <= 0:
            what = f"there is no {material_words(alkali.material)} to weigh at this size"
            do = "make a larger batch, or set a finer `alkali_step`"
            if any(other.grams > 0 for other in lye):
                do = f"leave {alkali.material} out of `alkali` if its share is nothing; else {do}"
            yield stop("alkali-none", what, do, place)
        elif step_g > alkali.grams * COARSE_STEP_PERCENT / 100.0:
            what = (
                f"the scale's step of {format_step(step_g)} is {format_number(100 * step_g / alkali.grams, 1)} % of the"
                f" {format_number(alkali.grams, 1)} g of {material_words(alkali.material)}"
            )
            finest = 10.0 ** math.floor(math.log10(alkali.grams * COARSE_STEP_PERCENT / 100.0))
            larger = math.ceil(1010.0 * step_g / (alkali.grams * COARSE_STEP_PERCENT)) / 10.0
            do = f"use a scale that shows {finest:g} g (and set `alkali_step`), or make {larger:g} times as much"
            yield warn("scale-coarse", what, do, place)


def check_small_weights(pot: Pot, recipe: Recipe, settings: Settings) -> Iterable[Finding]:
    """Additions and scents so small that the scale cannot weigh them to a twentieth; spoons need no scale."""
    scale = Scale.of(settings)
    by_spoon = {line.material for line in recipe.additions if line.rate.is_volume}
    grams: dict[str, float] = {}
    for line in pot.lines:
        if line.role in ("addition", "scent") and line.material not in by_spoon:
            grams[line.material] = grams.get(line.material, 0.0) + line.grams
    small = [name for name, weight_g in grams.items() if scale.is_too_coarse(weight_g)]
    if small:
        named = ", ".join(f"{material_words(name)} {format_number(grams[name], 1)} g" for name in small)
        what = f"too little for a scale that shows steps of {format_step(scale.step_g)}: {named}"
        if scale.finest_g < scale.step_g:
            what += f"; the sheet has it as the scale of {format_step(scale.finest_g)} shows it"
        finest = 10.0 ** math.floor(math.log10(2.0 * SMALL_WEIGHT_PART * min(grams[name] for name in small)))
        do = f"weigh on a scale that shows {finest:g} g (and set `scale: {{step: {finest:g} g}}`)"
        if all(name in {line.material for line in recipe.additions} for name in small):
            do += ", or write the rate in spoons"
        yield note("weight-small", what, do)
    yield from _check_scent_shown(pot, scale)


def _check_scent_shown(pot: Pot, scale: Scale) -> Iterable[Finding]:
    """Scents of which a sheet lacks more than a twentieth, since it rounds them down by portion."""
    parts: dict[str, list[float]] = {}
    for line in pot.lines:
        if line.role == "scent" and line.grams > 0:
            parts.setdefault(line.material, []).append(line.grams)
    less = {
        name: (sum(scale.shown("scent", each) for each in grams), sum(grams))
        for name, grams in parts.items()
        if min(grams) < scale.finest_g
        or sum(scale.shown("scent", each) for each in grams) < sum(grams) * (1.0 - SMALL_WEIGHT_PART)
    }
    if less:
        named = ", ".join(
            f"{material_words(name)} {format_shown(shown_g)} g of {format_number(exact_g, 2)} g"
            for name, (shown_g, exact_g) in less.items()
        )
        what = f"a scale that shows {scale.finest_g:g} g rounds scent down, and figures are of the whole of it: {named}"
        finest = 10.0 ** math.floor(math.log10(SMALL_WEIGHT_PART * min(min(parts[name]) for name in less)))
        do = f"weigh scent on a scale that shows {finest:g} g (and set `scale: {{alkali_step: {finest:g} g}}`)"
        yield note("weight-small", what, f"{do}, or make a larger batch")


def _crystallises(material: Material, assay_percent: float) -> bool:
    is_sodium = material.alkali is Alkali.SODIUM_HYDROXIDE
    return material.group == "lye-solution" and is_sodium and assay_percent >= CRYSTALLISING_PERCENT


def check_oils_added(recipe: Recipe, materials: Materials) -> Iterable[Finding]:
    """Oils among the additions, such as the oil that a mica is wetted with: they only raise the superfat."""
    for line in recipe.additions:
        if materials[line.material].kind.is_fat and line.at != "top":
            what = f"{line.material} among the additions gets no alkali; it raises the effective superfat"
            do = "that is right for a little oil to wet a colour; else put it under `oils`"
            yield note("oil-addition", what, do, recipe.place("additions", line.material, line.at))


def check_water(pot: Pot, recipe: Recipe, materials: Materials) -> Iterable[Finding]:
    """Water below nothing, and additions that cannot replace any: of unknown water, or on top."""
    for line in recipe.additions:
        if line.water != "replaces":
            continue
        place = recipe.place("additions", line.material, line.at)
        if materials[line.material].water_percent is None:
            what = f"how much water {line.material} holds is not known, so it cannot replace any"
            do = f"set `water` in materials/{line.material}.yaml, or write `water: extra`"
            yield stop("water-unknown", what, do, place)
        elif line.at == "top":
            what = (
                f"the water of {line.material} stays on top: it is lacking in the lye, which gets stronger than stated"
            )
            yield warn("water-on-top", what, "write `water: extra`", place)
    weigh_g = pot.grams("water")
    if weigh_g < -_TOLERANCE:
        what = f"the additions bring {format_number(-weigh_g, 0)} g more water than the recipe has"
        do = "lower the additions that replace water, or let one be `water: extra`"
        yield stop("water-below-zero", what, do, recipe.place("water"))


def check_water_as_made(pot: Pot, materials: Materials, locate: Locate) -> Iterable[Finding]:
    """What went in and holds water that is not known: the lye is weaker than its figures say."""
    for name in dict.fromkeys(line.material for line in pot.lines if line.role == "addition" and line.water):
        if materials[name].water_percent is None:
            what = f"how much water {name} holds is not known: the lye was weaker than is shown"
            do = f"set `water` in materials/{name}.yaml, for the next time"
            yield warn("water-unknown", what, do, locate("additions", name))


def check_jug(pot: Pot, materials: Materials, locate: Locate, *, is_planned: bool) -> Iterable[Finding]:
    """Whether the liquid in the lye vessel dissolves the alkali."""
    pure_g, water_g = _pure_alkali_g(pot, materials), _jug_water_g(pot, materials)
    if saturation(pure_g, water_g) > 1:
        percent = _jug_percent(pure_g, water_g)
        what = f"the jug would hold {format_number(percent, 1)} % lye"
        what += f": not all of the alkali dissolves at {say_both(20.0, 0)}"
        do = _dissolve_it(pot, pure_g, water_g, materials)
        if not is_planned:
            do = "stir more water in until it is clear; once it is in the batter, test the bars for free alkali"
        yield stop("jug-saturated", what, do, locate("water"))


def check_strong_jug(pot: Pot, materials: Materials, locate: Locate) -> Iterable[Finding]:
    """Whether a jug that dissolves its alkali may boil while it does."""
    pure_g, water_g = _pure_alkali_g(pot, materials), _jug_water_g(pot, materials)
    if saturation(pure_g, water_g) > 1 or sum(pure_g.values()) <= 0:
        return
    percent = _jug_percent(pure_g, water_g)
    if percent > STRONG_JUG_PERCENT + _TOLERANCE and may_boil(_solid_alkali_g(pot, materials), water_g):
        what = f"the lye in the jug is strong ({format_number(percent, 1)} %): it may boil or spit"
        do = "add the alkali slowly to cold water, in a tall vessel, stirring"
        yield note("jug-strong", what, do, locate("water"))


def _pure_alkali_g(pot: Pot, materials: Materials) -> dict[Alkali, float]:
    """Grams of pure alkali in the jug."""
    pure: dict[Alkali, float] = {}
    for line in pot.lines:
        if line.role == "alkali" and line.at == "lye water":
            alkali = alkali_of(materials[line.material])
            pure[alkali] = pure.get(alkali, 0.0) + line.grams * assay(materials[line.material])[1] / 100.0
    return pure


def _jug_water_g(pot: Pot, materials: Materials) -> float:
    return sum(water_in(line, materials) for line in pot.lines if line.at == "lye water")


def _jug_percent(pure_g: Mapping[Alkali, float], water_g: float) -> float:
    alkali_g = sum(pure_g.values())
    return 100.0 * alkali_g / (alkali_g + max(water_g, 0.0))


def _dissolve_it(pot: Pot, pure_g: Mapping[Alkali, float], jug_g: float, materials: Materials) -> str:
    """What to write in the recipe so that the jug dissolves its alkali."""
    needed_g = sum(water_g_to_dissolve(grams, alkali) for alkali, grams in pure_g.items())
    replaced_g = extra_g = 0.0
    for line in pot.lines:
        if line.water == "replaces" and line.at != "lye water":
            replaced_g += water_in(line, materials)
        elif line.water == "extra" and line.at == "lye water":
            extra_g += water_in(line, materials)
    alkali_g = sum(pure_g.values())
    most = math.floor(1000.0 * alkali_g / (alkali_g + needed_g + replaced_g - extra_g)) / 10.0
    do = f"state a lye concentration of {most:g} % or less"
    if jug_g + replaced_g >= needed_g:
        return f"add at `lye water` what replaces water, or {do}"
    return do


def _solid_alkali_g(pot: Pot, materials: Materials) -> dict[Alkali, float]:
    """Grams of pure alkali that dissolve in the jug; a ready-made lye gave off its heat when it was made."""
    solid: dict[Alkali, float] = {}
    for line in pot.lines:
        material = materials[line.material]
        if line.role == "alkali" and line.at == "lye water" and not material.water_percent:
            alkali = alkali_of(material)
            solid[alkali] = solid.get(alkali, 0.0) + line.grams * assay(material)[1] / 100.0
    return solid
