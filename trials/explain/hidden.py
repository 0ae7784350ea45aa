"""What was not read: which batches were botched, censored values, the places of grades and the borders between them."""

from __future__ import annotations

import numpy as np

from trials.explain.normal import FloatArray, draw_truncated
from trials.explain.pick import pick
from trials.explain.setting import Setting, whiten
from trials.explain.state import State


def draw_hidden(
    setting: Setting,
    state: State,
    fitted: FloatArray,
    sd: FloatArray,
    share: FloatArray,
    variances: FloatArray,
    generator: np.random.Generator,
) -> None:
    """New kinds of noise for the batches, then new values for the rows that were not read exactly."""
    left = state.values - fitted
    if len(variances) > 1:
        pure = whiten(setting, left[:, :, None], share, np.ones_like(left))[..., 0]
        squares = (pure**2 @ setting.member) / sd[:, None] ** 2
        chances = np.array([chance for chance, _ in setting.prior.noise_kinds])
        logs = np.log(chances) - 0.5 * setting.counts[:, None] * np.log(variances)
        state.kind = pick(logs - 0.5 * squares[..., None] / variances, generator)
    open_rows = setting.latent.open_rows
    if not len(open_rows):
        return
    noise = np.sqrt(variances[state.kind])
    mean = fitted
    if setting.shares:
        shrink = share[:, None] / (1.0 + setting.counts * share[:, None])
        luck = (left @ setting.member) * shrink
        luck += sd[:, None] * noise * np.sqrt(shrink) * generator.standard_normal(luck.shape)
        mean = fitted + luck[:, setting.batch]
    spread = (sd[:, None] * noise)[:, setting.batch]
    lower, upper = _bounds(setting, state)
    uniform = generator.random((len(sd), len(open_rows)))
    state.values[:, open_rows] = draw_truncated(
        uniform, mean[:, open_rows], spread[:, open_rows], lower[:, open_rows], upper[:, open_rows]
    )
    if state.cuts is not None:
        _draw_cuts(setting, state, share, generator)


def _bounds(setting: Setting, state: State) -> tuple[FloatArray, FloatArray]:
    latent = setting.latent
    if state.cuts is None or latent.code_low is None or latent.code_high is None:
        return latent.lower[None], latent.upper[None]
    ends = np.full((len(state.cuts), 1), np.inf)
    edges = np.concatenate([-ends, state.cuts, ends], axis=1)
    return edges[:, latent.code_low], edges[:, latent.code_high + 1]


def _draw_cuts(setting: Setting, state: State, share: FloatArray, generator: np.random.Generator) -> None:
    """New borders between grades, each between the values that it must part; the one in the middle stays.

    The gaps between neighbours are believed to be exponential, so that a border between two others may lie anywhere
    with the same chance, and the outermost ones rather near.
    """
    latent = setting.latent
    if state.cuts is None or latent.code_low is None or latent.code_high is None:
        return
    last = latent.levels - 2
    rate = 1.0 / (setting.prior.grade_gap * np.sqrt(1.0 + share))
    for k in range(last + 1):
        if k == latent.held:
            continue
        low = np.where(latent.code_high <= k, state.values, -np.inf).max(axis=1)
        high = np.where(latent.code_low >= k + 1, state.values, np.inf).min(axis=1)
        if k > 0:
            low = np.maximum(low, state.cuts[:, k - 1])
        if k < last:
            high = np.minimum(high, state.cuts[:, k + 1])
        room, uniform = np.maximum(high - low, 0.0), generator.random(len(share))
        if 0 < k < last:
            state.cuts[:, k] = low + uniform * room
            continue
        away = -np.log1p(-uniform * -np.expm1(-rate * room)) / rate  # exponential, shorter than the room
        state.cuts[:, k] = low + away if k else high - away
