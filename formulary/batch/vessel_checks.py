"""Whether the maker's vessels hold the batch: the pot with room to stir, the jug with room to foam."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from formulary.batch.figures import alkali_of, assay
from formulary.batch.model import Pot
from formulary.batch.mould import parse_mould
from formulary.batch.volume import USUAL_OTHER_DENSITY_G_PER_ML, pot_volume_ml
from formulary.chemistry.density import blend_volume_ml, lye_density_g_per_ml
from formulary.errors import InputError
from formulary.finding import Finding, Place, warn
from formulary.materials.model import Material, MaterialKind
from formulary.quantity import format_number
from formulary.settings import Settings

# How full a vessel may be: common practice, no source. Lye foams and may spit while the alkali goes in.
FULLEST = {"pot": 0.8, "jug": 0.6}
# Sodium hydroxide has 2.13 g/ml and potassium hydroxide 2.04, as crystals (from memory).
DRY_ALKALI_G_PER_ML = 2.0
# A batch for so many of the largest mould at once is more likely a slip of ten (common practice, no source).
_MOST_MOULDS = 5.0


def check_vessels(pot: Pot, materials: Mapping[str, Material], settings: Settings) -> Iterable[Finding]:
    """A warning for each vessel of `formulary.yaml` that the batch fills too far, and for many times its moulds."""
    batter_ml = pot_volume_ml(pot, materials)
    yield from _check_fill("pot", batter_ml, settings)
    yield from _check_fill("jug", _jug_volume_ml(pot, materials), settings)
    yield from _check_moulds(batter_ml, settings)


def check_shared_vessels(
    melted: Pot | None, in_jug: Pot | None, materials: Mapping[str, Material], settings: Settings
) -> Iterable[Finding]:
    """A warning for each vessel that what a sitting melts, or dissolves, for all its loaves fills too far."""
    if melted is not None:
        yield from _check_fill("pot", pot_volume_ml(melted, materials), settings)
    if in_jug is not None:
        yield from _check_fill("jug", _jug_volume_ml(in_jug, materials), settings)


def _jug_volume_ml(pot: Pot, materials: Mapping[str, Material]) -> float:
    """Millilitres of what goes into the lye vessel, each by itself: mixed, it takes a little less room."""
    jug = (line for line in pot.lines if line.at == "lye water")
    return blend_volume_ml((line.grams, _density(materials[line.material])) for line in jug)


def _density(material: Material) -> float:
    if material.density_g_per_ml is not None:
        return material.density_g_per_ml
    if material.group == "lye-solution":
        return lye_density_g_per_ml(alkali_of(material), min(assay(material)[1], 50.0))
    return DRY_ALKALI_G_PER_ML if material.kind is MaterialKind.ALKALI else USUAL_OTHER_DENSITY_G_PER_ML


def _check_fill(vessel: str, volume_ml: float, settings: Settings) -> Iterable[Finding]:
    size_ml = settings.vessels_ml.get(vessel)
    if size_ml is not None and volume_ml > float(size_ml) * FULLEST[vessel]:
        what = (
            f"the {vessel} of {float(size_ml):g} ml would hold {format_number(volume_ml, 0)} ml:"
            f" it should be at most {100 * FULLEST[vessel]:.0f} % full"
        )
        larger_ml = 10 * math.ceil(volume_ml / FULLEST[vessel] / 10)
        percent = math.floor(100 * float(size_ml) * FULLEST[vessel] / volume_ml)
        do = f"take one of {larger_ml} ml or more (and set `vessels`)"
        do += f", or make at most {percent} % of this" if percent else ""
        yield warn(f"{vessel}-small", what, do, Place("formulary.yaml"))


def _check_moulds(batter_ml: float, settings: Settings) -> Iterable[Finding]:
    """That a batch is so many times the largest mould of the settings that its size may be a slip."""
    sizes_ml: dict[str, float] = {}
    for name, size in settings.moulds.items():
        try:
            sizes_ml[name] = parse_mould(size).volume_ml
        except InputError:
            continue  # a mould that cannot be read is a fault of the settings, told there
    largest = max(sizes_ml, key=lambda name: sizes_ml[name], default=None)
    if largest is not None and batter_ml > _MOST_MOULDS * sizes_ml[largest]:
        times = format_number(batter_ml / sizes_ml[largest], 0)
        what = f"this fills the largest mould of the settings, {largest}, {times} times"
        do = "check the size, and its unit; if it is meant, add the mould that it is for to `moulds`"
        yield warn("size-unlikely", what, do, Place("formulary.yaml"))
