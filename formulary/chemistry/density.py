"""Volumes: of a blend from its parts' densities, of a mould from its sizes, and the density of lye."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping

from formulary.chemistry.alkali import Alkali

# (percent of alkali by mass, density at 20 °C in g/ml), from the equation of M. Laliberté, Journal of
# Chemical & Engineering Data 54 (2009) 1725-1760, with the parameters shipped in the open package
# `chemicals` 1.5.2.
_LYE_DENSITY: Mapping[Alkali, tuple[tuple[float, float], ...]] = {
    Alkali.SODIUM_HYDROXIDE: (
        (0.0, 0.9982),
        (5.0, 1.0532),
        (10.0, 1.1085),
        (15.0, 1.1638),
        (20.0, 1.2187),
        (25.0, 1.2728),
        (30.0, 1.3257),
        (35.0, 1.3769),
        (40.0, 1.4260),
        (45.0, 1.4726),
        (50.0, 1.5163),
    ),
    Alkali.POTASSIUM_HYDROXIDE: (
        (0.0, 0.9982),
        (5.0, 1.0438),
        (10.0, 1.0904),
        (20.0, 1.1872),
        (25.0, 1.2375),
        (30.0, 1.2892),
        (40.0, 1.3972),
        (45.0, 1.4538),
        (50.0, 1.5123),
    ),
}


def lye_density_g_per_ml(alkali: Alkali, lye_concentration_percent: float) -> float:
    """The density of a clear lye at 20 °C, on straight lines between table points.

    Parameters
    ----------
    alkali: which hydroxide.
    lye_concentration_percent: percent by mass of pure alkali, 0 to 52; a little beyond 50 the last line is
    prolonged.

    Returns
    -------
    g/ml, within about 1 % of handbook tables.

    Raises
    ------
    ValueError: outside 0 to 52 %.

    Source: Laliberté (2009), see the table.

    >>> lye_density_g_per_ml(Alkali.SODIUM_HYDROXIDE, 30)
    1.3257
    """
    if not 0.0 <= lye_concentration_percent <= 52.0:
        raise ValueError("lye densities are known from 0 to 52 % of alkali")
    points = _LYE_DENSITY[alkali]
    index = min(bisect_right(points, (lye_concentration_percent, math.inf)), len(points) - 1)
    (low, low_density), (high, high_density) = points[index - 1], points[index]
    return low_density + (high_density - low_density) * (lye_concentration_percent - low) / (high - low)


def volume_ml(mass_g: float, density_g_per_ml: float) -> float:
    """The volume in ml of so many grams.

    >>> volume_ml(92, 0.92)
    100.0
    """
    return mass_g / density_g_per_ml


def mass_g(volume: float, density_g_per_ml: float) -> float:
    """The mass in g of so many ml.

    >>> mass_g(100, 0.92)
    92.0
    """
    return volume * density_g_per_ml


def blend_volume_ml(parts: Iterable[tuple[float, float]]) -> float:
    """The volume of a batter from its parts, as if none shrank on mixing.

    Parameters
    ----------
    parts: (mass in g, density in g/ml) of each.

    Returns
    -------
    ml. Additive volumes are an approximation; for fat and lye it is good to about 1 % (common practice, no
    source).

    >>> round(blend_volume_ml([(920, 0.92), (400, 1.3)]), 1)
    1307.7
    """
    return sum(volume_ml(mass, density) for mass, density in parts)


def box_volume_ml(length_cm: float, width_cm: float, height_cm: float) -> float:
    """The volume in ml of a box-shaped mould, by its inner sizes and the height that it is filled to.

    >>> box_volume_ml(25, 8, 7)
    1400
    """
    return length_cm * width_cm * height_cm


def cylinder_volume_ml(diameter_cm: float, height_cm: float) -> float:
    """The volume in ml of a round mould, by its inner diameter and the height that it is filled to.

    >>> round(cylinder_volume_ml(8, 20), 1)
    1005.3
    """
    return math.pi * (diameter_cm / 2.0) ** 2 * height_cm
