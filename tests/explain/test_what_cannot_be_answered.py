"""Where there is nothing to compare the engine says why, and what cannot be meant is refused."""

from __future__ import annotations

import numpy as np
import pytest

from formulary.errors import InputError
from trials.explain import EngineAnswer, NoAnswer, Noise, Problem, explain


def reason(problem: Problem) -> str:
    answer = explain(problem)
    assert isinstance(answer, NoAnswer)
    assert answer.what
    return answer.why


@pytest.mark.parametrize(("rows", "why"), [(0, "no-rows"), (1, "one-row"), (2, "two-rows")])
def test_too_few_rows(rows: int, why: str) -> None:
    assert reason(Problem.of(["clove"], np.arange(rows)[:, None], np.arange(rows) + 1.0)) == why


def test_two_rows_that_lie_beyond_limits_show_no_difference() -> None:
    x, limits = np.eye(2), np.array([5.3, 6.8])
    assert reason(Problem.of(["a", "b"], x, limits, np.full(2, np.inf), scale="log")) == "all-censored"
    assert reason(Problem.of(["a", "b"], x, np.full(2, -np.inf), limits)) == "all-censored"
    assert reason(Problem.of(["a", "b"], x, limits, np.array([np.inf, 6.8]), scale="log")) == "two-rows"


def test_no_factor_and_no_difference() -> None:
    y = np.arange(5.0)
    assert reason(Problem.of([], np.zeros((5, 0)), y)) == "no-factors"
    assert reason(Problem.of(["clove"], np.ones((5, 1)), y)) == "nothing-varies"
    x = np.eye(5)[:, :2]
    assert reason(Problem.of(["a", "b"], x, np.ones(5))) == "all-equal"
    assert reason(Problem.of(["a", "b"], x, y + 1, np.full(5, np.inf), scale="log")) == "all-censored"
    assert reason(Problem.of(["a", "b"], x, np.full(5, -np.inf), y)) == "all-censored"
    assert reason(Problem.of(["a", "b"], x, np.full(5, 2.0), np.full(5, 3.0))) == "all-equal"
    assert reason(Problem.of(["a", "b"], x, np.ones(5), scale="yes-no")) == "all-equal"


@pytest.mark.parametrize(
    "change",
    [
        {"lower": [1.0, np.nan, 3.0]},
        {"x": [[0.0], [np.inf], [1.0]]},
        {"x": [[0.0], [1.0]]},
        {"names": ["a", "b"]},
        {"upper": [0.5, 2.0, 3.0]},
        {"lower": [-np.inf, 2.0, 3.0], "upper": [np.inf, 2.0, 3.0]},
        {"scale": "feelings"},
        {"scale": "log", "lower": [-1.0, 2.0, 3.0]},
        {"scale": "graded", "lower": [0.5, 1.0, 2.0]},
        {"scale": "yes-no", "lower": [0.0, 1.0, 2.0]},
        {"scale": "count", "lower": [-1.0, 1.0, 2.0]},
        {"scale": "percent", "lower": [0.0, 50.0, 101.0]},
        {"prior": [0.0]},
        {"batch": [1, 2]},
        {"when": [0.0, np.nan, 1.0]},
        {"noise": Noise(0.0)},
    ],
)
def test_nonsense_is_refused(change: dict[str, object]) -> None:
    given: dict[str, object] = {"names": ["a"], "x": [[0.0], [1.0], [1.0]], "lower": [1.0, 2.0, 3.0]} | change
    names, x, lower = given.pop("names"), given.pop("x"), given.pop("lower")
    with pytest.raises(InputError) as refused:
        Problem.of(names, x, lower, **given)  # type: ignore[arg-type]
    assert refused.value.findings[0].do


def test_far_more_factors_than_rows_gives_an_answer_that_knows_nothing() -> None:
    generator = np.random.default_rng(11)
    x = generator.integers(-2, 3, (8, 200)).astype(float)
    answer = explain(Problem.of([f"f{k}" for k in range(200)], x, generator.normal(size=8), noise=Noise(1.0)))
    assert isinstance(answer, EngineAnswer)
    assert not answer.enough_evidence
    assert len(answer.candidates) == 200
