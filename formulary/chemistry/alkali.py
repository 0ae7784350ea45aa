"""Alkali for fat: moles, the two hydroxides, superfat, assay, and one alkali split into two."""

from __future__ import annotations

import math
from collections.abc import Mapping
from enum import Enum

from formulary.chemistry.molar_mass import POTASSIUM_HYDROXIDE_G_PER_MOL, SODIUM_HYDROXIDE_G_PER_MOL


class Alkali(Enum):
    """A hydroxide that soap is made with; the value is the slug of the pure material."""

    SODIUM_HYDROXIDE = "sodium-hydroxide"
    POTASSIUM_HYDROXIDE = "potassium-hydroxide"

    @property
    def molar_mass_g_per_mol(self) -> float:
        """39.997 for NaOH, 56.105 for KOH."""
        if self is Alkali.SODIUM_HYDROXIDE:
            return SODIUM_HYDROXIDE_G_PER_MOL
        return POTASSIUM_HYDROXIDE_G_PER_MOL

    @property
    def formula(self) -> str:
        """NaOH or KOH."""
        return "NaOH" if self is Alkali.SODIUM_HYDROXIDE else "KOH"


# Range that an unknown assay is taken to lie in, percent of hydroxide in what is weighed. The low ends are
# the pharmacopoeial minima (USP35-NF30, monographs Sodium Hydroxide 95.0 % and Potassium Hydroxide 85.0 %).
UNKNOWN_ASSAY_PERCENT = {
    Alkali.SODIUM_HYDROXIDE: (95.0, 100.0),
    Alkali.POTASSIUM_HYDROXIDE: (85.0, 100.0),
}


def hydroxide_mol_for_fat(fat_mass_g: float, saponification_value: float) -> float:
    """Moles of hydroxide that saponify a fat completely (the fat's saponifiable equivalents).

    Parameters
    ----------
    fat_mass_g: mass of oil, fat, wax or fatty acid, g.
    saponification_value: mg KOH per g, as defined by ISO 3657.

    Returns
    -------
    mol of hydroxide.

    Source: definition of the saponification value (ISO 3657:2020); molar mass of KOH 56.105 g/mol.

    >>> round(hydroxide_mol_for_fat(1000, 190), 4)
    3.3865
    """
    return fat_mass_g * saponification_value / (1000.0 * POTASSIUM_HYDROXIDE_G_PER_MOL)


def alkali_mass_g(hydroxide_mol: float, alkali: Alkali) -> float:
    """Grams of pure alkali that hold so many moles of hydroxide.

    >>> round(alkali_mass_g(1, Alkali.SODIUM_HYDROXIDE), 3)
    39.997
    """
    return hydroxide_mol * alkali.molar_mass_g_per_mol


def hydroxide_mol(pure_alkali_g: float, alkali: Alkali) -> float:
    """Moles of hydroxide in so many grams of pure alkali.

    >>> round(hydroxide_mol(56.105, Alkali.POTASSIUM_HYDROXIDE), 6)
    1.0
    """
    return pure_alkali_g / alkali.molar_mass_g_per_mol


def discounted_mol(fat_mol: float, superfat_percent: float) -> float:
    """Moles of hydroxide to give a fat so that `superfat_percent` of its equivalents stay without alkali.

    >>> discounted_mol(4.0, 5)
    3.8
    """
    return fat_mol * (1.0 - superfat_percent / 100.0)


def superfat_percent(fat_mol: float, alkali_mol: float) -> float:
    """Percent of the saponifiable equivalents in the pot that find no alkali; negative: alkali is left.

    Parameters
    ----------
    fat_mol: saponifiable equivalents of everything in the pot, mol, above 0.
    alkali_mol: hydroxide that is free to saponify (after added acids took theirs), mol.

    Returns
    -------
    percent.

    Raises
    ------
    ValueError: there is no fat.

    >>> superfat_percent(100, 95)
    5.0
    """
    if fat_mol <= 0:
        raise ValueError("a superfat needs fat: the saponifiable equivalents must be above 0")
    return (fat_mol - alkali_mol) / fat_mol * 100.0


def weighed_g(pure_alkali_g: float, assay_percent: float) -> float:
    """Grams to weigh of a product that is `assay_percent` pure (by mass) for so many grams of pure substance.

    >>> round(weighed_g(128.676, 97), 3)
    132.656
    """
    return pure_alkali_g * 100.0 / assay_percent


def pure_g(weighed: float, assay_percent: float) -> float:
    """Grams of pure substance in so many grams weighed of a product that is `assay_percent` pure (by mass).

    >>> pure_g(200, 50)
    100.0
    """
    return weighed * assay_percent / 100.0


def split_by_moles(hydroxide: float, shares: Mapping[Alkali, float]) -> dict[Alkali, float]:
    """Pure grams of each alkali when the shares are of the moles of hydroxide.

    Parameters
    ----------
    hydroxide: all hydroxide wanted, mol.
    shares: a share for each alkali, in any unit (only their ratio counts); none negative, not all zero.

    Returns
    -------
    grams of pure alkali, by alkali.

    Raises
    ------
    ValueError: a negative share, or nothing shared.

    >>> split = split_by_moles(1.0, {Alkali.SODIUM_HYDROXIDE: 60, Alkali.POTASSIUM_HYDROXIDE: 40})
    >>> round(split[Alkali.SODIUM_HYDROXIDE], 4)
    23.9982
    """
    total = _total(shares)
    return {alkali: alkali_mass_g(hydroxide * share / total, alkali) for alkali, share in shares.items()}


def split_by_mass(hydroxide: float, shares: Mapping[Alkali, float]) -> dict[Alkali, float]:
    """Pure grams of each alkali when the shares are of the mass of pure alkali.

    The same shares by moles give other weights, because KOH is 1.4 times as heavy for the same hydroxide.

    Parameters and errors as for `split_by_moles`.

    >>> split = split_by_mass(1.0, {Alkali.SODIUM_HYDROXIDE: 1, Alkali.POTASSIUM_HYDROXIDE: 1})
    >>> split[Alkali.SODIUM_HYDROXIDE] == split[Alkali.POTASSIUM_HYDROXIDE]
    True
    """
    total = _total(shares)
    per_gram = sum(share / total / alkali.molar_mass_g_per_mol for alkali, share in shares.items())
    all_g = hydroxide / per_gram
    return {alkali: all_g * share / total for alkali, share in shares.items()}


def _total(shares: Mapping[Alkali, float]) -> float:
    if any(share < 0 or not math.isfinite(share) for share in shares.values()):
        raise ValueError("a share of alkali cannot be negative or unbounded")
    total = sum(shares.values())
    if total <= 0:
        raise ValueError("the shares of alkali add up to nothing")
    return total


def rounded_down_g(mass_g: float, step_g: float) -> float:
    """What a scale that shows steps of `step_g` is filled to so that it never shows more than `mass_g`.

    Rounding alkali down leaves a little more fat, never a little more lye. A mass within a billionth of a
    step below a full step counts as that step, so that 139.4 computed as 139.39999999999998 stays 139.4.

    >>> rounded_down_g(139.47, 0.1)
    139.4
    """
    steps = math.floor(mass_g / step_g + 1e-9)
    return round(steps * step_g, 9)
