"""What fat and alkali become: soap, glycerol and water, by mass."""

from __future__ import annotations

from formulary.chemistry.alkali import Alkali, alkali_mass_g
from formulary.chemistry.molar_mass import GLYCEROL_G_PER_MOL, WATER_G_PER_MOL


def glycerol_freed_g(ester_mol: float) -> float:
    """Grams of glycerol that triglyceride esters set free: one mole for three of hydroxide.

    Parameters
    ----------
    ester_mol: mol of hydroxide taken by esters of glycerol (not by free acids, and not by wax esters).

    >>> round(glycerol_freed_g(3), 3)
    92.094
    """
    return ester_mol / 3.0 * GLYCEROL_G_PER_MOL


def soap_formed_g(
    fat_mass_g: float, ester_mol: float, free_acid_mol: float, alkali: Alkali = Alkali.SODIUM_HYDROXIDE
) -> float:
    """Grams of water-free soap (with what of the fat cannot be saponified) from a fully saponified fat.

    Parameters
    ----------
    fat_mass_g: mass of the fat that is saponified, g.
    ester_mol: mol of hydroxide taken by its glycerol esters.
    free_acid_mol: mol of hydroxide taken by its free fatty acids.
    alkali: the hydroxide used.

    Returns
    -------
    g: fat and alkali in, glycerol and the water of neutralisation out (conservation of mass).

    >>> tristearin_mol = 100 / 891.501
    >>> round(soap_formed_g(100, 3 * tristearin_mol, 0), 2)
    103.13
    """
    alkali_g = alkali_mass_g(ester_mol + free_acid_mol, alkali)
    return fat_mass_g + alkali_g - glycerol_freed_g(ester_mol) - free_acid_mol * WATER_G_PER_MOL
