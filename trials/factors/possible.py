"""What cannot have acted on an outcome, because it only came afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from trials.factors.portion_facts import Aspect, Pour
from trials.outcomes.outcome import Outcome
from trials.trial.model import Trial

# Settled by the heat of the first hours, before a loaf is taken out of its mould (common practice, no source).
_IN_THE_MOULD = frozenset({"peak temperature", "time of peak", "time above", "gel", "volcano", "tunnels"})
_HOURS_UNTIL = {"hours to unmoulding": "unmoulded", "hours to cutting": "cut"}
_AT_ONCE = frozenset({"riced", "seized", "separated", "false trace"})


def can_act(aspect: Aspect, outcome: Outcome, pours: Sequence[Pour], age_days: Decimal | None = None) -> bool:
    """Whether something about the pours was there before the outcome was settled, in one pour at least.

    What happens in the mould does not act on the batter, what went in after a stage was reached does not act on the
    time to it, and what was done to the loaf after its heat had passed does not act on that.
    age_days: at which the outcome is looked at, where it has ages.
    """
    if not outcome.from_events and outcome.name not in _AT_ONCE:
        return aspect.kind != "handling" or _is_handled_before(aspect, outcome, pours, age_days)
    if aspect.kind == "handling" or (aspect.kind == "vessel" and aspect.subject != "blender"):
        return False
    if aspect.stage == "top":
        return False
    late = aspect.stage == "trace" or aspect.subject == "blending after scent" or aspect.subject in _late_lots(pours)
    if not late or not outcome.name.startswith("time to "):
        return True
    stage = outcome.name.removeprefix("time to ")
    return stage != "emulsion" and any(_is_before(pour.trial, pour.portion, stage) for pour in pours)


def _is_handled_before(aspect: Aspect, outcome: Outcome, pours: Sequence[Pour], age_days: Decimal | None) -> bool:
    """Whether something was done to a loaf before the outcome was settled, or that cannot be said."""
    subject = aspect.subject
    word = _HOURS_UNTIL.get(subject, subject)
    if outcome.name in _IN_THE_MOULD and subject in _HOURS_UNTIL:
        return False  # a loaf is unmoulded and cut when its heat has passed
    for pour in pours:
        settled_h = _settled_h(pour, outcome, age_days)
        for step in pour.trial.after_pour:
            is_it = step.what == word and step.portion in (None, pour.portion)
            if is_it and (settled_h is None or step.at_h is None or step.at_h < settled_h):
                return True
    return False


def _settled_h(pour: Pour, outcome: Outcome, age_days: Decimal | None) -> Decimal | None:
    """Hours from pouring after which nothing changes an outcome any more; None where that is not known."""
    if outcome.name not in _IN_THE_MOULD:
        return None if age_days is None or outcome.at_any_age else 24 * age_days
    own = (None, pour.portion)
    peaks = [
        reading.value
        for item in pour.trial.observations
        if item.outcome == "time of peak" and item.portion in own
        for reading in item.readings
        if reading.value is not None
    ]
    if peaks and outcome.name in ("peak temperature", "time of peak"):
        return max(peaks)
    ends = [
        step.at_h
        for step in pour.trial.after_pour
        if step.what in _HOURS_UNTIL.values() and step.portion in own and step.at_h is not None
    ]
    return min(ends, default=None)


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
