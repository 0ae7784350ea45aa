"""Several loaves at once, a weighing that went over, and how large a batch is."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.from_weights import percentages_from_weights
from formulary.batch.mould import parse_mould
from formulary.batch.rescue import work_out_rescue
from formulary.batch.sitting import plan_sitting
from formulary.batch.sitting_model import Sitting
from formulary.batch.volume import cured_mass_g, pot_volume_ml
from formulary.batch.weighed import parse_weighed
from formulary.errors import InputError
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.batch.recipes import PLAIN, codes, weigh_out

REGISTER = read_builtin_register()
HARD = PLAIN.replace("olive-oil: 60", "olive-oil: 40\n  shea-butter: 20")
MINT = HARD.replace("superfat: 5", "superfat: 6").replace("shea-butter: 20", "shea-butter: 12\n  castor-oil: 8")


def total_by_material(sitting: Sitting) -> dict[str, float]:
    grams: dict[str, float] = {}
    for shared in (sitting.pot, sitting.jug):
        for material, weight_g in shared.lines if shared is not None else ():
            grams[material] = grams.get(material, 0.0) + weight_g
    for lines in sitting.own:
        for line in lines:
            grams[line.material] = grams.get(line.material, 0.0) + line.grams
    return grams


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.sampled_from([PLAIN, HARD, MINT]), st.integers(300, 2000)), min_size=2, max_size=5))
def test_the_totals_of_a_sitting_are_the_sums_of_its_loaves(loaves: list[tuple[str, int]]) -> None:
    batches = [weigh_out(text, oil_mass_g=float(grams)) for text, grams in loaves]
    sitting = plan_sitting(batches, REGISTER)
    wanted: dict[str, float] = {}
    for batch in batches:
        for line in batch.pot.lines:
            wanted[line.material] = wanted.get(line.material, 0.0) + line.grams
    assert total_by_material(sitting) == pytest.approx(wanted, abs=1e-6)
    for shared in (sitting.pot, sitting.jug):
        if shared is not None:
            assert sum(shared.each) == pytest.approx(shared.total_grams)


def test_loaves_of_one_lye_strength_share_a_jug_and_others_say_why_not() -> None:
    same = plan_sitting([weigh_out(HARD), weigh_out(MINT, oil_mass_g=500)], REGISTER)
    assert same.jug is not None
    assert same.pot is not None
    assert {material for material, _ in same.pot.lines} >= {"coconut-oil", "shea-butter"}
    stronger = weigh_out(PLAIN.replace("lye_concentration: 33", "lye_concentration: 35"))
    differs = plan_sitting([weigh_out(PLAIN), stronger], REGISTER)
    assert differs.jug is None
    assert differs.jug_reason == "the loaves' lyes differ in strength"


@settings(max_examples=60, deadline=None)
@given(st.floats(601, 900))
def test_more_oil_than_planned_gets_the_alkali_that_keeps_the_superfat(weighed_g: float) -> None:
    batch = weigh_out(PLAIN)
    rescue = work_out_rescue(batch, {"olive-oil": weighed_g}, REGISTER, Settings())
    assert rescue.way == "new-alkali"
    assert rescue.superfat_percent == pytest.approx(5.0, abs=0.1)
    lye = next(line for line in rescue.remaining if line.role == "alkali")
    assert lye.remaining_grams > lye.planned_grams


@settings(max_examples=60, deadline=None)
@given(st.floats(0.5, 60))
def test_alkali_that_went_over_is_met_with_oil_and_never_left_in_excess(over_g: float) -> None:
    batch = weigh_out(PLAIN)
    planned = batch.lye[0].grams
    rescue = work_out_rescue(batch, {"sodium-hydroxide": planned + over_g}, REGISTER, Settings())
    assert rescue.way == "more-oil"
    assert rescue.superfat_percent == pytest.approx(5.0, abs=0.1)
    for line in rescue.remaining:
        assert line.remaining_grams >= -1e-9
    percent = {
        line.material: line.weighed_grams + line.remaining_grams for line in rescue.remaining if line.role == "oil"
    }
    whole = sum(percent.values())
    assert 100 * percent["olive-oil"] / whole == pytest.approx(60)


def test_what_was_weighed_must_be_in_the_batch() -> None:
    with pytest.raises(InputError) as raised:
        work_out_rescue(weigh_out(PLAIN), {"olive-oill": 600.0}, REGISTER, Settings())
    assert "olive-oil" in raised.value.findings[0].do
    assert parse_weighed("olive-oil 490 g") == ("olive-oil", 490.0)
    with pytest.raises(InputError):
        parse_weighed("olive-oil 490")


@settings(max_examples=200, deadline=None)
@given(st.lists(st.decimals(Decimal("0.1"), 5000, places=1), min_size=1, max_size=12), st.integers(0, 4))
def test_percentages_from_weights_total_exactly_100_and_are_off_by_less_than_a_step(
    weights: list[Decimal], places: int
) -> None:
    named = {f"oil-{number}": weight for number, weight in enumerate(weights)}
    percents = percentages_from_weights(named, places=places)
    assert sum(percents.values()) == 100
    for name, weight in named.items():
        exact = float(weight) * 100 / float(sum(weights))
        assert abs(float(percents[name]) - exact) < 10**-places + 1e-9


def test_moulds_are_read_in_their_three_forms() -> None:
    assert parse_mould("25 x 8 x 7 cm").volume_ml == pytest.approx(25 * 8 * 7)
    assert parse_mould("250 x 80 x 70 mm").volume_ml == pytest.approx(25 * 8 * 7)
    assert parse_mould("cylinder 8 x 20 cm").volume_ml == pytest.approx(math.pi * 16 * 20)
    for alike in ("25cm x 8cm x 7cm", "25x8x7cm", "25 X 8 X 7 CM", "250 mm × 8 cm × 7 cm", "25 cm x 80 mm x 7 cm"):
        assert parse_mould(alike).volume_ml == pytest.approx(25 * 8 * 7)
    assert parse_mould("1.2 l").volume_ml == pytest.approx(1200)
    foreign = ("٢٥ x ٨ x ٧ cm", "cylinder ٨ x ٢٠ cm")
    for bad in (*foreign, "25 x 8 cm", "25 x 8 x 7", "25 cm x 8 x 7", "25 x 80 mm x 7 cm", "0 x 8 x 7 cm", "tall loaf"):
        with pytest.raises(InputError):
            parse_mould(bad)


def test_the_volume_of_a_batter_lies_between_water_and_oil_of_its_mass() -> None:
    batch = weigh_out(PLAIN)
    volume_ml = pot_volume_ml(batch.pot, REGISTER)
    assert batch.batter_grams / 1.15 < volume_ml < batch.batter_grams / 0.92
    doubled = weigh_out(PLAIN, oil_mass_g=2000.0)
    assert pot_volume_ml(doubled.pot, REGISTER) == pytest.approx(2 * volume_ml, rel=1e-3)


def test_a_cured_bar_weighs_less_by_the_water_that_the_cure_takes() -> None:
    batch = weigh_out(PLAIN)
    cured_g = cured_mass_g(batch.pot, REGISTER, Settings(water_lost_percent=Decimal(50)))
    assert cured_g == pytest.approx(batch.batter_grams - batch.water.total_grams / 2)


def test_a_pot_or_a_jug_that_the_batch_fills_too_far_is_warned_of() -> None:
    vessels = Settings(vessels_ml={"pot": Decimal(2000), "jug": Decimal(800)})
    assert {"pot-small", "jug-small"} & codes(weigh_out(PLAIN, settings=vessels), "warn") == set()
    full = codes(weigh_out(PLAIN, oil_mass_g=1400.0, settings=vessels), "warn")
    assert {"pot-small", "jug-small"} <= full


def test_a_strong_ready_made_sodium_lye_is_told_to_crystallise_and_a_weak_one_is_not() -> None:
    strong = PLAIN.replace("alkali: sodium-hydroxide", "alkali: sodium-hydroxide-solution-50")
    weak = PLAIN.replace("alkali: sodium-hydroxide", "alkali: sodium-hydroxide-solution-33")
    assert "lye-crystallises" in codes(weigh_out(strong), "warn")
    assert "lye-crystallises" not in codes(weigh_out(weak), "warn")
