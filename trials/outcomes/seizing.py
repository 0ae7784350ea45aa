"""Whether a batter turned solid in the pot, of which often nobody notes the time."""

from __future__ import annotations

from trials.outcomes.built_in import BUILT_IN
from trials.outcomes.faults import SEIZED, is_fault
from trials.outcomes.find import find_values
from trials.outcomes.value import OutcomeValue
from trials.trial.model import Trial

_OUTCOME = next(outcome for outcome in BUILT_IN if outcome.name == SEIZED)


def how_seized(trial: Trial, portion: str | None) -> str:
    """How a batter, or a portion of it, seized as it was graded: `seized, lost`; empty where nobody saw it do so.

    What is recorded of the whole batter holds for each portion; of a portion it is not that of the whole (None).
    """
    for found in find_values(trial, _OUTCOME):
        if isinstance(found, OutcomeValue) and found.portion in (None, portion) and is_fault(_OUTCOME, found):
            return f"{SEIZED}, {_OUTCOME.grades[round(found.bounds[0])]}"
    return ""
