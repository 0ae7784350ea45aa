"""Constituents of scents: limits in the finished bar, allergens to be named, phenols that take alkali."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from formulary.chemistry.molar_mass import molar_mass_g_per_mol


class ConstituentLimit(NamedTuple):
    """The most of a constituent, all sources added, in percent by mass of a finished bar of soap."""

    names: tuple[str, ...]
    percent_of_product: float
    edition: str
    source: str
    obtained: str


# IFRA Standards, category 9 (rinsed off body and hands, which bar soap is in). Only limits that were read
# are here; a constituent that is not here has no known limit, which is not the same as having none.
CONSTITUENT_LIMITS: tuple[ConstituentLimit, ...] = (
    ConstituentLimit(
        ("methyl eugenol",),
        0.00087,
        "49",
        "IFRA Standard Methyl eugenol, Amendment 49 (2020), category 9",
        "read",
    ),
    ConstituentLimit(("citronellal",), 1.4, "49", "IFRA Standard Citronellal, Amendment 49 (2020), category 9", "read"),
    ConstituentLimit(
        ("treemoss extracts", "oakmoss extracts"),
        0.1,
        "51",
        "IFRA Standard Treemoss extracts, Amendment 51, category 9; for treemoss and oakmoss together",
        "read",
    ),
)

# EU Regulation (EC) No 1223/2009, Annex III as amended by (EU) 2023/1545: a listed fragrance allergen is
# named in the ingredient list when a rinse-off product holds more than this, percent by mass.
ALLERGEN_NAMED_ABOVE_PERCENT = 0.01


def find_constituent_limit(constituent: str) -> ConstituentLimit | None:
    """The built-in limit of a constituent, by its plain name in any case; None where none is known.

    >>> find_constituent_limit("Citronellal").percent_of_product
    1.4
    """
    wanted = constituent.strip().casefold()
    return next((limit for limit in CONSTITUENT_LIMITS if wanted in limit.names), None)


# Phenols in scents that soap's alkali turns into phenolates: formula of each, one hydroxide per molecule.
# Formulas: general chemistry, from memory. Eugenol's pKa is about 10.2, so that this is what it takes at
# most.
PHENOLS: Mapping[str, str] = {
    "eugenol": "C10H12O2",
    "isoeugenol": "C10H12O2",
    "carvacrol": "C10H14O",
    "thymol": "C10H14O",
    "vanillin": "C8H8O3",
    "ethyl vanillin": "C9H10O3",
}


def phenol_mol(mass_g: float, contains_percent: Mapping[str, float]) -> float:
    """The most hydroxide, in mol, that the phenols of a scent can take.

    Parameters
    ----------
    mass_g: grams of the scent.
    contains_percent: its constituents, percent by mass, by plain name; those that are no phenols are passed
    over.

    Returns
    -------
    mol.

    >>> round(phenol_mol(12, {"eugenol": 82}) * 39.997, 1)
    2.4
    """
    return sum(
        mass_g * percent / 100.0 / molar_mass_g_per_mol(PHENOLS[name.casefold()])
        for name, percent in contains_percent.items()
        if name.casefold() in PHENOLS
    )
