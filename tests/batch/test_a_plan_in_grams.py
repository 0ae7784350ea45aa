"""A plan, worked out here once more from its percentages and rates: oils, alkali, water, additions, portions.

Molar masses NaOH 39.997, KOH 56.105 g/mol (CIAAW abridged weights); a saponification value is mg KOH for 1 g (ISO
3657).
"""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import pytest

from formulary.batch.model import Batch
from formulary.batch.weigh_out import rate_g, work_out_batch
from formulary.errors import InputError
from formulary.materials.model import Known, Lot, Material, MaterialKind, ValueRange
from formulary.materials.register import Register, read_builtin_register
from formulary.rate import parse_rate
from formulary.recipes.version import Version
from formulary.settings import Settings
from tests.batch.finding_cases import addition, plain
from tests.batch.recipes import PLAIN, read_recipe

NAOH, KOH = 39.997, 56.105
KNOWN = Known("maker", "invented for this test")
BUILTIN = read_builtin_register()
FINE = Settings(alkali_step_g=Decimal("0.000001"))


def weigh_out(text: str, *, settings: Settings = FINE, register: Register = BUILTIN, **size: float) -> Batch:
    return work_out_batch(read_recipe(text), register, settings, **(size or {"oil_mass_g": 1000.0}))  # type: ignore[arg-type]


def with_own(material: Material) -> Register:
    return Register([*(each for each in BUILTIN.values() if each.slug != material.slug), material])


def sv(name: str) -> float:
    value = BUILTIN[name].saponification_value
    assert value is not None
    return value.working


FAT_MOL = (600 * sv("olive-oil") + 250 * sv("coconut-oil") + 150 * sv("sunflower-oil")) / 1000 / KOH
PURE_G = 0.95 * FAT_MOL * NAOH


def lines(batch: Batch, *, role: str) -> list[tuple[str, float, str | None]]:
    return [(line.material, round(line.grams, 6), line.portion) for line in batch.pot.lines if line.role == role]


def test_oils_alkali_and_water_of_a_plain_bar() -> None:
    batch = weigh_out(PLAIN)
    assert [(oil.material, oil.percent, oil.grams, oil.at) for oil in batch.oils] == [
        ("olive-oil", 60, pytest.approx(600), "oils"),
        ("coconut-oil", 25, pytest.approx(250), "oils"),
        ("sunflower-oil", 15, pytest.approx(150), "oils"),
    ]
    (lye,) = batch.lye
    assert lye.grams == pytest.approx(PURE_G, abs=2e-6)
    assert lye.pure_grams == lye.grams
    assert (lye.assay_percent, lye.for_acids_grams) == (100, 0)
    assert batch.water.weigh_grams == pytest.approx(PURE_G * 67 / 33)
    assert batch.batter_grams == pytest.approx(1000 + PURE_G * 100 / 33)
    assert batch.oil_mass_g == pytest.approx(1000)


@pytest.mark.parametrize(
    ("rule", "water_g"),
    [("lye_concentration: 30", PURE_G * 70 / 30), ("water_to_lye: 2.2", PURE_G * 2.2), ("percent_of_oils: 38", 380.0)],
)
def test_each_rule_of_the_water(rule: str, water_g: float) -> None:
    batch = weigh_out(PLAIN.replace("lye_concentration: 33", rule))
    assert batch.water.weigh_grams == pytest.approx(water_g)
    assert batch.water.nominal_percent == pytest.approx(100 * PURE_G / (PURE_G + water_g))
    assert batch.water.total_grams == pytest.approx(water_g)


@pytest.mark.parametrize(("step", "shown"), [("0.1", 10), ("1", 1), ("0.5", 2)])
def test_alkali_is_rounded_down_and_its_water_follows(step: str, shown: int) -> None:
    batch = weigh_out(PLAIN, settings=Settings(alkali_step_g=Decimal(step)))
    assert batch.lye[0].grams == pytest.approx(math.floor(PURE_G * shown) / shown)
    assert batch.water.weigh_grams == pytest.approx(batch.lye[0].grams * 67 / 33)


