"""Every change acts a little: that alone names nobody, and does not narrow what is said of a real cause."""

from __future__ import annotations

import dataclasses

import numpy as np

from trials.explain import EngineAnswer, Noise, Prior, Problem, explain

WITHOUT = dataclasses.replace(Prior(), small_effects=())


def a_history(seed: int, *, cause: float, small: float, rows: int = 24, columns: int = 14) -> Problem:
    """Trials that each change up to three things of the one before; column 0 acts by `cause` noise sds a step."""
    generator = np.random.default_rng([seed, 90])
    x = np.zeros((rows, columns))
    for row in range(1, rows):
        x[row] = x[row - 1]
        for column in generator.choice(columns, generator.integers(1, 4), replace=False):
            x[row, column] = 0.0 if x[row, column] and generator.random() < 0.5 else x[row, column] + 1.0
    effects = small * generator.standard_normal(columns)
    effects[0] = cause
    values = x @ effects + generator.standard_normal(rows)
    return Problem.of([f"c{k}" for k in range(columns)], x, values, noise=Noise(1.0))


def answers(prior: Prior, *, cause: float, seeds: range) -> list[EngineAnswer]:
    found = [explain(a_history(seed, cause=cause, small=0.35), prior) for seed in seeds]
    return [answer for answer in found if isinstance(answer, EngineAnswer)]


def test_small_effects_of_everything_are_laid_to_a_single_change_more_seldom() -> None:
    seeds = range(8)
    with_them = sum(answer.causes[0].probability for answer in answers(Prior(), cause=0.0, seeds=seeds))
    without = sum(answer.causes[0].probability for answer in answers(WITHOUT, cause=0.0, seeds=seeds))
    assert with_them < without - 0.3  # summed over the histories


def test_what_is_said_of_a_real_cause_leaves_room_for_the_small_effects_beside_it() -> None:
    seeds = range(8)

    def width(prior: Prior) -> float:
        total = 0.0
        for answer in answers(prior, cause=3.0, seeds=seeds):
            effect = next(c for c in answer.candidates if "c0" in c.names).effect
            assert effect is not None
            total += effect.high - effect.low
        return total

    assert width(Prior()) > width(WITHOUT)


def test_with_a_handful_of_changes_small_effects_of_all_are_no_other_story() -> None:
    problem = a_history(5, cause=3.0, small=0.0, columns=6)
    both = [explain(problem, prior) for prior in (Prior(), WITHOUT)]
    assert all(isinstance(answer, EngineAnswer) for answer in both)
    first, second = (answer for answer in both if isinstance(answer, EngineAnswer))
    assert [c.probability for c in first.candidates] == [c.probability for c in second.candidates]
