"""An outcome is found as people say it, or the right one is offered."""

from __future__ import annotations

import pytest

from formulary.errors import InputError
from formulary.settings import Settings
from trials.outcomes.known import find_outcome, find_outcomes

OUTCOMES = find_outcomes(Settings())


@pytest.mark.parametrize("asked", ["Hardness", "HARDNESS at 28 d", "hardness"])
def test_capitals_make_no_difference(asked: str) -> None:
    outcome, age_days = find_outcome(asked, OUTCOMES)
    assert (outcome.name, age_days) == ("hardness", 28)


@pytest.mark.parametrize(
    ("asked", "meant"),
    [("acceleration", "working time"), ("Trace", "time to light trace"), ("soda ash", "ash"), ("cracks", "cracked")],
)
def test_what_people_call_it_besides_leads_to_it(asked: str, meant: str) -> None:
    with pytest.raises(InputError, match=f"did you mean {meant}"):
        find_outcome(asked, OUTCOMES)


def test_an_age_of_what_has_none_is_refused_by_its_own_name() -> None:
    with pytest.raises(InputError, match="ask for `working time`"):
        find_outcome("Working Time at 3 d", OUTCOMES)
