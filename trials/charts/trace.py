"""A trace chart to draw: how the batter of each portion thickened over minutes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from trials.charts.drawn import Drawn
from trials.charts.trace_data import TraceData, TraceMark, TraceRow
from trials.outcomes.built_in import TRACE_STAGES
from trials.outcomes.seizing import how_seized
from trials.pours.pour_book import loaf_names
from trials.trial.model import Event, Trial, TrialPortion

if TYPE_CHECKING:
    from trials.charts.figure import Chart


@dataclass(frozen=True, slots=True, repr=False)
class Trace(Drawn, TraceData):
    """Thickening that draws itself."""

    def draw(self, **options: Any) -> Chart:
        """The thickening as a chart, with `savefig` for SVG, PNG or PDF."""
        from trials.charts.trace_drawing import draw

        return draw(self, **options)


def find_trace(trials: Sequence[Trial]) -> Trace:
    """How the batter of each portion thickened, from its timed events; pouring leaves open what was to come."""
    unique = list({trial.id: trial for trial in trials}.values())
    recipe, names = loaf_names(unique)
    rows: list[TraceRow] = []
    untimed: list[str] = []
    without: list[str] = []
    for trial in unique:
        for part in trial.parts():
            label = f"{names[trial.id]} {part.name}" if trial.is_divided else names[trial.id]
            untimed += [f"{what} of {label}" for what in _untimed(part)]
            row = _row(trial, part, label)
            if row.marks or row.poured is not None:
                rows.append(row)
            else:
                without.append(label)
    return Trace(
        title=f"How {recipe or 'the batter'} thickened: the wider, the thicker",
        rows=tuple(rows),
        untimed=tuple(untimed),
        without_events=tuple(without) if rows else (),
        nothing=None if rows else "no stage of trace and no pouring was recorded with its time",
    )


def _row(trial: Trial, part: TrialPortion, label: str) -> TraceRow:
    marks = []
    for stage in TRACE_STAGES:
        reached = _first(part, stage)
        if reached is not None:
            low, high = _ends(reached)
            marks.append(TraceMark(stage, (low + high) / 2.0, low, high))
    poured, scented = _first(part, "poured"), _first(part, "scent in")
    return TraceRow(
        trial=trial.id,
        label=label,
        marks=tuple(marks),
        scent_in=None if scented is None else sum(_ends(scented)) / 2.0,
        poured=None if poured is None else sum(_ends(poured)) / 2.0,
        has_seized=_first(part, TRACE_STAGES[-1]) is None
        and bool(how_seized(trial, part.name if trial.is_divided else None)),
        is_open=poured is not None and all(event.what != TRACE_STAGES[-1] for event in part.events),
    )


def _first(part: TrialPortion, what: str) -> Event | None:
    known = [event for event in part.events if event.what == what and event.at.middle_s is not None]
    return min(known, key=lambda event: event.at.middle_s or Decimal(0), default=None)


def _ends(event: Event) -> tuple[float, float]:
    return float((event.at.low_s or Decimal(0)) / 60), float((event.at.high_s or Decimal(0)) / 60)


def _untimed(part: TrialPortion) -> list[str]:
    """Stages that were noted without any time."""
    wanted = (*TRACE_STAGES, "scent in", "poured")
    noted = dict.fromkeys(event.what for event in part.events if event.what in wanted)
    return [what for what in noted if _first(part, what) is None]
