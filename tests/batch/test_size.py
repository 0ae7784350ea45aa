"""How large a batch is to be, in each way that a maker says it; volumes by geometry, the inch by its definition
(2.54 cm, international yard and pound agreement of 1959)."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import pytest

from formulary.batch.model import Batch
from formulary.batch.mould import parse_mould
from formulary.batch.size import Size, demand_sensible, find_masses, parse_size_g
from formulary.batch.volume import cured_mass_g, pot_volume_ml
from formulary.batch.weigh_out import work_out_batch
from formulary.errors import InputError
from formulary.materials.register import read_builtin_register
from formulary.recipes.version import Version
from formulary.settings import Settings
from tests.batch.finding_cases import addition, scented
from tests.batch.recipes import PLAIN, read_recipe

REGISTER = read_builtin_register()
SEASONAL = PLAIN + addition("oat-milk", "8 % of oils", "oils", water="replaces") + scented(("lavender-oil", 2))
SETTINGS = Settings(moulds={"tall": "25 x 8 x 7 cm"}, water_lost_percent=Decimal(60))


def version() -> Version:
    return Version(recipe=read_recipe(SEASONAL), text=SEASONAL, is_saved=False)


def batch_of(**said: object) -> Batch:
    masses = find_masses(Size(**said), version(), REGISTER, SETTINGS)  # type: ignore[arg-type]
    return work_out_batch(version(), REGISTER, SETTINGS, **masses)


@pytest.mark.parametrize(
    ("text", "volume_ml"),
    [
        ("25 x 8 x 7 cm", 25 * 8 * 7),
        ("25x8×7cm", 25 * 8 * 7),
        ("250 x 80 x 70 mm", 25 * 8 * 7),
        ("10 x 3 x 2.5 in", 75 * 2.54**3),
        ("cylinder 8 x 20 cm", math.pi * 4**2 * 20),
        ("cylinder 80 x 200 mm", math.pi * 4**2 * 20),
        ("cylinder 3 x 8 in", math.pi * 1.5**2 * 8 * 2.54**3),
        ("0.5 x 0.5 x 0.5 cm", 0.125),
        (" 1200 ml ", 1200),
        ("999999.5 ml", 999999.5),
        ("1.2 l", 1200),
    ],
)
def test_a_mould_holds_what_geometry_says(text: str, volume_ml: float) -> None:
    mould = parse_mould(text)
    assert mould.volume_ml == pytest.approx(volume_ml)
    assert mould.described == text.strip()


@pytest.mark.parametrize(
    "text",
    [
        "0 x 8 x 7 cm",
        "25 x 0 x 7 cm",
        "25 x 8 x 0 cm",
        "25 x 8 x 1000000 cm",
        "2.5.1 x 8 x 7 cm",
        "10 in x 8 x 7 cm",
        "25 cm x 8 x 7",
        "cylinder 0 x 20 cm",
        "cylinder 8 x 0 cm",
        "0 ml",
        "1000000 ml",
        "1200",
        "1200 g",
        "tall",
    ],
)
def test_what_is_no_mould_is_refused_with_what_to_write(text: str) -> None:
    with pytest.raises(InputError) as raised:
        parse_mould(text)
    (finding,) = raised.value.findings
    assert finding.code == "bad-mould"
    assert "25 x 8 x 7 cm" in finding.do


def test_a_mould_is_filled_to_the_height_that_is_said() -> None:
    for said in ("tall", "25 x 8 x 7 cm", "1400 ml"):
        batch = batch_of(mould=said)
        # rounding the alkali down to 0.1 g takes no more than a third of a millilitre
        assert pot_volume_ml(batch.pot, REGISTER) == pytest.approx(1400, abs=0.4)


def test_bars_weigh_what_was_said_as_poured_or_after_the_cure() -> None:
    assert batch_of(bars=12, bar="110 g").batter_grams == pytest.approx(1320, abs=0.5)
    assert batch_of(bars=1, bar="1.32 kg").batter_grams == pytest.approx(1320, abs=0.5)
    cured = batch_of(bars=12, bar="110 g", cured=True)
    assert cured_mass_g(cured.pot, REGISTER, SETTINGS) == pytest.approx(1320, abs=0.5)
    assert cured.batter_grams > 1400


def test_a_weight_of_oils_or_of_batter_is_taken_as_it_is() -> None:
    assert find_masses(Size(oils="850 g"), version(), REGISTER, SETTINGS) == {"oil_mass_g": 850}
    assert find_masses(Size(total="1.5 kg"), version(), REGISTER, SETTINGS) == {"batter_mass_g": 1500}
    assert batch_of(total="1.5 kg").batter_grams == pytest.approx(1500, abs=0.5)


@pytest.mark.parametrize(
    "said",
    [
        {},
        {"cured": True},
        {"oils": "1 kg", "total": "1 kg"},
        {"oils": "1 kg", "mould": "tall"},
        {"total": "1 kg", "mould": "tall"},
        {"mould": "tall", "bars": 6, "bar": "90 g"},
        {"oils": "1 kg", "bars": 6},
        {"oils": "1 kg", "bar": "90 g"},
        {"bars": 6},
        {"bar": "90 g"},
    ],
)
def test_a_size_is_said_in_one_way(said: dict[str, object]) -> None:
    with pytest.raises(InputError) as raised:
        batch_of(**said)
    assert raised.value.findings[0].code == "size"


@pytest.mark.parametrize("bars", [0, float("nan"), float("inf"), 10**400, Decimal("sNaN")])
def test_no_bars_are_no_batch(bars: Any) -> None:
    with pytest.raises(InputError) as raised:
        batch_of(bars=bars, bar="110 g")
    assert raised.value.findings[0].code == "size"


@pytest.mark.parametrize("text", ["0 g", "-5 g", "1000", "a lot", "1000.1 kg"])
def test_what_is_no_size_of_a_batch_is_refused(text: str) -> None:
    with pytest.raises(InputError) as raised:
        parse_size_g(text)
    assert raised.value.findings[0].code == "bad-size"


def test_a_tonne_is_the_most_whatever_it_is_said_by() -> None:
    assert parse_size_g("1000 kg") == 1_000_000
    demand_sensible(1_000_000, "a tonne")
    with pytest.raises(InputError) as raised:
        demand_sensible(1_000_000.1, "  " + "x" * 60)
    (finding,) = raised.value.findings
    assert finding.what.startswith("x" * 40 + " is more")
    assert "1000 kg" in finding.do
    for said, named in (({"mould": "200 x 200 x 200 cm"}, "200 x 200"), ({"bars": 9_999, "bar": "1 kg"}, "1 kg")):
        with pytest.raises(InputError) as raised:
            batch_of(**said)  # type: ignore[arg-type]
        assert raised.value.findings[0].what.startswith(named)
