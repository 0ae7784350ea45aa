"""Posterior probabilities of active factors in a designed experiment: the engine's sums with nothing hidden.

This is the published special case (G. E. P. Box and R. D. Meyer 1993, J. Quality Technology 25(2), 94-105) on
the same models and sums that `explain` uses, for a small set of runs with deliberately set factors and their
interactions.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from trials.explain.models import Models, Terms, find_causes
from trials.explain.normal import FloatArray
from trials.explain.sums import Moments, NoisePrior, log_likelihoods


@dataclass(frozen=True, slots=True, eq=False)
class DesignPosterior:
    """factors: probability that each is active. models: the sets of active factors with `chance`, in the
    same order.
    """

    factors: FloatArray
    sets: tuple[tuple[int, ...], ...]
    chance: FloatArray
    terms: Terms
    models: Models


def weigh_design(
    factors: FloatArray,
    values: FloatArray,
    *,
    activity: float,
    effect_sds: float,
    order: int,
    block: FloatArray | None = None,
) -> DesignPosterior:
    """Which factors of a designed experiment are active.

    factors: shape (runs, factors), coded -1 and 1. values: shape (runs,). activity: prior chance that a
    factor is active. effect_sds: prior standard deviation of an effect in noise standard deviations. order:
    highest order of interaction. block: a column that may shift the values and is not a factor, with the
    prior of an effect.
    """
    terms, models = list_factorial_models(factors, activity=activity, order=order)
    moments = _moments(terms.columns, values, block, effect_sds)
    logs = log_likelihoods(moments, models, effect_sds, NoisePrior(0.0, 0.0)) + models.log_prior
    chance = np.exp(logs - logs.max())
    chance /= chance.sum()
    causes = find_causes(terms, models)
    sets = tuple(tuple(int(k) for k in np.flatnonzero(row > 0.5)) for row in causes)
    return DesignPosterior(chance @ causes, sets, chance, terms, models)


def list_factorial_models(factors: FloatArray, *, activity: float, order: int) -> tuple[Terms, Models]:
    """The models of a designed experiment: any set of active factors, with their interactions up to `order`.

    factors: shape (rows, factors). activity: prior chance that a factor is active. A set of f active factors
    has weight (activity / (1 - activity))^f, whatever the number of its effects (Box and Meyer 1993, J.
    Quality Technology 25(2), 94-105).
    """
    count = factors.shape[1]
    effects = [c for k in range(1, order + 1) for c in combinations(range(count), k)]
    number = {effect: k for k, effect in enumerate(effects)}
    terms = Terms(
        np.column_stack([factors[:, list(effect)].prod(axis=1) for effect in effects]),
        tuple((effect,) for effect in effects),
        np.ones(len(effects)),
    )
    sets = [s for k in range(count + 1) for s in combinations(range(count), k)]
    blocks = []
    prior = []
    for k in sorted({len(s) for s in sets}):
        same = [s for s in sets if len(s) == k]
        chosen = [[number[c] for m in range(1, min(order, k) + 1) for c in combinations(s, m)] for s in same]
        blocks.append(np.array(chosen, dtype=np.int64).reshape(len(same), -1))
        prior.append(np.full(len(same), k * np.log(activity / (1 - activity))))
    return terms, Models(tuple(blocks), np.concatenate(prior))


def _moments(columns: FloatArray, values: FloatArray, block: FloatArray | None, effect_sds: float) -> Moments:
    nuisance = [np.ones(len(values))] if block is None else [np.ones(len(values)), block]
    precision = np.array([0.0, effect_sds**-2][: len(nuisance)])
    apart = np.column_stack(nuisance)
    inner = apart.T @ apart + np.diag(precision)
    both = np.column_stack([columns, values])
    across = apart.T @ both
    table = both.T @ both - across.T @ np.linalg.solve(inner, across)
    return Moments(table[:-1, :-1], table[:-1, -1], table[-1, -1], float(len(values) - 1))


@dataclass(frozen=True, slots=True, eq=False)
class Foretold:
    """What each model expects of new runs: mean (models, runs), spread (models, runs, runs) in units of the
    noise
    variance, and noise variance (models,).
    """

    chance: FloatArray
    mean: FloatArray
    spread: FloatArray
    variance: FloatArray


def foretell_runs(
    answer: DesignPosterior,
    values: FloatArray,
    new: FloatArray,
    *,
    effect_sds: float,
    block: tuple[FloatArray, FloatArray] | None = None,
    least: float = 0.0,
) -> Foretold:
    """What the models with a chance above `least` expect of new runs.

    values: shape (runs,), what was measured. new: shape (new runs, factors). block: the block column of the
    runs made and of the new ones.
    """
    made = answer.terms.columns
    coming = np.column_stack([new[:, list(owners[0])].prod(axis=1) for owners in answer.terms.owners])
    kept, means, spreads, variances = [], [], [], []
    number = 0
    for part in answer.models.blocks:
        for members in part:
            if answer.chance[number] > least:
                old_columns = [np.ones(len(made)), *([] if block is None else [block[0]]), *made[:, members].T]
                new_columns = [np.ones(len(new)), *([] if block is None else [block[1]]), *coming[:, members].T]
                design, ahead = np.column_stack(old_columns), np.column_stack(new_columns)
                ridge = np.diag([0.0] + [effect_sds**-2] * (design.shape[1] - 1))
                inner = design.T @ design + ridge
                effect = np.linalg.solve(inner, design.T @ values)
                left = values - design @ effect
                variances.append((left @ left + effect @ ridge @ effect) / (len(values) - 1))
                means.append(ahead @ effect)
                spreads.append(np.eye(len(new)) + ahead @ np.linalg.solve(inner, ahead.T))
                kept.append(number)
            number += 1
    return Foretold(answer.chance[kept], np.array(means), np.array(spreads), np.array(variances))


def discrimination(foretold: Foretold) -> float:
    """How well new runs would tell the models apart: MD of Meyer, Steinberg and Box.

    Source: R. D. Meyer, D. M. Steinberg, G. E. P. Box 1996, Technometrics 38(4), 303-332.
    """
    precise = np.linalg.inv(foretold.spread)
    trace = np.einsum("jab,iba->ij", precise, foretold.spread) - foretold.mean.shape[1]
    apart = foretold.mean[:, None] - foretold.mean[None]
    distance = np.einsum("ija,jab,ijb->ij", apart, precise, apart) / foretold.variance[:, None]
    weight = foretold.chance[:, None] * foretold.chance[None]
    np.fill_diagonal(weight, 0.0)
    return float(0.5 * (weight * (trace + distance)).sum())
