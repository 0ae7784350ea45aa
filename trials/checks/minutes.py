"""The minutes of making day held against what batter does: it is poured once, last, and on that day."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from formulary.batch.model import WHOLE
from formulary.finding import Finding, warn
from formulary.materials.plain_name import material_words
from formulary.quantity import format_number
from trials.as_made.worst_end import is_more_worse
from trials.outcomes.built_in import TRACE_STAGES
from trials.trial.elapsed import Elapsed
from trials.trial.model import Event, Handling, Trial, TrialPortion, done_once
from trials.trial.words import handling_words

# What happens to batter in the pot, and no more to what stands in the mould.
_IN_THE_POT = frozenset({"lye in", *TRACE_STAGES, "scent in", "blending"})
_ONCE = _IN_THE_POT - {"scent in", "blending"} | {"poured"}
_LONGEST_S = 12 * 3600  # no batter waits that long for its mould (common practice, no source)
_DO = "correct the time, or what happened; `--correct` takes the place of the earlier one"


def check_minutes(trial: Trial) -> Iterable[Finding]:
    """Events of the pot after pouring, what happens only once and stands twice, and minutes that are many hours.

    What was done after pouring is told where it stands twice for one time.
    """
    told: set[tuple[Event, str]] = set()
    for part in trial.parts():
        for event, code, what in _impossible(part, trial.events):
            if (event, code) not in told:  # of a divided batter, what came before the division is in every part
                told.add((event, code))
                yield warn(code, what, _DO, event.place._replace(field="events"))
    yield from _done_twice(trial)


def _done_twice(trial: Trial) -> Iterable[Finding]:
    """The same after pouring at the same time; what was worked in then counts once where it is the same, too.

    Of an unknown time it may have been twice (`effective.pot_of_bars`)."""
    counted: list[Handling] = []
    for step in trial.after_pour:
        same = [each for each in counted if (each.what, each.portion) == (step.what, step.portion)]
        twice = [each for each in same if each.at_h is not None and each.at_h == step.at_h]
        again = len(done_once([*same, step])) == len(same)  # the very same, of an unknown time, too
        if not twice and not again:
            counted.append(step)
            continue
        if again:
            what = f"{handling_words(step)} stands twice"
            what += f", and counts once{_but_what(trial, step)}" if step.taken_in else ""
        else:
            counted.append(step)
            what = f"{step.what} stands twice for one time: {handling_words(twice[0])}; and {handling_words(step)}"
            what += "; all that was worked in counts" if step.taken_in and twice[0].taken_in else ""
        do = "take one of the lines out of trial.yaml, or write when it was done once more"
        yield warn("done-twice", what, do, step.place._replace(field="after_pour"))


def _but_what(trial: Trial, step: Handling) -> str:
    """What of a step of unknown time counts each time, since it may have been done twice."""
    materials = trial.materials
    names = [each.material for each in step.taken_in]
    worse = [material_words(name) for name in names if is_more_worse(materials.get(name))]
    if step.at_h is not None or not worse:
        return ""
    return f", but {' and '.join(worse)} each time, since nobody knows when it was"


def _impossible(part: TrialPortion, of_all: Sequence[Event]) -> Iterable[tuple[Event, str, str]]:
    """of_all: the events of the whole batter, which are said to be of no portion."""
    there: dict[str, Event] = {}
    blended: list[Elapsed] = []
    for event in part.events:
        of = "" if part.name == WHOLE or any(event is each for each in of_all) else f" ({part.name})"
        at_s = event.at.middle_s
        poured = there.get("poured")
        if event.what in _ONCE and event.what in there:
            earlier = there[event.what].at
            yield event, "event-twice", f"{event.what}{of} stands twice, at {earlier} and at {event.at}"
        elif event.what == "blending" and event.at.is_known and event.at in blended:
            yield event, "event-twice", f"blending{of} stands twice at {event.at}, and both count"
        elif poured is not None and event.what in _IN_THE_POT and _is_later(event, poured):
            what = f"{event.what} at {event.at}{of} comes after pouring, which was at {poured.at}"
            yield event, "after-pouring", what
        if at_s is not None and at_s > _LONGEST_S:
            hours = format_number(float(at_s) / 3600, 0)
            yield event, "unlikely-time", f"{event.what}{of} is {hours} hours after lye in: no batter waits so long"
        there.setdefault(event.what, event)
        blended += [event.at] if event.what == "blending" else []


def _is_later(event: Event, poured: Event) -> bool:
    """Whether it surely came later: two times that may be the same moment are no contradiction."""
    return event.at.low_s is not None and poured.at.high_s is not None and event.at.low_s > poured.at.high_s
