"""What must not change an answer, and what must."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from threadpoolctl import threadpool_info, threadpool_limits

from formulary.errors import InputError
from tests.explain.shortlist import find_shortlist
from trials.explain import Effort, EngineAnswer, NoAnswer, Noise, Prior, Problem, engine, explain
from trials.explain.weighing import weigh

EXACT = Prior(noise_kinds=((1.0, 1.0),), small_effects=(), product_weight=0.0)
QUICK = Effort(chains=6, burn=4, sweeps=5, screen_burn=2, screen_sweeps=2)


def history(seed: int, rows: int = 12, columns: int = 6) -> tuple[np.ndarray, np.ndarray]:
    generator = np.random.default_rng(seed)
    x = (generator.random((rows, columns)) < 0.35) * generator.choice([-1.0, 1.0, 2.0], (rows, columns))
    x[0] = 0.0
    x[1 : 1 + columns] = np.eye(columns)
    return x, 3.0 + 0.8 * x[:, 0] + 0.2 * generator.standard_normal(rows)


def answer_of(
    x: np.ndarray,
    y: np.ndarray,
    *,
    prior: Prior | None = EXACT,
    names: list[str] | None = None,
    effort: Effort = QUICK,
    **more: object,
) -> EngineAnswer:
    columns = names or [f"f{k}" for k in range(x.shape[1])]
    problem = Problem.of(columns, x, y, noise=Noise(0.2), **more)  # type: ignore[arg-type]
    answer = explain(problem, prior, effort)
    assert isinstance(answer, EngineAnswer)
    return answer


def odds(answer: EngineAnswer) -> dict[str, float]:
    return {name: candidate.probability for candidate in answer.candidates for name in candidate.names}


@pytest.mark.parametrize("far", [1e6, 1e8, 1e9])
def test_values_far_from_zero_are_weighed_like_those_near_it(far: float) -> None:
    x, y = history(7)
    near, away = answer_of(x, y), answer_of(x, y + far)
    assert odds(away) == pytest.approx(odds(near), abs=0.02)
    assert away.level.middle - far == pytest.approx(near.level.middle, abs=0.05)


def test_dust_of_arithmetic_is_no_difference_and_values_beyond_measure_are_refused() -> None:
    x, _ = history(3)
    dust = np.full(12, 3.1)
    dust[4] = np.nextafter(3.1, 4.0)
    answer = explain(Problem.of([f"f{k}" for k in range(6)], x, dust))
    assert isinstance(answer, NoAnswer)
    assert answer.why == "all-equal"
    with pytest.raises(InputError, match="larger than anything"):
        Problem.of([f"f{k}" for k in range(6)], x, dust * 1e160)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6), data=st.data())
def test_order_of_rows_and_columns_changes_nothing(seed: int, data: st.DataObject) -> None:
    x, y = history(seed)
    names = [f"f{k}" for k in range(x.shape[1])]
    batch = np.array([0, 0, 1, 2, 3, 3, 3, 4, 5, 6, 7, 8])
    upper = np.where(np.arange(12) % 4 == 3, np.inf, y)
    rows = np.array(data.draw(st.permutations(range(12))))
    columns = np.array(data.draw(st.permutations(range(x.shape[1]))))
    first = answer_of(x, y, prior=None, names=names, upper=upper, batch=batch)
    again = answer_of(
        x[np.ix_(rows, columns)], y[rows], prior=None, names=[names[k] for k in columns],
        upper=upper[rows], batch=[f"trial {b}" for b in batch[rows]],
    )  # fmt: skip
    assert odds(first) == odds(again)
    assert first.nothing == again.nothing
    assert [first.botched[r] for r in rows] == list(again.botched)
    assert first.support(0)[0].weight == pytest.approx(again.support(0)[0].weight)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6), column=st.integers(0, 5), shift=st.floats(-50, 50))
def test_another_base_or_direction_changes_no_odds(seed: int, column: int, shift: float) -> None:
    x, y = history(seed)
    moved = x.copy()
    moved[:, column] = shift - moved[:, column]
    before, after = odds(answer_of(x, y)), odds(answer_of(moved, y))
    assert after == pytest.approx(before, abs=1e-7)


@settings(max_examples=20, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    factor=st.floats(0.01, 1000),
    base=st.floats(-100, 100),
    step=st.floats(0.1, 10),
)
def test_another_unit_changes_no_odds(seed: int, factor: float, base: float, step: float) -> None:
    x, y = history(seed)
    value = base + x * step  # what the maker wrote down
    coded = (value - base) / step
    converted = (value * factor + 32.0 - (base * factor + 32.0)) / (step * factor)
    before, after = odds(answer_of(coded, y)), odds(answer_of(converted, y))
    assert after == pytest.approx(before, abs=1e-6)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6), shift=st.floats(-100, 100))
def test_the_level_of_the_outcome_changes_no_odds(seed: int, shift: float) -> None:
    x, y = history(seed)
    assert odds(answer_of(x, y + shift)) == pytest.approx(odds(answer_of(x, y)), abs=1e-6)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6), column=st.integers(0, 5), stretch=st.sampled_from([1.0, -1.0, 2.5]))
def test_a_copied_column_makes_a_group_and_not_two_half_causes(seed: int, column: int, stretch: float) -> None:
    x, y = history(seed)
    names = [f"f{k}" for k in range(6)]
    doubled = np.column_stack([x, stretch * x[:, column]])
    alone = answer_of(x, y, names=names)
    paired = answer_of(doubled, y, names=[*names, "twin"])
    group = next(candidate for candidate in paired.candidates if "twin" in candidate.names)
    assert set(group.names) == {f"f{column}", "twin"}
    assert len(paired.candidates) == len(alone.candidates)
    if stretch in (1.0, -1.0):
        assert group.probability >= odds(alone)[f"f{column}"] - 1e-9  # two names have twice the prior of one
    assert group.effects is not None
    by_name = dict(zip(group.names, group.effects, strict=True))
    assert by_name["twin"].middle * stretch == pytest.approx(by_name[f"f{column}"].middle)


def test_the_answer_is_the_same_every_time() -> None:
    x, y = history(3)
    upper = np.where(np.arange(12) > 8, np.inf, y)
    first, second = (answer_of(x, y, prior=None, upper=upper) for _ in range(2))
    assert odds(first) == odds(second)
    assert first.candidates[0].effect == second.candidates[0].effect


def test_what_only_noise_differs_names_nothing() -> None:
    named = 0
    for seed in range(12):
        generator = np.random.default_rng([seed, 5])
        x, _ = history(seed, rows=14, columns=10)
        y = 2.5 + 0.2 * generator.standard_normal(14)
        named += answer_of(x, y, prior=None).enough_evidence
    assert named <= 1


def test_a_strong_cause_is_named_and_its_interval_holds_the_effect() -> None:
    held = named = 0
    for seed in range(12):
        x, y = history(seed, rows=30)
        answer = answer_of(x, y, prior=None, effort=Effort())
        first = answer.causes[0]
        assert first.names == (("f0",),)
        assert first.effect is not None
        assert answer.suspects is not None
        assert answer.suspects.candidates == (0,)
        assert 0 in find_shortlist(answer)
        named += answer.enough_evidence
        held += first.effect.low < 0.8 < first.effect.high
    assert named >= 11
    assert held >= 9  # 90 % intervals: fewer than 9 of 12 by chance in one run of 40


def test_which_change_moved_one_row_against_another() -> None:
    x, y = history(1, rows=20)
    row = int(np.flatnonzero((np.abs(x[:, 0]) > 0) & (np.abs(x[:, 1:]).sum(axis=1) > 0))[0])
    reason = answer_of(x, y, prior=None).main_reason(row, 0)
    assert reason.chances[0][1] > 0.8
    changed = {k for k, _ in reason.chances}
    assert len(changed) == (np.abs(x[row]) > 0).sum()


def test_small_matrices_are_worked_on_by_one_thread_and_the_callers_threads_are_left_as_they_were(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    seen: list[set[int]] = []

    def threads() -> set[int]:
        return {library["num_threads"] for library in threadpool_info() if library["user_api"] == "blas"}

    def looking(*given: object, **named: object) -> object:
        seen.append(threads())
        return weigh(*given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(engine, "weigh", looking)
    x, y = history(3)
    with threadpool_limits(limits=2, user_api="blas"):
        before = threads()
        answer_of(x, y, prior=None, effort=QUICK)
        assert threads() == before
    assert seen == [{1}]
