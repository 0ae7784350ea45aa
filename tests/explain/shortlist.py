"""The fewest of the likeliest candidates that hold every cause with a chance of 90 %, for judging the engine."""

from __future__ import annotations

import numpy as np

from trials.explain import EngineAnswer
from trials.explain.result import SUSPECTED


def find_shortlist(answer: EngineAnswer) -> tuple[int, ...]:
    """Numbers of candidates, likeliest first."""
    causes, chance, order = answer.posterior.causes, answer.posterior.chance, answer.posterior.order
    outside = np.ones(causes.shape[1], dtype=bool)
    for k in range(len(order) + 1):
        inside = (1.0 - causes[:, outside]).prod(axis=1)
        if chance @ inside >= SUSPECTED:
            return tuple(range(k))
        if k < len(order):
            outside[order[k]] = False
    return tuple(range(len(order)))
