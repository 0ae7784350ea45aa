"""Bounds, shared batches, botched batches, drift and grades: what is not seen is allowed for."""

from __future__ import annotations

import numpy as np
import pytest

from trials.explain import Effort, EngineAnswer, Noise, Prior, Problem, explain
from trials.explain.result import Cause

PLAIN = Prior(noise_kinds=((1.0, 1.0),), small_effects=())


def given(answer: object) -> EngineAnswer:
    assert isinstance(answer, EngineAnswer)
    return answer


def history(seed: int, rows: int = 24, columns: int = 8) -> tuple[np.random.Generator, np.ndarray]:
    generator = np.random.default_rng([seed, 9])
    x = (generator.random((rows, columns)) < 0.3).astype(float)
    x[0] = 0.0
    return generator, x


def names(columns: int) -> list[str]:
    return [f"f{k}" for k in range(columns)]


def odds(answer: EngineAnswer) -> dict[str, float]:
    return {candidate.names[0]: candidate.probability for candidate in answer.candidates}


def first(answer: EngineAnswer) -> Cause:
    return answer.causes[0]


def test_an_interval_as_narrow_as_a_value_gives_the_answer_of_the_value() -> None:
    generator, x = history(1)
    y = 2.0 + 0.25 * x[:, 0] + 0.2 * generator.standard_normal(24)
    exact = given(explain(Problem.of(names(8), x, y, noise=Noise(0.2)), PLAIN))
    drawn = given(explain(Problem.of(names(8), x, y - 1e-7, y + 1e-7, noise=Noise(0.2)), PLAIN))
    assert exact.error < 1e-9
    assert drawn.nothing == pytest.approx(exact.nothing, abs=0.03)
    assert odds(drawn) == pytest.approx(odds(exact), abs=0.04)
    one, other = exact.candidates[0].effect, drawn.candidates[0].effect
    assert one is not None
    assert other is not None
    assert other.middle == pytest.approx(one.middle, abs=0.02)
    assert (other.low, other.high) == pytest.approx((one.low, one.high), abs=0.06)


def test_a_wait_that_was_given_up_is_not_taken_for_the_time() -> None:
    held = {"bound": 0, "taken as the time": 0}
    for seed in range(8):
        generator, x = history(seed)
        z = 2.6 + 0.8 * x[:, 0] + 0.15 * generator.standard_normal(24)
        limit = 2.9
        seen = np.exp(np.minimum(z, limit))
        upper = np.where(z > limit, np.inf, seen)
        for way, bound in (("bound", upper), ("taken as the time", seen)):
            answer = given(explain(Problem.of(names(8), x, seen, bound, scale="log", noise=Noise(0.15))))
            effect = next(c for c in answer.candidates if c.names == ("f0",)).effect
            held[way] += effect is not None and effect.low < 0.8 < effect.high
    assert held["bound"] >= 6
    assert held["taken as the time"] <= 4


def test_portions_of_one_batch_are_not_independent_witnesses() -> None:
    wrong = {"shared": 0, "ignored": 0}
    for seed in range(6):
        generator = np.random.default_rng([seed, 3])
        batch = np.repeat(np.arange(6), 4)
        x = (generator.random((6, 5)) < 0.4).astype(float)[batch]
        y = 2.0 + (0.3 * generator.standard_normal(6))[batch] + 0.05 * generator.standard_normal(24)
        for way, label in (("shared", batch), ("ignored", None)):
            answer = explain(Problem.of(names(5), x, y, batch=label, noise=Noise(0.1)))
            wrong[way] += isinstance(answer, EngineAnswer) and answer.enough_evidence
    assert wrong["shared"] <= 1
    assert wrong["ignored"] >= 3


