"""How well each model explains the values: the marginal likelihood of every model at once, in closed form.

For values v with the intercept (and other nuisances) already taken out, effects b ~ N(0, g^2 s^2), and
s^2 ~ InvGamma(nu/2, nu s0^2 / 2):

    log p(v | model, g) = -1/2 log|I + g^2 S| - (nu + n - 1)/2 log(nu s0^2 / 2 + (v'v - q) / 2) + constant
    S = X'X,  q = v'X (S + I / g^2)^-1 X'v

(G. E. P. Box and R. D. Meyer 1993, J. Quality Technology 25(2), 94-105, where nu = 0). All arrays may lead
with an axis of parallel chains.
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


def log_likelihoods(moments: Moments, models: Models, g: float, noise: NoisePrior) -> FloatArray:
    """Shape (..., models): log p(values | model, g), up to a constant that all models share."""
    log_dets, fits = [], []
    for block in models.blocks:
        log_det, fit = _quadratic(moments, block, g)
        log_dets.append(log_det)
        fits.append(fit)
    log_det, fit = np.concatenate(log_dets, axis=-1), np.concatenate(fits, axis=-1)
    if noise.fixed:
        return np.asarray(-0.5 * log_det + 0.5 * fit)
    left = np.maximum(noise.rate + 0.5 * (moments.square[..., None] - fit), 1e-300)
    return np.asarray(-0.5 * log_det - (noise.shape + 0.5 * moments.freedom) * np.log(left))


def _quadratic(moments: Moments, block: IntArray, g: float) -> tuple[FloatArray, FloatArray]:
    """log|I + g^2 S| and s'(S + I/g^2)^-1 s for all models of one size; closed forms up to three terms."""
    lead = moments.scores.shape[:-1]
    size = block.shape[1]
    if size == 0:
        return np.zeros((*lead, len(block))), np.zeros((*lead, len(block)))
    count = moments.scores.shape[-1]
    flat = moments.products.reshape(*lead, count * count)
    ridge = g**-2
    if size == 1:
        i = block[:, 0]
        d, x = flat.take(i * count + i, axis=-1) + ridge, moments.scores.take(i, axis=-1)
        return np.log(d * g**2), x * x / d
    if size == 2:
        i, j = block.T
        diagonal = flat.take(np.arange(count) * (count + 1), axis=-1) + ridge
        a, c, e = diagonal.take(i, axis=-1), diagonal.take(j, axis=-1), flat.take(i * count + j, axis=-1)
        x, y = moments.scores.take(i, axis=-1), moments.scores.take(j, axis=-1)
        det = a * c - e * e
        return np.log(det * g**4), (x * x * c - 2 * x * y * e + y * y * a) / det
    if size == 3:
        return _three(moments, flat, block, g)
    inner = moments.products[..., block[:, :, None], block[:, None, :]] + ridge * np.eye(size)
    score = moments.scores[..., block]
    fit = (score * np.linalg.solve(inner, score[..., None])[..., 0]).sum(axis=-1)
    return np.linalg.slogdet(inner * g**2)[1], fit


def _three(moments: Moments, flat: FloatArray, block: IntArray, g: float) -> tuple[FloatArray, FloatArray]:
    count = moments.scores.shape[-1]
    i, j, k = block.T
    diagonal = flat.take(np.arange(count) * (count + 1), axis=-1) + g**-2
    a, b, c = (diagonal.take(m, axis=-1) for m in (i, j, k))
    e, f, h = (
        flat.take(i * count + j, axis=-1),
        flat.take(i * count + k, axis=-1),
        flat.take(j * count + k, axis=-1),
    )
    x, y, z = (moments.scores.take(m, axis=-1) for m in (i, j, k))
    aa, bb, cc = b * c - h * h, a * c - f * f, a * b - e * e
    ab, ac, bc = f * h - e * c, e * h - b * f, e * f - a * h
    det = np.maximum(a * aa + e * ab + f * ac, 1e-300)
    fit = (x * x * aa + y * y * bb + z * z * cc + 2 * (x * y * ab + x * z * ac + y * z * bc)) / det
    return np.log(det * g**6), fit
