"""Whether a batch went wrong or what it alone had acted: the two stories of one batch that stands out."""

from __future__ import annotations

import numpy as np

from trials.explain.models import Models, Terms
from trials.explain.normal import FloatArray
from trials.explain.pick import pick
from trials.explain.setting import Setting, take_out, whiten
from trials.explain.state import State
from trials.explain.sums import Moments, NoisePrior, log_likelihoods


def draw_doubtful(
    setting: Setting, terms: Terms, models: Models, state: State, share: FloatArray, generator: np.random.Generator
) -> None:
    """New kinds of noise for the batches that were alone in a change, all models, effects and their size summed out.

    Drawn one given the other, either story would stay for good in a chain that once began with it. Effects, their size
    and the noise must be drawn anew before anything else is drawn given them. share: the batch share of each chain.
    """
    if len(setting.prior.noise_kinds) < 2:
        return
    chances, variances = np.array(setting.prior.noise_kinds).T
    whole, noise = setting.whole_pour(share)
    weights, sizes = np.array(setting.prior.effect_sizes).T
    precision = setting.precision(state.sizes, share)
    for batch in terms.doubtful:
        logs = np.log(chances) - 0.5 * setting.counts[batch] * np.log(variances) + np.zeros((len(share), 1))
        for kind in range(len(variances)):
            state.kind[:, batch] = kind
            weight = 1.0 / variances[state.kind][:, setting.batch]
            moments, inner = take_out(
                whiten(setting, terms.columns[None], share, weight),
                whiten(setting, setting.nuisance[None], share, weight),
                whiten(setting, state.values[:, :, None], share, weight)[..., 0],
                precision,
            )
            logs[:, kind] += _log_total(moments, models, noise, (whole * sizes).T, weights, apart=setting.prior.apart)
            logs[:, kind] -= 0.5 * np.linalg.slogdet(inner)[1]
            if noise.fixed:  # which its sums leave out, being the same for all models
                logs[:, kind] -= 0.5 * moments.square
        state.kind[:, batch] = pick(logs, generator)


def _log_total(
    moments: Moments, models: Models, noise: NoisePrior, spreads: FloatArray, weights: FloatArray, *, apart: bool
) -> FloatArray:
    """Log density of each chain's values, summed over models and sizes of effects; spreads: (sizes, chains)."""
    each = [
        np.logaddexp.reduce(models.log_prior + log_likelihoods(moments, models, g, noise, apart=apart), axis=-1)
        for g in spreads
    ]
    return np.asarray(np.logaddexp.reduce(np.stack(each) + np.log(weights)[:, None], axis=0))
