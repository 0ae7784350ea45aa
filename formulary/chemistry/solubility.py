"""How much alkali a jug of water dissolves."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping

from formulary.chemistry.alkali import Alkali

# (temperature °C, g of alkali per 100 g of water). Perry's Chemical Engineers' Handbook / Seidell,
# Solubilities, from memory. NaOH at 20 and 80 °C agrees with the Great Soviet Encyclopedia, entry Sodium
# hydroxide (52.2 and 75.8 % by mass, read). Below 12.3 °C another hydrate of NaOH is the solid, hence the
# step.
_SOLUBILITY: Mapping[Alkali, tuple[tuple[float, float], ...]] = {
    Alkali.SODIUM_HYDROXIDE: (
        (0.0, 42.0),
        (10.0, 51.5),
        (20.0, 109.0),
        (30.0, 119.0),
        (40.0, 129.0),
        (50.0, 145.0),
        (60.0, 174.0),
        (80.0, 313.0),
        (100.0, 347.0),
    ),
    Alkali.POTASSIUM_HYDROXIDE: (
        (0.0, 97.0),
        (10.0, 103.0),
        (20.0, 112.0),
        (30.0, 126.0),
        (50.0, 140.0),
        (100.0, 178.0),
    ),
}


def solubility_g_per_100_g_water(alkali: Alkali, temperature_c: float = 20.0) -> float:
    """Grams of pure alkali that 100 g of water dissolve, between table points on a straight line.

    Parameters
    ----------
    alkali: which hydroxide.
    temperature_c: 0 to 100 °C; 20 °C is what a jug is checked at, because that is what it cools to.

    Returns
    -------
    g per 100 g of water.

    Raises
    ------
    ValueError: outside 0 to 100 °C.

    >>> solubility_g_per_100_g_water(Alkali.SODIUM_HYDROXIDE)
    109.0
    """
    points = _SOLUBILITY[alkali]
    if not points[0][0] <= temperature_c <= points[-1][0]:
        raise ValueError("solubilities are known from 0 to 100 °C")
    index = min(bisect_right(points, (temperature_c, float("inf"))), len(points) - 1)
    (low_c, low_g), (high_c, high_g) = points[index - 1], points[index]
    return low_g + (high_g - low_g) * (temperature_c - low_c) / (high_c - low_c)


def water_g_to_dissolve(pure_alkali_g: float, alkali: Alkali, temperature_c: float = 20.0) -> float:
    """The least water, in g, that dissolves so many grams of one alkali by itself.

    >>> water_g_to_dissolve(109, Alkali.SODIUM_HYDROXIDE)
    100.0
    """
    return 100.0 * pure_alkali_g / solubility_g_per_100_g_water(alkali, temperature_c)


def saturation(pure_alkali_g: Mapping[Alkali, float], water_g: float, temperature_c: float = 20.0) -> float:
    """How full of alkali a jug is: 1 is as much as it dissolves, above 1 some stays solid.

    Two alkalis share the water, so their fractions add; that is stricter than looking at each alone.

    Parameters
    ----------
    pure_alkali_g: grams of each pure alkali in the jug.
    water_g: all water in the jug, g.
    temperature_c: 0 to 100 °C.

    Returns
    -------
    a ratio; infinity where there is alkali and no water.

    >>> saturation({Alkali.SODIUM_HYDROXIDE: 109}, 200)
    0.5
    """
    needed_g = sum(water_g_to_dissolve(grams, alkali, temperature_c) for alkali, grams in pure_alkali_g.items())
    if needed_g <= 0:
        return 0.0
    return needed_g / water_g if water_g > 0 else float("inf")
