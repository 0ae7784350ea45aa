"""What came after an outcome is no candidate for it."""

from __future__ import annotations

from decimal import Decimal

import pytest

from formulary.settings import Settings
from tests.trials.invented import trial, version
from trials.explain_trials import explain_outcome
from trials.explanation import Explanation
from trials.outcomes.known import find_outcomes
from trials.trial.model import Handling

OUTCOMES = find_outcomes(Settings())
BASE = version()


def _asked(outcome: str, *, fan_at_h: str = "1") -> Explanation:
    """Ten pours of one recipe, of which every other one was unmoulded and cut late, and stood before a fan."""
    made = []
    for day in range(10):
        late = day % 2 == 1
        steps = [Handling("unmoulded", Decimal(60 if late else 20)), Handling("cut", Decimal(70 if late else 24))]
        if late:
            steps.append(Handling("fan", Decimal(fan_at_h)))
        value = str(2 + late) if OUTCOMES[outcome].grades else str(40 + 10 * late + day)
        made.append(trial(BASE, f"p{day:03d}", day, after_pour=steps, seen={outcome: value}))
    return explain_outcome(made, OUTCOMES[outcome], Decimal(28) if OUTCOMES[outcome].ages_days else None)


@pytest.mark.parametrize("outcome", ["peak temperature", "time of peak", "time above", "gel"])
def test_unmoulding_and_cutting_are_no_candidates_for_the_heat_before_them(outcome: str) -> None:
    answer = _asked(outcome)
    assert {"hours to unmoulding", "hours to cutting"} <= set(answer.cannot_act)
    assert "fan" not in answer.cannot_act


def test_a_fan_after_the_unmoulding_is_no_candidate_for_gel() -> None:
    assert "fan" in _asked("gel", fan_at_h="61").cannot_act
    assert "fan" not in _asked("gel", fan_at_h="59").cannot_act


def test_what_was_done_before_the_age_is_a_candidate() -> None:
    assert not {"hours to unmoulding", "hours to cutting", "fan"} & set(_asked("ash").cannot_act)
    assert "fan" in _asked("ash", fan_at_h="672").cannot_act  # 28 d
    assert "fan" not in _asked("ash", fan_at_h="671").cannot_act
