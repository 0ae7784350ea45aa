"""A cure as a chart: only what was measured, at its own age, told apart without colour, nothing overlapping."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from formulary.settings import Settings
from tests.charts.layout import find_faults
from tests.trials.invented import trial, version
from trials.charts import CureData, draw_cure, find_cure
from trials.outcomes.known import find_outcomes
from trials.trial.model import Observation, Reading, Trial

OUTCOMES = find_outcomes(Settings())
HALVES = {name: {"working": "9:00", "scent_in": "3:00"} for name in ("plain", "clove")}


def seen(outcome: str, age: str, *values: str, portion: str | None = None) -> Observation:
    return Observation(Decimal(age), outcome, tuple(Reading(value, Decimal(value)) for value in values), portion)


def cured(code: str, day: int = 0) -> Trial:
    observations = (
        seen("mass", "1", "100", "110"),
        seen("mass", "14", "93", "101.2"),
        seen("mass", "28", "90", "99"),
        seen("hardness", "28", "3.1", "3.3", portion="plain"),
        seen("hardness", "42", "2.8", portion="plain"),
        seen("hardness", "28", "3.5", portion="clove"),
    )
    return replace(trial(version(), code, day, portions=HALVES), observations=observations)


def by_label(cure: CureData, panel: str) -> dict[str, list[tuple[float, float, int]]]:
    found = next(each for each in cure.panels if each.label == panel)
    return {
        series.label: [(point.age_days, round(point.value, 6), point.n) for point in series.points]
        for series in found.series
    }


def test_masses_become_losses_of_each_bar_and_hardness_stays_by_portion() -> None:
    cure = find_cure([cured("aaaa")], OUTCOMES)
    # 7 and 8 % lost at 14 days, 10 % each at 28.
    assert by_label(cure, "mass loss") == {"aaaa": [(1.0, 0.0, 2), (14.0, 7.5, 2), (28.0, 10.0, 2)]}
    assert by_label(cure, "hardness") == {
        "aaaa plain": [(28.0, 3.2, 2), (42.0, 2.8, 1)],
        "aaaa clove": [(28.0, 3.5, 1)],  # nothing is read between, or beyond, its own readings
    }
    assert find_faults(draw_cure(cure)) == []


def test_a_series_keeps_its_look_from_one_panel_to_the_other() -> None:
    cure = find_cure([cured("aaaa"), cured("bbbb", 3)], OUTCOMES)
    for panel in cure.panels:
        for series in panel.series:
            assert cure.labels[series.number] == series.label
    assert len(set(cure.labels)) == len(cure.labels) == 6


def test_a_trial_without_readings_is_named_and_the_same_trial_is_drawn_once() -> None:
    one = cured("aaaa")
    cure = find_cure([one, one, trial(version(), "bbbb", 2)], OUTCOMES)
    assert cure.without_value == ("bbbb",)
    assert cure.labels == ("aaaa", "aaaa plain", "aaaa clove")


def test_a_limit_stays_a_limit() -> None:
    soft = Observation(Decimal(28), "hardness", (Reading("more than 9 mm", None, "above", Decimal(9)),))
    cure = find_cure([replace(trial(version(), "aaaa"), observations=(soft,))], OUTCOMES)
    (point,) = cure.panels[0].series[0].points
    assert (point.bound, point.value) == ("above", 9.0)
    assert find_faults(draw_cure(cure)) == []


def test_without_any_reading_the_chart_says_so() -> None:
    cure = find_cure([trial(version(), "aaaa")], OUTCOMES)
    assert cure.nothing is not None
    assert draw_cure(cure).to_bytes("png")


@pytest.mark.parametrize("width_mm", [80.0, 129.0, 130.0, 160.0, 240.0])
def test_nothing_overlaps_or_is_cut_off_at_any_width(width_mm: float) -> None:
    cure = find_cure([cured(code, day) for day, code in enumerate(("aaaa", "bbbb", "cccc", "dddd"))], OUTCOMES)
    chart = draw_cure(cure, width_mm=width_mm)
    assert find_faults(chart) == []
    assert chart.width_mm == width_mm


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_the_same_cure_gives_the_same_file(ending: str) -> None:
    drawn = [find_cure([cured("aaaa")], OUTCOMES).draw().to_bytes(ending) for _ in range(2)]
    assert drawn[0] == drawn[1]
