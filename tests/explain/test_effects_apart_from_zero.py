"""Effects that count as causes are kept apart from zero: the sums are what plain integration gives."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from trials.explain.models import Models
from trials.explain.normal import FloatArray
from trials.explain.sums import Moments, NoisePrior, log_likelihoods

G = 1.5
GRID = np.linspace(-9.0, 9.0, 73)


def made(seed: int) -> tuple[FloatArray, FloatArray, Models]:
    """Ten rows of three columns, and all models of them."""
    generator = np.random.default_rng(seed)
    x = generator.standard_normal((10, 3))
    values = x @ [1.0, 0.5, 0.0] + 0.5 * generator.standard_normal(10)
    blocks = tuple(np.array(list(combinations(range(3), size)), dtype=np.int64) for size in (1, 2, 3))
    return x, values, Models((np.zeros((1, 0), dtype=np.int64), *blocks), np.zeros(8))


def integrated(x: FloatArray, values: FloatArray, sd: float, *, apart: bool) -> float:
    """log of the integral of likelihood times prior over every effect, on a grid; noise of a known sd, no intercept."""
    size = x.shape[1]
    effects = np.stack(np.meshgrid(*[GRID * sd] * size, indexing="ij"), axis=-1).reshape(-1, size)
    log_density = -0.5 * ((effects / (G * sd)) ** 2).sum(axis=1) - size * np.log(G * sd * np.sqrt(2 * np.pi))
    if apart:
        log_density = log_density + np.log(np.maximum((effects / (G * sd)) ** 2, 1e-300)).sum(axis=1)
    left = values[:, None] - x @ effects.T
    logs = log_density - 0.5 * (left**2).sum(axis=0) / sd**2 - len(values) * np.log(sd)
    cell = size * np.log((GRID[1] - GRID[0]) * sd)
    return float(np.logaddexp.reduce(logs) + cell)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("apart", [False, True])
def test_models_of_one_to_three_causes_weigh_what_integration_gives(seed: int, apart: bool) -> None:
    x, values, models = made(seed)
    moments = Moments(x.T @ x, x.T @ values, np.asarray(values @ values), 10.0)
    found = log_likelihoods(moments, models, G, NoisePrior(0.0, 0.0, fixed=True), apart=apart)
    nothing = -0.5 * float(values @ values)
    expected = [nothing]
    for block in models.blocks[1:]:
        expected += [integrated(x[:, list(members)], values, 1.0, apart=apart) for members in block]
    assert np.allclose(found - found[0], np.array(expected) - nothing, atol=1e-6)


@pytest.mark.parametrize("apart", [False, True])
def test_the_same_where_the_noise_is_not_known(apart: bool) -> None:
    x, values, models = made(4)
    noise = NoisePrior(2.0, 2.0 * 0.4**2)
    moments = Moments(x.T @ x, x.T @ values, np.asarray(values @ values), 10.0)
    found = log_likelihoods(moments, models, G, noise, apart=apart)
    sds = np.exp(np.linspace(np.log(0.1), np.log(6.0), 160))
    weight = -2 * (noise.shape + 1) * np.log(sds) - noise.rate / sds**2 + 2 * np.log(sds)  # over log sd

    def over_noise(members: list[int]) -> float:
        if not members:
            return float(np.logaddexp.reduce(weight - 0.5 * (values @ values) / sds**2 - 10 * np.log(sds)))
        logs = [integrated(x[:, members], values, float(sd), apart=apart) for sd in sds]
        return float(np.logaddexp.reduce(weight + np.array(logs)))

    nothing = over_noise([])
    number = 1
    for block in models.blocks[1:3]:
        for members in block:
            assert found[number] - found[0] == pytest.approx(over_noise(list(members)) - nothing, abs=2e-3)
            number += 1
