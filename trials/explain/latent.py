"""From what was seen to the scale that is worked on: log minutes, root counts, grades as bands of a hidden value."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from trials.explain.normal import FloatArray, normal_quantile
from trials.explain.problem import IntArray, Noise, Problem, Scale

GRADED = ("graded", "yes-no")


@dataclass(frozen=True, slots=True, eq=False)
class Latent:
    """The rows on the working scale.

    start: shape (rows,), the value itself or a first guess inside its bounds. lower, upper: bounds of the
    rows that are not exact (`open_rows`). For grades `levels` > 0, `code_low` and `code_high` number the
    grade of each row (or the lowest and highest that it may have), and `cuts` are first guesses of the
    borders between neighbouring grades; the one in the middle, `held`, is where the hidden scale begins.
    """

    start: FloatArray
    lower: FloatArray
    upper: FloatArray
    open_rows: IntArray
    levels: int = 0
    code_low: IntArray | None = None
    code_high: IntArray | None = None
    cuts: FloatArray | None = None

    @property
    def held(self) -> int:
        """The number of the border in the middle."""
        return (self.levels - 2) // 2


def to_working_scale(values: FloatArray, scale: Scale) -> FloatArray:
    """Values in their own unit on the working scale: log, twice the root (Anscombe), or as they are."""
    if scale == "log":
        with np.errstate(divide="ignore"):
            return np.log(values)
    if scale == "count":
        return np.asarray(2.0 * np.sqrt(np.maximum(values, -0.375) + 0.375))
    return values


def from_working_scale(values: FloatArray, scale: Scale) -> FloatArray:
    """Values on the working scale in the outcome's own unit; grades stay on their hidden scale."""
    if scale == "log":
        return np.asarray(np.exp(values))
    if scale == "count":
        return np.asarray(np.maximum(values, 0.0) ** 2 / 4.0 - 0.375)
    return values


def make_latent(problem: Problem) -> Latent:
    """The problem's rows on the working scale."""
    if problem.scale in GRADED:
        return _graded(problem)
    low, high = problem.lower.copy(), problem.upper.copy()
    exact = problem.exact
    if problem.scale == "percent":
        low[low <= 0] = -np.inf
        high[high >= 100] = np.inf
        exact = low == high
    infinite_low, infinite_high = np.isneginf(low), np.isposinf(high)
    lower = np.where(infinite_low, -np.inf, to_working_scale(np.where(infinite_low, 1.0, low), problem.scale))
    upper = np.where(infinite_high, np.inf, to_working_scale(np.where(infinite_high, 1.0, high), problem.scale))
    finite_low, finite_high = np.isfinite(lower), np.isfinite(upper)
    known = np.concatenate([lower[finite_low], upper[finite_high]])
    reach = 0.5 * float(known.std()) if len(known) else 1.0
    start = np.where(
        finite_low & finite_high,
        0.5 * (np.where(finite_low, lower, 0.0) + np.where(finite_high, upper, 0.0)),
        np.where(finite_low, lower + reach, upper - reach),
    )
    return Latent(start, lower, upper, np.flatnonzero(~exact).astype(np.int64))


def centred(latent: Latent) -> tuple[Latent, float]:
    """The rows about their middle, and that middle: sums of squares lose no digits where values are far from zero."""
    if latent.levels:
        return latent, 0.0
    middle = float(np.median(latent.start))
    moved = replace(latent, start=latent.start - middle, lower=latent.lower - middle, upper=latent.upper - middle)
    return moved, middle


def _graded(problem: Problem) -> Latent:
    finite = np.concatenate([problem.lower[np.isfinite(problem.lower)], problem.upper[np.isfinite(problem.upper)]])
    grades = np.unique(finite)
    low = np.searchsorted(grades, np.where(np.isfinite(problem.lower), problem.lower, grades[0])).astype(np.int64)
    high = np.searchsorted(grades, np.where(np.isfinite(problem.upper), problem.upper, grades[-1])).astype(np.int64)
    middle = 0.5 * (low + high)
    below = np.array([(middle < k + 0.25).mean() for k in range(len(grades) - 1)])
    cuts = normal_quantile(np.clip(below, 0.02, 0.98))
    place = np.array([(np.sum(middle < m) + 0.5 * np.sum(middle == m)) / len(middle) for m in middle])
    rows = np.arange(problem.rows, dtype=np.int64)
    open_ends = np.full(problem.rows, np.inf)
    latent = Latent(normal_quantile(place), -open_ends, open_ends, rows, len(grades), low, high, cuts)
    begin = cuts[latent.held]
    return replace(latent, start=latent.start - begin, cuts=cuts - begin)


def working_noise(problem: Problem, latent: Latent) -> Noise:
    """The prior on the noise of a pour: what repeats told, else a wide guess from the spread of the values."""
    if problem.noise is not None:
        return problem.noise
    if problem.scale == "count":
        return Noise(1.0, 4.0)  # a pure count has unit noise on the root scale
    return Noise(0.6 * max(float(np.std(latent.start)), 1e-9), 2.0)
