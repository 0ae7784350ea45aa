"""Outcomes as a person reads them: all in a list, or one with how to measure it."""

from __future__ import annotations

from collections.abc import Mapping

from formulary.quantity import format_decimal
from formulary.text_table import Row, paragraph, render_rows
from trials.outcomes.outcome import Outcome, Scale

_SCALES = {
    Scale.LOG_TIME: "a time",
    Scale.MEASURED: "measured",
    Scale.GRADED: "graded by word",
    Scale.YES_NO: "yes or no",
    Scale.PERCENT: "a percentage",
    Scale.COUNT: "a count",
    Scale.COLOUR: "a colour, three numbers L* a* b*",
}


def render_outcomes(outcomes: Mapping[str, Outcome], *, width: int = 80) -> str:
    """All outcomes by name, each with its scale and the ages at which it is looked at."""
    lines = paragraph("What trials are compared on; `formulary outcomes NAME` tells how to measure one.", width=width)
    rows = [Row("outcome", ("unit",))]
    rows += [Row(outcome.name, (outcome.told_unit,), _summary(outcome), 4) for outcome in outcomes.values()]
    return "\n".join([*lines, "", *render_rows(rows, width=width)])


def _summary(outcome: Outcome) -> str:
    parts = [f"{_SCALES[outcome.scale]}: {', '.join(outcome.grades)}" if outcome.grades else _SCALES[outcome.scale]]
    if outcome.from_events:
        parts.append("from timed events")
    if outcome.ages_days:
        parts.append(f"at {', '.join(format_decimal(age.normalize()) for age in outcome.ages_days)} d")
    if outcome.direction != "neither":
        parts.append(f"{outcome.direction} is better")
    return "; ".join(parts)


def render_outcome(outcome: Outcome, *, width: int = 80) -> str:
    """One outcome and how to measure it."""
    unit = f", in {outcome.told_unit}" if outcome.unit else ""
    lines = paragraph(f"{outcome.name}{unit}: {_summary(outcome)}.", width=width)
    return "\n".join([*lines, "", *paragraph(outcome.how, width=width, indent=2)] if outcome.how else lines)
