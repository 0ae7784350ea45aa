"""Drawing what is hidden comes to what adding up every story of a small history comes to."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from math import lgamma, log

import numpy as np
import pytest

from trials.explain import Effort, EngineAnswer, Noise, Prior, Problem, explain

PRIOR = Prior(small_effects=(), product_weight=0.0)
PAIRS = [0, 0, 1, 1, 2, 2, 3, 3]
LONG = Effort(chains=48, sweeps=60, most_sweeps=60)


def add_up(
    x: np.ndarray, y: np.ndarray, batch: np.ndarray, noise: Noise, *, alone: bool
) -> tuple[float, float, float, np.ndarray]:
    """Chances that the one change is a cause and of every batch to be botched, and the mean and spread of the share.

    Every batch share, kind of noise and size of effect in turn; the noise is summed out in closed form (an inverse
    gamma integral), the effect by a plain sum over its values.
    """
    many = int(batch.max()) + 1
    weight = PRIOR.lone_weight if alone else 1.0
    cause = PRIOR.causes[1] / (PRIOR.causes[0] + PRIOR.causes[1]) * weight / (weight + PRIOR.few)
    shares = PRIOR.batch_shares if len(batch) > many else (0.0,)
    shape, rate = noise.observations / 2, noise.observations * noise.sd**2 / 2
    at = (np.arange(1200) + 0.5) / 600 - 1.0
    effect, width = 2.0 * at / (1 - at**2), 2.0 * (1 + at**2) / (1 - at**2) ** 2 / 600
    sizes = np.array(PRIOR.effect_sizes)
    chances = sizes[:, 0] / sizes[:, 0].sum()
    found: list[tuple[float, float, float, tuple[int, ...]]] = []
    for share, kinds in product(shares, product(range(len(PRIOR.noise_kinds)), repeat=many)):
        variance = np.array([PRIOR.noise_kinds[kind][1] for kind in kinds])[batch]
        whole = 1.0 + share
        covariance = (np.eye(len(y)) + share * (batch[:, None] == batch)) * variance[:, None]
        precise = np.linalg.inv(covariance)
        level = precise.sum(axis=0)
        free = precise - np.outer(level, level) / level.sum()  # the level is summed out
        before = sum(log(PRIOR.noise_kinds[kind][0]) for kind in kinds) + shape * log(rate / whole)
        before -= 0.5 * (np.linalg.slogdet(covariance)[1] + log(level.sum()))
        half = shape + 0.5 * (len(y) - 1)
        none = log(1 - cause) + lgamma(half) - half * log(rate / whole + 0.5 * y @ free @ y)
        left = y @ free @ y - 2 * effect * (x @ free @ y) + effect**2 * (x @ free @ x)
        half += 1.5
        total = 0.0
        for chance, size in zip(chances, sizes[:, 1], strict=True):
            reach = size**2 * whole
            density = width * effect**2 * reach**-1.5 / np.sqrt(2 * np.pi)
            total += chance * float((density * (rate / whole + 0.5 * left + 0.5 * effect**2 / reach) ** -half).sum())
        found.append((before + none, before + log(cause) + lgamma(half) + log(total), share / whole, kinds))
    top = max(max(each[:2]) for each in found)
    odds = np.exp(np.array([each[:2] for each in found]) - top)
    odds /= odds.sum()
    botched = np.array([[PRIOR.noise_kinds[kind][1] > 1 for kind in each[3]] for each in found])
    share = np.array([each[2] for each in found])  # of the whole variance of a pour
    mean = float(odds.sum(axis=1) @ share)
    return float(odds[:, 1].sum()), mean, float(odds.sum(axis=1) @ share**2) - mean**2, odds.sum(axis=1) @ botched


@pytest.mark.parametrize(
    ("x", "y", "batch"),
    [
        pytest.param([0, 0, 0, 0, 0, 0, 1, 1], [2, 2.1, 1.9, 2, 2.1, 2.15, 3.2, 3.1], PAIRS, id="near"),
        pytest.param([0, 0, 0, 0, 0, 0, 1, 1], [2, 2.1, 1.9, 2, 2.1, 2.15, 9, 9.3], PAIRS, id="far"),
        pytest.param([0, 0, 0, 0, 0, 1], [2, 2.1, 1.9, 2, 2.1, 9], [0, 1, 2, 3, 4, 5], id="far and undivided"),
        pytest.param([0, 1, 0, 1, 0, 0, 0, 0], [2, 2.7, 1.9, 2.3, 2.6, 2.65, 1.8, 1.9], PAIRS, id="within"),
    ],
)
def test_drawing_comes_to_what_adding_up_every_story_does(
    x: Sequence[float], y: Sequence[float], batch: Sequence[int]
) -> None:
    noise = Noise(0.15, 4.0)
    labels = np.array(batch)
    alone = len(set(labels[np.array(x) == 1])) == 1
    cause, share, spread, botched = add_up(np.array(x, float), np.array(y), labels, noise, alone=alone)
    answer = explain(Problem.of(["f"], np.array(x)[:, None], y, batch=labels, noise=noise), PRIOR, LONG)
    assert isinstance(answer, EngineAnswer)
    assert answer.candidates[0].probability == pytest.approx(cause, abs=0.04)
    drawn = [answer.botched[batch.index(number)] for number in range(max(batch) + 1)]
    assert drawn == pytest.approx(list(botched), abs=0.05)
    assert answer.posterior.share == pytest.approx(share, abs=0.2 * np.sqrt(spread) + 1e-9)
