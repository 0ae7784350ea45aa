"""Trials, outcomes, factors, comparison, explanation and charts over a formulary.

    import trials
    bench = trials.open_bench("harbour-soap")
    answer = bench.explain("working time")

Importing this does nothing yet: each name is looked up when it is first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trials.bench import Bench, open_bench
    from trials.model import Trial

_HOMES = {
    "Bench": "trials.bench",
    "Trial": "trials.model",
    "open_bench": "trials.bench",
}

__all__ = ["Bench", "Trial", "open_bench"]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value
