"""Water for lye by the three usual methods, and the concentration that comes of it."""

from __future__ import annotations


def water_g_for_concentration(pure_alkali_g: float, lye_concentration_percent: float) -> float:
    """Grams of water for a lye of this strength (pure alkali as percent by mass of alkali and water).

    Raises
    ------
    ValueError: the concentration is not between 0 and 100 %.

    >>> round(water_g_for_concentration(100, 33), 2)
    203.03
    """
    if not 0.0 < lye_concentration_percent < 100.0:
        raise ValueError("a lye concentration lies between 0 and 100 %")
    return pure_alkali_g * (100.0 - lye_concentration_percent) / lye_concentration_percent


def water_g_for_ratio(pure_alkali_g: float, water_to_lye: float) -> float:
    """Grams of water for so many grams of water per gram of pure alkali.

    >>> water_g_for_ratio(100, 2)
    200
    """
    return pure_alkali_g * water_to_lye


def water_g_for_percent_of_oils(oil_mass_g: float, percent_of_oils: float) -> float:
    """Grams of water as percent of the oils, whatever their alkali.

    >>> water_g_for_percent_of_oils(1000, 38)
    380.0
    """
    return oil_mass_g * percent_of_oils / 100.0


def lye_concentration_percent(pure_alkali_g: float, water_g: float) -> float:
    """Pure alkali as percent by mass of alkali and water.

    Raises
    ------
    ValueError: there is neither alkali nor water.

    >>> lye_concentration_percent(50, 100) == 100 / 3
    True
    """
    total_g = pure_alkali_g + water_g
    if total_g <= 0:
        raise ValueError("a concentration needs alkali or water")
    return 100.0 * pure_alkali_g / total_g
