"""How hot a jug of lye could get at most: only to say that it may boil, never a temperature to expect."""

from __future__ import annotations

from collections.abc import Mapping

from formulary.chemistry.alkali import Alkali, hydroxide_mol

# Molar enthalpy of solution at 25 °C and infinite dilution, kJ given off per mol. CRC Handbook of Chemistry
# and Physics, Enthalpy of solution of electrolytes, after V.B. Parker, NSRDS-NBS 2 (1965). A strong lye
# gives off less.
HEAT_OF_SOLUTION_KJ_PER_MOL = {Alkali.SODIUM_HYDROXIDE: 44.51, Alkali.POTASSIUM_HYDROXIDE: 57.61}

WATER_J_PER_G_K = 4.18  # specific heat of water near 25 °C, handbook value, from memory
# Specific heat of the solid hydroxides, J/(g K), from memory (59.5 and 64.9 J/(mol K)); what they add is
# small.
SOLID_J_PER_G_K = {Alkali.SODIUM_HYDROXIDE: 1.49, Alkali.POTASSIUM_HYDROXIDE: 1.16}


def heat_of_solution_kj(pure_alkali_g: float, alkali: Alkali) -> float:
    """The most heat, in kJ, that so many grams of pure alkali give off as they dissolve.

    >>> round(heat_of_solution_kj(100, Alkali.SODIUM_HYDROXIDE), 1)
    111.3
    """
    return hydroxide_mol(pure_alkali_g, alkali) * HEAT_OF_SOLUTION_KJ_PER_MOL[alkali]


def warm_up_bound_k(pure_alkali_g: Mapping[Alkali, float], water_g: float) -> float:
    """An upper bound of the warm-up of a jug, in K, if all alkali went in at once and no heat were lost.

    Parameters
    ----------
    pure_alkali_g: grams of each pure alkali, as solids.
    water_g: water in the jug, g.

    Returns
    -------
    K above where it began. It is an upper bound: a strong lye gives off less than at infinite dilution, and
    a jug loses heat. Do not show it as a temperature to expect.

    Raises
    ------
    ValueError: there is neither water nor alkali.

    >>> warm_up_bound_k({Alkali.SODIUM_HYDROXIDE: 100}, 10_000) < 3
    True
    """
    heat_j = sum(1000.0 * heat_of_solution_kj(grams, alkali) for alkali, grams in pure_alkali_g.items())
    capacity = water_g * WATER_J_PER_G_K + sum(
        grams * SOLID_J_PER_G_K[alkali] for alkali, grams in pure_alkali_g.items()
    )
    if capacity <= 0:
        raise ValueError("a warm-up needs water or alkali")
    return heat_j / capacity


def boiling_point_c(lye_concentration_percent: float) -> float:
    """Roughly where a sodium hydroxide lye boils, °C: a parabola through water (100) and 50 % lye (145 °C).

    Source: 145 °C at 50 %, a manufacturer's technical page on caustic soda solution; good to some 3 K from
    0 to 50 % (from memory).

    >>> boiling_point_c(50)
    145.0
    """
    return 100.0 + 45.0 * (lye_concentration_percent / 50.0) ** 2


def may_boil(pure_alkali_g: Mapping[Alkali, float], water_g: float, start_temperature_c: float = 20.0) -> bool:
    """Whether the upper bound of the warm-up reaches the lye's boiling point, so that it may boil or spit.

    Parameters
    ----------
    pure_alkali_g: grams of each pure alkali, as solids.
    water_g: water in the jug, g.
    start_temperature_c: what the water starts at, °C; 20 unless said.

    >>> may_boil({Alkali.SODIUM_HYDROXIDE: 50}, 50), may_boil({Alkali.SODIUM_HYDROXIDE: 10}, 90)
    (True, False)
    """
    alkali_g = sum(pure_alkali_g.values())
    concentration = 100.0 * alkali_g / (alkali_g + water_g)
    return start_temperature_c + warm_up_bound_k(pure_alkali_g, water_g) >= boiling_point_c(concentration)
