"""Single figures worked out by hand from definitions, where a law alone would let a slip through."""

from __future__ import annotations

import pytest

from formulary.chemistry import acids, alkali, constituents, solubility, superfat_band, water
from formulary.chemistry.alkali import Alkali

# Protons that soap's alkali takes, by counting carboxyl groups (general chemistry, from memory): formula, protons.
PROTONS = {
    "citric": ("C6H8O7", 3),
    "tartaric": ("C4H6O6", 2),
    "malic": ("C4H6O5", 2),
    "lactic": ("C3H6O3", 1),
    "acetic": ("C2H4O2", 1),
    "ascorbic": ("C6H8O6", 1),
    "hydrogen carbonate": ("NaHCO3", 1),
    "disodium edta": ("C10H14N2Na2O8", 2),
}


def test_every_acid_gives_up_its_protons() -> None:
    found = {name: (acid.formula, acid.equivalents_per_mol) for name, acid in acids.ACIDS.items()}
    assert found == PROTONS


def test_water_as_percent_of_the_oils() -> None:
    assert water.water_g_for_percent_of_oils(800, 38) == 304


@pytest.mark.parametrize(("alkali_g", "water_g", "percent"), [(0.1, 0.3, 25), (0.25, 0.25, 50), (3, 0, 100), (0, 3, 0)])
def test_the_concentration_of_a_little_lye(alkali_g: float, water_g: float, percent: float) -> None:
    assert water.lye_concentration_percent(alkali_g, water_g) == pytest.approx(percent)


@pytest.mark.parametrize(("alkali_g", "water_g"), [(0.0, 0.0), (1.0, -1.5)])
def test_a_concentration_of_nothing_is_refused(alkali_g: float, water_g: float) -> None:
    with pytest.raises(ValueError, match="needs alkali or water"):
        water.lye_concentration_percent(alkali_g, water_g)


def test_lyes_of_nearly_any_strength_have_their_water() -> None:
    assert water.water_g_for_concentration(100, 99.5) == pytest.approx(100 * 0.5 / 99.5)
    assert water.water_g_for_concentration(1, 0.5) == pytest.approx(199)


def test_shares_may_be_parts_of_one() -> None:
    by_moles = alkali.split_by_moles(1.0, {Alkali.SODIUM_HYDROXIDE: 0.6, Alkali.POTASSIUM_HYDROXIDE: 0.4})
    assert by_moles[Alkali.SODIUM_HYDROXIDE] == pytest.approx(0.6 * 39.997)
    half = alkali.split_by_moles(1.0, {Alkali.SODIUM_HYDROXIDE: 0.25})
    assert half[Alkali.SODIUM_HYDROXIDE] == pytest.approx(39.997)


def test_a_small_share_below_nothing_is_refused_too() -> None:
    with pytest.raises(ValueError, match="negative"):
        alkali.split_by_mass(1.0, {Alkali.SODIUM_HYDROXIDE: 1.0, Alkali.POTASSIUM_HYDROXIDE: -0.1})


def test_phenols_take_one_hydroxide_each() -> None:
    # eugenol C10H12O2 164.204, thymol C10H14O 150.221, vanillin C8H8O3 152.149 g/mol
    held = {"eugenol": 50.0, "thymol": 10.0, "Vanillin": 5.0, "linalool": 30.0}
    expected = 1000 * (0.5 / 164.204 + 0.1 / 150.221 + 0.05 / 152.149)
    assert constituents.phenol_mol(1000, held) == pytest.approx(expected, rel=1e-5)


def test_a_jug_is_looked_at_when_it_has_cooled_to_20_degrees() -> None:
    # 109 g of NaOH in 100 g of water at 20 °C (Seidell, from memory; 52.2 % read)
    sodium = Alkali.SODIUM_HYDROXIDE
    assert solubility.solubility_g_per_100_g_water(sodium) == 109
    assert solubility.water_g_to_dissolve(109, sodium) == pytest.approx(100)
    assert solubility.saturation({sodium: 109}, 50) == pytest.approx(2)


def test_a_range_that_does_not_hold_its_working_value_makes_no_band_on_that_side() -> None:
    exact = superfat_band.Uncertain(9.5, 9.5, 9.5)
    above = superfat_band.find_superfat_band([superfat_band.Uncertain(10.0, 10.5, 11.0)], [exact])
    assert above.low == above.working == pytest.approx(5)
    below = superfat_band.find_superfat_band([superfat_band.Uncertain(10.0, 9.0, 9.9)], [exact])
    assert below.high == below.working == pytest.approx(5)
