"""Over fifty seeds, none of them the shipped one, the planted cause is found and none is made up."""

from __future__ import annotations

import pytest

from tests.demo.fifty_seeds import judge, study
from tests.demo.in_memory import NOTHING_ACTS
from trials.demo.build import SEED
from trials.demo.generator import PLANTED

SEEDS = 50


def test_the_shipped_seed_is_not_among_those_of_the_study() -> None:
    assert SEED not in range(1, SEEDS + 1)


@pytest.mark.slow
def test_the_planted_cause_is_ranked_first_in_nine_of_ten_histories() -> None:
    assert sum(found.is_first for found in study("planted", SEEDS)) >= 0.9 * SEEDS


@pytest.mark.slow
@pytest.mark.parametrize("name", ["nothing acts", "without the cause"])
def test_where_no_cause_was_planted_a_wrong_one_is_named_in_one_of_twenty_at_most(name: str) -> None:
    assert sum(bool(found.wrong) for found in study(name, SEEDS)) <= 0.05 * SEEDS


def test_one_history_with_the_cause_and_one_without_are_told_apart() -> None:
    assert judge(1, PLANTED).is_first
    assert judge(1, NOTHING_ACTS).named == ()
