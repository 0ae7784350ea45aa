"""The glycerol that saponification sets free."""

from __future__ import annotations

from formulary.chemistry.molar_mass import GLYCEROL_G_PER_MOL


def glycerol_freed_g(ester_mol: float) -> float:
    """Grams of glycerol that triglyceride esters set free: one mole for three of hydroxide.

    Parameters
    ----------
    ester_mol: mol of hydroxide taken by esters of glycerol (not by free acids, and not by wax esters).

    >>> round(glycerol_freed_g(3), 3)
    92.094
    """
    return ester_mol / 3.0 * GLYCEROL_G_PER_MOL
