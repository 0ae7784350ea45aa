"""How much room a batter takes, by its parts' densities, and what its bars weigh after the cure."""

from __future__ import annotations

from collections.abc import Mapping

from formulary.batch.figures import alkali_of, assay, water_in
from formulary.batch.model import Cured, Pot
from formulary.chemistry.density import blend_volume_ml, lye_density_g_per_ml
from formulary.chemistry.water import lye_concentration_percent
from formulary.materials.model import Material
from formulary.settings import Settings

# Where a material's own density is not known: ordinary soap oils lie between 0.90 and 0.96 g/ml (from memory), and
# what is mixed into the batter counts as water.
USUAL_OIL_DENSITY_G_PER_ML = 0.92
USUAL_OTHER_DENSITY_G_PER_ML = 1.0

Materials = Mapping[str, Material]


def pot_volume_ml(pot: Pot, materials: Materials) -> float:
    """Millilitres of pourable batter, by the densities of its parts; what goes on top takes no room in the mould.

    Oils, lye (by its concentration) and additions are taken to keep their volumes when they are mixed.
    """
    lye_g = sum(line.grams for line in pot.lines if line.role in ("alkali", "water"))
    pure_g = sum(line.grams * assay(materials[line.material])[1] / 100.0 for line in pot.lines if line.role == "alkali")
    water_g = sum(water_in(line, materials) for line in pot.lines if line.role in ("alkali", "water"))
    parts = [
        (line.grams, _density(line.role, materials[line.material]))
        for line in pot.lines
        if line.role not in ("alkali", "water") and line.at != "top" and line.grams > 0
    ]
    alkalis = [alkali_of(materials[line.material]) for line in pot.lines if line.role == "alkali"]
    if alkalis and pure_g > 0 and water_g > 0:
        concentration = min(lye_concentration_percent(pure_g, water_g), 50.0)
        parts.append((lye_g, lye_density_g_per_ml(alkalis[0], concentration)))
    elif lye_g > 0:
        parts.append((lye_g, USUAL_OTHER_DENSITY_G_PER_ML))
    return blend_volume_ml(parts)


def _density(role: str, material: Material) -> float:
    if material.density_g_per_ml is not None:
        return material.density_g_per_ml
    return USUAL_OIL_DENSITY_G_PER_ML if role == "oil" else USUAL_OTHER_DENSITY_G_PER_ML


def cured_figures(pot: Pot, materials: Materials, settings: Settings) -> Cured:
    """What the cure is expected to leave of a pot."""
    poured_g, cured_g = sum(line.grams for line in pot.lines), cured_mass_g(pot, materials, settings)
    loss_percent = 100.0 * (poured_g - cured_g) / poured_g
    return Cured(cured_g, loss_percent, float(settings.cure_days), float(settings.water_lost_percent))


def cured_mass_g(pot: Pot, materials: Materials, settings: Settings) -> float:
    """Grams of all bars after the cure: the poured mass less the water that the cure is expected to take."""
    water_g = sum(water_in(line, materials) for line in pot.lines)
    return sum(line.grams for line in pot.lines) - water_g * float(settings.water_lost_percent) / 100.0
