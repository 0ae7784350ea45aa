"""Molar masses from the abridged standard atomic weights."""

from __future__ import annotations

import re
from functools import lru_cache

# CIAAW abridged standard atomic weights, T. Prohaska et al., Pure and Applied Chemistry 94 (2022) 573-600.
ATOMIC_WEIGHT_G_PER_MOL = {
    "H": 1.008,
    "C": 12.011,
    "N": 14.007,
    "O": 15.999,
    "Na": 22.990,
    "Cl": 35.45,
    "K": 39.098,
    "I": 126.90,
}

_ELEMENT = re.compile(r"([A-Z][a-z]?)(\d*)")
_PART = re.compile(r"(\d*)((?:[A-Z][a-z]?\d*)+)")


@lru_cache(maxsize=256)
def molar_mass_g_per_mol(formula: str) -> float:
    """The molar mass of a compound from its formula; a dot joins water of crystallisation.

    Parameters
    ----------
    formula: element symbols with counts and no brackets, such as ``C6H8O7.H2O`` or ``Na2CO3.10H2O``.

    Returns
    -------
    The molar mass in g/mol.

    Raises
    ------
    ValueError: the formula is not of that form, or names an element that has no weight here.

    Source: atomic weights of `ATOMIC_WEIGHT_G_PER_MOL`.

    >>> round(molar_mass_g_per_mol("NaOH"), 3)
    39.997
    """
    total = 0.0
    for part in formula.split("."):
        matched = _PART.fullmatch(part)
        if matched is None:
            raise ValueError(f"{formula!r} is not a chemical formula such as C6H8O7.H2O")
        mass = 0.0
        for element, count in _ELEMENT.findall(matched[2]):
            if element not in ATOMIC_WEIGHT_G_PER_MOL:
                raise ValueError(f"no atomic weight for {element} in {formula!r}")
            mass += ATOMIC_WEIGHT_G_PER_MOL[element] * int(count or 1)
        total += mass * int(matched[1] or 1)
    return total


SODIUM_HYDROXIDE_G_PER_MOL = 39.997  # NaOH, the abridged weights above
POTASSIUM_HYDROXIDE_G_PER_MOL = 56.105  # KOH, the abridged weights above
WATER_G_PER_MOL = 18.015
GLYCEROL_G_PER_MOL = 92.094  # C3H8O3
