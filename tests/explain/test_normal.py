"""The normal distribution agrees with scipy, also far out."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats

from trials.explain.normal import draw_truncated, normal_chance, normal_quantile


def test_chance_and_quantile_agree_with_scipy_into_the_tails() -> None:
    z = np.linspace(-37.0, 8.0, 1001)
    assert normal_chance(z) == pytest.approx(special.ndtr(z), rel=1e-12)
    p = np.concatenate([np.logspace(-299, -1, 500), np.linspace(0.01, 0.99, 500), 1 - np.logspace(-15, -1, 50)])
    assert normal_quantile(p) == pytest.approx(special.ndtri(p), rel=1e-13, abs=1e-13)
    assert normal_quantile(np.array([0.0, 1.0])).tolist() == [-np.inf, np.inf]


@pytest.mark.parametrize(("low", "high"), [(-1.0, 0.5), (2.0, np.inf), (-np.inf, -4.0), (9.0, 9.5), (-np.inf, np.inf)])
def test_truncated_draws_follow_the_truncated_normal(low: float, high: float) -> None:
    uniform = (np.arange(20000) + 0.5) / 20000
    drawn = draw_truncated(uniform, np.float64(0.0), np.float64(1.0), np.float64(low), np.float64(high))
    assert stats.kstest(drawn, stats.truncnorm(low, high).cdf).statistic < 1e-3


@pytest.mark.parametrize("far", [30.0, 200.0, 1e6])
def test_draws_beyond_any_tail_stay_in_bounds_and_finite(far: float) -> None:
    uniform = np.linspace(0.0, 0.999999, 50)
    for low, high in ((far, np.inf), (-np.inf, -far), (far, far + 1)):
        drawn = draw_truncated(uniform, np.float64(0.0), np.float64(1.0), np.float64(low), np.float64(high))
        assert np.isfinite(drawn).all()
        assert (drawn >= low).all()
        assert (drawn <= high).all()
