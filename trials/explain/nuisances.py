"""What batches and sittings share, how far a history drifts, how large small effects are: sizes drawn anew."""

from __future__ import annotations

import numpy as np

from trials.explain.normal import FloatArray
from trials.explain.pick import pick
from trials.explain.setting import Setting, take_out, whiten
from trials.explain.state import State


def draw_share(
    setting: Setting, state: State, left: FloatArray, weight: FloatArray, generator: np.random.Generator
) -> None:
    """A new batch share of each chain, given its effects and noise.

    What is believed of noise and effects is believed of the whole noise of a pour, s^2 (1 + share): repeats are whole
    pours. So a large share goes with a small s, and is no licence for pours to differ by more than repeats do.

    The hidden scale of grades, on which s is one, has no unit but that noise: borders, level and effects are what they
    are beside it. So they and all hidden values are stretched with it, and only what a batch shares is judged (a draw
    along the orbit of a group of transformations: J. S. Liu and C. Sabatti 2000, Biometrika 87(2), 353-369, from
    memory). Left where they are, they would hold the share where it is.
    """
    grid = np.array(setting.prior.batch_shares)
    share = np.tile(grid, (len(weight), 1))
    stretch = np.sqrt((1.0 + grid) / (1.0 + grid[state.share])[:, None]) if state.cuts is not None else None
    tried = left[:, None] if stretch is None else left[:, None] * stretch[..., None, None]
    values = whiten(setting, tried, share, weight[:, None])
    nuisance = whiten(setting, setting.nuisance[None, None], share, weight[:, None])
    logs = _log_density(
        np.swapaxes(nuisance, -1, -2) @ nuisance,
        (np.swapaxes(nuisance, -1, -2) @ values)[..., 0],
        (values[..., 0] ** 2).sum(axis=-1),
        setting.precision(np.repeat(state.sizes[:, None], len(grid), axis=1), share),
        state.sd[:, None],
    )
    logs = logs - 0.5 * np.log1p(setting.counts * share[..., None]).sum(axis=-1)
    if stretch is not None:
        logs = logs + left.shape[1] * np.log(stretch)
        state.share = pick(logs, generator)
        state.stretch(np.take_along_axis(stretch, state.share[:, None], axis=1))
        return
    fallen = setting.prior.power * state.causes[:, None] * np.log1p(grid)
    logs = logs - 0.5 * (fallen + state.push[:, None] / (1.0 + grid))
    precision = 1.0 / state.sd[:, None] ** 2
    logs = logs - setting.noise.shape * np.log1p(grid) - setting.noise.rate * precision / (1.0 + grid)
    state.share = pick(logs, generator)


def draw_sizes(
    setting: Setting,
    state: State,
    nuisance: FloatArray,
    left: FloatArray,
    share: FloatArray,
    generator: np.random.Generator,
) -> None:
    """New sizes of sittings, drift and small effects in each chain, one after the other, given its effects and noise.

    nuisance, left: whitened, shape (chains, rows, nuisances) and (chains, rows, 1).
    """
    square = (np.swapaxes(nuisance, -1, -2) @ nuisance)[:, None]
    score = (np.swapaxes(nuisance, -1, -2) @ left)[:, None, :, 0]
    total = (left[..., 0] ** 2).sum(axis=-1)[:, None]
    for k, grid in enumerate(setting.grids):
        tried = np.repeat(state.sizes[:, None], len(grid), axis=1)
        tried[..., k] = np.arange(len(grid))
        logs = _log_density(square, score, total, setting.precision(tried, share[:, None]), state.sd[:, None])
        state.sizes[:, k] = pick(logs + np.log(grid[:, 0]), generator)


def draw_stretch(
    setting: Setting,
    state: State,
    nuisance: FloatArray,
    left: FloatArray,
    share: FloatArray,
    generator: np.random.Generator,
) -> None:
    """A new stretch of the hidden scale of grades in each chain: borders, values and effects at once.

    Drawn one after the other, borders that lie between many values could hardly move. nuisance, left: as above.
    """
    if state.cuts is None:
        return
    beside, _ = take_out(left[..., :0], nuisance, left[..., 0], setting.precision(state.sizes, share))
    freedom = left.shape[1] + state.cuts.shape[1] - 1 + setting.prior.power * state.causes
    square = beside.square + state.push / (1.0 + share)
    by = np.sqrt(2.0 * generator.standard_gamma(0.5 * freedom) / square)
    # All but the prior of the gaps between borders is in that draw; it decides whether it is kept (Metropolis).
    width = (state.cuts[:, -1] - state.cuts[:, 0]) / np.sqrt(1.0 + share) / setting.prior.grade_gap
    kept = np.log(generator.random(len(by))) < -width * (by - 1.0)
    state.stretch(np.where(kept, by, 1.0)[:, None])


def _log_density(
    square: FloatArray, score: FloatArray, total: FloatArray, precision: FloatArray, sd: FloatArray
) -> FloatArray:
    """Log density of whitened values whose nuisances are summed out, up to a constant.

    square N'N (..., k, k), score N'v (..., k), total v'v (...), precision (..., k) of the nuisances / s^2, sd s (...).
    """
    count = precision.shape[-1]
    # One root gives both the determinant of N'N + K and v'N (N'N + K)^-1 N'v, which is never more than v'v: that of the
    # matrix with N'v as one more row, whose corner only has to be large enough for a root to exist.
    bordered = np.zeros((*np.broadcast_shapes(square.shape[:-2], precision.shape[:-1]), count + 1, count + 1))
    bordered[..., :count, :count] = square + precision[..., None] * np.eye(count)
    bordered[..., count, :count] = score
    bordered[..., count, count] = 1.0 + 2.0 * total
    root = np.linalg.cholesky(bordered)
    fit = (root[..., count, :count] ** 2).sum(axis=-1)
    log_det = 2.0 * np.log(np.diagonal(root, axis1=-2, axis2=-1)[..., :count]).sum(axis=-1)
    known = np.log(np.where(precision > 0, precision, 1.0)).sum(axis=-1)
    return np.asarray(0.5 * (known - log_det - (total - fit) / sd**2))
