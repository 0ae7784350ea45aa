"""What nobody wants again: a fault of the batter or the bar, and a batter that leaves no time to pour it."""

from __future__ import annotations

from collections.abc import Mapping

from formulary.read_only import ReadOnly
from trials.outcomes.outcome import Outcome
from trials.outcomes.value import OutcomeValue

# Minutes below which a loaf can hardly be brought into its mould (common practice, no source): from scent in to too
# thick to pour, and from lye in to thick trace.
LEAST_MIN: Mapping[str, float] = ReadOnly({"working time": 3.0, "time to thick trace": 3.0})
SEIZED = "seized"  # what is graded above none turned solid in the pot


def least_pourable(outcome: Outcome) -> float | None:
    """The least of an outcome, in its unit, that leaves the time to pour; None for what tells nothing of that."""
    return LEAST_MIN.get(outcome.name)


def is_fault(outcome: Outcome, value: OutcomeValue) -> bool:
    """Whether a pour surely showed what nobody wants again: a fault of grades or yes / no, or no time to pour it."""
    low, high = value.bounds
    if outcome.scale.is_ordinal:
        return outcome.direction == "lower" and low > 0
    least = least_pourable(outcome)
    return least is not None and high < least
