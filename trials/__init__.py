"""Trials, outcomes, factors, comparison, explanation and charts over a formulary.

    import trials
    bench = trials.open_bench("harbour-soap")
    answer = bench.explain("working time")

Importing this does nothing yet: each name is looked up when it is first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trials import record as record
    from trials.bench import Bench, open_bench
    from trials.comparison.comparison import Comparison
    from trials.demo.build import build_demonstration
    from trials.explanation import Explanation
    from trials.next_trial.next_trial import NextTrial
    from trials.trial.entry import Entry
    from trials.trial.model import Trial

_HOMES = {
    "Bench": "trials.bench",
    "Comparison": "trials.comparison.comparison",
    "Entry": "trials.trial.entry",
    "Explanation": "trials.explanation",
    "NextTrial": "trials.next_trial.next_trial",
    "Trial": "trials.trial.model",
    "build_demonstration": "trials.demo.build",
    "open_bench": "trials.bench",
}

__all__ = [
    "Bench",
    "Comparison",
    "Entry",
    "Explanation",
    "NextTrial",
    "Trial",
    "build_demonstration",
    "open_bench",
    "record",
]


def __getattr__(name: str) -> Any:
    from importlib import import_module

    if name == "record":  # what goes into a trial's record, a function each
        return import_module("trials.record")
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return list(__all__)
