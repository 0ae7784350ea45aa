"""The shipped seed was fixed before its answer was looked at; its answer holds what was planted all the same."""

from __future__ import annotations

from tests.demo.fifty_seeds import judge
from trials.demo.build import SEED
from trials.demo.generator import PLANTED


def test_the_shipped_seed_names_the_planted_cause_and_nothing_that_does_not_act() -> None:
    found = judge(SEED, PLANTED)
    assert found.is_first
    assert found.is_named
    assert found.wrong == ()
