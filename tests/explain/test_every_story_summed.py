"""Drawing what is hidden comes to what adding up every story of a small history comes to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from math import lgamma, log

import numpy as np
import pytest
from scipy.special import ndtr

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


def add_up_grades(x: np.ndarray, grades: np.ndarray, batch: np.ndarray) -> tuple[float, float, float]:
    """The same for grades with one kind of noise: chance of a cause, mean and spread of the share.

    Every share, effect, level and gap between the borders in turn, on grids in units of the noise of a whole pour; what
    a batch shares by Gauss and Hermite's rule. The first border is the middle one of two.
    """
    cause = PRIOR.causes[1] / (PRIOR.causes[0] + PRIOR.causes[1]) / (1.0 + PRIOR.few)
    shares = np.array(PRIOR.batch_shares if len(batch) > int(batch.max()) + 1 else (0.0,))
    several = int(grades.max()) > 1
    gaps = np.linspace(0.0, 12.0, 41)[1:] if several else np.array([np.inf])
    level = np.linspace(-7.0, 7.0, 43)
    half = np.geomspace(0.05, 60.0, 40)
    effect = np.concatenate([-half[::-1], [0.0], half])
    sizes = np.array(PRIOR.effect_sizes)
    believed = sum(
        chance / sizes[:, 0].sum() * effect**2 / size**3 * np.exp(-0.5 * (effect / size) ** 2) / np.sqrt(2 * np.pi)
        for chance, size in sizes
    )
    believed = believed * np.gradient(effect)
    before = np.exp(-0.5 * (level / PRIOR.grade_level) ** 2)[:, None]
    before = before * (np.exp(-gaps / PRIOR.grade_gap) if several else 1.0)
    at, rule = np.polynomial.hermite_e.hermegauss(21)
    found = []
    for share in shares:
        own, common = np.sqrt(1.0 / (1.0 + share)), np.sqrt(share / (1.0 + share))
        told = np.ones((len(effect), len(level), len(gaps)))
        for number in np.unique(batch):
            rows = np.flatnonzero(batch == number)
            part = np.zeros_like(told)
            for luck, weight in zip(at * common, rule / rule.sum(), strict=True):
                both = weight
                for row in rows:
                    middle = (level + luck + effect[:, None] * x[row])[..., None]
                    ends = [ndtr(-middle / own), ndtr((gaps - middle) / own)]
                    each = (ends[0], ends[1] - ends[0], 1.0 - ends[1])
                    both = both * each[grades[row]]
                part = part + both
            told *= part
        summed = (told * before).sum(axis=(1, 2))
        found.append(((1 - cause) * summed[effect == 0][0], cause * float(summed @ believed)))
    odds = np.array(found) / np.sum(found)
    part = shares / (1.0 + shares)
    mean = float(odds.sum(axis=1) @ part)
    return float(odds[:, 1].sum()), mean, float(odds.sum(axis=1) @ part**2) - mean**2


@pytest.mark.parametrize(
    ("x", "grades", "batch"),
    [
        pytest.param([0, 0, 0, 0, 1, 1, 1, 1], [0, 0, 1, 1, 1, 2, 2, 2], PAIRS, id="in batches"),
        pytest.param([0, 1, 0, 1, 0, 1, 0, 0], [0, 1, 1, 2, 1, 2, 0, 1], PAIRS, id="within batches"),
        pytest.param([0, 0, 1, 1, 0, 1, 0, 1], [0, 0, 1, 1, 0, 1, 0, 1], list(range(8)), id="yes or no, parted"),
        pytest.param([0, 0, 1, 1, 0, 1, 0, 1], [0, 0, 2, 1, 1, 2, 0, 1], list(range(8)), id="undivided"),
    ],
)
def test_drawing_borders_between_grades_comes_to_what_adding_them_up_does(
    x: Sequence[float], grades: Sequence[int], batch: Sequence[int]
) -> None:
    plain = replace(PRIOR, noise_kinds=((1.0, 1.0),))
    cause, share, spread = add_up_grades(np.array(x, float), np.array(grades), np.array(batch))
    asked = Problem.of(["f"], np.array(x, float)[:, None], grades, scale="graded", batch=np.array(batch))
    answer = explain(asked, plain, LONG)
    assert isinstance(answer, EngineAnswer)
    assert answer.candidates[0].probability == pytest.approx(cause, abs=0.04)
    assert answer.posterior.share == pytest.approx(share, abs=0.2 * np.sqrt(spread) + 1e-9)
