"""The generator does what it says it does, and what it draws reads back as records like a maker's."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from formulary.settings import Settings
from tests.demo.in_memory import NOTHING_ACTS, PlannedLoaf, draw_year, plan_year
from trials.as_made.effective import effective_portion
from trials.demo.generator import PLANTED, Poured, Truth, draw_conditions, pour
from trials.demo.scenario import CAUSE
from trials.outcomes.find import find_values
from trials.outcomes.known import find_outcomes
from trials.outcomes.value import OutcomeValue

WORKING_TIME = find_outcomes(Settings())["working time"]


def _pour(planned: PlannedLoaf, truth: Truth, seed: int = 7) -> Poured:
    conditions = draw_conditions(18.0, 60, seed=seed, sitting=planned.sitting_number)
    return pour(
        planned.plan, planned.loaf, conditions, truth, seed=seed, sitting=planned.sitting_number, number=planned.number
    )


def _working_s(poured: Poured, portion: str, start: str) -> int:
    events = dict(poured.portions)[portion]
    begun = next(event.at_s for event in events if event.what == start)
    return next(event.at_s for event in events if event.what == "too thick to pour") - begun


def test_the_same_seed_gives_the_same_year_and_another_seed_another() -> None:
    assert draw_year(5) == draw_year(5)
    assert draw_year(5) != draw_year(6)


def test_every_trial_reads_back_without_a_finding_and_has_a_working_time() -> None:
    trials = draw_year(11)
    assert len(trials) == len(plan_year())
    for trial in trials:
        values = find_values(trial, WORKING_TIME)
        assert values
        assert all(isinstance(value, OutcomeValue) for value in values), trial.id


def test_without_luck_the_portions_of_a_loaf_differ_by_the_stated_effect() -> None:
    truth = replace(PLANTED, batch_sd=0.0, portion_sd=0.0, per_20_s=0.0)
    for planned in plan_year():
        if planned.plan.slug != "harbour-clove":
            continue
        poured = _pour(planned, truth)
        faint, strong = (_working_s(poured, name, "scent in") for name in ("faint", "strong"))
        # 35 and 65 % of 0.5 % of all oils in a third of the batter each, divided by eye within four points
        expected = truth.per_percent * 0.5 * (0.65 - 0.35) / 0.33
        assert math.log(strong / faint) == pytest.approx(expected, abs=0.16)


def test_warmer_oils_and_longer_blending_shorten_it_by_the_stated_effect() -> None:
    known = {"cause_percent": 0.0, "oil_temperature_c": 40.0, "blending_s": 10.0}
    usual = PLANTED.log_minutes(**known)
    assert math.exp(usual) == pytest.approx(PLANTED.usual_minutes)
    assert PLANTED.log_minutes(**{**known, "oil_temperature_c": 45.0}) - usual == pytest.approx(PLANTED.per_5_c)
    assert PLANTED.log_minutes(**{**known, "blending_s": 30.0}) - usual == pytest.approx(PLANTED.per_20_s)
    assert PLANTED.log_minutes(**{**known, "cause_percent": 1.0}) - usual == pytest.approx(PLANTED.per_percent)


def test_where_nothing_acts_scented_and_plain_portions_last_alike() -> None:
    truth = replace(NOTHING_ACTS, batch_sd=0.0, portion_sd=0.0)
    poured = [_pour(planned, truth) for planned in plan_year() if planned.plan.slug == "harbour-clove"]
    for one in poured:
        for portion, events in one.portions:
            thick = [event for event in events if event.what == "too thick to pour"]
            if thick and any(event.what == "scent in" for event in events):
                minutes = _working_s(one, portion, "scent in") / 60.0
                assert minutes == pytest.approx(truth.usual_minutes, abs=0.1)


def test_a_portion_poured_before_it_was_too_thick_is_known_to_have_lasted_longer() -> None:
    values = [value for trial in draw_year(3) for value in find_values(trial, WORKING_TIME)]
    bounds = {value.bound for value in values if isinstance(value, OutcomeValue)}
    assert bounds == {"exact", "above"}


def test_the_loaf_with_the_forgotten_water_is_weaker_in_lye_than_its_plan() -> None:
    forgotten = [trial for planned, trial in zip(plan_year(), draw_year(3), strict=True) if planned.loaf.forgets_water]
    for trial in forgotten:
        made = effective_portion(trial).figures.effective_percent
        planned = effective_portion(replace(trial, as_made=())).figures.effective_percent
        assert made < planned - 3.0


def test_the_cause_is_only_in_the_portions_that_were_to_have_it() -> None:
    for trial in draw_year(2):
        for part in trial.parts():
            if part.name == "plain":
                assert CAUSE not in {line.material for line in effective_portion(trial, part.name).pot.lines}
