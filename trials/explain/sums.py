"""How well each model explains the values: the marginal likelihood of every model at once, in closed form.

For values v with the intercept (and other nuisances) already taken out, effects b ~ N(0, g^2 s^2), and
s^2 ~ InvGamma(nu/2, nu s0^2 / 2):

    log p(v | model, g) = -1/2 log|I + g^2 S| - (nu + n - 1)/2 log(nu s0^2 / 2 + (v'v - q) / 2) + constant
    S = X'X,  q = v'X (S + I / g^2)^-1 X'v

(G. E. P. Box and R. D. Meyer 1993, J. Quality Technology 25(2), 94-105, where nu = 0). All arrays may
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


def log_likelihoods(moments: Moments, models: Models, g: FloatArray | float, noise: NoisePrior) -> FloatArray:
    """Shape (..., models): log p(values | model, g), up to a constant that all models share.

    g: one number, or one a chain, shape (...).
    """
    spread = np.asarray(g, dtype=float)[..., None]
    parts = []
    for block in models.blocks:
        root_det, explained = _solve_block(moments, block, spread)
        size_cost = np.log(np.maximum(root_det, 1e-300)) - block.shape[1] * np.log(spread)
        if noise.fixed:
            parts.append(0.5 * explained + size_cost)
            continue
        left = np.maximum(noise.rate + 0.5 * (moments.square[..., None] - explained), 1e-300)
        parts.append(size_cost - (noise.shape + 0.5 * moments.freedom) * np.log(left))
    return np.concatenate(parts, axis=-1)


def _solve_block(moments: Moments, block: IntArray, g: FloatArray) -> tuple[FloatArray, FloatArray]:
    """|S + I/g^2|^-1/2 and q for all models of one size; closed forms up to three terms."""
    lead, count = moments.scores.shape[:-1], moments.scores.shape[-1]
    size = block.shape[1]
    if size == 0:
        return np.ones((*lead, len(block))), np.zeros((*lead, len(block)))
    if size > 3:
        inner = moments.products[..., block[:, :, None], block[:, None, :]]
        inner = inner + g[..., None, None] ** -2 * np.eye(size)
        score = moments.scores[..., block]
        fit = (score * np.linalg.solve(inner, score[..., None])[..., 0]).sum(axis=-1)
        return np.exp(-0.5 * np.linalg.slogdet(inner)[1]), fit
    flat = moments.products.reshape(*lead, count * count)
    diagonal = flat[..., :: count + 1] + g**-2
    index = block.T
    d = [diagonal.take(i, axis=-1) for i in index]
    s = [moments.scores.take(i, axis=-1) for i in index]
    if size == 1:
        return 1.0 / np.sqrt(d[0]), s[0] ** 2 / d[0]
    e = flat.take(index[0] * count + index[1], axis=-1)
    if size == 2:
        det = d[0] * d[1] - e * e
        return 1.0 / np.sqrt(det), (s[0] ** 2 * d[1] - 2 * s[0] * s[1] * e + s[1] ** 2 * d[0]) / det
    f = flat.take(index[0] * count + index[2], axis=-1)
    h = flat.take(index[1] * count + index[2], axis=-1)
    a, b, c = d
    x, y, z = s
    aa, bb, cc = b * c - h * h, a * c - f * f, a * b - e * e
    ab, ac, bc = f * h - e * c, e * h - b * f, e * f - a * h
    det = np.maximum(a * aa + e * ab + f * ac, 1e-300)
    fit = x * (x * aa + 2 * (y * ab + z * ac)) + y * (y * bb + 2 * z * bc) + z * z * cc
    return 1.0 / np.sqrt(det), fit / det
