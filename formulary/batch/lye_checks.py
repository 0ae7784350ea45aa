"""Checks of lye: superfat and its band, what is weighed, the water, and what the jug can dissolve."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping

from formulary.batch.figures import alkali_of, assay, water_in
from formulary.batch.model import WHOLE, PortionFigures, Pot, WeighedAlkali
from formulary.batch.scale import Scale
from formulary.chemistry.alkali import Alkali
from formulary.chemistry.heat import may_boil
from formulary.chemistry.solubility import saturation
from formulary.finding import Finding, Place, note, stop, warn
from formulary.materials.model import Material
from formulary.quantity import format_number
from formulary.recipes.model import Recipe
from formulary.settings import Settings

LOW_SUPERFAT_PERCENT = 2.0
HIGH_SUPERFAT_PERCENT = 20.0
LOW_BAND_PERCENT = -2.0
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


def check_superfat(
    *,
    nominal: float | None,
    effective: float,
    low: float,
    pot: Pot,
    materials: Materials,
    purpose: str,
    locate: Locate,
) -> Iterable[Finding]:
    """Lye excess, a superfat that is low or high, and what the band says. `nominal` None: a batch as made."""
    place = locate("lye", "superfat")
    on_skin = purpose == "skin"
    if nominal is not None and nominal < 0:
        what = f"the superfat is {format_number(nominal, 1)} %: more lye than the oils can take"
        if on_skin:
            yield stop("superfat-negative", what, "raise the superfat to 2 % or more; 5 % is usual", place)
        else:
            yield warn("superfat-negative", what, "never use it on skin; label it for household cleaning", place)
    if effective < -_TOLERANCE and (nominal is None or nominal >= 0 or on_skin):
        what = f"the effective superfat is {format_number(effective, 1)} %: free lye stays in the bar"
        if on_skin:
            yield stop(
                "lye-excess", what, "raise the superfat, or correct what was weighed; do not use it on skin", place
            )
        elif nominal is None or nominal >= 0:
            yield warn("lye-excess", what, "never use it on skin; label it for household cleaning", place)
    elif on_skin and 0 <= effective < LOW_SUPERFAT_PERCENT:
        what = f"the effective superfat is only {format_number(effective, 1)} %"
        yield warn("superfat-low", what, "5 % leaves room for what is not known of the oils", place)
    elif effective > HIGH_SUPERFAT_PERCENT:
        what = f"the effective superfat is {format_number(effective, 1)} %"
        yield warn("superfat-high", what, "expect a soft bar that may go rancid; 5 to 8 % is usual", place)
    if on_skin and effective >= 0 and low < 0:
        widest = _widest_oil(pot, materials)
        do = f"the certificate of {widest} for this lot would narrow it" if widest else "use certificate values"
        what = f"with what is known of these oils the superfat may be as low as {format_number(low, 1)} %"
        make = warn if low < LOW_BAND_PERCENT else note
        yield make("superfat-band", what, do, place)


def check_portion_superfat(
    portions: Iterable[PortionFigures], whole: float, purpose: str, locate: Locate
) -> Iterable[Finding]:
    """A portion whose own acid, fat or alkali leaves it with an excess of lye, or little superfat, at its worst end."""
    for portion in portions:
        found = portion.superfat_percent
        if portion.name == WHOLE or found is None or found >= LOW_SUPERFAT_PERCENT or abs(found - whole) < 0.05:
            continue
        what = f"the effective superfat of the {portion.name} portion may be {format_number(found, 1)} %"
        do = "give acids, fats and alkali to the whole batter, or work the portion out as a recipe of its own"
        place = locate("portions", portion.name)
        if found >= -_TOLERANCE:
            if purpose == "skin":
                yield warn("superfat-low", what, do, place)
        elif purpose == "skin":
            yield stop("lye-excess", f"{what}: free lye stays in it", do, place)
        else:
            yield warn("lye-excess", f"{what}: free lye stays in it", f"never use it on skin; {do}", place)


def _widest_oil(pot: Pot, materials: Materials) -> str | None:
    """The oil whose range of saponification values moves the superfat most."""
    widths: dict[str, float] = {}
    for line in pot.lines:
        value = materials[line.material].saponification_value
        if line.role == "oil" and value is not None:
            widths[line.material] = widths.get(line.material, 0.0) + line.grams * (value.high - value.low)
    widest = max(widths, key=lambda name: widths[name], default=None)
    return widest if widest is not None and widths[widest] > 0 else None


def check_alkali_weights(
    lye: Collection[WeighedAlkali], materials: Materials, settings: Settings, locate: Locate
) -> Iterable[Finding]:
    """An assay that is not known, and a scale too coarse for what is weighed."""
    place = locate("lye", "alkali")
    step_g = float(settings.alkali_step_g)
    for alkali in lye:
        if materials[alkali.material].has_unknown_assay:
            low = assay(materials[alkali.material])[0]
            what = f"the assay of the {words(alkali.material)} is not known: taken as 100 %, the band from {low:g} %"
            do = f"formulary materials add {alkali.material} --set assay=98.5, with the figure of its certificate"
            if not materials[alkali.material].builtin:
                do = f"set `assay` in materials/{alkali.material}.yaml from its certificate"
            yield note("assay-unknown", what, do, place)
        if _crystallises(materials[alkali.material], alkali.assay_percent):
            what = f"{words(alkali.material)} crystallises in a cold room, at 50 % from about 14 °C down"
            do = "warm it until it is clear to the bottom before you weigh it, or it is not as strong as it says"
            yield warn("lye-crystallises", what, do, place)
        if alkali.grams <= 0:
            what = f"there is no {words(alkali.material)} to weigh at this size"
            do = "make a larger batch, or set a finer `alkali_step`"
            if any(other.grams > 0 for other in lye):
                do = f"leave {alkali.material} out of `alkali` if its share is nothing; else {do}"
            yield stop("alkali-none", what, do, place)
        elif step_g > alkali.grams * COARSE_STEP_PERCENT / 100.0:
            what = (
                f"the scale's step of {step_g:g} g is {format_number(100 * step_g / alkali.grams, 1)} % of the"
                f" {format_number(alkali.grams, 1)} g of {words(alkali.material)}"
            )
            yield warn("scale-coarse", what, "use a finer scale (and set `alkali_step`), or make a larger batch", place)


def check_small_weights(pot: Pot, settings: Settings) -> Iterable[Finding]:
    """Additions and scents so small that the scale cannot weigh them to a twentieth."""
    scale = Scale.of(settings)
    grams: dict[str, float] = {}
    for line in pot.lines:
        if line.role in ("addition", "scent"):
            grams[line.material] = grams.get(line.material, 0.0) + line.grams
    small = [name for name, weight_g in grams.items() if scale.is_too_coarse(weight_g)]
    if small:
        named = ", ".join(f"{words(name)} {format_number(grams[name], 1)} g" for name in small)
        what = f"too little for a scale that shows steps of {scale.step_g:g} g: {named}"
        yield note("weight-small", what, "weigh it on a finer scale (and set `scale: {step: ...}`), or by the spoon")


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
    """Water below nothing, and additions of unknown water that should replace some."""
    for line in recipe.additions:
        if line.water == "replaces" and materials[line.material].water_percent is None:
            what = f"how much water {line.material} holds is not known, so it cannot replace any"
            do = f"set `water` in materials/{line.material}.yaml, or write `water: extra`"
            yield stop("water-unknown", what, do, recipe.place("additions", line.material, line.at))
    weigh_g = pot.grams("water")
    if weigh_g < -_TOLERANCE:
        what = f"the additions bring {format_number(-weigh_g, 0)} g more water than the recipe has"
        do = "lower an addition that replaces water, or let one be `water: extra`"
        yield stop("water-below-zero", what, do, recipe.place("water"))


def check_jug(pot: Pot, materials: Materials, locate: Locate) -> Iterable[Finding]:
    """Whether the liquid in the lye vessel dissolves the alkali, and whether it may boil."""
    pure: dict[Alkali, float] = {}
    for line in pot.lines:
        if line.role == "alkali":
            alkali = alkali_of(materials[line.material])
            pure[alkali] = pure.get(alkali, 0.0) + line.grams * assay(materials[line.material])[1] / 100.0
    water_g = sum(water_in(line, materials) for line in pot.lines if line.at == "lye water")
    place = locate("water")
    fullness = saturation(pure, water_g)
    if not pure or sum(pure.values()) <= 0:
        return
    percent = 100.0 * sum(pure.values()) / (sum(pure.values()) + max(water_g, 0.0))
    if fullness > 1:
        what = f"the jug would hold {format_number(percent, 1)} % lye: not all of the alkali dissolves at 20 °C"
        do = "leave more water in the jug: lower what replaces it, or add liquids at `lye water`"
        yield stop("jug-saturated", what, do, place)
    elif percent > STRONG_JUG_PERCENT and may_boil(_solid_alkali_g(pot, materials), water_g):
        what = f"the lye in the jug is strong ({format_number(percent, 1)} %): it may boil or spit"
        yield note("jug-strong", what, "add the alkali slowly to cold water, in a tall vessel, stirring", place)


def _solid_alkali_g(pot: Pot, materials: Materials) -> dict[Alkali, float]:
    """Grams of pure alkali that dissolve in the jug; a ready-made lye gave off its heat when it was made."""
    solid: dict[Alkali, float] = {}
    for line in pot.lines:
        material = materials[line.material]
        if line.role == "alkali" and not material.water_percent:
            alkali = alkali_of(material)
            solid[alkali] = solid.get(alkali, 0.0) + line.grams * assay(material)[1] / 100.0
    return solid


def words(slug: str) -> str:
    """A material's name as a person says it."""
    return slug.replace("-", " ")
