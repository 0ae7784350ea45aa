"""Trials: batches as they were really made, what happened to them, and what that teaches.

    import trials
    bench = trials.open_bench("harbour-soap")
    trial = bench.start("harbour-base", oils="1000 g")
    trial = bench.record(trial.observe("hardness", "3.1 mm", age="28 d"))

Importing this does nothing yet: each name is looked up when it is first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trials.bench import Bench, open_bench
    from trials.effective import EffectiveFormula, effective_portion, effective_pot
    from trials.model import Plan, Trial
    from trials.outcomes import Outcome
    from trials.outcomes_values import OutcomeValue, outcome_values

_HOMES = {
    "Bench": "trials.bench",
    "EffectiveFormula": "trials.effective",
    "Outcome": "trials.outcomes",
    "OutcomeValue": "trials.outcomes_values",
    "Plan": "trials.model",
    "Trial": "trials.model",
    "effective_portion": "trials.effective",
    "effective_pot": "trials.effective",
    "open_bench": "trials.bench",
    "outcome_values": "trials.outcomes_values",
}

__all__ = [
    "Bench",
    "EffectiveFormula",
    "Outcome",
    "OutcomeValue",
    "Plan",
    "Trial",
    "effective_portion",
    "effective_pot",
    "open_bench",
    "outcome_values",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value
