"""The minutes of making day held against what batter does: it is poured once, last, and on that day."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from formulary.batch.model import WHOLE
from formulary.finding import Finding, Place, warn
from formulary.quantity import format_number
from trials.model import Event, Trial, TrialPortion
from trials.outcomes.built_in import TRACE_STAGES

# What happens to batter in the pot, and no more to what stands in the mould.
_IN_THE_POT = frozenset({"lye in", *TRACE_STAGES, "scent in", "blending"})
_ONCE = _IN_THE_POT - {"scent in", "blending"} | {"poured"}
_LONGEST_S = 12 * 3600  # no batter waits that long for its mould (common practice, no source)
_DO = "correct the time, or what happened; `--correct` takes the place of the earlier one"


def check_minutes(trial: Trial) -> Iterable[Finding]:
    """Events of the pot after pouring, what happens only once and stands twice, and minutes that are many hours."""
    told: set[tuple[Event, str]] = set()
    for part in trial.parts():
        for event, code, what in _impossible(part, trial.events):
            if (event, code) not in told:  # of a divided batter, what came before the division is in every part
                told.add((event, code))
                yield warn(code, what, _DO, Place(trial.path, event.place.line, event.place.column, "events"))


def _impossible(part: TrialPortion, of_all: Sequence[Event]) -> Iterable[tuple[Event, str, str]]:
    """of_all: the events of the whole batter, which are said to be of no portion."""
    there: dict[str, Event] = {}
    for event in part.events:
        of = "" if part.name == WHOLE or any(event is each for each in of_all) else f" ({part.name})"
        at_s = event.at.middle_s
        poured = there.get("poured")
        if event.what in _ONCE and event.what in there:
            earlier = there[event.what].at
            yield event, "event-twice", f"{event.what}{of} stands twice, at {earlier} and at {event.at}"
        elif poured is not None and event.what in _IN_THE_POT and _is_later(event, poured):
            what = f"{event.what} at {event.at}{of} comes after pouring, which was at {poured.at}"
            yield event, "after-pouring", what
        if at_s is not None and at_s > _LONGEST_S:
            hours = format_number(float(at_s) / 3600, 0)
            yield event, "unlikely-time", f"{event.what}{of} is {hours} hours after lye in: no batter waits so long"
        there.setdefault(event.what, event)


def _is_later(event: Event, poured: Event) -> bool:
    """Whether it surely came later: two times that may be the same moment are no contradiction."""
    return event.at.low_s is not None and poured.at.high_s is not None and event.at.low_s > poured.at.high_s
