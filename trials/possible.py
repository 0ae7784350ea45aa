"""What cannot have acted on an outcome, because it only came afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from trials.factors import Factor
from trials.model import Trial
from trials.outcomes import Outcome
from trials.portion_facts import Pour

_AT_ONCE = frozenset({"riced", "seized", "separated", "false trace"})


def can_act(factor: Factor, outcome: Outcome, pours: Sequence[Pour]) -> bool:
    """Whether a factor was there before the outcome was settled, in one pour at least.

    What happens in the mould does not act on the batter, and what went in after a stage was reached does not act on
    the time to it.
    """
    if not outcome.from_events and outcome.name not in _AT_ONCE:
        return True
    aspect = factor.aspects[0]
    if factor.kind in ("handling",) or (factor.kind == "vessel" and aspect.subject != "blender"):
        return False
    if aspect.stage == "top":
        return False
    late = aspect.stage == "trace" or aspect.subject == "blending after scent" or aspect.subject in _late_lots(pours)
    if not late or not outcome.name.startswith("time to "):
        return True
    stage = outcome.name.removeprefix("time to ")
    return stage != "emulsion" and any(_is_before(pour.trial, pour.portion, stage) for pour in pours)


def _late_lots(pours: Sequence[Pour]) -> set[str]:
    """Materials that only ever went in at trace or on top, whose lot is then as late as they are."""
    stages: dict[str, set[str]] = {}
    for pour in pours:
        for aspect in pour.facts:
            if aspect.kind in ("addition", "scent"):
                stages.setdefault(aspect.subject, set()).add(aspect.stage)
    return {material for material, seen in stages.items() if seen <= {"trace", "top"}}


def _is_before(trial: Trial, portion: str | None, stage: str) -> bool:
    """Whether the scent of a pour went in before it reached a stage, or that cannot be said."""
    part = next((part for part in trial.parts() if portion is None or part.name == portion), None)
    if part is None:
        return True
    times = {event.what: event.at.middle_s for event in part.events if event.what in ("scent in", stage)}
    scent, reached = times.get("scent in"), times.get(stage)
    if scent is None:
        return stage not in ("light trace",)  # at trace is after light trace unless the record says otherwise
    return reached is None or Decimal(scent) < reached
