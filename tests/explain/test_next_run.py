"""The next run is the one that tells the leading explanations apart."""

from __future__ import annotations

import numpy as np
import pytest

from formulary.errors import InputError
from trials.explain import EngineAnswer, Noise, Problem, explain, find_next_runs
from trials.explain.next_run import expected_bits


def twins() -> tuple[Problem, EngineAnswer]:
    """Clove and honey always came together, and they did it; clay and mint came now and then."""
    generator = np.random.default_rng(4)
    together = np.tile([0.0, 1.0, 0.0, 0.0, 1.0, 0.0], 3)
    x = np.column_stack([together, together, *(generator.random((2, 18)) < 0.4).astype(float)])
    y = np.exp(2.6 - 0.7 * together + 0.15 * generator.standard_normal(18))
    problem = Problem.of(["clove", "honey", "clay", "mint"], x, y, scale="log", noise=Noise(0.2))
    answer = explain(problem)
    assert isinstance(answer, EngineAnswer)
    return problem, answer


def test_a_run_that_parts_the_twins_is_worth_most_and_nearly_a_bit() -> None:
    problem, answer = twins()
    runs = np.array([[0, 0, 0, 0], [1, 1, 0, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0]], dtype=float)
    found = find_next_runs(problem, answer, runs, most=5)
    assert {found[0].run, found[1].run} == {2, 3}
    assert 0.6 < found[0].bits <= 1.05
    assert all(later.bits < 0.25 for later in found[2:])
    told = {outlook.causes: outlook.outcome.middle for outlook in found[0].outlooks}
    alone = "clove" if found[0].run == 2 else "honey"
    other = "honey" if alone == "clove" else "clove"
    assert told[((alone,),)] < told[((other,),)] - 0.4


def test_the_simpler_of_two_equal_runs_is_preferred() -> None:
    problem, answer = twins()
    runs = np.array([[1, 0, 1, 0], [1, 0, 0, 0]], dtype=float)
    assert find_next_runs(problem, answer, runs, changes=[2, 1])[0].run == 1


def test_a_limit_below_every_forecast_leaves_nothing_to_learn() -> None:
    problem, answer = twins()
    run = np.array([[1.0, 0.0, 0.0, 0.0]])
    free = find_next_runs(problem, answer, run)[0].bits
    assert find_next_runs(problem, answer, run, limit=0.5)[0].bits < 0.01
    assert find_next_runs(problem, answer, run, limit=1e6)[0].bits == pytest.approx(free, abs=0.01)


def test_bits_are_those_of_the_textbook() -> None:
    chance = np.array([0.5, 0.5])
    apart = expected_bits(np.array([[0.0], [50.0]]), np.ones((2, 1)), chance)
    same = expected_bits(np.array([[1.0], [1.0]]), np.ones((2, 1)), chance)
    assert apart == pytest.approx([1.0], abs=1e-4)  # two outcomes that cannot be mistaken for each other: one bit
    assert same == pytest.approx([0.0], abs=1e-6)
    three = expected_bits(np.array([[0.0], [40.0], [80.0]]), np.ones((3, 1)), np.array([0.5, 0.25, 0.25]))
    assert three == pytest.approx([1.5], abs=1e-4)


def test_a_run_that_is_no_number_is_refused() -> None:
    problem, answer = twins()
    with pytest.raises(InputError):
        find_next_runs(problem, answer, [[np.nan, 0, 0, 0]])


def test_one_divided_loaf_does_not_make_the_next_pour_a_guess() -> None:
    generator = np.random.default_rng(11)
    x = (generator.random((16, 3)) < 0.4).astype(float)
    x[-1] = x[-2]
    y = 2.0 + 0.8 * x[:, 0] + 0.1 * generator.standard_normal(16)
    spreads, noise = {}, {}
    for way, batch in (("undivided", list(range(16))), ("last two of one loaf", [*range(15), 14])):
        problem = Problem.of(["clove", "clay", "mint"], x, y, batch=batch, noise=Noise(0.1))
        answer = explain(problem)
        assert isinstance(answer, EngineAnswer)
        first = find_next_runs(problem, answer, [[1.0, 0.0, 0.0]])[0].outlooks[0]
        spreads[way], noise[way] = first.spread, answer.noise.sd.middle
    # Nothing is known of how much a loaf shares, but all is known of how much pours differ.
    assert spreads["last two of one loaf"] == pytest.approx(spreads["undivided"], rel=0.15)
    assert noise["last two of one loaf"] == pytest.approx(noise["undivided"], rel=0.15)
