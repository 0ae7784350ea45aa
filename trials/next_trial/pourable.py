"""Whether a batter leaves the time to pour it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from trials.next_trial.outlook import Expected
from trials.outcomes.outcome import Outcome
from trials.sentences import amount

# Minutes below which a loaf can hardly be brought into its mould (common practice, no source): from scent in to too
# thick to pour, and from lye in to thick trace.
_LEAST_MIN: Mapping[str, float] = MappingProxyType({"working time": 3.0, "time to thick trace": 3.0})
_MAY_WELL = 0.3  # the chance of that from which on it is warned of


def least_pourable(outcome: Outcome) -> float | None:
    """The least of an outcome, in its unit, that leaves the time to pour; None for what tells nothing of that."""
    return _LEAST_MIN.get(outcome.name)


def warn_too_quick(outcome: Outcome, expected: Sequence[Expected]) -> str | None:
    """What to say of a pour that may well set before it is poured; None where there is likely time."""
    least = least_pourable(outcome)
    told = [item for item in expected if item.value is not None]
    if least is None or not told:
        return None
    quick = [item for item in told if (item.value or 0.0) < least]
    if sum(item.probability for item in quick) < _MAY_WELL * sum(item.probability for item in told):
        return None
    value = amount(outcome, quick[0].value or 0.0)
    return (
        f"{outcome.name} may well be {value} only, so that it sets in the pot: pour little of it, with the mould "
        "at hand, and stir by hand once the scent is in"
    )
