"""A cure to draw: mass loss and hardness of trials at the ages they were measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from trials.charts.cure_data import CureData, CurePanel, CurePoint, CureSeries
from trials.charts.drawn import Drawn
from trials.outcomes.find import outcome_values
from trials.outcomes.outcome import Outcome
from trials.pours.pour_book import loaf_names
from trials.trial.model import Trial

if TYPE_CHECKING:
    from trials.charts.figure import Chart

SHOWN = ("mass loss", "hardness")
_SOURCES = {"mass loss": ("mass", "mass loss"), "hardness": ("hardness",)}


@dataclass(frozen=True, slots=True, repr=False)
class Cure(Drawn, CureData):
    """A cure that draws itself."""

    def draw(self, **options: Any) -> Chart:
        """The cure as a chart, with `savefig` for SVG, PNG or PDF."""
        from trials.charts.cure_drawing import draw

        return draw(self, **options)


def find_cure(trials: Sequence[Trial], outcomes: Mapping[str, Outcome]) -> Cure:
    """Mass loss and hardness of some trials at the ages at which they were measured; nothing is read in between.

    outcomes: by name. Mass loss is worked out from the masses where it was not written down.
    """
    unique = list({trial.id: trial for trial in trials}.values())
    recipe, names = loaf_names(unique)
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
            outcomes[name].told_unit,
            tuple(
                CureSeries(number, labels[number], tuple(series[key]))
                for number, key in enumerate(keys)
                if key in series
            ),
        )
        for name, series in found.items()
        if series
    )
    cured = f"Cure of {recipe}" if recipe else "Cure"
    measured = {trial_id for trial_id, _ in keys}
    return Cure(
        title=f"{cured}: {' and '.join(panel.label for panel in panels)} against days" if panels else cured,
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
            if value.figure is None:
                continue
            between = value.bound == "between"
            point = CurePoint(
                float(age),
                value.figure,
                value.n,
                value.spread,
                value.bound,
                value.low if between else None,
                value.high if between else None,
            )
            series.setdefault((trial.id, value.portion), []).append(point)
