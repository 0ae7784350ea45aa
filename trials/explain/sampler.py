"""Draws what was not seen (censored times, places of grades, botched batches) and sums over all models at
every draw.

Several chains run side by side, so that each step is one array operation. At every sweep the probability of
each model is summed exactly given the drawn values, and the average of these sums is the answer
(Rao-Blackwell), so that few sweeps are enough.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from trials.explain.doubtful import draw_doubtful
from trials.explain.hidden import draw_hidden
from trials.explain.models import Models, Terms
from trials.explain.normal import FloatArray
from trials.explain.nuisances import draw_share, draw_sizes, draw_stretch
from trials.explain.pick import pick
from trials.explain.problem import IntArray
from trials.explain.setting import Setting, take_out, whiten
from trials.explain.state import State
from trials.explain.sums import Moments, NoisePrior, log_likelihoods

_AFRESH = 10  # in one of so many sweeps what sticks is drawn with all effects summed out: their size, doubtful batches
_TRIES = 8  # of so many draws one is kept, as likely as effects apart from zero make it


@dataclass(slots=True, eq=False)
class Record:
    """What the kept sweeps add up to. Noise, and sizes of effects beside it, are those of a whole pour.

    Of grades, whose hidden scale has no unit of its own, everything is told beside that noise.
    """

    models: FloatArray  # (chains, models), sums of probabilities
    spread: float
    share: float  # the part of the variance of a pour that its batch shares
    kinds: FloatArray
    values: FloatArray
    sweeps: int = 0
    effects: list[FloatArray] = field(default_factory=list)
    sds: list[FloatArray] = field(default_factory=list)
    levels: list[FloatArray] = field(default_factory=list)
    singled: list[tuple[FloatArray, FloatArray]] = field(default_factory=list)

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
        afresh = sweep % _AFRESH == 0
        weight = 1.0 / variances[state.kind][:, setting.batch]
        if setting.shares:
            draw_share(setting, state, (state.values - state.explained)[:, :, None], weight, generator)
        share = np.array(setting.prior.batch_shares)[state.share] if setting.shares else np.zeros(chains)
        nuisance = whiten(setting, setting.nuisance[None], share, weight)
        if setting.grids or state.cuts is not None:
            left = whiten(setting, (state.values - state.explained)[:, :, None], share, weight)
            draw_sizes(setting, state, nuisance, left, share, generator)
            draw_stretch(setting, state, nuisance, left, share, generator)
        if afresh and terms.doubtful:  # after all that is drawn given effects and noise, for it leaves these behind
            draw_doubtful(setting, terms, models, state, share, generator)
            weight = 1.0 / variances[state.kind][:, setting.batch]
            nuisance = whiten(setting, setting.nuisance[None], share, weight)
        precision = setting.precision(state.sizes, share)
        columns = whiten(setting, terms.columns[None], share, weight)
        values = whiten(setting, state.values[:, :, None], share, weight)[..., 0]
        moments, inner = take_out(columns, nuisance, values, precision)
        whole, noise = setting.whole_pour(share)
        unit = whole if setting.noise.fixed else np.ones_like(whole)
        weights, sizes = np.array(setting.prior.effect_sizes).T
        afresh = afresh or all_spreads
        spreads = whole * (sizes if afresh else state.spread)
        chance = _model_chances(setting, noise, moments, models, spreads, weights if afresh else np.ones(1))
        keep = sweep >= burn
        effects, sd = _draw_effects(setting, noise, moments, chance, spreads, padded, draws if keep else 1, generator)
        if not all_spreads:
            state.spread = _draw_spread(setting, effects[:, 0], sd[:, 0] * whole[:, 0], generator)
        state.causes = (effects[:, 0] != 0).sum(axis=1)
        state.push = ((effects[:, 0] / (sd[:, :1] * state.spread)) ** 2).sum(axis=1)
        covariance = np.linalg.inv(inner)
        score = np.swapaxes(nuisance, -1, -2) @ (values[..., None] - columns @ effects[:, 0, :, None])
        mean = (covariance @ score)[..., 0]
        step = np.linalg.cholesky(covariance) @ generator.standard_normal((*mean.shape, 1))
        level = mean + sd[:, :1] * step[..., 0]
        state.explained, state.sd = effects[:, 0] @ terms.columns.T, sd[:, 0]
        fitted = state.explained + level @ setting.nuisance.T
        if keep:
            record.models += chance.sum(axis=1)
            record.share += float((share / (1.0 + share)).sum())
            record.spread += float((chance.sum(axis=2) * spreads / whole).sum())
            record.sweeps += 1
            record.effects.append((effects / unit[..., None]).reshape(-1, effects.shape[-1]))
            record.sds.append((sd * whole / unit).ravel())
            record.levels.append(level[:, 0] / unit[:, 0])
            if holding is not None and single_out is not None:
                effect, part = _single_out(
                    setting, noise, moments, chance, spreads, padded, single_out, holding, generator
                )
                record.singled.append((effect / unit, part))
        draw_hidden(setting, state, fitted, sd[:, 0], share, variances, generator)
        if keep:
            for kind in range(len(variances)):
                record.kinds[:, kind] += (state.kind == kind).sum(axis=0)
            record.values += (state.values / unit).sum(axis=0)
    return record


def _model_chances(
    setting: Setting, noise: NoisePrior, moments: Moments, models: Models, spreads: FloatArray, weights: FloatArray
) -> FloatArray:
    """Shape (chains, effect sizes, models), adding up to 1 in each chain; `weights`, of the effect sizes."""
    each = [log_likelihoods(moments, models, g, noise, apart=setting.prior.apart) for g in spreads.T]
    logs = np.stack(each, axis=1)
    logs += models.log_prior + np.log(weights)[:, None]
    logs -= logs.max(axis=(1, 2), keepdims=True)
    np.exp(logs, out=logs)
    logs /= logs.sum(axis=(1, 2), keepdims=True)
    return logs


def _draw_spread(setting: Setting, effects: FloatArray, sd: FloatArray, generator: np.random.Generator) -> FloatArray:
    """A new size of effects for each chain given its effects and the whole noise of a pour, shape (chains, 1)."""
    weights, sizes = np.array(setting.prior.effect_sizes).T
    count = (effects != 0).sum(axis=1)[:, None]
    square = ((effects / sd[:, None]) ** 2).sum(axis=1)[:, None]
    logs = np.log(weights) - setting.prior.power * count * np.log(sizes) - 0.5 * square / sizes**2
    return np.asarray(sizes[pick(logs, generator)][:, None])


def _draw_effects(
    setting: Setting,
    noise: NoisePrior,
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
    effect, sd = _effects_given(setting, noise, moments, chosen, spread, generator)
    dense = np.zeros((chains, draws, moments.scores.shape[-1] + 1))
    np.put_along_axis(dense, chosen % dense.shape[-1], np.where(chosen >= 0, effect, 0.0), axis=2)
    return dense[..., :-1], sd


def _effects_given(
    setting: Setting,
    noise: NoisePrior,
    moments: Moments,
    chosen: IntArray,
    spread: FloatArray,
    generator: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Effects (chains, draws, 3) and noise sds (chains, draws) given the terms of the model (-1: none)."""
    mean, covariance, fit = _solve(moments, chosen, spread)
    tries = _TRIES if setting.prior.apart else 1
    shape = (*spread.shape, tries)
    if noise.fixed:
        sd = np.ones(shape)
    else:
        left = np.maximum(noise.rate + 0.5 * (moments.square[:, None] - fit), 1e-300)[..., None]
        sd = np.sqrt(left / generator.standard_gamma(noise.shape + 0.5 * moments.freedom, shape))
    root = np.linalg.cholesky(covariance)
    step = np.swapaxes(root @ generator.standard_normal((*mean.shape, tries)), -1, -2)
    effect = mean[..., None, :] + sd[..., None] * step
    if tries == 1:
        return np.asarray(effect[..., 0, :]), sd[..., 0]
    ratio = np.where((chosen >= 0)[..., None, :], effect / sd[..., None], 1.0)
    picked = pick(np.log(np.maximum((ratio**2).prod(axis=-1), 1e-300)), generator)[..., None]
    kept = np.take_along_axis(effect, picked[..., None], axis=-2)[..., 0, :]
    return kept, np.take_along_axis(sd, picked, axis=-1)[..., 0]


