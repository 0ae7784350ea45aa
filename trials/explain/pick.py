"""One of several possibilities, by chance."""

from __future__ import annotations

import numpy as np

from trials.explain.normal import FloatArray
from trials.explain.problem import IntArray


def pick(logs: FloatArray, generator: np.random.Generator) -> IntArray:
    """One index along the last axis for each row of unnormalised log chances."""
    chance = np.exp(logs - logs.max(axis=-1, keepdims=True))
    ladder = np.cumsum(chance, axis=-1)
    target = generator.random((*logs.shape[:-1], 1)) * ladder[..., -1:]
    return np.asarray(np.minimum((ladder < target).sum(axis=-1), logs.shape[-1] - 1), dtype=np.int64)
