"""What was observed held against the calendar and against what soap can show: slips of the pen, not errors."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta

from formulary.finding import Finding, warn
from formulary.quantity import format_decimal, format_number
from formulary.read_only import ReadOnly
from formulary.temperature import CELSIUS, say_range
from trials.outcomes.outcome import Outcome
from trials.trial.model import REBATCHED, Handling, Observation, Trial
from trials.trial.on_day import days_until_done, days_until_seen, find_ahead
from trials.trial.words import hour_words

# From and to, in the outcome's unit: what lies outside is far more likely a slip than soap (common practice,
# no source).
USUAL_RANGES: Mapping[str, tuple[float, float]] = ReadOnly(
    {
        "hardness": (0.0, 30.0),  # a bar is hardly thicker
        "lather": (0.0, 500.0),
        "mass loss": (0.0, 40.0),  # more than all the water of a usual batch
        "peak temperature": (10.0, 120.0),
        "pH": (7.0, 13.0),
        "time of peak": (0.0, 72.0),
    }
)


_HEAVIER = 1.01  # glycerol draws a little water out of damp air (common practice, no source)
_LOOK_AGAIN = "look at it again; `--correct` takes its place if it is a slip"


def check_observed(trial: Trial, outcomes: Mapping[str, Outcome], today: date | None = None) -> Iterable[Finding]:
    """What was observed or done at an age that the soap has not reached yet, and values that no soap is known to show.

    today: ages are not looked at without it.
    """
    if today is not None:
        yield from _check_ahead(trial, today)
    for seen in trial.observations:
        label = _label(seen)
        place = seen.place._replace(field="observations")
        if _is_outside(seen):
            low, high = USUAL_RANGES[seen.outcome]
            known = outcomes.get(seen.outcome)
            unit = "" if known is None else known.unit
            text = ", ".join(reading.text for reading in seen.readings)
            what = f"{label} is {text}, but soap shows {low:g} to {high:g} {unit}".rstrip()
            if unit == CELSIUS:
                what += f" ({say_range(low, high)})"
            yield warn("unlikely-value", what, _LOOK_AGAIN, place)
    yield from _check_masses(trial)


def _label(seen: Observation) -> str:
    return f"{seen.outcome} at {format_decimal(seen.age_days.normalize())} d" + (
        f" ({seen.portion})" if seen.portion else ""
    )


def _check_ahead(trial: Trial, today: date) -> Iterable[Finding]:
    """A warning for each thing that is recorded of a day to come."""
    steps, observations = find_ahead(trial, today)
    for step in steps:
        place = step.place._replace(field="after_pour")
        yield warn("ahead-of-today", *_say_step_ahead(trial, step, today), place)
    for seen in observations:
        place = seen.place._replace(field="observations")
        what = f"{_label(seen)} cannot have been seen yet: it lies ahead of today{_on(trial, days_until_seen(seen))}"
        yield warn("ahead-of-today", what, _say_age(trial, "the age that it has", today), place)


def _say_step_ahead(trial: Trial, step: Handling, today: date) -> tuple[str, str]:
    """That something done after pouring is of a day to come, and what to do."""
    of = f" ({step.portion})" if step.portion else ""
    at = "" if step.ended_h is None else f" {hour_words(step.ended_h)} after pouring"
    on = _on(trial, days_until_done(step) or 0)
    what = f"{step.what}{of}{at} cannot have been done yet: it lies ahead of today{on}"
    if step.what == REBATCHED:
        what += "; until then it mends nothing"
    return what, _say_age(trial, "the time since pouring that it has", today)


def _on(trial: Trial, days: int) -> str:
    """The day so many after the soap was made; nothing for one that no calendar has."""
    try:
        return f", on {(trial.made + timedelta(days=days)).isoformat()}"
    except OverflowError:
        return ""


def _say_age(trial: Trial, which: str, today: date) -> str:
    days = (today - trial.made).days
    if days < 0:
        return f"correct `made: {trial.made.isoformat()}` in its trial.yaml: that day is still to come, too"
    do = f"write {which}, at most {days} d, or correct `made: {trial.made.isoformat()}`"
    return f"{do}; `formulary undo` takes back what was just recorded"


def _check_masses(trial: Trial) -> Iterable[Finding]:
    """A warning for each bar that weighs more than it did before: a cure only takes water away."""
    lightest: dict[str | None, tuple[float, Observation]] = {}
    for seen in sorted(trial.observations, key=lambda item: item.age_days):
        if seen.outcome != "mass" or (mass_g := _mean(seen)) is None:
            continue
        before_g, before = lightest.get(seen.portion, (mass_g, seen))
        if mass_g > before_g * _HEAVIER:
            of = f" ({seen.portion})" if seen.portion else ""
            ages = [format_decimal(item.age_days.normalize()) for item in (before, seen)]
            what = f"the mass{of} rose from {format_number(before_g, 1)} g at {ages[0]} d"
            what += f" to {format_number(mass_g, 1)} g at {ages[1]} d, but a bar only dries"
            place = seen.place._replace(field="observations")
            yield warn("mass-gained", what, f"weigh the same bars each time; {_LOOK_AGAIN}", place)
        if mass_g <= before_g:
            lightest[seen.portion] = (mass_g, seen)


def _mean(seen: Observation) -> float | None:
    figures = [float(reading.value) for reading in seen.readings if reading.value is not None]
    return sum(figures) / len(figures) if figures else None


def _is_outside(seen: Observation) -> bool:
    usual = USUAL_RANGES.get(seen.outcome)
    if usual is None:
        return False
    figures = [
        float(figure)
        for reading in seen.readings
        for figure in (reading.value, reading.low, reading.high)
        if figure is not None
    ]
    return any(not usual[0] <= figure <= usual[1] for figure in figures)
