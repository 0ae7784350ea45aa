"""The normal distribution for arrays: tail-safe chance, quantile and truncated draws, with numpy alone.

Source of the quantile: M. J. Wichura, Algorithm AS 241, Applied Statistics 37(3), 1988, 477-484 (PPND16).
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]

_SMALLEST = 1e-300  # a chance below this is treated as if it were this; 37 standard deviations out
_erfc = np.frompyfunc(math.erfc, 1, 1)

_CENTRE = (
    (2509.0809287301226727, 33430.575583588128105, 67265.770927008700853, 45921.953931549871457,
     13731.693765509461125, 1971.5909503065514427, 133.14166789178437745, 3.3871328727963666080),
    (5226.4952788528545610, 28729.085735721942674, 39307.895800092710610, 21213.794301586595867,
     5394.1960214247511077, 687.18700749205790830, 42.313330701600911252, 1.0),
)  # fmt: skip
_SHOULDER = (
    (7.7454501427834140764e-4, 0.022723844989269184583, 0.24178072517745061177, 1.2704582524523684426,
     3.6478483247632046050, 5.7694972214606914055, 4.6303378461565452959, 1.4234371107496835773),
    (1.0507500716444168443e-9, 5.4759380849953449460e-4, 0.015198666563616457199, 0.14810397642748007459,
     0.68976733498510000455, 1.6763848301838038494, 2.0531916266377588219, 1.0),
)  # fmt: skip
_TAIL = (
    (2.0103343992922881327e-7, 2.7115555687434875782e-5, 1.2426609473880784386e-3, 0.026532189526576123093,
     0.29656057182850489123, 1.7848265399172913358, 5.4637849111641143699, 6.6579046435011037772),
    (2.0442631033899397856e-15, 1.4215117583164458887e-7, 1.8463183175100546818e-5, 7.8686913114561325910e-4,
     0.014875361290850615025, 0.13692988092273580531, 0.59983220655588793769, 1.0),
)  # fmt: skip


def normal_chance(z: FloatArray) -> FloatArray:
    """The chance that a standard normal value lies below `z`, exact in the lower tail."""
    return np.asarray(_erfc(-np.asarray(z, dtype=float) / math.sqrt(2.0)), dtype=float) * 0.5


def _ratio(table: tuple[tuple[float, ...], tuple[float, ...]], r: FloatArray) -> FloatArray:
    return np.asarray(np.polyval(table[0], r) / np.polyval(table[1], r))


def normal_quantile(chance: FloatArray) -> FloatArray:
    """The standard normal value below which a given `chance` (0 to 1) lies; 0 and 1 give infinities."""
    p = np.asarray(chance, dtype=float)
    q = p - 0.5
    central = np.abs(q) <= 0.425
    r = np.where(central, 0.180625 - q * q, 0.0)
    inner = q * _ratio(_CENTRE, r)
    tail = np.sqrt(-np.log(np.clip(np.minimum(p, 1.0 - p), _SMALLEST, 0.5)))
    outer = np.where(tail <= 5.0, _ratio(_SHOULDER, tail - 1.6), _ratio(_TAIL, tail - 5.0))
    z = np.where(central, inner, np.where(q < 0, -outer, outer))
    return np.where(p <= 0.0, -np.inf, np.where(p >= 1.0, np.inf, z))


def draw_truncated(
    uniform: FloatArray, mean: FloatArray, sd: FloatArray, lower: FloatArray, upper: FloatArray
) -> FloatArray:
    """One normal value between two bounds for each uniform number, safe however far out the bounds lie.

    All arguments broadcast against each other; bounds may be infinite. The nearer tail is always the one that
    is inverted, so that no precision is lost; beyond 37 standard deviations the value is the bound itself.
    """
    a, b = (lower - mean) / sd, (upper - mean) / sd
    flipped = a > 0
    low, high = np.where(flipped, -b, a), np.where(flipped, -a, b)
    chance_low, chance_high = normal_chance(low), normal_chance(high)
    chance = chance_low + uniform * np.maximum(chance_high - chance_low, 0.0)
    z = normal_quantile(np.clip(chance, _SMALLEST, 1.0 - 1e-16))
    z = np.where(chance_high < 1e-290, high, np.clip(z, low, high))
    return np.asarray(mean + sd * np.where(flipped, -z, z))
