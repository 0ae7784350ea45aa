"""What a record states of the bench, held against what benches show: slips of the pen and of the unit, not errors."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from formulary.batch.mixed_lye import LYE
from formulary.finding import Finding, Place, warn
from formulary.quantity import Kind, format_decimal, format_number, parse_quantity
from formulary.temperature import say_both, say_range
from trials.trial.model import Trial

# From and to, in °C: what lies outside is far more likely a slip than a bench (common practice, no source).
_ROOM_C = (0, 45)
_LYE_C = _OIL_C = (0, 85)  # as they were combined
_BATTER_C = (0, 110)
_KEPT_AT_C = (-30, 150)  # between a freezer and an oven
# Air in a room is never that dry: it was meant as a part of 1 (common practice, no source).
_DRIEST_PERCENT = 5
# Longer than any batter is blended at a stretch (common practice, no source).
_LONGEST_BLENDING_S = 1800
# What was weighed of a line goes astray by less (common practice, no source).
_TIMES_PLANNED = 3


def check_likely(trial: Trial) -> Iterable[Finding]:
    """A warning for each condition, event, handling and weight that no bench is known to show."""
    conditions = trial.conditions
    for name, degrees_c, usual_c in (
        ("room", conditions.room_c, _ROOM_C),
        ("lye temperature", conditions.lye_temperature_c, _LYE_C),
        ("oil temperature", conditions.oil_temperature_c, _OIL_C),
    ):
        yield from _degrees(name, degrees_c, usual_c, conditions.place, "conditions")
    humidity = conditions.humidity_percent
    if humidity is not None and humidity < _DRIEST_PERCENT:
        do = f"if {format_decimal((humidity * 100).normalize())} % is meant, write that"
        yield _slip(f"a humidity of {format_decimal(humidity)} % is drier than rooms are", do, conditions.place)
    for event in (*trial.events, *(event for portion in trial.portions for event in portion.events)):
        yield from _degrees(event.what, event.temperature_c, _BATTER_C, event.place, "events")
        if event.for_s is not None and event.for_s > _LONGEST_BLENDING_S:
            what = f"{event.what} for {format_number(float(event.for_s) / 60, 0)} min is longer than anybody blends"
            yield _slip(what, "check the unit", event.place, "events")
    for step in trial.after_pour:
        yield from _degrees(step.what, step.temperature_c, _KEPT_AT_C, step.place, "after_pour")
    yield from _check_weights(trial)


def _degrees(
    name: str, degrees_c: Decimal | None, usual_c: tuple[int, int], place: Place, field: str
) -> Iterable[Finding]:
    low, high = usual_c
    if degrees_c is None or low <= degrees_c <= high:
        return
    shown = f"{format_number(float(degrees_c), 0)} °C"
    meant_c = parse_quantity(shown.replace("C", "F"), Kind.TEMPERATURE).to("°C")
    do = f"if °F was meant, write {shown.replace('C', 'F')}" if low <= meant_c <= high else "check it, and its unit"
    both = f"{say_both(float(degrees_c), 0)} is outside the {low} to {high} °C ({say_range(low, high)})"
    yield _slip(f"{name}: {both} that benches show", do, place, field)


def _check_weights(trial: Trial) -> Iterable[Finding]:
    planned: dict[str, float] = {}
    for line in trial.plan.pot.lines:
        planned[line.material] = planned.get(line.material, 0.0) + line.grams
    planned.setdefault(LYE, sum(line.grams for line in trial.plan.pot.lines if line.at == "lye water"))
    for entry in trial.as_made:
        planned_g = planned.get(entry.line or "", 0.0)
        if entry.weighed_g is not None and planned_g > 0 and float(entry.weighed_g) > _TIMES_PLANNED * planned_g:
            what = f"{format_decimal(entry.weighed_g.normalize())} g of {entry.instead or entry.line} went in for"
            what += f" {format_number(planned_g, 0)} g planned"
            yield _slip(what, "check the weight, and its unit", entry.place, "as_made")
    lightest_g = trial.bars.lightest_g if trial.bars is not None else None
    if lightest_g is not None and float(lightest_g) > trial.plan.pot.grams(
        "oil", "alkali", "water", "addition", "scent"
    ):
        what = f"the lightest bar, {format_decimal(lightest_g)} g, is heavier than the whole batch"
        yield _slip(what, "check the weight, and its unit", Place(trial.path))


def _slip(what: str, do: str, place: Place, field: str = "conditions") -> Finding:
    return warn("unlikely-value", what, do, place._replace(field=field))
