"""The parts of one history that stay the same while hidden values are drawn: rows, batches, nuisances,
priors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.explain.latent import Latent
from trials.explain.normal import FloatArray
from trials.explain.prior import Prior
from trials.explain.problem import IntArray
from trials.explain.sums import Moments, NoisePrior

_NEVER = 1e12  # a prior precision that switches a nuisance off


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """Rows, batches and nuisance columns of one history.

    nuisance: shape (rows, k): the intercept, one column a sitting, a few smooth drift shapes. kinds: 0
    intercept, 1 sitting, 2 drift, and `relative` the prior variance of each column beside its kind's own.
    """

    latent: Latent
    batch: IntArray
    member: FloatArray
    counts: FloatArray
    nuisance: FloatArray
    kinds: IntArray
    relative: FloatArray
    prior: Prior
    noise: NoisePrior

    @property
    def start_sd(self) -> float:
        """A first guess of the noise."""
        return 1.0 if self.noise.fixed else max(float(np.sqrt(self.noise.rate / max(self.noise.shape, 0.5))), 1e-9)

    @property
    def nothing_hidden(self) -> bool:
        """Whether every value is known and every row is independent, so that the sums are exact."""
        alone = not self.shares and self.nuisance.shape[1] == 1
        return alone and not len(self.latent.open_rows) and len(self.prior.noise_kinds) == 1

    @property
    def shares(self) -> bool:
        """Whether any two rows share a batch."""
        return bool((self.counts > 1).any())

    def precision(self, sitting: FloatArray, drift: FloatArray) -> FloatArray:
        """Prior precisions of the nuisance columns, shape (..., k), for variances of shape (...)."""
        table = np.stack([np.full_like(sitting, np.inf), sitting, drift], axis=-1)[..., self.kinds] * self.relative
        return np.where(np.isinf(table), 0.0, 1.0 / np.maximum(table, 1.0 / _NEVER))


def make_setting(
    latent: Latent,
    batch: IntArray | None,
    sitting: IntArray | None,
    when: FloatArray | None,
    prior: Prior,
    noise: NoisePrior,
) -> Setting:
    """The setting of a history; sittings that hold one batch each, and a single time, are left out."""
    rows = len(latent.start)
    codes = np.arange(rows, dtype=np.int64) if batch is None else batch
    member = np.zeros((rows, int(codes.max()) + 1))
    member[np.arange(rows), codes] = 1.0
    columns, kinds, relative = [np.ones(rows)], [0], [1.0]
    if sitting is not None and max(prior.sitting_shares) > 0:
        labels = np.unique(sitting)
        batches_in = [len(np.unique(codes[sitting == label])) for label in labels]
        if len(labels) > 1 and max(batches_in) > 1:
            columns += [(sitting == label).astype(float) for label in labels]
            kinds += [1] * len(labels)
            relative += [1.0] * len(labels)
    if when is not None and np.ptp(when) > 0 and max(prior.drifts) > 0:
        time = (when - when.min()) / np.ptp(when)
        for k in (1, 2, 3, 4):  # the first shapes of a random walk
            columns.append(np.sqrt(2.0) * np.cos(np.pi * k * time))
            kinds.append(2)
            relative.append(1.0 / (np.pi * k) ** 2)
    return Setting(
        latent,
        codes,
        member,
        member.sum(axis=0),
        np.column_stack(columns),
        np.array(kinds, dtype=np.int64),
        np.array(relative),
        prior,
        noise,
    )


def whiten(setting: Setting, values: FloatArray, share: FloatArray, weight: FloatArray) -> FloatArray:
    """Values (..., rows, columns) made independent: the batch's shared part taken out, each row scaled by
    its weight.

    share: shape (...), the batch share of each chain; weight: shape (..., rows), one over the noise variance.
    """
    if setting.shares:
        means = (np.swapaxes(values, -1, -2) @ setting.member) / setting.counts
        pull = 1.0 - 1.0 / np.sqrt(1.0 + setting.counts * share[..., None])
        values = values - np.swapaxes(means * pull[..., None, :], -1, -2)[..., setting.batch, :]
    return np.asarray(values * np.sqrt(weight)[..., :, None])


def take_out(
    columns: FloatArray, nuisance: FloatArray, values: FloatArray, precision: FloatArray
) -> tuple[Moments, FloatArray, FloatArray]:
    """The moments of whitened columns and values beside the nuisances, and N'N + K and its log determinant's
    share.
    """
    inner = np.swapaxes(nuisance, -1, -2) @ nuisance
    inner = inner + precision[..., None] * np.eye(precision.shape[-1])
    both = np.concatenate([columns, values[..., None]], axis=-1)
    across = np.swapaxes(nuisance, -1, -2) @ both
    table = np.swapaxes(both, -1, -2) @ (both - nuisance @ np.linalg.solve(inner, across))
    freedom = float(values.shape[-1] - 1)
    square = np.ascontiguousarray(table[..., :-1, :-1])
    moments = Moments(square, np.ascontiguousarray(table[..., :-1, -1]), table[..., -1, -1], freedom)
    informative = precision > 0
    log_det = 0.5 * np.where(informative, np.log(np.where(informative, precision, 1.0)), 0.0).sum(axis=-1)
    return moments, inner, log_det - 0.5 * np.linalg.slogdet(inner)[1]
