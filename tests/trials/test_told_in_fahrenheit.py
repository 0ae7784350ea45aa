"""A trial, a comparison and an explanation tell who reads °F the same as who reads °C. All trials are invented."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from decimal import Decimal
from functools import cache
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.settings import Settings
from formulary.temperature import FAHRENHEIT
from tests.trials.invented import trial, version
from trials.answer.answer import Answer, FactorEffect
from trials.answer.effect_words import as_told
from trials.answer.text import render_explanation
from trials.charts import find_effects, find_story
from trials.comparison.as_table import comparison_table
from trials.comparison.compare import compare_trials
from trials.comparison.table import render_comparison
from trials.explain_trials import explain_outcome
from trials.outcomes.known import find_outcomes
from trials.trial.model import Conditions, Trial
from trials.trial_text import condition_words

BASE = version()
IN_CELSIUS, IN_FAHRENHEIT = find_outcomes(Settings()), find_outcomes(Settings(temperature=FAHRENHEIT))
FIGURE = re.compile(r"(-?\d+(?:\.\d+)?) (°[CF])")
TOLD_STEP = 10 / 9  # 10 °F by 5 °C


def read_in_fahrenheit(trials: list[Trial]) -> list[Trial]:
    return [replace(each, told_in=FAHRENHEIT) for each in trials]


def warm_and_cold() -> list[Trial]:
    """Warm rooms made it thicken sooner, crack and peak higher."""
    return [
        trial(
            BASE,
            f"w{k:02d}",
            k,
            room=("18", "25")[k % 2],
            working=("12:00", "8:00", "12:30", "8:20")[k % 4],
            seen={"peak temperature": ("62", "70", "63", "71")[k % 4], "cracked": str(k % 2), "ash": str(k % 2)},
        )
        for k in range(16)
    ]


@cache
def explained(name: str, *, in_fahrenheit: bool) -> Answer:
    trials = warm_and_cold()
    outcomes = IN_FAHRENHEIT if in_fahrenheit else IN_CELSIUS
    outcome = outcomes[name]
    age = Decimal(28) if name == "ash" else None
    return explain_outcome(read_in_fahrenheit(trials) if in_fahrenheit else trials, outcome, age)


@given(*[st.none() | st.decimals(0, 90, places=2)] * 3)
def test_every_temperature_of_a_record_converts_back(
    room: Decimal | None, lye: Decimal | None, oils: Decimal | None
) -> None:
    seen = Conditions(room_c=room, lye_temperature_c=lye, oil_temperature_c=oils)
    there = replace(trial(BASE, "aaaa"), conditions=seen)
    here = replace(there, told_in=FAHRENHEIT)
    kept = [each for each in (room, lye, oils) if each is not None]
    told = FIGURE.findall(" ".join(condition_words(here)))
    assert [unit for _, unit in told] == ["°F"] * len(kept)
    for celsius, (figure, _) in zip(kept, told, strict=True):
        assert abs((float(figure) - 32) / 1.8 - float(celsius)) <= 0.05 / 1.8 + 1e-9
    assert here == there  # who reads it is no part of what a trial is


@pytest.mark.parametrize("name", ["working time", "peak temperature", "cracked", "ash"])
def test_no_chance_and_no_figure_for_programs_hangs_on_who_reads_it(name: str) -> None:
    def figures(tree: object) -> object:
        """All but the words of people."""
        if isinstance(tree, dict):
            return {key: figures(value) for key, value in tree.items() if key not in ("sentence", "which", "rest")}
        return [figures(each) for each in tree] if isinstance(tree, list) else tree

    there, here = explained(name, in_fahrenheit=False), explained(name, in_fahrenheit=True)
    one, other = (json.loads(json.dumps([cause.to_json() for cause in answer.causes])) for answer in (there, here))
    assert figures(one) == figures(other)
    assert "°C" in render_explanation(there)
    assert "°F" not in render_explanation(there)
    assert "°C" not in render_explanation(here)
    assert "10 °F" in render_explanation(here)
    assert "°C" not in here.sentence


def effect_of(answer: Answer, size: float) -> FactorEffect:
    return FactorEffect("room", size, size, size, answer.factor("room").words, "up")


@given(st.floats(-5.0, 30.0))
def test_a_step_of_10_f_shortens_a_time_by_the_share_that_steps_of_5_c_do(size: float) -> None:
    answer = explained("working time", in_fahrenheit=True)
    told = as_told(answer, effect_of(answer, size))
    assert told.per == "10 °F"
    assert told.effect is not None
    level = answer.level
    assert (1 + told.effect / level) == pytest.approx((1 + size / level) ** TOLD_STEP)


@given(st.floats(-30.0, 30.0))
def test_an_effect_on_a_temperature_is_a_difference_in_f_for_10_f(size: float) -> None:
    answer = explained("peak temperature", in_fahrenheit=True)
    assert as_told(answer, effect_of(answer, size)).effect == pytest.approx(size * TOLD_STEP * 1.8)


@given(st.floats(0.001, 0.999))
def test_what_an_even_chance_becomes_grows_with_the_step_and_stays_even_where_it_is(chance: float) -> None:
    answer = explained("ash", in_fahrenheit=True)
    effect = replace(effect_of(answer, 0.0), effect=None, low=None, high=None, even_chance_becomes=(0.5, chance, 1.0))
    even, told, sure = as_told(answer, effect).even_chance_becomes or (0.0, 0.0, 0.0)
    assert (even, sure) == (pytest.approx(0.5), 1.0)
    assert abs(told - 0.5) >= abs(chance - 0.5) - 1e-9
    assert (told - 0.5) * (chance - 0.5) >= 0


def test_who_reads_celsius_is_told_effects_as_they_were_found() -> None:
    answer = explained("working time", in_fahrenheit=False)
    effect = effect_of(answer, -3.0)
    assert as_told(answer, effect) is effect


def test_a_comparison_tells_conditions_and_peaks_in_f_and_its_table_for_programs_in_c() -> None:
    trials = warm_and_cold()[:4]
    there = compare_trials(trials, among=trials, outcomes=IN_CELSIUS)
    here = compare_trials(read_in_fahrenheit(trials), among=read_in_fahrenheit(trials), outcomes=IN_FAHRENHEIT)
    text = render_comparison(here, show_all=True)
    assert "room, °F" in text
    assert "°C" not in text
    assert "°C" in render_comparison(there, show_all=True)
    one, other = (comparison_table(each, show_all=True) for each in (here, there))
    assert (one.columns, one.rows) == (other.columns, other.rows)
    assert {**here.to_json(), "sentence": ""} == {**there.to_json(), "sentence": ""}


def test_charts_draw_in_f() -> None:
    trials = warm_and_cold()
    there = find_story(trials, IN_CELSIUS["peak temperature"])
    here = find_story(read_in_fahrenheit(trials), IN_FAHRENHEIT["peak temperature"])
    assert (there.unit, here.unit) == ("°C", "°F")
    for one, other in zip(there.points, here.points, strict=True):
        assert other.value == pytest.approx(one.value * 1.8 + 32)
    for one_band, other_band in zip(there.bands, here.bands, strict=True):
        assert other_band.high - other_band.low == pytest.approx(1.8 * (one_band.high - one_band.low))
    rows = find_effects(explained("peak temperature", in_fahrenheit=True)).rows
    assert any("10 °F" in row.per for row in rows)
    assert all("°C" not in row.per for row in rows)


def test_outcomes_are_told_in_order_and_as_far_apart_in_either_unit() -> None:
    outcome = IN_FAHRENHEIT["peak temperature"]
    told = [outcome.told(float(c)) for c in range(0, 100, 7)]
    assert all(later - earlier == pytest.approx(outcome.told_apart(7.0)) for earlier, later in pairwise(told))
    assert outcome.as_kept == IN_CELSIUS["peak temperature"]
