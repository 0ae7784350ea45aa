"""Student's t for whole degrees of freedom, in closed form, so that comparing needs no numerical library.

Source: Abramowitz and Stegun, Handbook of Mathematical Functions (1964), 26.7.3 and 26.7.4.
"""

from __future__ import annotations

from math import atan, cos, pi, sin, sqrt


def chance_of_more(t: float, degrees: int) -> float:
    """The probability that |t| is exceeded by chance, from 0 to 1.

    t: the difference in units of its standard error. degrees: of freedom, 1 or more.

    >>> round(chance_of_more(2.776, 4), 3)
    0.05
    """
    angle = atan(abs(t) / sqrt(degrees))
    total = term = cos(angle) if degrees % 2 else 1.0
    for k in range(3 if degrees % 2 else 2, degrees, 2):
        term *= (k - 1) / k * cos(angle) ** 2
        total += term
    if degrees == 1:
        inside = 2.0 * angle / pi
    elif degrees % 2:
        inside = 2.0 / pi * (angle + sin(angle) * total)
    else:
        inside = sin(angle) * total
    return min(1.0, max(0.0, 1.0 - inside))
