"""The label of a loaf lists what was put into its bars, and not what was planned."""

from __future__ import annotations

from dataclasses import replace

import pytest

from formulary.batch.ingredients import IngredientList, list_ingredients
from formulary.batch.weigh_out import work_out_batch
from formulary.errors import InputError
from formulary.materials.model import Lot, Material
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.trials.examples import MIDWINTER_CLOVE, plan_of, trial_of, version_of
from trials.as_made.ingredients import ingredients_of_trial

CASTOR, SUNFLOWER, CLOVE = "RICINUS COMMUNIS SEED OIL", "HELIANTHUS ANNUUS SEED OIL", "EUGENIA CARYOPHYLLUS BUD OIL"
DIVIDED = "portions: [{name: plain, share: 50}, {name: clove, share: 50}]\n"
UNDIVIDED = plan_of(MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("portions:")])


def listed(text: str, portion: str | None = None, *, divided: bool = True) -> IngredientList:
    trial = trial_of(text + DIVIDED) if divided else trial_of(text, UNDIVIDED)
    return ingredients_of_trial(trial, read_builtin_register(), portion)


def names(found: IngredientList) -> set[str]:
    return {line.inci for line in found.in_pot}


def allergens(found: IngredientList) -> set[str]:
    return {name for name, _ in found.allergens}


@pytest.mark.parametrize("portion", [None, "plain", "clove"])
def test_a_loaf_that_was_made_as_planned_lists_what_its_recipe_does(portion: str | None) -> None:
    register = read_builtin_register()
    planned = list_ingredients(
        work_out_batch(version_of(MIDWINTER_CLOVE), register, oil_mass_g=1000.0), register, Settings(), portion=portion
    )
    made = listed("", portion)
    for one, other in ((made.in_pot, planned.in_pot), (made.in_bar, planned.in_bar)):
        assert [line.inci for line in one] == [line.inci for line in other]
        assert [line.percent for line in one] == pytest.approx([line.percent for line in other], abs=0.02)
    assert (made.origins, made.portion, allergens(made)) == (planned.origins, portion, allergens(planned))


def test_what_was_taken_instead_left_out_or_put_in_besides_is_what_is_listed() -> None:
    made = names(listed("as_made: [{line: castor-oil, instead: sunflower-oil, weighed: 80 g}]\n"))
    assert SUNFLOWER in made
    assert CASTOR not in made
    without = listed("as_made: [{line: clove-bud-oil, left_out: true}]\n", divided=False)
    assert CLOVE not in names(without)
    assert allergens(without) == set()
    assert CLOVE in names(listed("", divided=False))
    assert "MEL" in names(listed("as_made: [{extra: honey, weighed: 12 g, at: trace}]\n", divided=False))


def test_what_one_portion_got_besides_stands_on_its_label_alone() -> None:
    text = "as_made: [{extra: honey, weighed: 12 g, at: trace, portion: clove}]\n"
    assert "MEL" in names(listed(text, "clove"))
    assert "MEL" not in names(listed(text, "plain"))
    assert [part.portion for part in listed(text).portions] == ["plain", "clove"]
    assert "eugenol" in allergens(listed(text, "clove"))
    assert allergens(listed(text, "plain")) == set()


def test_what_a_rebatch_took_in_is_in_the_bars() -> None:
    text = "after_pour: [{at: 30 h, what: rebatched, with: {sunflower-oil: 60 g}}]\n"
    assert SUNFLOWER in names(listed(text, divided=False))
    assert SUNFLOWER not in names(listed("", divided=False))


CLOVE_OIL = read_builtin_register()["clove-bud-oil"]
LINALOOL = {"allergens": (*CLOVE_OIL.allergens, "linalool"), "contains": {**CLOVE_OIL.contains, "linalool": 3.0}}


@pytest.mark.parametrize(
    ("lots", "today"),
    [
        ("CB-9", replace(CLOVE_OIL, lots={"CB-9": Lot("CB-9", overrides=LINALOOL)})),
        ("{CB-8: 5 g, CB-9: 7 g}", replace(CLOVE_OIL, lots={"CB-9": Lot("CB-9", overrides=LINALOOL)})),
        ("CB-9", replace(CLOVE_OIL, **LINALOOL)),
    ],
    ids=["of its lot", "of one of its lots", "of the scent in general"],
)
def test_an_allergen_that_is_known_since_is_named(lots: str, today: Material) -> None:
    register = read_builtin_register()
    loaf = trial_of(f"lots: {{clove-bud-oil: {lots}}}\n", UNDIVIDED)
    assert "linalool" not in allergens(ingredients_of_trial(loaf, register))
    assert "linalool" in allergens(ingredients_of_trial(loaf, {**register, today.slug: today}))


@pytest.mark.parametrize(("part", "times"), [(1.1, 1.1), (0.5, 1.0)])
def test_of_an_allergen_the_most_counts_that_was_ever_known(part: float, times: float) -> None:
    register, loaf = read_builtin_register(), trial_of("", UNDIVIDED)
    today = replace(CLOVE_OIL, contains={**CLOVE_OIL.contains, "eugenol": CLOVE_OIL.contains["eugenol"] * part})
    told, by_today = (
        dict(ingredients_of_trial(loaf, each).allergens)["eugenol"]
        for each in (register, {**register, today.slug: today})
    )
    assert told is not None
    assert by_today == pytest.approx(told * times)


@pytest.mark.parametrize("portion", [None, "clove"])
def test_allergens_are_those_of_the_most_scent_that_may_have_gone_in(portion: str | None) -> None:
    about = listed("as_made: [{line: clove-bud-oil, weighed: 6-18 g, portion: clove}]\n", portion)
    most = listed("as_made: [{line: clove-bud-oil, weighed: 18 g, portion: clove}]\n", portion)
    assert about.allergens == most.allergens
    assert [part.allergens for part in about.portions] == [part.allergens for part in most.portions]
    middle = listed("as_made: [{line: clove-bud-oil, weighed: 12 g, portion: clove}]\n", portion)
    assert about.in_pot == middle.in_pot


@pytest.mark.parametrize(
    ("text", "portion", "code"),
    [
        ("as_made: [{line: olive-oil, weighed: unknown}]\n", None, "weight-unknown"),
        ("after_pour: [{at: 30 h, what: rebatched, with: {sunflower-oil: unknown}}]\n", None, "weight-unknown"),
        ("", "mint", "no-portion"),
    ],
)
def test_no_list_is_guessed(text: str, portion: str | None, code: str) -> None:
    with pytest.raises(InputError) as refused:
        listed(text, portion)
    assert [finding.code for finding in refused.value.findings] == [code]
