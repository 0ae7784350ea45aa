"""How much room a batter takes, from round grams and densities; the density of lye is held by tests/outside."""

from __future__ import annotations

from decimal import Decimal

import pytest

from formulary.batch.model import Pot, PotLine
from formulary.batch.volume import cured_mass_g, pot_volume_ml
from formulary.chemistry.alkali import Alkali
from formulary.chemistry.density import lye_density_g_per_ml
from formulary.materials.model import Known, Material, MaterialKind, ValueRange
from formulary.settings import Settings

SODIUM, POTASSIUM = Alkali.SODIUM_HYDROXIDE, Alkali.POTASSIUM_HYDROXIDE
ASSAY = ValueRange(70.0, 90.0, 80.0, Known("maker", "invented for this test"))
MATERIALS = {
    each.slug: each
    for each in (
        Material("oil", "Oil", MaterialKind.OIL, density_g_per_ml=0.9),
        Material("bare", "Bare", MaterialKind.OIL),
        Material("clay", "Clay", MaterialKind.COLOURANT, density_g_per_ml=2.0),
        Material("dust", "Dust", MaterialKind.COLOURANT),
        Material("soda", "Soda", MaterialKind.ALKALI, alkali=SODIUM),
        Material("half", "Half", MaterialKind.ALKALI, alkali=SODIUM, assay_percent=ASSAY, water_percent=20.0),
        Material("potash", "Potash", MaterialKind.ALKALI, alkali=POTASSIUM),
        Material("water", "Water", MaterialKind.LIQUID, water_percent=100.0),
    )
}


def line(name: str, role: str, grams: float, at: str = "oils") -> PotLine:
    return PotLine(name, role, at, grams)


def volume_ml(*lines: PotLine) -> float:
    return pot_volume_ml(Pot(lines), MATERIALS)


def lye_ml(grams: float, percent: float, alkali: Alkali = SODIUM) -> float:
    return grams / lye_density_g_per_ml(alkali, percent)


@pytest.mark.parametrize(
    ("lines", "expected_ml"),
    [
        ([line("oil", "oil", 900.0)], 1000.0),
        # an ordinary oil and what is mixed in, where nothing is known of their densities
        ([line("bare", "oil", 92.0), line("dust", "addition", 10.0)], 110.0),
        ([line("clay", "addition", 10.0), line("clay", "addition", 30.0, "top")], 5.0),
        ([line("clay", "addition", 0.5), line("oil", "oil", 0.0)], 0.25),
    ],
)
def test_oils_and_additions_keep_their_own_volume(lines: list[PotLine], expected_ml: float) -> None:
    assert volume_ml(*lines) == pytest.approx(expected_ml)


@pytest.mark.parametrize(
    ("lines", "expected_ml"),
    [
        ([line("soda", "alkali", 100.0), line("water", "water", 200.0)], lye_ml(300, 100 / 3)),
        ([line("soda", "alkali", 0.3), line("water", "water", 0.6)], lye_ml(0.9, 100 / 3)),
        # only the pure part counts in its strength; it may bring water of its own
        ([line("half", "alkali", 100.0), line("water", "water", 100.0)], lye_ml(200, 100 * 80 / 200)),
        ([line("potash", "alkali", 100.0), line("water", "water", 200.0)], lye_ml(300, 100 / 3, POTASSIUM)),
        (
            [line("soda", "alkali", 50.0), line("potash", "alkali", 50.0), line("water", "water", 200.0)],
            lye_ml(300, 100 / 3),
        ),
        # no table goes further than half and half
        ([line("soda", "alkali", 100.0), line("water", "water", 98.0)], lye_ml(198, 50)),
        ([line("soda", "alkali", 100.0), line("water", "water", 102.0)], lye_ml(202, 100 * 100 / 202)),
        ([line("soda", "alkali", 100.0), line("water", "water", 40.0)], lye_ml(140, 50)),
        # what is no lye yet is taken as water
        ([line("water", "water", 0.4)], 0.4),
        ([line("soda", "alkali", 100.0)], 100.0),
        ([line("soda", "alkali", 0.0), line("water", "water", 80.0)], 80.0),
    ],
)
def test_lye_has_the_volume_of_its_strength(lines: list[PotLine], expected_ml: float) -> None:
    assert volume_ml(*lines) == pytest.approx(expected_ml)
    assert volume_ml(*lines, line("oil", "oil", 900.0)) == pytest.approx(expected_ml + 1000)


def test_bars_weigh_less_by_the_water_that_the_cure_takes() -> None:
    lines = (line("oil", "oil", 900.0), line("water", "water", 200.0), line("clay", "addition", 30.0, "top"))
    cured_g = cured_mass_g(Pot(lines), MATERIALS, Settings(water_lost_percent=Decimal(40)))
    assert cured_g == pytest.approx(1130 - 80)
