"""What a cure chart shows, as plain data: mass loss and hardness of trials at the ages they were measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from trials.model import Trial
from trials.outcomes import Outcome
from trials.outcomes_values import outcome_values
from trials.pours import short_names

if TYPE_CHECKING:
    from trials.charts.figure import Chart

SHOWN = ("mass loss", "hardness")
_SOURCES = {"mass loss": ("mass", "mass loss"), "hardness": ("hardness",)}


@dataclass(frozen=True, slots=True)
class CurePoint:
    """One age of one series. value: where it is drawn, in the outcome's unit. spread: one standard deviation, None for
    one reading. bound: "exact" | "above" | "below" | "between"; low, high: the ends of a "between".
    """

    age_days: float
    value: float
    n: int
    spread: float | None
    bound: str = "exact"
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class CureSeries:
    """One portion of one trial, or the whole of it: its points by age. number: the same in every panel."""

    number: int
    label: str
    points: tuple[CurePoint, ...]


@dataclass(frozen=True, slots=True)
class CurePanel:
    """One outcome against days."""

    label: str
    unit: str
    series: tuple[CureSeries, ...]


@dataclass(frozen=True, slots=True)
class CureData:
    """A cure. labels: of the series, by number. without_value: labels of trials of which nothing was measured.

    nothing: why there is nothing to draw, None where there is.
    """

    title: str
    labels: tuple[str, ...]
    panels: tuple[CurePanel, ...]
    without_value: tuple[str, ...] = ()
    nothing: str | None = None

    def draw(self, **options: Any) -> Chart:
        """The cure as a chart, with `savefig` for SVG, PNG or PDF."""
        from trials.charts import draw_cure

        return draw_cure(self, **options)


def find_cure(trials: Sequence[Trial], outcomes: Mapping[str, Outcome]) -> CureData:
    """Mass loss and hardness of some trials at the ages at which they were measured; nothing is read in between.

    outcomes: by name. Mass loss is worked out from the masses where it was not written down.
    """
    unique = list({trial.id: trial for trial in trials}.values())
    names = short_names([trial.id for trial in unique])
    found: dict[str, dict[tuple[str, str | None], list[CurePoint]]] = {}
    for name in SHOWN:
        if name in outcomes:
            found[name] = {}
            for trial in unique:
                _collect(trial, outcomes[name], found[name])
    wanted = [(trial.id, portion) for trial in unique for portion in (None, *(part.name for part in trial.portions))]
    keys = [key for key in wanted if any(key in series for series in found.values())]
    labels = tuple(names[trial_id] if portion is None else f"{names[trial_id]} {portion}" for trial_id, portion in keys)
    panels = tuple(
        CurePanel(
            name,
            outcomes[name].unit,
            tuple(
                CureSeries(number, labels[number], tuple(series[key]))
                for number, key in enumerate(keys)
                if key in series
            ),
        )
        for name, series in found.items()
        if series
    )
    measured = {trial_id for trial_id, _ in keys}
    return CureData(
        title=f"Cure: {' and '.join(panel.label for panel in panels)} against days" if panels else "Cure",
        labels=labels,
        panels=panels,
        without_value=tuple(names[trial.id] for trial in unique if trial.id not in measured),
        nothing=None if panels else "neither masses nor hardness were measured of these trials",
    )


def _collect(trial: Trial, outcome: Outcome, series: dict[tuple[str, str | None], list[CurePoint]]) -> None:
    sources = _SOURCES[outcome.name]
    for age in sorted({seen.age_days for seen in trial.observations if seen.outcome in sources}):
        for value in outcome_values(trial, outcome, age):
            if value.is_interpolated:  # another portion was measured at that age, and this one was not
                continue
            figures = [figure for figure in (value.value, value.low, value.high) if figure is not None]
            if not figures:
                continue
            between = value.bound == "between"
            point = CurePoint(
                float(age),
                figures[0],
                value.n,
                value.spread,
                value.bound,
                value.low if between else None,
                value.high if between else None,
            )
            series.setdefault((trial.id, value.portion), []).append(point)