def test_two_alkalis_by_mass_and_by_moles() -> None:
    for basis in ("mass", "moles"):
        both = f"alkali: {{by: {basis}, sodium-hydroxide: 80, potassium-hydroxide: 20}}"
        sodium, potassium = weigh_out(PLAIN.replace("alkali: sodium-hydroxide", both)).lye
        mol = sodium.pure_grams / NAOH, potassium.pure_grams / KOH
        assert sum(mol) == pytest.approx(0.95 * FAT_MOL)
        parts = mol if basis == "moles" else (sodium.pure_grams, potassium.pure_grams)
        assert parts[0] / sum(parts) == pytest.approx(0.8)


def test_what_an_assay_makes_of_the_weight() -> None:
    stated = replace(BUILTIN["sodium-hydroxide"], assay_percent=ValueRange(97, 99, 98, KNOWN))
    (lye,) = weigh_out(PLAIN, register=with_own(stated)).lye
    assert lye.grams == pytest.approx(PURE_G / 0.98)
    assert lye.pure_grams == pytest.approx(PURE_G)
    assert lye.assay_percent == 98


def test_ready_made_lye_brings_water_and_acid_takes_its_own_alkali() -> None:
    more = addition("citric-acid-anhydrous", "2 % of oils", "oils")
    batch = weigh_out(PLAIN.replace("sodium-hydroxide", "sodium-hydroxide-solution-50") + more)
    for_acid_g = 20 / 192.123 * 3 * NAOH
    (lye,) = batch.lye
    assert lye.pure_grams == pytest.approx(PURE_G + for_acid_g, rel=1e-5)
    assert lye.for_acids_grams == pytest.approx(2 * for_acid_g, rel=1e-4)
    little = weigh_out(PLAIN + more, oil_mass_g=10.0)
    assert little.lye[0].for_acids_grams == pytest.approx(for_acid_g / 100, rel=1e-4)
    assert batch.water.total_grams == pytest.approx(lye.pure_grams * 67 / 33, rel=1e-5)
    assert batch.water.weigh_grams == pytest.approx(lye.pure_grams * 67 / 33 - lye.grams / 2, rel=1e-5)


def test_water_of_an_addition_comes_off_what_is_weighed_or_is_extra() -> None:
    part = (BUILTIN["oat-milk"].water_percent or 0.0) / 100
    rule = PURE_G * 67 / 33
    for says, weighed in (("replaces", rule - 100 * part), ("extra", rule)):
        for at, in_jug in (("lye water", 100 * part), ("oils", 0.0)):
            batch = weigh_out(PLAIN + addition("oat-milk", "10 % of oils", at, water=says))
            assert batch.water.weigh_grams == pytest.approx(weighed)
            assert batch.water.total_grams == pytest.approx(weighed + 100 * part)
            assert batch.water.nominal_percent == pytest.approx(33)
            assert batch.water.in_jug_percent == pytest.approx(100 * PURE_G / (PURE_G + weighed + in_jug))
            assert batch.water.effective_percent == pytest.approx(100 * PURE_G / (PURE_G + weighed + 100 * part))
            (milk,) = batch.additions
            assert (milk.material, milk.at, milk.water) == ("oat-milk", at, says)
            assert (milk.grams, milk.water_grams) == (pytest.approx(100), pytest.approx(100 * part))


def test_a_size_by_the_batter_and_rates_of_the_batter() -> None:
    more = "additions: [{material: kaolin, rate: 3 % of batter, at: oils}]\n"
    more += "scent: [{material: lavender-oil, rate: 2 % of batter, at: trace}]\n"
    for batter_g in (150.0, 1500.0, 20_000.0):
        batch = weigh_out(PLAIN + more, batter_mass_g=batter_g)
        assert batch.batter_grams == pytest.approx(batter_g, rel=1e-6)
        assert batch.additions[0].grams == pytest.approx(0.03 * batter_g, rel=1e-6)
        assert batch.scent[0].grams == pytest.approx(0.02 * batter_g, rel=1e-6)
    by_oils = weigh_out(PLAIN + more, oil_mass_g=1000.0)
    assert by_oils.additions[0].grams == pytest.approx(0.03 * by_oils.batter_grams, rel=1e-8)


