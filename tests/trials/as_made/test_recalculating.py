"""Working a trial out again with today's register is asked for, shown as a difference, and changes nothing."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.materials.model import Known, ValueRange
from formulary.materials.register import read_builtin_register
from tests.trials.examples import TRIAL, trial_of
from trials.as_made.effective import effective_portion
from trials.as_made.recalculate import recalculate, render_recalculation

REGISTER = read_builtin_register()


def test_by_the_same_register_nothing_differs() -> None:
    trial = trial_of(TRIAL)
    found = recalculate(trial, REGISTER)
    assert found.changes == ()
    assert found.before == found.after
    assert found.before.superfat_effective == effective_portion(trial).figures.superfat_effective
    assert "the same values" in render_recalculation(found)


@given(st.floats(180.0, 200.0))
def test_another_saponification_value_moves_the_superfat_as_stoichiometry_says(working: float) -> None:
    """455 g of olive oil: each mg KOH per g is 455 / 56105 mol of the pot's fat."""
    trial = trial_of(TRIAL)
    value = ValueRange(working - 1.0, working + 1.0, working, Known("maker", "invented certificate"))
    oil = replace(REGISTER["olive-oil"], saponification_value=value)
    found = recalculate(trial, {**REGISTER, "olive-oil": oil})
    frozen = trial.plan.materials["olive-oil"].saponification_value
    assert frozen is not None
    alkali_mol = found.before.pure_alkali_g / 39.997
    fat_mol = alkali_mol / (1.0 - found.before.superfat_effective / 100.0)
    after_mol = fat_mol + 455.0 * (working - frozen.working) / 56105.0
    assert found.after.superfat_effective == pytest.approx(100.0 * (1.0 - alkali_mol / after_mol), abs=1e-6)
    assert trial == trial_of(TRIAL)


def test_what_changed_and_what_is_gone_is_said() -> None:
    value = ValueRange(186.0, 188.0, 187.0, Known("maker", "invented certificate"))
    today = {**REGISTER, "olive-oil": replace(REGISTER["olive-oil"], saponification_value=value)}
    del today["oat-milk"]
    found = recalculate(trial_of(TRIAL), today)
    assert [(change.material, change.value) for change in found.changes] == [("olive-oil", "saponification value")]
    assert found.gone == ("oat-milk",)
    text = render_recalculation(found)
    assert "instead of" in text
    assert "olive oil, saponification value: 190 (184 to 196), today 187 (186 to 188)" in " ".join(text.split())
    assert found.to_json()["gone"] == ["oat-milk"]


def test_another_source_of_the_same_number_is_no_change() -> None:
    oil = REGISTER["olive-oil"]
    assert oil.saponification_value is not None
    same = replace(oil, saponification_value=replace(oil.saponification_value, known=Known("maker", "another book")))
    assert recalculate(trial_of(TRIAL), {**REGISTER, "olive-oil": same}).changes == ()