def test_a_botched_trial_is_named_and_does_not_make_a_cause() -> None:
    generator, x = history(5)
    x[:, 7] = 0.0
    x[11, 7] = 1.0  # off base in the wild trial only
    y = 2.0 + 0.15 * generator.standard_normal(24)
    y[11] += 3.0
    answer = given(explain(Problem.of(names(8), x, y, noise=Noise(0.15))))
    assert not answer.enough_evidence or first(answer).names == (("f7",),)
    assert odds(answer)["f7"] < 0.8
    assert int(np.argmax(answer.botched)) == 11
    assert answer.botched[11] > 0.3
    others = given(explain(Problem.of(names(8), np.delete(x, 11, 0), np.delete(y, 11), noise=Noise(0.15))))
    assert not others.enough_evidence


def test_a_slow_drift_is_not_the_lot_that_changed_halfway() -> None:
    blamed = {"with dates": 0, "without": 0}
    for seed in range(5):
        generator, x = history(seed)
        when = np.arange(24.0)
        x[:, 0] = when >= 12
        y = 2.0 + 0.06 * (when - 12) + 0.15 * generator.standard_normal(24)
        for way, dates in (("with dates", when), ("without", None)):
            answer = given(explain(Problem.of(names(8), x, y, when=dates, noise=Noise(0.15))))
            blamed[way] += answer.enough_evidence and first(answer).names == (("f0",),)
    assert blamed["with dates"] <= 1
    assert blamed["without"] >= 4


def test_trials_of_one_sitting_share_their_luck() -> None:
    blamed = {"sitting known": 0, "unknown": 0}
    for seed in range(8):
        generator = np.random.default_rng([seed, 8])
        sitting = np.repeat(np.arange(6), 4)
        x = (generator.random((24, 6)) < 0.3).astype(float)
        x[:, 0] = np.isin(sitting, (1, 4))
        y = 2.0 + (0.4 * generator.standard_normal(6))[sitting] + 0.12 * generator.standard_normal(24)
        for way, label in (("sitting known", sitting), ("unknown", None)):
            answer = given(explain(Problem.of(names(6), x, y, sitting=label, noise=Noise(0.12))))
            blamed[way] += answer.enough_evidence
    assert blamed["sitting known"] < blamed["unknown"]


def test_grades_yes_no_and_percent_of_face_find_their_cause() -> None:
    found = 0
    for seed in range(3):
        generator, x = history(seed, rows=40, columns=5)
        z = -0.8 + 2.5 * x[:, 0] + generator.standard_normal(40)
        grades = np.digitize(z, [-1.0, 0.0, 1.5]).astype(float)
        face = np.clip(20 + 35 * z, 0, 100)
        for outcome, scale in ((grades, "graded"), ((z > 0).astype(float), "yes-no"), (face, "percent")):
            answer = explain(Problem.of(names(5), x, outcome, scale=scale))
            found += isinstance(answer, EngineAnswer) and first(answer).names == (("f0",),)
    assert found >= 8


def test_two_changes_that_act_only_together_are_told_as_a_pair() -> None:
    generator, x = history(2, rows=40, columns=5)
    y = 2.0 + 1.2 * x[:, 0] * x[:, 1] + 0.2 * generator.standard_normal(40)
    answer = given(explain(Problem.of(names(5), x, y, noise=Noise(0.2))))
    assert set(first(answer).names) == {("f0",), ("f1",)}
    assert first(answer).probability > 0.9
    effect = first(answer).effect
    assert effect is not None
    assert effect.low < 1.2 < effect.high


def test_rows_that_speak_for_a_cause_are_those_where_it_was_changed() -> None:
    generator, x = history(4)
    y = 2.0 + 1.0 * x[:, 0] + 0.15 * generator.standard_normal(24)
    y[np.flatnonzero(x[:, 0])[0]] -= 1.0  # one trial in which it had no effect
    answer = given(explain(Problem.of(names(8), x, y, noise=Noise(0.15))))
    assert first(answer).names == (("f0",),)
    support = {item.row: item.weight for item in answer.support(first(answer).candidates[0])}
    changed = np.flatnonzero(x[:, 0])
    assert support[int(changed[0])] < 0
    assert sum(support.get(int(row), 0.0) > 0 for row in changed[1:]) >= len(changed) - 2


