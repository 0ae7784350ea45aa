"""Draws what was not seen (censored times, places of grades, botched batches) and sums over all models at
every draw.

Several chains run side by side, so that each step is one array operation. At every sweep the probability of
each model is summed exactly given the drawn values, and the average of these sums is the answer
(Rao-Blackwell), so that few sweeps are enough.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from trials.explain.models import Models, Terms
from trials.explain.normal import FloatArray, draw_truncated
from trials.explain.problem import IntArray
from trials.explain.setting import Setting, take_out, whiten
from trials.explain.sums import Moments, log_likelihoods

_TRIES = 8  # of so many draws one is kept, as likely as effects apart from zero make it


@dataclass(slots=True, eq=False)
class State:
    """Where each chain stands; the first axis of every array is the chain."""

    values: FloatArray
    kind: IntArray
    share: IntArray
    sizes: IntArray  # (chains, kinds of nuisance), places on the prior's grids
    explained: FloatArray
    sd: FloatArray
    spread: FloatArray
    cuts: FloatArray | None

    def repeated(self, chains: int) -> State:
        """As many chains as asked for, started from these in turn."""
        pick = np.arange(chains) % len(self.values)
        cuts = None if self.cuts is None else self.cuts[pick].copy()
        return State(
            self.values[pick].copy(),
            self.kind[pick].copy(),
            self.share[pick].copy(),
            self.sizes[pick].copy(),
            self.explained[pick].copy(),
            self.sd[pick].copy(),
            self.spread[pick].copy(),
            cuts,
        )


@dataclass(slots=True, eq=False)
class Record:
    """What the kept sweeps add up to."""

    models: FloatArray  # (chains, models), sums of probabilities
    spread: float
    share: float
    kinds: FloatArray
    values: FloatArray
    sweeps: int = 0
    effects: list[FloatArray] = field(default_factory=list)
    sds: list[FloatArray] = field(default_factory=list)
    levels: list[FloatArray] = field(default_factory=list)
    singled: list[tuple[FloatArray, FloatArray, FloatArray]] = field(default_factory=list)

    @property
    def chance(self) -> FloatArray:
        """The probability of each model, over all chains and kept sweeps."""
        return np.asarray(self.models.sum(axis=0) / self.models.sum())

    def error(self, causes: FloatArray) -> float:
        """The largest standard error of a cause's probability, from how far the chains differ.

        causes: shape (models, groups), how surely each model holds each group responsible.
        """
        chains = self.models @ causes / self.sweeps
        return float(np.sqrt((chains.var(axis=0, ddof=1) / len(chains)).max())) if len(chains) > 1 else 0.0

    def add(self, more: Record) -> None:
        """Add what further sweeps of the same chains found."""
        self.models += more.models
        self.spread += more.spread
        self.share += more.share
        self.kinds += more.kinds
        self.values += more.values
        self.sweeps += more.sweeps
        self.effects += more.effects
        self.sds += more.sds
        self.levels += more.levels
        self.singled += more.singled


def start_state(setting: Setting, chains: int) -> State:
    """Chains at the first guess: no botched batch, middle shares, no cause."""
    cuts = setting.latent.cuts
    zeros = np.zeros(chains, dtype=np.int64)
    middle = min(2, len(setting.prior.batch_shares) - 1) if setting.shares else 0
    return State(
        np.tile(setting.latent.start, (chains, 1)),
        np.zeros((chains, len(setting.counts)), dtype=np.int64),
        zeros + middle,
        np.zeros((chains, len(setting.grids)), dtype=np.int64),
        np.zeros((chains, len(setting.batch))),
        np.full(chains, setting.start_sd),
        np.array(setting.prior.effect_sds)[np.arange(chains) % len(setting.prior.effect_sds), None],
        None if cuts is None else np.tile(cuts, (chains, 1)),
    )


def run_chains(
    setting: Setting,
    terms: Terms,
    models: Models,
    state: State,
    generator: np.random.Generator,
    *,
    burn: int,
    sweeps: int,
    draws: int = 1,
    single_out: IntArray | None = None,
    all_spreads: bool = False,
) -> Record:
    """Advance the chains in place and return the record of the sweeps after `burn`.

    all_spreads: sum over all sizes of effects at every sweep, instead of drawing one for each chain.
    """
    chains, rows = state.values.shape
    record = Record(
        np.zeros((chains, models.count)),
        0.0,
        0.0,
        np.zeros((len(setting.counts), len(setting.prior.noise_kinds))),
        np.zeros(rows),
    )
    padded = models.padded(-1)
    padded = np.pad(padded, ((0, 0), (0, 3 - padded.shape[1])), constant_values=-1)
    variances = np.array([variance for _, variance in setting.prior.noise_kinds])
    holding = None if single_out is None else [np.flatnonzero((padded == term).any(axis=1)) for term in single_out]
    for sweep in range(burn + sweeps):
        weight = 1.0 / variances[state.kind][:, setting.batch]
        left = (state.values - state.explained)[:, :, None]
        if setting.shares:
            _draw_share(setting, state, left, weight, generator)
        share = np.array(setting.prior.batch_shares)[state.share] if setting.shares else np.zeros(chains)
        nuisance = whiten(setting, setting.nuisance[None], share, weight)
        if setting.grids:
            _draw_sizes(setting, state, nuisance, whiten(setting, left, share, weight), generator)
        precision = setting.precision(state.sizes)
        columns = whiten(setting, terms.columns[None], share, weight)
        values = whiten(setting, state.values[:, :, None], share, weight)[..., 0]
        moments, inner = take_out(columns, nuisance, values, precision)
        spreads = np.tile(setting.prior.effect_sds, (chains, 1)) if all_spreads else state.spread
        chance = _model_chances(setting, moments, models, spreads)
        keep = sweep >= burn
        effects, sd = _draw_effects(setting, moments, chance, spreads, padded, draws if keep else 1, generator)
        if not all_spreads:
            state.spread = _draw_spread(setting, effects[:, 0], sd[:, 0], generator)
        inner_root = np.linalg.cholesky(np.linalg.inv(inner))
        score = np.swapaxes(nuisance, -1, -2) @ (values[..., None] - columns @ effects[:, 0, :, None])
        mean = np.linalg.solve(inner, score)[..., 0]
        level = mean + sd[:, :1] * (inner_root @ generator.standard_normal((*mean.shape, 1)))[..., 0]
        state.explained, state.sd = effects[:, 0] @ terms.columns.T, sd[:, 0]
        fitted = state.explained + level @ setting.nuisance.T
        if keep:
            record.models += chance.sum(axis=1)
            record.share += float(share.sum())
            record.spread += float((chance.sum(axis=2) * spreads).sum())
            record.sweeps += 1
            record.effects.append(effects.reshape(-1, effects.shape[-1]))
            record.sds.append(sd.ravel())
            record.levels.append(level[:, 0])
            if holding is not None and single_out is not None:
                record.singled.append(
                    _single_out(setting, moments, chance, spreads, padded, single_out, holding, generator)
                )
        _draw_hidden(setting, state, fitted, sd[:, 0], share, variances, generator)
        if keep:
            for kind in range(len(variances)):
                record.kinds[:, kind] += (state.kind == kind).sum(axis=0)
            record.values += state.values.sum(axis=0)
    return record


def _model_chances(setting: Setting, moments: Moments, models: Models, spreads: FloatArray) -> FloatArray:
    """Shape (chains, effect sizes, models), adding up to 1 in each chain."""
    logs = np.stack(
        [log_likelihoods(moments, models, g, setting.noise, apart=setting.prior.apart) for g in spreads.T],
        axis=1,
    )
    logs += models.log_prior
    logs -= logs.max(axis=(1, 2), keepdims=True)
    np.exp(logs, out=logs)
    logs /= logs.sum(axis=(1, 2), keepdims=True)
    return logs


def _draw_spread(setting: Setting, effects: FloatArray, sd: FloatArray, generator: np.random.Generator) -> FloatArray:
    """A new size of effects for each chain given its effects, shape (chains, 1)."""
    sizes = np.array(setting.prior.effect_sds)
    count = (effects != 0).sum(axis=1)[:, None]
    square = ((effects / sd[:, None]) ** 2).sum(axis=1)[:, None]
    power = 3 if setting.prior.apart else 1
    logs = -power * count * np.log(sizes) - 0.5 * square / sizes**2
    return sizes[_pick(logs, generator)][:, None]


def _draw_effects(
    setting: Setting,
    moments: Moments,
    chance: FloatArray,
    spreads: FloatArray,
    padded: IntArray,
    draws: int,
    generator: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Effects of all terms, shape (chains, draws, terms), and noise sds, shape (chains, draws)."""
    chains, sizes, count = chance.shape
    ladder = np.cumsum(chance.reshape(chains, -1), axis=1)
    target = generator.random((chains, draws)) * ladder[:, -1:]
    picked = np.stack([np.searchsorted(ladder[c], target[c]) for c in range(chains)])
    picked = np.minimum(picked, sizes * count - 1)
    spread = np.take_along_axis(spreads, picked // count, axis=1)
    chosen = padded[picked % count]
    effect, sd = _effects_given(setting, moments, chosen, spread, generator)
    dense = np.zeros((chains, draws, moments.scores.shape[-1] + 1))
    np.put_along_axis(dense, chosen % dense.shape[-1], np.where(chosen >= 0, effect, 0.0), axis=2)
    return dense[..., :-1], sd


def _effects_given(
    setting: Setting, moments: Moments, chosen: IntArray, spread: FloatArray, generator: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Effects (chains, draws, 3) and noise sds (chains, draws) given the terms of the model (-1: none)."""
    mean, inner, fit = _solve(moments, chosen, spread)
    tries = _TRIES if setting.prior.apart else 1
    shape = (*spread.shape, tries)
    if setting.noise.fixed:
        sd = np.ones(shape)
    else:
        left = np.maximum(setting.noise.rate + 0.5 * (moments.square[:, None] - fit), 1e-300)[..., None]
        sd = np.sqrt(left / generator.standard_gamma(setting.noise.shape + 0.5 * moments.freedom, shape))
    root = np.linalg.cholesky(np.linalg.inv(inner))
    step = np.swapaxes(root @ generator.standard_normal((*mean.shape, tries)), -1, -2)
    effect = mean[..., None, :] + sd[..., None] * step
    if tries == 1:
        return np.asarray(effect[..., 0, :]), sd[..., 0]
    ratio = np.where((chosen >= 0)[..., None, :], effect / sd[..., None], 1.0)
    picked = _pick(np.log(np.maximum((ratio**2).prod(axis=-1), 1e-300)), generator)[..., None]
    kept = np.take_along_axis(effect, picked[..., None], axis=-2)[..., 0, :]
    return kept, np.take_along_axis(sd, picked, axis=-1)[..., 0]


def _solve(moments: Moments, chosen: IntArray, spread: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    used = chosen >= 0
    index = np.where(used, chosen, 0)
    chain = np.arange(len(chosen))[:, None, None]
    both = used[..., :, None] & used[..., None, :]
    inner = moments.products[chain[..., None], index[..., :, None], index[..., None, :]] * both
    inner = inner + np.eye(chosen.shape[-1]) * (spread**-2)[..., None, None]
    score = moments.scores[chain, index] * used
    mean = np.linalg.solve(inner, score[..., None])[..., 0]
    return (
        np.asarray(mean, dtype=float),
        np.asarray(inner, dtype=float),
        np.asarray((mean * score).sum(axis=-1)),
    )


def _single_out(
    setting: Setting,
    moments: Moments,
    chance: FloatArray,
    spreads: FloatArray,
    padded: IntArray,
    single_out: IntArray,
    holding: list[IntArray],
    generator: np.random.Generator,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """For each term singled out an effect given that it is a cause, its weight, and the noise: (chains,
    terms) each.
    """
    chains = len(chance)
    chosen = np.full((chains, len(single_out), 3), -1, dtype=np.int64)
    spread = np.ones((chains, len(single_out)))
    weight = np.zeros((chains, len(single_out)))
    for k, held in enumerate(holding):
        part = chance[:, :, held].reshape(chains, -1)
        ladder = np.cumsum(part, axis=1)
        weight[:, k] = ladder[:, -1]
        target = generator.random((chains, 1)) * ladder[:, -1:]
        picked = np.minimum((ladder < target).sum(axis=1), part.shape[1] - 1)
        chosen[:, k] = padded[held[picked % len(held)]]
        spread[:, k] = np.take_along_axis(spreads, (picked // len(held))[:, None], axis=1)[:, 0]
    effect, sd = _effects_given(setting, moments, chosen, spread, generator)
    place = (chosen == np.asarray(single_out)[None, :, None]).argmax(axis=2)
    return np.take_along_axis(effect, place[..., None], axis=2)[..., 0], weight, sd


def _draw_share(
    setting: Setting, state: State, left: FloatArray, weight: FloatArray, generator: np.random.Generator
) -> None:
    """A new batch share of each chain, given its effects and noise."""
    grid = np.array(setting.prior.batch_shares)
    share = np.tile(grid, (len(weight), 1))
    values = whiten(setting, left[:, None], share, weight[:, None])
    nuisance = whiten(setting, setting.nuisance[None, None], share, weight[:, None])
    logs = _log_density(
        np.swapaxes(nuisance, -1, -2) @ nuisance,
        (np.swapaxes(nuisance, -1, -2) @ values)[..., 0],
        (values[..., 0] ** 2).sum(axis=-1),
        setting.precision(state.sizes)[:, None],
        state.sd[:, None],
    )
    state.share = _pick(logs - 0.5 * np.log1p(setting.counts * share[..., None]).sum(axis=-1), generator)


def _draw_sizes(
    setting: Setting, state: State, nuisance: FloatArray, left: FloatArray, generator: np.random.Generator
) -> None:
    """New sizes of sittings and drift in each chain, one kind after the other, given its effects and noise.

    nuisance, left: whitened, shape (chains, rows, nuisances) and (chains, rows, 1).
    """
    square = (np.swapaxes(nuisance, -1, -2) @ nuisance)[:, None]
    score = (np.swapaxes(nuisance, -1, -2) @ left)[:, None, :, 0]
    total = (left[..., 0] ** 2).sum(axis=-1)[:, None]
    for k, grid in enumerate(setting.grids):
        tried = np.repeat(state.sizes[:, None], len(grid), axis=1)
        tried[..., k] = np.arange(len(grid))
        logs = _log_density(square, score, total, setting.precision(tried), state.sd[:, None])
        state.sizes[:, k] = _pick(logs + np.log([chance for chance, _ in grid]), generator)


def _log_density(
    square: FloatArray, score: FloatArray, total: FloatArray, precision: FloatArray, sd: FloatArray
) -> FloatArray:
    """Log density of whitened values whose nuisances are summed out, up to a constant.

    square N'N (..., k, k), score N'v (..., k), total v'v (...), precision (..., k) of the nuisances / s^2, sd s (...).
    """
    inner = square + precision[..., None] * np.eye(precision.shape[-1])
    fit = (score * np.linalg.solve(inner, score[..., None])[..., 0]).sum(axis=-1)
    known = np.log(np.where(precision > 0, precision, 1.0)).sum(axis=-1)
    return np.asarray(0.5 * (known - np.linalg.slogdet(inner)[1] - (total - fit) / sd**2))


def _pick(logs: FloatArray, generator: np.random.Generator) -> IntArray:
    """One index along the last axis for each row of unnormalised log chances."""
    chance = np.exp(logs - logs.max(axis=-1, keepdims=True))
    ladder = np.cumsum(chance, axis=-1)
    target = generator.random((*logs.shape[:-1], 1)) * ladder[..., -1:]
    return np.asarray(np.minimum((ladder < target).sum(axis=-1), logs.shape[-1] - 1), dtype=np.int64)


def _draw_hidden(
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
        state.kind = _pick(logs - 0.5 * squares[..., None] / variances, generator)
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
        _draw_cuts(setting, state, generator)


def _bounds(setting: Setting, state: State) -> tuple[FloatArray, FloatArray]:
    latent = setting.latent
    if state.cuts is None or latent.code_low is None or latent.code_high is None:
        return latent.lower[None], latent.upper[None]
    ends = np.full((len(state.cuts), 1), np.inf)
    edges = np.concatenate([-ends, state.cuts, ends], axis=1)
    return edges[:, latent.code_low], edges[:, latent.code_high + 1]


def _draw_cuts(setting: Setting, state: State, generator: np.random.Generator) -> None:
    """New borders between grades, uniform between the values that they must part; the first stays."""
    latent = setting.latent
    if state.cuts is None or latent.code_low is None or latent.code_high is None:
        return
    for k in range(1, latent.levels - 1):
        below = np.where(latent.code_high == k, state.values, -np.inf).max(axis=1)
        above = np.where(latent.code_low == k + 1, state.values, np.inf).min(axis=1)
        low = np.maximum(below, state.cuts[:, k - 1])
        high = np.minimum(above, state.cuts[:, k + 1] if k + 1 < latent.levels - 1 else np.inf)
        fair = np.isfinite(low) & np.isfinite(high) & (high > low)
        drawn = np.where(fair, low, 0.0) + generator.random(len(low)) * np.where(fair, high - low, 0.0)
        state.cuts[:, k] = np.where(fair, drawn, state.cuts[:, k])
