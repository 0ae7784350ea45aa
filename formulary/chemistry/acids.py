"""Added acids: how much alkali each takes for itself, before any is left for the fat."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from formulary.chemistry.molar_mass import molar_mass_g_per_mol


class Acid(NamedTuple):
    """An acid as pure, water-free substance: its formula and the protons that soap's alkali takes."""

    name: str
    formula: str
    equivalents_per_mol: int
    why: str

    @property
    def molar_mass_g_per_mol(self) -> float:
        """g/mol of the water-free acid."""
        return molar_mass_g_per_mol(self.formula)


_GENERAL = "general chemistry: every carboxyl proton (pKa below 7) is taken at the pH of soap, 9 to 10"

# Equivalents: general chemistry, from memory. Formulas fix the molar masses.
ACIDS: Mapping[str, Acid] = {
    acid.name: acid
    for acid in (
        Acid("citric", "C6H8O7", 3, _GENERAL),
        Acid("tartaric", "C4H6O6", 2, _GENERAL),
        Acid("malic", "C4H6O5", 2, _GENERAL),
        Acid("lactic", "C3H6O3", 1, _GENERAL),
        Acid("acetic", "C2H4O2", 1, _GENERAL),
        Acid("ascorbic", "C6H8O6", 1, "the first proton only; the second (pKa about 11.6) is too weak to count"),
        Acid("hydrogen carbonate", "NaHCO3", 1, "baking soda takes one hydroxide to become sodium carbonate"),
        Acid(
            "disodium edta",
            "C10H14N2Na2O8",
            2,
            "two protons are left to neutralise; tetrasodium EDTA has none",
        ),
    )
}


def acid_equivalents_mol(acid_mass_g: float, acid: str) -> float:
    """Moles of hydroxide that so many grams of a water-free acid take in full.

    Parameters
    ----------
    acid_mass_g: grams of the pure, water-free acid.
    acid: its name in `ACIDS`.

    Returns
    -------
    mol of hydroxide.

    Raises
    ------
    KeyError: the acid is not in the table.

    >>> round(acid_equivalents_mol(192.123, "citric"), 3)
    3.0
    """
    known = ACIDS[acid]
    return acid_mass_g / known.molar_mass_g_per_mol * known.equivalents_per_mol


def equivalents_of_mixture_mol(mass_g: float, acids_percent: Mapping[str, float]) -> float:
    """Moles of hydroxide that a material takes, from its acid content in percent by mass (water-free acid).

    >>> round(equivalents_of_mixture_mol(100, {"citric": 6, "ascorbic": 0.05}), 5)
    0.09397
    """
    return sum(acid_equivalents_mol(mass_g * percent / 100.0, acid) for acid, percent in acids_percent.items())
