"""A lot that a batch is worked out with counts in all that follows of it: in a rescue, and in a sitting's sheet.

Molar masses NaOH 39.997, KOH 56.105 g/mol (CIAAW abridged weights); a saponification value is mg KOH for 1 g (ISO
3657).
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from formulary.batch.model import Batch
from formulary.batch.rescue import work_out_rescue
from formulary.batch.sitting import plan_sitting
from formulary.batch.weigh_out import work_out_batch
from formulary.materials.model import Material
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.batch.recipes import read_recipe

FINE = Settings(alkali_step_g=Decimal("0.000001"))
# Invented certificates.
OLIVE = "{format: 1, name: Olive oil, kind: oil, saponification_value: 195, lots: {LOT: {saponification_value: 185}}}"
ALKALI = "{{format: 1, name: {name}, kind: alkali, assay: {general}, lots: {{LOT: {{assay: {lot}}}}}}}"
OWN = {
    "olive-oil": OLIVE,
    "potassium-hydroxide": ALKALI.format(name="Potassium hydroxide", general=88, lot=99),
    "sodium-hydroxide": ALKALI.format(name="Sodium hydroxide", general=99, lot=96),
}
ONE_OIL = "format: 1\nname: x\noils: {olive-oil: 100}\nlye: {alkali: sodium-hydroxide, superfat: 2}\n"
RECIPES = [
    (ONE_OIL + "water: {lye_concentration: 33}\n", "olive-oil"),
    (ONE_OIL + "water: {lye_concentration: 33}\n", "sodium-hydroxide"),
    (ONE_OIL.replace("sodium", "potassium") + "water: {lye_concentration: 33}\n", "potassium-hydroxide"),
]


def own(name: str) -> Material:
    material, findings = parse_material(OWN[name], f"materials/{name}.yaml", name)
    assert material is not None, findings
    return material


def register(name: str) -> dict[str, Material]:
    return {**read_builtin_register(), name: own(name)}


def batch_of(text: str, name: str, *, oil_mass_g: float = 1000.0, settings: Settings = FINE) -> Batch:
    return work_out_batch(read_recipe(text), register(name), settings, oil_mass_g=oil_mass_g, lots={name: "LOT"})


def test_a_rescue_of_oil_by_its_certificate_leaves_the_stated_superfat_by_it() -> None:
    text = RECIPES[0][0]
    batch = batch_of(text, "olive-oil")
    for weighed_g in (1000.0, 1200.0):
        found = work_out_rescue(batch, {"olive-oil": weighed_g}, register("olive-oil"), FINE)
        (alkali,) = (line for line in found.remaining if line.material == "sodium-hydroxide")
        # By the register's 195 it would be 5.4 % more: beyond all of the oil.
        assert alkali.remaining_grams == pytest.approx(0.98 * weighed_g * 185 / 1000 / 56.105 * 39.997, abs=1e-4)
        assert found.superfat_percent == pytest.approx(2.0, abs=1e-4)


@pytest.mark.parametrize("lye_is_in", [False, True])
@pytest.mark.parametrize(("text", "name"), RECIPES)
def test_where_nothing_went_over_a_rescue_changes_nothing_whatever_the_lot(
    text: str, name: str, *, lye_is_in: bool
) -> None:
    batch = batch_of(text, name)
    planned = {line.material: line.grams for line in batch.pot.lines}
    found = work_out_rescue(batch, {"olive-oil": 1000.0}, register(name), FINE, lye_is_in=lye_is_in)
    assert found.way == "as-it-is"
    there = {line.material: line.weighed_grams + line.remaining_grams for line in found.remaining}
    assert there == pytest.approx(planned, abs=1e-4)
    assert found.superfat_percent == pytest.approx(batch.superfat.effective, abs=1e-4)


@pytest.mark.parametrize("name", ["sodium-hydroxide", "potassium-hydroxide"])
def test_too_much_alkali_of_a_lot_gets_the_oil_that_its_certificate_asks_for(name: str) -> None:
    text = next(text for text, of in RECIPES if of == name)
    batch = batch_of(text, name)
    over_g = 1.2 * batch.lye[0].grams
    found = work_out_rescue(batch, {name: over_g}, register(name), FINE)
    assert found.way == "more-oil"
    assert found.superfat_percent == pytest.approx(2.0, abs=1e-3)


def test_the_sheet_of_a_sitting_is_judged_by_the_lots_that_its_loaves_were_worked_out_with() -> None:
    for text, name in RECIPES:
        loaves = [batch_of(text, name, oil_mass_g=size_g, settings=Settings()) for size_g in (1000.0, 500.0)]
        found = {finding.code for finding in plan_sitting(loaves, register(name), Settings()).findings}
        # Grams are printed to a tenth of the alkali: nothing of the superfat is lost by rounding.
        assert "oils-rounded" not in found, name
