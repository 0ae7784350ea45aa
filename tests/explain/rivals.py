"""The ways in which people look for a cause today, on the same histories. Each gets merged groups of columns.

A rival returns a score for every group, the groups that it would name, and an effect where it has one; a
censored time is to them the time at which the watching stopped, as a spreadsheet would hold it.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import stats

from tests.explain.histories import FloatArray, History


@dataclass(frozen=True)
class Verdict:
    """score: shape (groups,). named: groups that would be called a cause. effect: shape (groups,) or None."""

    score: FloatArray
    named: frozenset[int]
    effect: FloatArray | None = None


Rival = Callable[[History, FloatArray, FloatArray], Verdict]


def _transitions(history: History) -> list[tuple[int, int]]:
    """(row, row it is compared with): each batch with its parent, each later portion with the first."""
    first = {int(b): i for i, (b, q) in enumerate(zip(history.batch, history.portion, strict=True)) if q == 0}
    found = []
    for i, (b, q, parent) in enumerate(zip(history.batch, history.portion, history.parent, strict=True)):
        if q > 0:
            found.append((i, first[int(b)]))
        elif parent >= 0:
            found.append((i, first[int(parent)]))
    return found


def by_eye(history: History, x: FloatArray, y: FloatArray) -> Verdict:
    """What changed where the outcome moved most."""
    total, count = np.zeros(x.shape[1]), np.zeros(x.shape[1])
    moves = _transitions(history)
    sizes = np.array([abs(y[i] - y[r]) for i, r in moves])
    for (i, r), size in zip(moves, sizes, strict=True):
        changed = np.abs(x[i] - x[r]) > 1e-9
        total[changed] += size
        count[changed] += 1
    i, r = moves[int(np.argmax(sizes))]
    changed_there = np.flatnonzero(np.abs(x[i] - x[r]) > 1e-9)
    score = np.where(count > 0, total / np.maximum(count, 1), 0.0)
    score[changed_there] += 1e3
    sure = sizes.max() > 2 * np.median(sizes) / 0.6745
    return Verdict(score, frozenset(changed_there.tolist()) if sure else frozenset())


def one_change_pairs(history: History, x: FloatArray, y: FloatArray) -> Verdict:  # noqa: ARG001
    """Pairs of rows that differ in a single group, against the noise of exact repeats."""
    count = x.shape[1]
    pairs: list[list[tuple[float, float]]] = [[] for _ in range(count)]
    repeats = []
    for i in range(len(y)):
        for j in range(i):
            moved = x[i] - x[j]
            changed = np.flatnonzero(np.abs(moved) > 1e-9)
            if len(changed) == 0:
                repeats.append((y[i] - y[j]) ** 2 / 2)
            elif len(changed) == 1:
                pairs[changed[0]].append((moved[changed[0]], y[i] - y[j]))
    effect, spread, left = np.full(count, np.nan), np.full(count, np.nan), []
    for k in range(count):
        if pairs[k]:
            dx, dy = np.array(pairs[k]).T
            effect[k] = (dx @ dy) / (dx @ dx)
            left += list((dy - effect[k] * dx) ** 2 / 2)
    if len(repeats) >= 2:
        variance = float(np.mean(repeats))
    else:
        variance = float(np.mean(left)) if len(left) > 3 else float(np.var(y) / 2)
    for k in range(count):
        if pairs[k]:
            dx = np.array(pairs[k])[:, 0]
            spread[k] = np.sqrt(2 * variance / (dx @ dx) * max(1.0, np.sqrt(len(dx))))
    with np.errstate(divide="ignore", invalid="ignore"):
        score = np.nan_to_num(np.abs(effect) / spread, nan=-1.0)
    return Verdict(score, frozenset(np.flatnonzero(score > 2).tolist()), np.nan_to_num(effect))


def stepwise(history: History, x: FloatArray, y: FloatArray) -> Verdict:  # noqa: ARG001
    """Forward selection by BIC, then p < .05."""
    n, count = x.shape
    chosen: list[int] = []
    design = np.ones((n, 1))
    rss = float(((y - y.mean()) ** 2).sum())
    bic = n * np.log(rss / n) + np.log(n)
    while len(chosen) < min(6, n // 3):
        tries = []
        for j in set(range(count)) - set(chosen):
            wider = np.column_stack([design, x[:, j]])
            left = y - wider @ np.linalg.lstsq(wider, y, rcond=None)[0]
            tries.append((n * np.log(max(left @ left, 1e-12) / n) + np.log(n) * (len(chosen) + 2), j))
        if not tries or min(tries)[0] >= bic - 1e-9:
            break
        bic, best = min(tries)
        chosen.append(best)
        design = np.column_stack([design, x[:, best]])
    score, effect, named = np.zeros(count), np.zeros(count), set()
    if chosen:
        coefficients = np.linalg.lstsq(design, y, rcond=None)[0]
        left = y - design @ coefficients
        freedom = max(n - design.shape[1], 1)
        spread = np.sqrt(np.maximum(np.diag(np.linalg.pinv(design.T @ design)) * (left @ left) / freedom, 1e-18))
        for k, j in enumerate(chosen, start=1):
            t = abs(coefficients[k]) / spread[k]
            score[j], effect[j] = t, coefficients[k]
            if 2 * stats.t.sf(t, freedom) < 0.05:
                named.add(j)
    return Verdict(score, frozenset(named), effect)


def _lasso(x: FloatArray, y: FloatArray, *, one_error: bool) -> Verdict:
    from sklearn.linear_model import Lasso, LassoCV

    spread = x.std(axis=0)
    z = (x - x.mean(axis=0)) / spread
    folds = min(5, len(y) // 2)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = LassoCV(cv=folds, alphas=60, max_iter=5000, random_state=0).fit(z, y - y.mean())
        coefficients = fit.coef_
        if one_error:
            path, error = fit.mse_path_.mean(axis=1), fit.mse_path_.std(axis=1) / np.sqrt(folds)
            best = int(np.argmin(path))
            alpha = fit.alphas_[np.flatnonzero(path <= path[best] + error[best])[0]]
            coefficients = Lasso(alpha=alpha, max_iter=5000).fit(z, y - y.mean()).coef_
    named = frozenset(np.flatnonzero(np.abs(coefficients) > 1e-8).tolist())
    return Verdict(np.abs(coefficients), named, coefficients / spread)


def lasso(history: History, x: FloatArray, y: FloatArray) -> Verdict:  # noqa: ARG001
    """Lasso, penalty by cross-validation."""
    return _lasso(x, y, one_error=False)


def lasso_one_error(history: History, x: FloatArray, y: FloatArray) -> Verdict:  # noqa: ARG001
    """Lasso, the sparsest within one standard error."""
    return _lasso(x, y, one_error=True)


def forest(history: History, x: FloatArray, y: FloatArray) -> Verdict:  # noqa: ARG001
    """Random forest importance against shuffled shadow columns."""
    from sklearn.ensemble import RandomForestRegressor

    generator = np.random.default_rng(0)
    shadows = np.column_stack([generator.permutation(x[:, j]) for j in range(x.shape[1])])
    trees = RandomForestRegressor(n_estimators=100, max_features=0.5, min_samples_leaf=2, random_state=0, n_jobs=1).fit(
        np.column_stack([x, shadows]), y
    )
    importance = trees.feature_importances_
    own = importance[: x.shape[1]]
    return Verdict(own, frozenset(np.flatnonzero(own > importance[x.shape[1] :].max()).tolist()))


def ridge(history: History, x: FloatArray, y: FloatArray) -> Verdict:  # noqa: ARG001
    """Ridge regression, penalty by generalised cross-validation, with a permutation test."""
    generator = np.random.default_rng(0)
    spread = x.std(axis=0)
    u, d, vt = np.linalg.svd((x - x.mean(axis=0)) / spread, full_matrices=False)
    centred, n = y - y.mean(), len(y)
    best = (np.inf, 1.0)
    for penalty in np.logspace(-1, 3, 25):
        shrink = d**2 / (d**2 + penalty)
        used = 1 + shrink.sum()
        if used < n - 0.5:
            left = centred - u @ (shrink * (u.T @ centred))
            best = min(best, (float((left @ left) / (1 - used / n) ** 2), float(penalty)))
    smooth = vt.T @ np.diag(d / (d**2 + best[1])) @ u.T
    effect = smooth @ centred
    shuffled = np.abs(smooth @ np.array([generator.permutation(centred) for _ in range(400)]).T)
    size = np.abs(effect)
    p = (1 + (shuffled >= size[:, None]).sum(axis=1)) / 401
    p_any = (1 + (shuffled.max(axis=0)[None] >= size[:, None]).sum(axis=1)) / 401
    return Verdict(-np.log(p) + 1e-3 * size, frozenset(np.flatnonzero(p_any < 0.05).tolist()), effect / spread)


RIVALS: dict[str, Rival] = {
    "before and after, by eye": by_eye,
    "one-change pairs": one_change_pairs,
    "stepwise regression": stepwise,
    "lasso, cross-validated": lasso,
    "lasso, one standard error": lasso_one_error,
    "random forest": forest,
    "ridge with permutation": ridge,
}
