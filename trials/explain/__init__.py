"""Which change did it: a numerical core that takes plain arrays and knows nothing of soap."""

from trials.explain.engine import explain
from trials.explain.next_run import NextRun, Outlook, find_next_runs, foretell_runs
from trials.explain.prior import Prior
from trials.explain.problem import Noise, Problem
from trials.explain.result import (
    Candidate,
    Cause,
    Effect,
    EngineAnswer,
    MainReason,
    NoAnswer,
    NoiseFound,
    RowSupport,
    Suspects,
    Together,
)
from trials.explain.weighing import Effort

__all__ = [
    "Candidate",
    "Cause",
    "Effect",
    "Effort",
    "EngineAnswer",
    "MainReason",
    "NextRun",
    "NoAnswer",
    "Noise",
    "NoiseFound",
    "Outlook",
    "Prior",
    "Problem",
    "RowSupport",
    "Suspects",
    "Together",
    "explain",
    "find_next_runs",
    "foretell_runs",
]
