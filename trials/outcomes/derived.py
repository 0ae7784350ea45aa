"""Outcomes worked out from other observations: mass loss from masses, colour change from colours."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from trials.outcomes.colour import Lab, colour_difference
from trials.outcomes.observed import observed_portions, value_at
from trials.outcomes.outcome import Outcome, Scale
from trials.outcomes.value import Missing, OutcomeValue
from trials.trial.model import Observation, Reading, Trial
from trials.trial.rebatch import rebatches_days

DERIVED = ("mass loss", "colour change", "colour change beyond control")
_FIRST_MASS_BY_DAYS = Decimal(3)  # a later first weighing has missed the quickest drying (common practice, no source)


def derived_values(trial: Trial, outcome: Outcome, age_days: Decimal) -> tuple[OutcomeValue | Missing, ...]:
    """Mass loss, colour change, or colour change beyond the control, by portion."""
    source = "mass" if outcome.name == "mass loss" else "colour"
    portions = observed_portions(trial, source)
    if not portions:
        return (Missing(f"neither {outcome.name} nor {source} was recorded"),)
    if outcome.name == "mass loss":
        return tuple(_mass_loss(trial, age_days, portion) for portion in portions)
    changes = {portion: _colour_change(trial, age_days, portion) for portion in portions}
    if outcome.name == "colour change":
        return tuple(changes.values())
    return _beyond_control(trial, changes)


def _mass_loss(trial: Trial, age_days: Decimal, portion: str | None) -> OutcomeValue | Missing:
    """Each bar against itself where one entry lists as many as the first did, so that the spread is of the losses."""
    masses: dict[Decimal, list[Decimal]] = {}
    entries: dict[Decimal, int] = {}
    for item in trial.observations:
        if item.outcome == "mass" and item.portion == portion:
            values = [reading.value for reading in item.readings if reading.value is not None]
            masses.setdefault(item.age_days, []).extend(values)
            entries[item.age_days] = entries.get(item.age_days, 0) + 1
    if not any(masses.values()):
        return Missing("no mass was recorded as a plain weight", portion)
    first = min(age for age, values in masses.items() if values)
    if first > _FIRST_MASS_BY_DAYS:
        return Missing("the bars were not weighed in the first 3 days", portion)
    start = masses[first]
    if any(not value for value in start):
        return Missing("a first mass is 0 g", portion)
    losses: list[Observation] = []
    for age, values in masses.items():
        if len(values) == len(start) and entries[age] == entries[first] == 1:
            lost = [100 * (1 - after / before) for before, after in zip(start, values, strict=True)]
        else:
            lost = [100 * (1 - sum(values, Decimal(0)) / len(values) * len(start) / sum(start, Decimal(0)))]
        losses.append(Observation(age, "mass loss", tuple(Reading("", number) for number in lost), portion))
    outcome = Outcome(name="mass loss", scale=Scale.PERCENT, unit="%", ages_days=(age_days,))
    value = value_at(losses, outcome, age_days, portion, rebatched_days=rebatches_days(trial, portion))
    return replace(value, why=value.why.replace("recorded", "weighed")) if isinstance(value, Missing) else value


def _colour_change(trial: Trial, age_days: Decimal, portion: str | None) -> OutcomeValue | Missing:
    colours: dict[Decimal, list[Lab]] = {}
    for item in trial.observations:
        if item.outcome == "colour" and item.portion == portion:
            found = [reading.colour for reading in item.readings if reading.colour is not None]
            colours.setdefault(item.age_days, []).extend(found)
    first = min(colours)
    if age_days <= first:
        return Missing(f"the first colour was only recorded at {first.normalize():f} d", portion)
    later = _colour_at(colours, age_days)
    if later is None:
        return Missing(f"no colour was recorded at or after {age_days.normalize():f} d", portion)
    return OutcomeValue(
        colour_difference(_mean(colours[first]), later),
        n=min(len(found) for found in colours.values()),
        portion=portion,
        is_interpolated=age_days not in colours,
    )


def _colour_at(colours: dict[Decimal, list[Lab]], age_days: Decimal) -> Lab | None:
    """The colour at an age; between two of them each coordinate is read on a straight line."""
    if age_days in colours:
        return _mean(colours[age_days])
    before = max((age for age in colours if age < age_days), default=None)
    after = min((age for age in colours if age > age_days), default=None)
    if before is None or after is None:
        return None
    part = float((age_days - before) / (after - before))
    (l1, a1, b1), (l2, a2, b2) = _mean(colours[before]), _mean(colours[after])
    return l1 + (l2 - l1) * part, a1 + (a2 - a1) * part, b1 + (b2 - b1) * part


def _mean(colours: list[Lab]) -> Lab:
    ordered = sorted(colours)
    count = len(ordered)
    return (
        sum(colour[0] for colour in ordered) / count,
        sum(colour[1] for colour in ordered) / count,
        sum(colour[2] for colour in ordered) / count,
    )


def _beyond_control(
    trial: Trial, changes: dict[str | None, OutcomeValue | Missing]
) -> tuple[OutcomeValue | Missing, ...]:
    control = _control(trial)
    if control is None:
        return (Missing("no portion went without scent, so there is no control"),)
    against = changes.get(control)
    if not isinstance(against, OutcomeValue) or against.value is None:
        return (Missing(f"the control, {control}, has no colour change at that age"),)
    values: list[OutcomeValue | Missing] = []
    for portion, change in changes.items():
        if portion in (None, control):
            continue
        if isinstance(change, OutcomeValue) and change.value is not None:
            change = replace(change, value=change.value - against.value, n=min(change.n, against.n))
        values.append(change)
    return tuple(values) or (Missing("no portion but the control has its colour recorded"),)


def _control(trial: Trial) -> str | None:
    """The portion that got no scent; the first of several."""
    from trials.as_made.pot_as_made import pot_of_batter

    pot = pot_of_batter(trial)
    scented = {line.portion for line in pot.lines if line.role == "scent" and line.grams > 0}
    if None in scented:
        return None
    return next((portion.name for portion in trial.portions if portion.name not in scented), None)
