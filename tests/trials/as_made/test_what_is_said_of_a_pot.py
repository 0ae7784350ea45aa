"""What is said of a batch as it was really made, where its plan had nothing to say of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from formulary.finding import Finding, Severity
from formulary.materials.model import Known, ValueRange
from tests.trials.examples import MIDWINTER_CLOVE, outcomes, plan_of, trial_of
from trials.as_made.as_made_recipe import describe_as_made
from trials.checks.checks import check_trial
from trials.checks.sale import fit_to_sell
from trials.trial.model import Plan
from trials.trial.words import divided_words
from trials.trial_text import render_trial

PLAIN = MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("scent:")]
FROZEN = PLAIN.replace("at: oils, water: replaces", "at: lye water, water: replaces, prepared: frozen")


def told(text: str, plan: Plan) -> dict[str, Finding]:
    return {finding.code: finding for finding in check_trial(trial_of(text, plan))}


def test_a_doubted_saponification_value_is_told_of_the_trial_as_of_its_plan() -> None:
    plan = plan_of(PLAIN)
    doubted = ValueRange(218.0, 220.0, 219.0, Known("maker", "invented certificate"))
    olive = replace(plan.materials["olive-oil"], saponification_value=doubted, reference_saponification_value=doubted)
    assert "saponification-doubted" not in told("notes: none\n", plan)
    plan = replace(plan, materials={**plan.materials, "olive-oil": olive})
    assert told("notes: none\n", plan)["saponification-doubted"].severity is Severity.STOP


def test_honey_that_went_into_the_lye_is_told_and_does_not_keep_the_bars_from_sale() -> None:
    plan = plan_of(PLAIN)
    honey = "as_made: [{extra: honey, weighed: 12 g, at: lye water}]\n"
    plan = replace(plan, materials={**plan.materials, "honey": plan_of(PLAIN + HONEY).materials["honey"]})
    found = told(honey, plan)["sugar-in-lye"]
    assert found.severity is Severity.WARN
    assert found.place.line is not None
    assert "sugar-in-lye" not in told(honey.replace("lye water", "trace"), plan)
    points = fit_to_sell(trial_of(honey, plan))
    assert "sugar-in-lye" not in [finding.code for finding in points]


HONEY = "  - {material: honey, rate: 1 % of oils, at: trace, water: extra}\n"


def test_water_that_is_not_known_is_told() -> None:
    plan = plan_of(PLAIN)
    unknown = replace(plan.materials["oat-milk"], water_percent=None)
    assert "water-unknown" not in told("notes: none\n", plan)
    plan = replace(plan, materials={**plan.materials, "oat-milk": unknown})
    assert told("notes: none\n", plan)["water-unknown"].severity is Severity.WARN


def test_a_milk_that_the_recipe_freezes_is_frozen_in_the_batch_as_made() -> None:
    side = describe_as_made(trial_of("as_made: [{line: rose-clay, left_out: true}]\n", plan_of(FROZEN)))
    (milk,) = side.recipe.additions
    assert milk.prepared == ("frozen",)
    assert "milk-not-frozen" not in {finding.code for finding in side.findings}
    thawed = plan_of(FROZEN.replace(", prepared: frozen", ""))
    side = describe_as_made(trial_of("notes: none\n", thawed))
    assert "milk-not-frozen" in {finding.code for finding in side.findings}


@pytest.mark.parametrize(
    ("portions", "said"),
    [
        ("portions: [{name: plain, share: 50}, {name: clove, share: 50}]\n", ""),
        ("portions: [{name: plain, share: {percent: 50, by_eye: 10}}, {name: clove, share: 50}]\n", ""),
        ("portions: [{name: plain, share: 60}, {name: clove, share: 40}]\n", "divided into plain 60 %, clove 40 %"),
        (
            "portions: [{name: plain, share: 50}, {name: swirl, instead_of: clove, share: 50}]\n",
            "divided into plain 50 %, swirl 50 %",
        ),
        ("", "not divided"),
    ],
)
def test_a_batter_that_was_divided_otherwise_was_not_made_as_planned(portions: str, said: str) -> None:
    trial = trial_of(portions)
    assert divided_words(trial) == said
    shown = " ".join(render_trial(trial, (), outcomes()).split())
    assert ("Made as planned" in shown) == (not said)
    assert (f"as made: {said}" in shown) == bool(said)