def test_more_draws_change_the_odds_little() -> None:
    generator, x = history(7)
    z = 2.6 + 0.3 * x[:, 0] + 0.2 * generator.standard_normal(24)
    seen = np.exp(np.minimum(z, 2.9))
    problem = Problem.of(names(8), x, seen, np.where(z > 2.9, np.inf, seen), scale="log", noise=Noise(0.2))
    usual = given(explain(problem))
    longer = given(explain(problem, effort=Effort(chains=48, burn=40, sweeps=120)))
    assert odds(usual) == pytest.approx(odds(longer), abs=0.1)
    assert usual.error < 0.06


def two_scents(seed: int, *, divided: bool) -> Problem:
    """Sixteen pours of two scents used at a third and at one and a half percent; both thicken nearly at once."""
    generator = np.random.default_rng([seed, 12])
    x = np.zeros((16, 6))
    x[[3, 4, 9, 12], 0] = [0.3, 0.5, 0.3, 0.5]
    x[[5, 6, 9, 13], 1] = 1.5
    x[8:, 2] = 0.6
    x[[2, 4, 10, 14], 3] = [1.0, 0.5, 1.0, 0.5]
    x[[1, 6, 7, 12], 4] = 2.0
    x[:, 5] = generator.normal(0, 0.7, 16)
    z = np.log(11.0) - 4.4 * x[:, 0] - 1.05 * x[:, 1] + 0.15 * generator.standard_normal(16)
    seen = np.exp(np.minimum(z, np.log(10.0)))
    upper = np.where(z > np.log(10.0), np.inf, seen)
    batch = np.arange(16) - (np.arange(16) > 10) if divided else np.arange(16)
    return Problem.of(names(6), x, seen, upper, scale="log", noise=Noise(0.17, 7), batch=batch)


@pytest.mark.parametrize("divided", [False, True])
def test_causes_far_larger_than_the_noise_are_named_though_one_batch_was_divided(divided: bool) -> None:
    for seed in range(3):
        found = odds(given(explain(two_scents(seed, divided=divided))))
        assert min(found["f0"], found["f1"]) > 0.9, (seed, found)


def test_one_wild_trial_with_a_change_of_its_own_is_told_as_either() -> None:
    for seed in range(5, 9):
        for size in (1.0, 2.0, 3.0):
            generator, x = history(seed)
            x[:, 7] = 0.0
            x[11, 7] = 1.0
            y = 2.0 + 0.15 * generator.standard_normal(24)
            y[11] += size
            answer = given(explain(Problem.of(names(8), x, y, noise=Noise(0.15))))
            assert odds(answer)["f7"] < 0.8, (seed, size)
            assert answer.botched[11] > 0.2, (seed, size)


def test_two_portions_that_are_always_graded_alike_tell_of_the_same_effect_as_one() -> None:
    generator = np.random.default_rng(0)
    x = np.column_stack([np.tile([1.0, 0.0], 12), generator.random(24) < 0.3]).astype(float)
    grades = np.digitize(1.6 * x[:, 0] - 1.0 + generator.standard_normal(24), [-0.7, 0.3, 1.2]).astype(float)
    one = given(explain(Problem.of(names(2), x, grades, scale="graded")))
    loaves = np.repeat(np.arange(24), 2)
    two = given(explain(Problem.of(names(2), x[loaves], grades[loaves], batch=loaves, scale="graded")))
    single, double = (next(c.effect for c in answer.candidates if c.names == ("f0",)) for answer in (one, two))
    assert single is not None
    assert double is not None
    assert double.middle == pytest.approx(single.middle, rel=0.2)
    assert two.noise.sd.middle == pytest.approx(1.0)