def test_what_is_on_top_is_no_part_of_the_batter_that_rates_refer_to() -> None:
    lines_ = "{material: oat-milk, rate: 5 % of batter, at: top, water: extra}, "
    lines_ += "{material: kaolin, rate: 10 % of batter, at: oils}"
    batch = weigh_out(f"{PLAIN}additions: [{lines_}]\n")
    top, clay = batch.additions
    assert clay.grams == pytest.approx(0.1 * batch.batter_grams, rel=1e-8)
    assert top.grams == pytest.approx(0.05 * batch.batter_grams, rel=1e-8)
    assert batch.batter_grams == pytest.approx(1000 + PURE_G * 100 / 33 + clay.grams, rel=1e-8)


@pytest.mark.parametrize(
    "size",
    [{}, {"oil_mass_g": 1.0, "batter_mass_g": 1.0}, {"oil_mass_g": 0.0}, {"oil_mass_g": -1.0}, {"batter_mass_g": 0.0}],
)
def test_a_batch_has_one_size_above_nothing(size: dict[str, float]) -> None:
    with pytest.raises(InputError) as raised:
        work_out_batch(read_recipe(PLAIN), BUILTIN, FINE, **size)  # type: ignore[arg-type]
    assert [finding.code for finding in raised.value.findings] == ["size"]
    assert work_out_batch(read_recipe(PLAIN), BUILTIN, FINE, oil_mass_g=0.5).oil_mass_g == pytest.approx(0.5)
    by_batter = work_out_batch(read_recipe(PLAIN), BUILTIN, FINE, batter_mass_g=0.5)
    assert by_batter.batter_grams == pytest.approx(0.5, rel=1e-4)


def test_a_line_that_portions_divide_is_a_line_for_each_and_one_that_gets_none_has_none() -> None:
    more = "additions:\n  - {material: kaolin, rate: 1 % of oils, at: trace}\n"
    more += "scent:\n  - {material: lavender-oil, rate: 2 % of oils, at: trace}\n"
    more += "portions:\n  - {name: one, share: {percent: 30, by_eye: 5}, gets: {lavender-oil: 75}}\n"
    more += "  - {name: two, share: 50, gets: {lavender-oil: 25}}\n"
    more += "  - {name: three, share: 20, gets: {lavender-oil: 0}}\n"
    batch = weigh_out(PLAIN + more)
    assert lines(batch, role="scent") == [("lavender-oil", 15, "one"), ("lavender-oil", 5, "two")]
    assert lines(batch, role="addition") == [("kaolin", 10, None)]
    assert [(part.name, part.share, part.by_eye) for part in batch.pot.portions] == [
        ("one", pytest.approx(0.3), pytest.approx(0.05)),
        # what is too much in the one is too little in another
        ("two", pytest.approx(0.5), pytest.approx(0.05)),
        ("three", pytest.approx(0.2), pytest.approx(0.05)),
    ]
    assert batch.scent[0].grams == pytest.approx(20)


def test_an_addition_that_portions_divide_is_whole_in_the_list() -> None:
    more = "additions:\n  - {material: oat-milk, rate: 4 % of oils, at: trace, water: replaces}\n"
    more += "  - {material: oat-milk, rate: 2 % of oils, at: top, water: extra}\n"
    more += "portions:\n  - {name: one, share: 50, gets: {oat-milk: 25}}\n"
    more += "  - {name: two, share: 50, gets: {oat-milk: 75}}\n"
    trace, top = weigh_out(PLAIN + more).additions
    assert (trace.at, trace.grams) == ("trace", pytest.approx(40))
    assert (top.at, top.grams) == ("top", pytest.approx(20))
    assert trace.water_grams == pytest.approx(2 * top.water_grams)


def test_what_portions_divide_leaves_the_same_material_that_went_in_before_to_all_of_them() -> None:
    more = "additions:\n  - {material: oat-milk, rate: 4 % of oils, at: lye water, water: replaces}\n"
    more += "  - {material: oat-milk, rate: 2 % of oils, at: trace, water: extra}\n"
    more += "portions:\n  - {name: one, share: 50, gets: {oat-milk: 0}}\n"
    more += "  - {name: two, share: 50, gets: {oat-milk: 100}}\n"
    milk = [line for line in weigh_out(PLAIN + more).pot.lines if line.material == "oat-milk"]
    assert [(line.at, line.portion) for line in milk] == [("lye water", None), ("trace", "two")]


