"""The plain problem behind an answer: one row a pour, one column a factor, as the numerical core takes it."""

from __future__ import annotations

from math import inf, isinf, sqrt
from statistics import pstdev

from trials.answer.answer import Answer
from trials.explain import Noise, Problem
from trials.outcomes.outcome import Outcome, Scale

_ENGINE_SCALES = {
    Scale.LOG_TIME: "log",
    Scale.MEASURED: "measured",
    Scale.GRADED: "graded",
    Scale.YES_NO: "yes-no",
    Scale.PERCENT: "percent",
    Scale.COUNT: "count",
}
# Worth so many repeats beside those there are: times differ by a fifth between repeats (common practice, no source).
_USUAL_LOG_NOISE, _USUAL_WORTH = 0.2, 4.0


def make_problem(answer: Answer, *, may_drift: bool = True) -> Problem:
    """The plain problem behind an explanation: one row a pour, one column a factor, in steps.

    may_drift: whether a slow change over the whole history is allowed for.
    """
    scale = _ENGINE_SCALES[answer.outcome.scale]
    bounds = [_within_scale(item.value.bounds, answer.outcome) for item in answer.seen]
    sittings = [item.pour.trial.occasion for item in answer.seen]
    return Problem.of(
        [factor.name for factor in answer.table.factors],
        answer.table.steps(),
        [low for low, _ in bounds],
        [high for _, high in bounds],
        scale=scale,
        batch=[item.pour.trial.id for item in answer.seen],
        sitting=sittings,
        when=[float(item.pour.trial.made.toordinal()) for item in answer.seen] if may_drift else None,
        noise=_prior_noise(answer),
    )


def _within_scale(bounds: tuple[float, float], outcome: Outcome) -> tuple[float, float]:
    """Bounds that the scale allows: no time of nothing, no half grade, no percentage beyond 0 and 100."""
    low, high = bounds
    if outcome.scale is Scale.LOG_TIME:
        least = float(outcome.step) / 2.0  # too short to be read
        return (0.0 if low == -inf else max(low, least)), max(high, least)
    if outcome.scale is Scale.PERCENT:
        low, high = (end if isinf(end) else min(max(end, 0.0), 100.0) for end in bounds)
    if outcome.scale in (Scale.GRADED, Scale.YES_NO, Scale.COUNT):
        low, high = (end if isinf(end) else float(round(end)) for end in bounds)
    return low, high


def _prior_noise(answer: Answer) -> Noise | None:
    """What repeats tell, together with what is usual; few repeats alone would promise too much.

    Without the one that lies too far off for luck: that a pour may go wrong as a whole is allowed for beside it.
    """
    noise = answer.noise
    if noise is None:
        return None
    wild = noise.mostly_by if noise.usual_sd < noise.sd else ""
    degrees = 0 if noise.is_assumed else noise.degrees - bool(wild)
    if answer.outcome.scale is Scale.LOG_TIME:
        usual, worth = _USUAL_LOG_NOISE, _USUAL_WORTH
    elif noise.is_assumed:
        return None
    else:
        exact = [
            item.value.value for item in answer.seen if item.value.value is not None and item.pour.trial.id != wild
        ]
        usual, worth = (0.6 * pstdev(exact) if len(exact) > 1 else noise.usual_sd), max(0.0, 3.0 - degrees)
    total = worth + degrees
    return Noise(sqrt((worth * usual**2 + degrees * noise.usual_sd**2) / total), total)