def _solve(moments: Moments, chosen: IntArray, spread: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The effects' means, their covariance beside the noise variance, and how much of the values they explain."""
    used = chosen >= 0
    index = np.where(used, chosen, 0)
    chain = np.arange(len(chosen))[:, None, None]
    both = used[..., :, None] & used[..., None, :]
    inner = moments.products[chain[..., None], index[..., :, None], index[..., None, :]] * both
    inner = inner + np.eye(chosen.shape[-1]) * (spread**-2)[..., None, None]
    score = moments.scores[chain, index] * used
    covariance = np.linalg.inv(inner)
    mean = (covariance @ score[..., None])[..., 0]
    return np.asarray(mean), np.asarray(covariance), np.asarray((mean * score).sum(axis=-1))


def _single_out(
    setting: Setting,
    noise: NoisePrior,
    moments: Moments,
    chance: FloatArray,
    spreads: FloatArray,
    padded: IntArray,
    single_out: IntArray,
    holding: list[IntArray],
    generator: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """For each term singled out an effect given that it is a cause, and its weight: (chains, terms) each."""
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
    effect, _ = _effects_given(setting, noise, moments, chosen, spread, generator)
    place = (chosen == np.asarray(single_out)[None, :, None]).argmax(axis=2)
    return np.take_along_axis(effect, place[..., None], axis=2)[..., 0], weight
