"""Times to a stage, and working time, from the events of one portion."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from trials.outcomes.built_in import TRACE_STAGES
from trials.trial.model import Event, Trial, TrialPortion

_ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Span:
    """How long something took, in seconds, from `low_s` to `high_s`; None is no limit on that side.

    is_shared: whether it was settled before the batter was divided, and so once for all portions.
    """

    low_s: Decimal | None
    high_s: Decimal | None
    is_shared: bool = False


def find_span(trial: Trial, part: TrialPortion, outcome: str) -> Span | str:
    """How long a portion took: `time to light trace` (and the other stages) since lye in, or `working time`.

    part: one of `trial.parts()`. Returns the reason, in words, where it cannot be said.
    """
    if outcome == "working time":
        return _working_time(trial, part)
    return _time_to(trial, part, outcome.removeprefix("time to "))


def _time_to(trial: Trial, part: TrialPortion, stage: str) -> Span | str:
    """Since lye in; from the stage itself, else bounded by thinner and thicker stages, else later than pouring, where
    the record tells that it had not come yet.
    """
    order = TRACE_STAGES.index(stage)
    reached = _first(part.events, stage)
    if reached is not None:
        return Span(reached.at.low_s, reached.at.high_s, _is_shared(trial, reached))
    if any(event.what == stage for event in part.events):
        return f"no time was recorded for {stage}"
    thicker = [event for later in TRACE_STAGES[order + 1 :] if (event := _first(part.events, later)) is not None]
    thinner = [event for early in TRACE_STAGES[:order] if (event := _first(part.events, early)) is not None]
    if thicker:
        last = thicker[0]  # stages are in order, and so are their times
        lows = [event.at.low_s for event in thinner if event.at.low_s is not None]
        return Span(max(lows, default=None), last.at.high_s, _is_shared(trial, last))
    if any(event.what in TRACE_STAGES[order + 1 :] for event in part.events):
        return f"no time was recorded for {stage}, and none for what came after it"
    poured = _first(part.events, "poured")
    if poured is None:
        return f"neither {stage} nor pouring was recorded with its time"
    if not _would_be_noted(part, stage):
        return f"{stage} was not recorded, nor that it had not come when it was poured"
    return Span(poured.at.low_s, None, _is_shared(trial, poured))


def _would_be_noted(part: TrialPortion, stage: str) -> bool:
    """Whether a stage that is not recorded had surely not come, rather than that nobody wrote it down.

    That is so where every thinner stage was noted, which is how a record is kept in which a gap is none; and of thick
    trace whatever was noted, since what holds a peak is not poured.
    """
    thinner = TRACE_STAGES[: TRACE_STAGES.index(stage)]
    noted = {event.what for event in part.events}
    return stage == "thick trace" or (bool(thinner) and noted.issuperset(thinner))


def _working_time(trial: Trial, part: TrialPortion) -> Span | str:
    start = start_of_work(trial, part)
    thick = _first(part.events, "too thick to pour")
    if isinstance(start, str):
        return start if thick is None else _at_most(trial, part, thick) or start
    start_low, start_high, start_shared = start
    end = thick or _first(part.events, "poured")
    if thick is None and any(event.what == "too thick to pour" for event in part.events):
        return "no time was recorded for too thick to pour"
    if end is None:
        return "neither too thick to pour nor pouring was recorded with its time"
    end_low, end_high, end_shared = _ends(end, _is_shared(trial, end))
    low, high = end_low - start_high, end_high - start_low
    shared = start_shared and end_shared
    if high <= 0:
        return f"it was {end.what} before the working time began"
    if thick is None:
        return Span(low, None, shared) if low > 0 else "it was poured as the working time began"
    return Span(low if low > 0 else None, high, shared)


def _at_most(trial: Trial, part: TrialPortion, thick: Event) -> Span | None:
    """What the working time was at most, where it is not known when it began: scent that goes in at trace goes in when
    there is some.
    """
    is_early = bool(_scent_stages(trial, part) & {"lye water", "oils"})
    begun = None if is_early else _first(part.events, "light trace") or _first(part.events, "emulsion")
    begun_low = _ZERO if begun is None else _ends(begun, False)[0]
    most = _ends(thick, False)[1] - begun_low
    shared = _is_shared(trial, thick) and (begun is None or _is_shared(trial, begun))
    return Span(None, most, shared) if most > 0 else None


def start_of_work(trial: Trial, part: TrialPortion) -> tuple[Decimal, Decimal, bool] | str:
    """When working time starts for a portion: scent in; for an unscented one when its siblings got theirs, else light
    trace.

    Returns the earliest and latest it can be, in seconds since lye in, and whether it was before the batter was
    divided; or the reason, in words, where it cannot be said.
    """
    own = _first(part.events, "scent in")
    if own is not None:
        return _ends(own, _is_shared(trial, own))
    if any(event.what == "scent in" for event in part.events):
        return "no time was recorded for scent in"
    stages = _scent_stages(trial, part)
    if stages and stages <= {"lye water", "oils"}:
        return _ZERO, _ZERO, True  # it was in the pot when the lye went in
    if stages:
        return "scent went in, but not recorded when"
    sibling = _first_scented(trial, part)
    if sibling is not None:
        return _ends(sibling[1], False)
    light = _first(part.events, "light trace")
    if light is not None:
        return _ends(light, _is_shared(trial, light))
    return "neither scent nor light trace was recorded, so working time has no beginning"


def start_words(trial: Trial, part: TrialPortion) -> str:
    """Since when the working time of an unscented portion is counted, in words; empty where its own scent began it.

    What is recorded of another portion moves it, which nobody would see from its own record. Where its beginning is not
    known, why.
    """
    start = start_of_work(trial, part)
    if isinstance(start, str):
        return start
    if _is_scented(trial, part):
        return ""
    sibling = _first_scented(trial, part)
    if sibling is not None:
        name, event = sibling
        return f"since {event.at}, when the {name} portion got its scent"
    light = _first(part.events, "light trace")
    return "" if light is None else f"since light trace at {light.at}"


def first_to_record(trial: Trial, part: TrialPortion) -> str:
    """The event whose time would give the working time its beginning."""
    return "scent in" if _is_scented(trial, part) else "light trace"


def _is_scented(trial: Trial, part: TrialPortion) -> bool:
    return any(event.what == "scent in" for event in part.events) or bool(_scent_stages(trial, part))


def _first_scented(trial: Trial, part: TrialPortion) -> tuple[str, Event] | None:
    """Of the other portions the one whose scent went in first, as far as that is timed."""
    siblings = [
        (other.name, event)
        for other in trial.parts()
        if other.name != part.name and (event := _first(other.events, "scent in")) is not None
    ]
    return min(siblings, key=lambda named: _moment(named[1]), default=None)


def _scent_stages(trial: Trial, part: TrialPortion) -> set[str]:
    """The stages at which this portion really got scent."""
    from trials.as_made.pot_as_made import pot_of_batter

    pot = pot_of_batter(trial)
    return {
        line.at for line in pot.lines if line.role == "scent" and line.grams > 0 and line.portion in (None, part.name)
    }


def _first(events: Iterable[Event], what: str) -> Event | None:
    """The earliest event of that word whose time is known."""
    known = [event for event in events if event.what == what and event.at.is_known]
    return min(known, key=_moment, default=None)


def _moment(event: Event) -> tuple[Decimal, Decimal]:
    """What events are put in order by: of two about the same time, the one that may have been earlier."""
    low, high, _ = _ends(event, False)
    return low + high, low


def _is_shared(trial: Trial, event: Event) -> bool:
    return trial.is_divided and any(event is shared for shared in trial.events)


def _ends(event: Event, is_shared: bool) -> tuple[Decimal, Decimal, bool]:
    return event.at.low_s or _ZERO, event.at.high_s or _ZERO, is_shared
