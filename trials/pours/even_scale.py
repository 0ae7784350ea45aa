"""The scale on which an outcome's noise is even: the logarithm of a time, twice the root of a count, else its own."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, log, sqrt

from trials.outcomes.outcome import Outcome, Scale

_LEAST = 1e-3  # what a time of nothing is taken for


def to_scale(value: float, scale: Scale) -> float:
    """A value on the scale on which its noise is even: the logarithm of a time, twice the root of a count."""
    if scale is Scale.LOG_TIME:
        return log(max(value, _LEAST))
    if scale is Scale.COUNT:
        return 2.0 * sqrt(max(value, 0.0) + 0.375)
    return value


def from_scale(value: float, scale: Scale) -> float:
    """A value on the even scale in the outcome's own unit: the inverse of `to_scale`; no share beyond 0 to 100 %."""
    if scale is Scale.LOG_TIME:
        return exp(value)
    if scale is Scale.COUNT:
        return max(value, 0.0) ** 2 / 4.0 - 0.375
    if scale is Scale.PERCENT:
        return min(max(value, 0.0), 100.0)
    return value


def noise_in_unit(sd: float, scale: Scale, level: float) -> float:
    """A standard deviation on the even scale, in the outcome's own unit about a level."""
    if scale is Scale.LOG_TIME:
        return abs(level) * sd
    if scale is Scale.COUNT:
        return sd * sqrt(max(level, 0.0) + 0.375)
    return sd


def mean_of(figures: Sequence[float], outcome: Outcome) -> float:
    """The mean of some figures on the scale on which their noise is even."""
    if outcome.scale is Scale.LOG_TIME and min(figures) > 0:
        return exp(sum(log(figure) for figure in figures) / len(figures))
    return sum(figures) / len(figures)
