"""`trial show` is the batch record: every lot, weight, deviation, condition, event, result and decision is on it."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from tests.trials.examples import TRIAL, outcomes, trial_of
from trials.as_made.effective import effective_portion
from trials.as_made.lots_used import materials_of
from trials.as_made.pot_as_made import effective_pot
from trials.checks.checks import check_trial
from trials.trial_json import trial_json
from trials.trial_text import render_trial

FULL = (
    TRIAL
    + """\
who: Robin
bars: {cut: 10, kept_back: 1, scrapped: 2, lightest: 98.5 g}
release: {decision: hold, who: Robin, why: too soft yet, on: 2026-11-01}
notes: smells of clove
"""
)
# Stable keys: more may come, none may go.
KEYS = {
    "trial",
    "recipe",
    "version",
    "made",
    "sitting",
    "who",
    "size",
    "planned",
    "in_the_pot",
    "as_made",
    "superfat",
    "lots",
    "conditions",
    "scent",
    "portions",
    "events",
    "outcomes",
    "missing",
    "bars",
    "release",
    "not_fit_to_sell",
    "notes",
    "findings",
}


def said(text: str) -> str:
    """A text as one line, however it was wrapped."""
    return " ".join(text.split())


def test_everything_that_a_batch_record_needs_is_on_it_in_80_columns() -> None:
    trial = trial_of(FULL)
    text = render_trial(trial, check_trial(trial), outcomes(), show_all=True)
    assert max(len(line) for line in text.split("\n")) <= 80
    for needed in (
        trial.id,
        trial.version[:8],
        "made 2026-10-03 by Robin",
        "castor oil, at trace 80.0 0.0",
        "sunflower oil, at trace 0.0 80.0",
        "olive oil 450.0 455.0",
        "no rose clay",
        "extra honey 12 g at trace in the clove portion",
        "portions % g superfat, %",
        "give or take 10 %",
        "clove bud oil in clove",
        "Split by eye: superfat and scent are those of the worst end",
        "olive oil OL-7 (300 g) and OL-8 (155 g)",
        "room 19 °C, humidity 55 %, lye 37 °C, oils 41 °C, mould tall-loaf",
        "blending 0:20 clove, for 15 s",
        "scent in 2:40 clove",
        "unmoulded 20 h after pouring",
        "hardness at 28 d 3.1 mm, n 3",
        "gel 100 %, clove portion",
        "10 cut, 1 kept back, 2 scrapped, the lightest 98.5 g",
        "decision: hold, by Robin on 2026-11-01: too soft yet",
        "not fit to sell:",
        "smells of clove",
    ):
        assert needed in said(text), needed


def test_the_same_as_json_keeps_its_keys_and_plain_values() -> None:
    trial = trial_of(FULL)
    tree = json.loads(json.dumps(trial_json(trial, check_trial(trial), outcomes())))
    assert set(tree) >= KEYS
    assert tree["conditions"]["room_c"] == 19.0
    assert tree["bars"] == {"cut": 10, "kept_back": 1, "scrapped": 2, "lightest_grams": 98.5}
    assert tree["release"]["decision"] == "hold"
    assert {line["material"]: line["grams"] for line in tree["in_the_pot"]}["sunflower-oil"] == 80.0
    assert tree["lots"]["olive-oil"] == ["OL-7", "OL-8"]


def test_each_portion_is_on_it_with_its_weight_superfat_own_lines_and_scent_at_the_worst_end_of_its_split() -> None:
    """By hand: of the clove portion, 40 to 60 % of what is shared, 12 g of honey and 7.5 g of clove bud oil."""
    trial = trial_of(FULL)
    pot, materials = effective_pot(trial.plan, trial.as_made, trial.portions, trial.added), materials_of(trial)
    shared_g = sum(line.grams for line in pot.lines if line.portion is None)
    shared_water_g = sum(
        line.grams * (1.0 if line.material == "water" else (materials[line.material].water_percent or 0.0) / 100.0)
        for line in pot.lines
        if line.portion is None
    )
    honey_water_g = 12.0 * (materials["honey"].water_percent or 0.0) / 100.0
    cured_g = 0.4 * shared_g + 19.5 - 0.6 * (0.4 * shared_water_g + honey_water_g)
    wanted = 100.0 * 7.5 / cured_g
    tree = json.loads(json.dumps(trial_json(trial, (), outcomes())))
    plain, clove = tree["portions"]
    assert [(each["name"], each["share_percent"], each["by_eye_percent"]) for each in (plain, clove)] == [
        ("plain", 50.0, 10.0),
        ("clove", 50.0, 10.0),
    ]
    assert plain["grams"] == pytest.approx(0.5 * shared_g)
    assert clove["grams"] == pytest.approx(0.5 * shared_g + 19.5)
    assert {line["material"]: line["grams"] for line in clove["own_lines"]} == {"honey": 12.0, "clove-bud-oil": 7.5}
    assert (plain["own_lines"], plain["scent"]) == ([], [])
    (scent,) = clove["scent"]
    assert scent["percent_of_cured"] == pytest.approx(wanted)
    assert clove["superfat_percent"] == pytest.approx(effective_portion(trial, "clove").figures.superfat_effective)
    text = said(render_trial(trial, (), outcomes()))
    assert f"clove 50 {0.5 * shared_g + 19.5:.0f} {clove['superfat_percent']:.1f} give or take 10 %" in text
    assert "honey, at trace 12.0" in text
    assert "clove bud oil, at trace 7.5" in text
    assert f"clove bud oil in clove {wanted:.2f} not known" in text


def test_a_loaf_that_was_not_divided_tells_its_scent_and_limit_too() -> None:
    trial = trial_of("notes:\n")
    whole = replace(trial, portions=())
    text = said(render_trial(whole, (), outcomes()))
    (scent,) = trial_json(whole, (), outcomes())["scent"]  # type: ignore[misc]
    assert f"scent in the cured bar % limit, % clove bud oil {scent['percent_of_cured']:.2f} not known" in text
    assert "portions" not in text


def test_a_trial_with_nothing_recorded_yet_says_so() -> None:
    trial = trial_of("notes:\n")
    text = said(render_trial(trial, (), outcomes()))
    assert "nothing observed yet" in text
    assert "weights as planned" in text


def test_what_the_cure_is_expected_to_take_of_what_was_really_poured_stands_beside_its_assumption() -> None:
    trial = trial_of(TRIAL)
    pot, materials = effective_pot(trial.plan, trial.as_made, trial.portions, trial.added), materials_of(trial)
    poured_g = sum(line.grams for line in pot.lines)
    water_g = sum(
        line.grams * (100.0 if line.role == "water" else materials[line.material].water_percent or 0.0) / 100.0
        for line in pot.lines
    )
    lost = float(trial.plan.settings.water_lost_percent)
    loss_percent = water_g * lost / poured_g
    expected = f"{loss_percent:.1f} % lighter than poured, if {lost:g} % of the water is lost"
    assert expected in said(render_trial(trial, (), outcomes()))
    cured = trial_json(trial, (), outcomes())["cured"]
    assert isinstance(cured, dict)
    assert cured["mass_loss_percent"] == pytest.approx(loss_percent)
