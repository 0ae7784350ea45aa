"""What a spoon or cup of a material weighs."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from formulary.materials.model import Material
from formulary.quantity import SPOON_UNITS, Quantity


def mass_by_volume_g(material: Material, amount: float, unit: str, measures_ml: Mapping[str, Decimal]) -> float | None:
    """Grams of a material measured by volume; None when nothing says what it weighs.

    What the maker weighed of a level spoon comes first. Else the density of a loose heap, which a powder has; else the
    density itself.

    Parameters
    ----------
    material: what is measured.
    amount: how many of the unit.
    unit: a unit of volume: `tsp`, `tbsp`, `cup`, `fl_oz`, `ml` or `l`.
    measures_ml: the size of each spoon and cup, in ml, from the settings.

    Returns
    -------
    g. A heap's density differs with how it is packed, by a fifth and more (common practice, no source): weigh a few
    level spoons and write them under `measures` in the material's file.

    >>> from formulary.materials.register import read_builtin_register
    >>> mass_by_volume_g(read_builtin_register()["rose-clay"], 2, "tsp", {"tsp": Decimal(5)})
    6.0
    """
    weighed = material.measures.get(unit)
    if weighed is not None:
        return amount * weighed.mass_g
    density_g_per_ml = material.bulk_density_g_per_ml or material.density_g_per_ml
    if density_g_per_ml is None:
        return None
    size_ml = measures_ml[unit] if unit in SPOON_UNITS else Quantity(Decimal(1), unit).to("ml")
    return amount * float(size_ml) * density_g_per_ml


def is_measurable(material: Material, unit: str) -> bool:
    """Whether something says what so much of a material by volume weighs."""
    return (
        unit in material.measures or material.bulk_density_g_per_ml is not None or material.density_g_per_ml is not None
    )
