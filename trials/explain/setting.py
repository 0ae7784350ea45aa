"""The parts of one history that stay the same while hidden values are drawn: rows, batches, nuisances, priors."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from trials.explain.latent import Latent
from trials.explain.normal import FloatArray
from trials.explain.prior import Grid, Prior
from trials.explain.problem import IntArray
from trials.explain.sums import Moments, NoisePrior

_NEVER = 1e12  # a prior precision that switches a nuisance off
_SMALL_EFFECTS = 8  # the directions in which recipes differ most; the others hardly matter beside noise
_MANY = 8  # with fewer changes than this, small effects of all of them would be no other story than a cause


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """Rows, batches and nuisance columns of one history.

    nuisance: shape (rows, k): the intercept, one column a sitting, a few smooth drift shapes, the main
    directions in which the factors vary (small effects of everything). kinds: -1 for the
    intercept, else the number of the grid of sizes that a column follows, and `relative` its variance beside that
    size's own. grids: for each kind that this history has the prior's, shape (sizes, 2): chance and size.
    """

    latent: Latent
    batch: IntArray
    member: FloatArray
    counts: FloatArray
    nuisance: FloatArray
    kinds: IntArray
    relative: FloatArray
    grids: tuple[FloatArray, ...]
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

    def whole_pour(self, share: FloatArray) -> tuple[FloatArray, NoisePrior]:
        """How much larger the noise of a whole pour is than a row's own, and what is then believed of a row's own.

        share: shape (chains,), the batch share of each chain; both results lead with (chains, 1).
        """
        whole = np.sqrt(1.0 + share)[:, None]
        return whole, replace(self.noise, rate=self.noise.rate / whole**2)

    def precision(self, sizes: IntArray, share: FloatArray) -> FloatArray:
        """Prior precisions of the nuisance columns beside a row's own noise, shape (..., k).

        sizes: places on the grids, shape (..., grids); share: the batch share, shape (...).
        """
        level = self.prior.grade_level**2 if self.latent.levels else np.inf
        variance = np.full((*sizes.shape[:-1], self.nuisance.shape[1]), level)
        for k, grid in enumerate(self.grids):
            own = self.kinds == k
            variance[..., own] = grid[sizes[..., k], 1][..., None] ** 2 * self.relative[own]
        variance = variance * (1.0 + share[..., None])
        return np.where(np.isinf(variance), 0.0, 1.0 / np.maximum(variance, 1.0 / _NEVER))


def make_setting(
    latent: Latent,
    batch: IntArray | None,
    sitting: IntArray | None,
    when: FloatArray | None,
    prior: Prior,
    noise: NoisePrior,
    factors: FloatArray,
) -> Setting:
    """The setting of a history; sittings that hold one batch each, and a single time, are left out."""
    rows = len(latent.start)
    codes = np.arange(rows, dtype=np.int64) if batch is None else batch
    member = np.zeros((rows, int(codes.max()) + 1))
    member[np.arange(rows), codes] = 1.0
    columns, kinds, relative = [np.ones(rows)], [-1], [1.0]
    grids: list[Grid] = []
    if sitting is not None and prior.sittings:
        labels = np.unique(sitting)
        batches_in = [len(np.unique(codes[sitting == label])) for label in labels]
        if len(labels) > 1 and max(batches_in) > 1:
            columns += [(sitting == label).astype(float) for label in labels]
            kinds += [len(grids)] * len(labels)
            relative += [1.0] * len(labels)
            grids.append(prior.sittings)
    if when is not None and np.ptp(when) > 0 and prior.drifts:
        time = (when - when.min()) / np.ptp(when)
        for k in (1, 2, 3, 4):  # the first shapes of a random walk
            columns.append(np.sqrt(2.0) * np.cos(np.pi * k * time))
            kinds.append(len(grids))
            relative.append(1.0 / (np.pi * k) ** 2)
        grids.append(prior.drifts)
    if prior.small_effects and factors.shape[1] >= _MANY:
        along, size, _ = np.linalg.svd(factors - factors.mean(axis=0), full_matrices=False)
        many = min(_SMALL_EFFECTS, int((size > 1e-9).sum()))
        columns += list((along * size).T[:many])
        kinds += [len(grids)] * many
        relative += [1.0] * many
        grids.append(prior.small_effects)
    return Setting(
        latent,
        codes,
        member,
        member.sum(axis=0),
        np.column_stack(columns),
        np.array(kinds, dtype=np.int64),
        np.array(relative),
        tuple(np.array(grid) for grid in grids),
        prior,
        noise,
    )


def whiten(setting: Setting, values: FloatArray, share: FloatArray, weight: FloatArray) -> FloatArray:
    """Values (..., rows, columns) made independent: the batch's shared part taken out, each row scaled by its weight.

    share: shape (...), the batch share of each chain; weight: shape (..., rows), one over the noise variance.
    """
    if setting.shares:
        means = (np.swapaxes(values, -1, -2) @ setting.member) / setting.counts
        pull = 1.0 - 1.0 / np.sqrt(1.0 + setting.counts * share[..., None])
        values = values - np.swapaxes(means * pull[..., None, :], -1, -2)[..., setting.batch, :]
    return np.asarray(values * np.sqrt(weight)[..., :, None])


def take_out(
    columns: FloatArray, nuisance: FloatArray, values: FloatArray, precision: FloatArray
) -> tuple[Moments, FloatArray]:
    """The moments of whitened columns and values beside the nuisances, and N'N + K."""
    inner = np.swapaxes(nuisance, -1, -2) @ nuisance
    inner = inner + precision[..., None] * np.eye(precision.shape[-1])
    both = np.concatenate([columns, values[..., None]], axis=-1)
    across = np.swapaxes(nuisance, -1, -2) @ both
    table = np.swapaxes(both, -1, -2) @ (both - nuisance @ np.linalg.solve(inner, across))
    freedom = float(values.shape[-1] - 1)
    square = np.ascontiguousarray(table[..., :-1, :-1])
    return Moments(square, np.ascontiguousarray(table[..., :-1, -1]), table[..., -1, -1], freedom), inner
