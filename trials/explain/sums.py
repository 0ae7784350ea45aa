"""How well each model explains the values: the marginal likelihood of every model at once, in closed form.

For values v with the intercept (and other nuisances) already taken out, effects b ~ N(0, g^2 s^2), and
s^2 ~ InvGamma(nu/2, nu s0^2 / 2):

    log p(v | model, g) = -1/2 log|I + g^2 S| - (nu + n - 1)/2 log(nu s0^2 / 2 + (v'v - q) / 2) + constant
    S = X'X,  q = v'X (S + I / g^2)^-1 X'v

(G. E. P. Box and R. D. Meyer 1993, J. Quality Technology 25(2), 94-105, where nu = 0). Effects that are kept apart
from zero have the density b^2 / (g s)^2 N(b; 0, g^2 s^2) each (V. E. Johnson and D. Rossell 2010, J. Royal Statistical
Society B 72(2), 143-170, from memory); then log E[product of (b / g s)^2] is added, the expectation being over
what the formula above believes of b and s. All arrays may lead with an axis of parallel chains.
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
    """s^2 ~ InvGamma(shape, rate); `fixed` means that the noise is 1 by definition (grades).

    rate: one number, or one a chain, shape (..., 1).
    """

    shape: float
    rate: FloatArray | float
    fixed: bool = False


def log_likelihoods(
    moments: Moments, models: Models, g: FloatArray | float, noise: NoisePrior, *, apart: bool = False
) -> FloatArray:
    """Shape (..., models): log p(values | model, g), up to a constant that all models share.

    g: one number, or one a chain, shape (...). apart: effects are kept apart from zero; for up to three terms.
    """
    if apart and len(models.blocks) > 4:
        raise ValueError("effects apart from zero are summed for up to three terms")
    spread = np.asarray(g, dtype=float)[..., None]
    shape = noise.shape + 0.5 * moments.freedom
    parts = []
    for block in models.blocks:
        solved = _solve_block(moments, block, spread)
        size = block.shape[1]
        logs = np.log(np.maximum(solved.root_det, 1e-300)) - size * np.log(spread)
        if noise.fixed:
            precision, steps = np.ones_like(solved.fit), (1.0, 1.0)
            logs = logs + 0.5 * solved.fit
        else:
            left = np.maximum(noise.rate + 0.5 * (moments.square[..., None] - solved.fit), 1e-300)
            precision, steps = shape / left, (1.0 + 1.0 / shape, 1.0 + 2.0 / shape)
            logs = logs - shape * np.log(left)
        if apart and size:
            squares = _expect_squares(solved, precision, steps)
            logs = logs + np.log(np.maximum(squares, 1e-300)) - 2 * size * np.log(spread)
        parts.append(logs)
    return np.concatenate(parts, axis=-1)


def _expect_squares(solved: _Solved, precision: FloatArray, steps: tuple[float, float]) -> FloatArray:
    """E[product of (b / s)^2] of each model's effects, b ~ N(mean, s^2 covariance) given s (Isserlis).

    precision: E[s^-2]; steps: E[s^-4] = steps[0] E[s^-2]^2, E[s^-6] = steps[1] E[s^-2] E[s^-4].
    """
    mean, covariance, h1 = solved.mean, solved.covariance, precision
    h2 = steps[0] * h1 * h1
    h3 = steps[1] * h1 * h2
    if len(mean) == 1:
        return mean[0] ** 2 * h1 + covariance[0]
    if len(mean) == 2:
        m, n = mean
        v, w, c = covariance
        return (m * n) ** 2 * h2 + (m * m * w + n * n * v + 4 * m * n * c) * h1 + v * w + 2 * c * c
    m, n, o = mean
    v, w, u, c, d, e = covariance
    mm, nn, oo = m * m, n * n, o * o
    third = mm * nn * oo
    second = mm * nn * u + mm * oo * w + nn * oo * v + 4 * (mm * n * o * e + nn * m * o * d + oo * m * n * c)
    first = mm * (w * u + 2 * e * e) + nn * (v * u + 2 * d * d) + oo * (v * w + 2 * c * c)
    first = first + 4 * (m * n * (c * u + 2 * d * e) + m * o * (d * w + 2 * c * e) + n * o * (e * v + 2 * c * d))
    none = v * w * u + 2 * (v * e * e + w * d * d + u * c * c) + 8 * c * d * e
    return np.asarray(third * h3 + second * h2 + first * h1 + none)


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    """|S + I/g^2|^-1/2, q, and the effects' means and covariance / s^2 (variances, then 12, 13, 23), by model."""

    root_det: FloatArray
    fit: FloatArray
    mean: tuple[FloatArray, ...] = ()
    covariance: tuple[FloatArray, ...] = ()


def _solve_block(moments: Moments, block: IntArray, g: FloatArray) -> _Solved:
    """All models of one size; closed forms, with the effects themselves, up to three terms."""
    lead, count = moments.scores.shape[:-1], moments.scores.shape[-1]
    size = block.shape[1]
    if size == 0:
        return _Solved(np.ones((*lead, len(block))), np.zeros((*lead, len(block))))
    if size > 3:
        inner = moments.products[..., block[:, :, None], block[:, None, :]]
        inner = inner + g[..., None, None] ** -2 * np.eye(size)
        score = moments.scores[..., block]
        fit = (score * np.linalg.solve(inner, score[..., None])[..., 0]).sum(axis=-1)
        return _Solved(np.exp(-0.5 * np.linalg.slogdet(inner)[1]), fit)
    flat = moments.products.reshape(*lead, count * count)
    diagonal = flat[..., :: count + 1] + g**-2
    index = block.T
    d = [diagonal.take(i, axis=-1) for i in index]
    s = [moments.scores.take(i, axis=-1) for i in index]
    if size == 1:
        mean = s[0] / d[0]
        return _Solved(1.0 / np.sqrt(d[0]), s[0] * mean, (mean,), (1.0 / d[0],))
    e = flat.take(index[0] * count + index[1], axis=-1)
    if size == 2:
        det = d[0] * d[1] - e * e
        first, second = (s[0] * d[1] - s[1] * e) / det, (s[1] * d[0] - s[0] * e) / det
        fit = s[0] * first + s[1] * second
        return _Solved(1.0 / np.sqrt(det), fit, (first, second), (d[1] / det, d[0] / det, -e / det))
    f = flat.take(index[0] * count + index[2], axis=-1)
    h = flat.take(index[1] * count + index[2], axis=-1)
    a, b, c = d
    x, y, z = s
    aa, bb, cc = b * c - h * h, a * c - f * f, a * b - e * e
    ab, ac, bc = f * h - e * c, e * h - b * f, e * f - a * h
    det = np.maximum(a * aa + e * ab + f * ac, 1e-300)
    mean = ((x * aa + y * ab + z * ac) / det, (x * ab + y * bb + z * bc) / det, (x * ac + y * bc + z * cc) / det)
    fit = x * mean[0] + y * mean[1] + z * mean[2]
    covariance = (aa / det, bb / det, cc / det, ab / det, ac / det, bc / det)
    return _Solved(1.0 / np.sqrt(det), fit, mean, covariance)
