"""What additions carry: fat raises the effective superfat, acids get alkali of their own, salts take none.

The balances are worked out here from grams and definitions: saponification value in mg KOH per g (ISO 3657), molar
masses NaOH 39.997 and KOH 56.105 (CIAAW abridged weights), protons of each acid (general chemistry, from memory).
"""

from __future__ import annotations

import pytest

from formulary.batch.model import Batch
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.batch.recipes import PLAIN, codes, weigh_out

REGISTER = read_builtin_register()


def with_addition(material: str, percent: float, at: str = "oils", water: str | None = None) -> Batch:
    said = f", water: {water}" if water else ""
    return weigh_out(f"{PLAIN}additions: [{{material: {material}, rate: {percent} % of oils, at: {at}{said}}}]\n")


def superfat_from_grams(batch: Batch, extra_fat_g: float, extra_value: float, acid_mol: float = 0.0) -> float:
    fat_mol = extra_fat_g * extra_value / 56_105
    for oil in batch.oils:
        value = REGISTER[oil.material].saponification_value
        assert value is not None
        fat_mol += oil.grams * value.working / 56_105
    return 100 * (1 - (batch.lye[0].pure_grams / 39.997 - acid_mol) / fat_mol)


@pytest.mark.parametrize(
    ("material", "percent", "fat_percent", "value"),
    [
        ("egg-yolk", 5.0, 26.54, 190.0),  # USDA SR28, NDB 01125
        ("coconut-milk", 10.0, 23.84, 256.5),  # USDA SR28, NDB 12117
        ("avocado-puree", 10.0, 14.66, 186.0),  # USDA SR28, NDB 09037
    ],
)
def test_fat_carried_by_an_addition_gets_no_alkali_and_raises_the_superfat(
    material: str, percent: float, fat_percent: float, value: float
) -> None:
    batch = with_addition(material, percent, water="replaces")
    assert batch.lye[0].grams == weigh_out(PLAIN).lye[0].grams
    expected = superfat_from_grams(batch, 10 * percent * fat_percent / 100, value)
    assert batch.superfat.effective == pytest.approx(expected, abs=0.01)
    assert batch.superfat.effective > weigh_out(PLAIN).superfat.effective


def test_oil_that_a_mica_is_wetted_with_counts_and_is_said_to() -> None:
    batch = with_addition("sunflower-oil", 2.0, at="trace")
    assert batch.lye[0].grams == weigh_out(PLAIN).lye[0].grams
    value = REGISTER["sunflower-oil"].saponification_value
    assert value is not None
    assert batch.superfat.effective == pytest.approx(superfat_from_grams(batch, 20.0, value.working), abs=0.01)
    assert "oil-addition" in codes(batch, "note")
    assert "oil-addition" not in codes(weigh_out(PLAIN), "note")


# percent of acid in the material, molar mass, protons
ACIDS = {
    "citric-acid-anhydrous": (100.0, 192.123, 3),
    "citric-acid-monohydrate": (100.0, 210.138, 3),
    "tartaric-acid": (100.0, 150.086, 2),
    "malic-acid": (100.0, 134.087, 2),
    "ascorbic-acid": (100.0, 176.124, 1),
    "lactic-acid-88": (88.0, 90.078, 1),
    "vinegar-5": (5.0, 60.052, 1),
    "lemon-juice": (5.5, 192.123, 3),
    "sodium-bicarbonate": (100.0, 84.006, 1),
    "disodium-edta": (100.0, 372.24, 2),
}


@pytest.mark.parametrize("material", ACIDS)
def test_an_added_acid_gets_its_alkali_on_top_as_a_figure_of_its_own(material: str) -> None:
    percent, molar_mass, protons = ACIDS[material]
    wet = REGISTER[material].water_percent or 0
    batch = with_addition(material, 2.0, at="lye water", water="replaces" if wet > 5 else None)
    acid_mol = 20.0 * percent / 100 / molar_mass * protons
    assert batch.lye[0].for_acids_grams == pytest.approx(acid_mol * 39.997, rel=2e-4)
    # rounding down to 0.1 g takes up to that much of the alkali
    without = weigh_out(PLAIN).lye[0].grams
    assert batch.lye[0].grams - without == pytest.approx(acid_mol * 39.997, abs=0.11)
    assert batch.superfat.effective == pytest.approx(superfat_from_grams(batch, 0, 0, acid_mol), abs=0.04)


@pytest.mark.parametrize(
    "material", ["sodium-citrate", "sodium-lactate-60", "tetrasodium-edta", "sodium-gluconate", "salt"]
)
def test_salts_take_no_alkali(material: str) -> None:
    wet = (REGISTER[material].water_percent or 0) > 5
    batch = with_addition(material, 2.0, at="lye water", water="replaces" if wet else None)
    assert batch.lye[0].grams == weigh_out(PLAIN).lye[0].grams
    assert batch.lye[0].for_acids_grams == 0
    assert batch.superfat.effective == pytest.approx(weigh_out(PLAIN).superfat.effective)


def test_spoons_are_weighed_by_the_loose_density_or_by_the_makers_own_weighing() -> None:
    batch = weigh_out(PLAIN + "additions: [{material: rose-clay, rate: 1 tbsp per kg oils, at: oils}]\n")
    # 15 ml of loose rose clay of 0.6 g/ml (from memory)
    assert batch.additions[0].grams == pytest.approx(15 * 0.6)
    assert Settings().measures_ml["tbsp"] == 15
