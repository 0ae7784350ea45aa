"""The study's histories and figures: the same for ever, and good enough on a small sample."""

from __future__ import annotations

import numpy as np
import pytest

from tests.explain.histories import Plan, make_history
from tests.explain.study import SCENARIOS, Tally, judge_rivals, run
from trials.explain import Prior


def test_a_seed_always_gives_the_same_history() -> None:
    first, again = make_history(7, Plan(portions=3, censor=0.2)), make_history(7, Plan(portions=3, censor=0.2))
    other = make_history(8, Plan(portions=3, censor=0.2))
    assert np.array_equal(first.x, again.x)
    assert np.array_equal(first.y, again.y)
    assert not np.array_equal(first.y, other.y)


def test_a_history_is_what_it_was_asked_to_be() -> None:
    censored = make_history(3, SCENARIOS["G half censored"])
    assert abs(censored.censored.mean() - 0.5) < 0.05
    nothing = make_history(3, SCENARIOS["0b nothing, 20 trials"])
    assert nothing.effects == {}
    pair = make_history(3, SCENARIOS["J needs a partner"])
    assert pair.partner is not None
    portions = make_history(3, SCENARIOS["E portions, 60 rows"])
    assert len(np.unique(portions.batch)) < len(portions.y) == 60


def test_simple_rivals_are_judged_like_the_engine() -> None:
    tallies = {name: Tally() for name in ("before and after, by eye", "one-change pairs", "stepwise regression")}
    for seed in range(3):
        judge_rivals(make_history(seed, SCENARIOS["L measured"]), tallies, tallies)
    for tally in tallies.values():
        assert len(tally.figures["first"]) == 3
        assert set(tally.figures["first"]) <= {0.0, 1.0}


@pytest.mark.slow
def test_the_engine_finds_causes_and_names_nothing_on_noise() -> None:
    results = run(20, 3_000_000, 0, [], {"engine": Prior()})
    real = [name for name in results if not name.startswith("0")]
    null = [name for name in results if name.startswith("0")]
    assert np.mean([results[name]["engine"].mean("first") for name in real]) > 0.82
    assert np.mean([results[name]["engine"].mean("names any") for name in null]) < 0.04
    assert np.mean([results[name]["engine"].mean("wrong") for name in results]) < 0.04