def test_rates_by_mass_by_spoon_and_what_has_no_spoon() -> None:
    clay = BUILTIN["rose-clay"]
    assert rate_g(parse_rate("2 % of oils"), clay, FINE, 500.0) == pytest.approx(10)
    assert rate_g(parse_rate("30 g per kg oils"), clay, FINE, 500.0) == pytest.approx(15)
    # 15 ml of loose rose clay of 0.6 g/ml (from memory)
    assert rate_g(parse_rate("2 tbsp per kg oils"), clay, FINE, 500.0) == pytest.approx(9)
    with pytest.raises(InputError) as raised:
        rate_g(parse_rate("1 tsp per kg oils"), Material("dust", "Dust", MaterialKind.ADDITIVE), FINE, 500.0)
    assert "measures: {tsp" in raised.value.findings[0].do


def test_the_certificate_of_a_lot_changes_the_lye() -> None:
    certificate = ValueRange(188, 190, 200, KNOWN)
    olive = replace(BUILTIN["olive-oil"], lots={"OL-1": Lot("OL-1", overrides={"saponification_value": certificate})})
    register = with_own(olive)
    recipe = read_recipe(PLAIN)
    (lye,) = work_out_batch(recipe, register, FINE, oil_mass_g=1000.0, lots={"olive-oil": "OL-1"}).lye
    more_mol = 0.95 * 600 * (200 - sv("olive-oil")) / 1000 / KOH
    assert lye.grams == pytest.approx(PURE_G + more_mol * NAOH)


def test_superfat_as_stated_and_of_all_that_is_in_the_pot() -> None:
    batch = weigh_out(PLAIN.replace("superfat: 5", "superfat: 7.5"))
    assert batch.superfat.nominal == 7.5
    assert batch.superfat.effective == pytest.approx(7.5)
    assert batch.superfat.worst_low < batch.superfat.low < 7.5 < batch.superfat.high < batch.superfat.worst_high


def test_a_batch_says_whose_it_is() -> None:
    recipe = read_recipe(PLAIN)
    batch = work_out_batch(recipe, BUILTIN, FINE, oil_mass_g=100.0)
    assert (batch.recipe, batch.recipe_name, batch.version_id, batch.version_label) == (
        "plain",
        "Plain bar",
        None,
        None,
    )
    assert (batch.purpose, dict(batch.process)) == ("skin", {})
    version = Version(recipe=recipe, text=PLAIN, is_saved=True, label="the 4th saved")
    batch = work_out_batch(version, BUILTIN, FINE, oil_mass_g=100.0)
    assert (batch.version_id, batch.version_label) == (version.id, "the 4th saved")


def test_the_usual_settings_hold_where_none_are_given() -> None:
    batch = work_out_batch(read_recipe(PLAIN), BUILTIN, oil_mass_g=1000.0)
    assert batch.lye[0].grams == pytest.approx(math.floor(PURE_G * 10) / 10)


def test_findings_stand_in_the_order_of_the_file() -> None:
    kitchen = plain(("lye_concentration: 33", "lye_concentration: 41"), ("superfat: 5", "superfat: 1"))
    placed = [finding.place.line for finding in kitchen.weigh_out().findings if finding.place.line is not None]
    assert placed == sorted(placed)
    assert len(set(placed)) > 1


def test_oils_of_which_nothing_is_known_get_no_alkali_and_stop_nothing_else() -> None:
    unknown = with_own(Material("olive-oil", "Olive oil", MaterialKind.OIL))
    text = PLAIN.replace("olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15", "olive-oil: 100")
    batch = weigh_out(text, register=unknown)
    assert (batch.lye[0].grams, batch.lye[0].for_acids_grams, batch.water.weigh_grams) == (0, 0, 0)
    assert "saponification-unknown" in {finding.code for finding in batch.findings}
