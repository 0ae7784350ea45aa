"""How well each model explains the values: the marginal likelihood of every model at once, in closed form.

For values v with the intercept (and other nuisances) already taken out, effects b ~ N(0, g^2 s^2), and
s^2 ~ InvGamma(nu/2, nu s0^2 / 2):

    log p(v | model, g) = -1/2 log|I + g^2 S| - (nu + n - 1)/2 log(nu s0^2 / 2 + (v'v - q) / 2) + constant
    S = X'X,  q = v'X (S + I / g^2)^-1 X'v

(G. E. P. Box and R. D. Meyer 1993, J. Quality Technology 25(2), 94-105, where nu = 0). With the moment prior
each effect's density is multiplied by b^2 / (g^2 s^2) (V. E. Johnson and D. Rossell 2010, J. Royal Statistical
Society B 72(2), 143-170), which multiplies the likelihood by the posterior mean of that product. All arrays may
lead with an axis of parallel chains.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.explain.models import Models
from trials.explain.normal import FloatArray
from trials.explain.problem import IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Moments:
    """What the sums need: S = X'X (..., terms, terms), s = X'v (..., terms), v'v (...), and n - 1 degrees of
    freedom.
    """

    products: FloatArray
    scores: FloatArray
    square: FloatArray
    freedom: float


@dataclass(frozen=True, slots=True)
class NoisePrior:
    """s^2 ~ InvGamma(shape, rate); `fixed` means that the noise is 1 by definition (grades)."""

    shape: float
    rate: float
    fixed: bool = False


def log_likelihoods(
    moments: Moments, models: Models, g: FloatArray | float, noise: NoisePrior, *, noticeable: bool = False
) -> FloatArray:
    """Shape (..., models): log p(values | model, g), up to a constant that all models share.

    g: one number, or one a chain, shape (...). noticeable: whether effects near zero are unlikely beforehand (the
    moment prior, models of up to three terms).
    """
    spread = np.asarray(g, dtype=float)[..., None]
    parts = []
    for block in models.blocks:
        size = block.shape[1]
        fit = _solve_block(moments, block, spread)
        power = 0.0
        precision: FloatArray | None = None
        if noise.fixed:
            log = 0.5 * fit.explained
        else:
            left = np.maximum(noise.rate + 0.5 * (moments.square[..., None] - fit.explained), 1e-300)
            power = noise.shape + 0.5 * moments.freedom
            log = -power * np.log(left)
            precision = 1.0 / left
        weight = fit.root_det
        if noticeable and size:
            weight = weight * _moment(fit, _precision_powers(precision, power, size))
        if size:
            log += np.log(np.maximum(weight, 1e-300)) - (3 if noticeable else 1) * size * np.log(spread)
        parts.append(log)
    return np.concatenate(parts, axis=-1)


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """All models of one size: |D|^1/2 with D = (S + I/g^2)^-1, s'Ds, means (one array a term) and D by index pairs."""

    root_det: FloatArray
    explained: FloatArray
    means: tuple[FloatArray, ...]
    spread: dict[tuple[int, int], FloatArray]


def _solve_block(moments: Moments, block: IntArray, g: FloatArray) -> _Fit:
    """Closed forms up to three terms, so that thousands of models are a few array operations."""
    lead, count = moments.scores.shape[:-1], moments.scores.shape[-1]
    size = block.shape[1]
    if size == 0:
        nothing = np.zeros((*lead, len(block)))
        return _Fit(nothing, nothing.copy(), (), {})
    if size > 3:
        inner = moments.products[..., block[:, :, None], block[:, None, :]] + g[..., None, None] ** -2 * np.eye(size)
        score = moments.scores[..., block]
        fit = (score * np.linalg.solve(inner, score[..., None])[..., 0]).sum(axis=-1)
        return _Fit(np.exp(-0.5 * np.linalg.slogdet(inner)[1]), fit, (), {})
    flat = moments.products.reshape(*lead, count * count)
    diagonal = flat[..., :: count + 1] + g**-2
    index = block.T
    d = [diagonal.take(i, axis=-1) for i in index]
    s = [moments.scores.take(i, axis=-1) for i in index]
    if size == 1:
        inverse = 1.0 / d[0]
        mean = s[0] * inverse
        return _Fit(np.sqrt(inverse), s[0] * mean, (mean,), {(0, 0): inverse})
    e = flat.take(index[0] * count + index[1], axis=-1)
    if size == 2:
        inverse = 1.0 / (d[0] * d[1] - e * e)
        spread = {(0, 0): d[1] * inverse, (1, 1): d[0] * inverse, (0, 1): -e * inverse}
        first = spread[0, 0] * s[0] + spread[0, 1] * s[1]
        second = spread[0, 1] * s[0] + spread[1, 1] * s[1]
        return _Fit(np.sqrt(inverse), s[0] * first + s[1] * second, (first, second), spread)
    f = flat.take(index[0] * count + index[2], axis=-1)
    h = flat.take(index[1] * count + index[2], axis=-1)
    a, b, c = d
    cofactor = {(0, 0): b * c - h * h, (1, 1): a * c - f * f, (2, 2): a * b - e * e}
    cofactor |= {(0, 1): f * h - e * c, (0, 2): e * h - b * f, (1, 2): e * f - a * h}
    inverse = 1.0 / np.maximum(a * cofactor[0, 0] + e * cofactor[0, 1] + f * cofactor[0, 2], 1e-300)
    spread = {pair: value * inverse for pair, value in cofactor.items()}
    first = spread[0, 0] * s[0] + spread[0, 1] * s[1] + spread[0, 2] * s[2]
    second = spread[0, 1] * s[0] + spread[1, 1] * s[1] + spread[1, 2] * s[2]
    third = spread[0, 2] * s[0] + spread[1, 2] * s[1] + spread[2, 2] * s[2]
    explained = s[0] * first + s[1] * second + s[2] * third
    return _Fit(np.sqrt(inverse), explained, (first, second, third), spread)


def _precision_powers(precision: FloatArray | None, power: float, most: int) -> list[FloatArray | float]:
    """E[s^0], E[s^-2], E[s^-4], E[s^-6] given the model; all 1 when the noise is 1 by definition."""
    found: list[FloatArray | float] = [1.0]
    for k in range(most):
        found.append(1.0 if precision is None else found[-1] * (power + k) * precision)
    return found


def _moment(fit: _Fit, powers: list[FloatArray | float]) -> FloatArray:
    """E[product of b^2 / s^2] over the posterior of the effects, by Isserlis' theorem."""
    m, c = fit.means, fit.spread
    if len(m) == 1:
        return np.asarray(m[0] ** 2 * powers[1] + c[0, 0])
    if len(m) == 2:
        x, y = m[0] ** 2, m[1] ** 2
        middle = x * c[1, 1] + y * c[0, 0] + 4 * m[0] * m[1] * c[0, 1]
        return np.asarray(x * y * powers[2] + middle * powers[1] + c[0, 0] * c[1, 1] + 2 * c[0, 1] ** 2)
    square = [value**2 for value in m]
    none = square[0] * square[1] * square[2]
    two, four = np.zeros_like(none), np.zeros_like(none)
    for i, j, k in ((0, 1, 2), (0, 2, 1), (1, 2, 0)):
        both = c[i, j]
        two += square[i] * square[j] * c[k, k] + 4 * m[i] * m[j] * square[k] * both
        ik, jk = c[min(i, k), max(i, k)], c[min(j, k), max(j, k)]
        four += square[k] * (c[i, i] * c[j, j] + 2 * both**2)
        four += 4 * m[i] * m[j] * (c[k, k] * both + 2 * ik * jk)
    six = c[0, 0] * c[1, 1] * c[2, 2] + 8 * c[0, 1] * c[0, 2] * c[1, 2]
    six += 2 * (c[0, 0] * c[1, 2] ** 2 + c[1, 1] * c[0, 2] ** 2 + c[2, 2] * c[0, 1] ** 2)
    return np.asarray(none * powers[3] + two * powers[2] + four * powers[1] + six)
