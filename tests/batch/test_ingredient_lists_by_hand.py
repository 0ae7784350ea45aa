"""The ingredient lists, worked by hand from fats that take three moles of hydroxide a kilogram, and balances of mass.

Molar masses: CIAAW abridged weights; those of the salts as handbooks have them (from memory).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest

from formulary.batch.ingredients import Ingredient, IngredientList, list_ingredients
from formulary.batch.volume import cured_mass_g
from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.batch.kitchen import Kitchen
from tests.batch.recipes import PLAIN

REGISTER = read_builtin_register()
NAOH, KOH, GLYCEROL, WATER = 39.997, 56.105, 92.094, 18.015
FAT = "format: 1\nname: Invented fat\nkind: {kind}\ninci: FAT\nsaponification_value: 168.315\n"
FINE = "format: 1\nscale: {step: 0.001 g, alkali_step: 0.0001 g}\n"
OILS = "  olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15\n"
RECIPE = PLAIN.replace(OILS, "  fat: 100\n")
CLAY = "  - {material: clay, rate: 1 % of oils, at: oils}\n"


def kitchen(recipe: str = RECIPE, *, kind: str = "oil", **materials: str) -> Kitchen:
    clay = "format: 1\nname: Dry clay\nkind: colourant\ninci: CLAY\n"
    return Kitchen(recipe, FINE, {"fat": FAT.format(kind=kind), "clay": clay, **materials})


def lists(of: Kitchen) -> IngredientList:
    return list_ingredients(of.weigh_out(), REGISTER, Settings())


def grams_in_bar(of: Kitchen) -> dict[str, float]:
    """The list of the bar in grams: by the 10 g of clay in it, which nothing changes."""
    return grams(lists(of).in_bar)


def grams(listed: tuple[Ingredient, ...]) -> dict[str, float]:
    clay = next(line.percent for line in listed if line.inci == "CLAY")
    return {line.inci: 10.0 * line.percent / clay for line in listed}


def test_the_list_of_the_pot_is_what_was_weighed() -> None:
    # 3 mol, less 5 %: 113.991 g of hydroxide, and 67 g of water for 33 g of it.
    soda = 2.85 * NAOH
    found = grams(lists(kitchen(RECIPE + "additions:\n" + CLAY)).in_pot)
    weighed = {"FAT": 1000.0, "AQUA": soda * 67 / 33, "SODIUM HYDROXIDE": soda, "CLAY": 10.0}
    assert found == pytest.approx(weighed, rel=1e-4)
    assert list(found) == list(weighed)


def test_a_kilogram_of_fat_becomes_soap_and_glycerol_and_keeps_its_superfat() -> None:
    # 1000 g x 168.315 mg KOH/g are 3 mol; at 5 % superfat 2.85 mol are taken, and a third of that is glycerol.
    found = grams_in_bar(kitchen(RECIPE + "additions:\n" + CLAY))
    soda, glycerol = 2.85 * NAOH, 0.95 * GLYCEROL
    assert found == pytest.approx(
        {
            "FAT": 50.0,
            "GLYCERIN": glycerol,
            "SODIUM SALT OF FAT": 950.0 + soda - glycerol,
            "AQUA": 0.4 * soda * 67 / 33,  # three fifths of the water leave while it cures
            "CLAY": 10.0,
        },
        rel=1e-4,
    )


def test_the_lists_are_the_same_for_every_size() -> None:
    made = kitchen(RECIPE + "additions:\n" + CLAY)
    small = lists(replace(made, oils_g=20.0))
    for before, after in ((lists(made).in_pot, small.in_pot), (lists(made).in_bar, small.in_bar)):
        assert [line.inci for line in after] == [line.inci for line in before]
        assert [line.percent for line in after] == pytest.approx([line.percent for line in before], rel=1e-3)


def test_where_the_scale_shows_no_alkali_there_is_no_soap() -> None:
    # 0.3 g of fat need 0.03 g of sodium hydroxide, which a scale of 0.1 g does not show.
    made = replace(kitchen(), oils_g=0.3, settings="format: 1\n")
    assert [line.inci for line in lists(made).in_bar] == ["FAT"]


def test_what_is_as_much_as_another_stands_by_the_alphabet() -> None:
    other = "format: 1\nname: Other clay\nkind: colourant\ninci: ANOTHER CLAY\n"
    recipe = RECIPE + "additions:\n" + CLAY + CLAY.replace("clay", "other")
    for listed in (lists(kitchen(recipe, other=other)).in_pot, lists(kitchen(recipe, other=other)).in_bar):
        assert [line.inci for line in listed if "CLAY" in line.inci] == ["ANOTHER CLAY", "CLAY"]


def test_two_alkalis_share_the_soap_by_moles() -> None:
    both = "{by: moles, sodium-hydroxide: 25, potassium-hydroxide: 75}"
    found = grams_in_bar(kitchen(RECIPE.replace("sodium-hydroxide", both) + "additions:\n" + CLAY))
    fat_g = 950.0 - 0.95 * GLYCEROL
    assert found["SODIUM SALT OF FAT"] == pytest.approx(0.25 * (fat_g + 2.85 * NAOH), rel=1e-4)
    assert found["POTASSIUM SALT OF FAT"] == pytest.approx(0.75 * (fat_g + 2.85 * KOH), rel=1e-4)


def test_the_register_names_the_soap_of_an_oil() -> None:
    found = lists(Kitchen(PLAIN.replace("sodium-hydroxide", "potassium-hydroxide")))
    assert [line.inci for line in found.in_bar][:2] == ["POTASSIUM OLIVATE", "POTASSIUM COCOATE"]


def test_a_free_acid_frees_water_and_a_wax_neither_water_nor_glycerol() -> None:
    left_g = 0.4 * 2.85 * NAOH * 67 / 33
    acid = grams_in_bar(kitchen(RECIPE + "additions:\n" + CLAY, kind="fatty-acid"))
    assert acid["SODIUM SALT OF FAT"] == pytest.approx(950.0 + 2.85 * (NAOH - WATER), rel=1e-4)
    assert acid["AQUA"] == pytest.approx(left_g + 2.85 * WATER, rel=1e-4)
    wax = grams_in_bar(kitchen(RECIPE + "additions:\n" + CLAY, kind="wax"))
    assert wax["SODIUM SALT OF FAT"] == pytest.approx(950.0 + 2.85 * NAOH, rel=1e-4)
    assert wax["AQUA"] == pytest.approx(left_g, rel=1e-4)
    assert "GLYCERIN" not in {*acid, *wax}


def test_an_oil_without_a_known_value_stands_as_it_is_beside_the_soap() -> None:
    # No alkali was ever weighed for it.
    unknown = "format: 1\nname: Unknown\nkind: oil\ninci: UNKNOWN\n"
    found = kitchen(RECIPE.replace("fat: 100", "fat: 90\n  unknown: 10"), unknown=unknown).weigh_out()
    assert found.is_stopped


@pytest.mark.parametrize("strength", [33, 50])
def test_ready_made_lye_is_hydroxide_and_water_on_both_lists(strength: int) -> None:
    dry, ready = (
        lists(kitchen(RECIPE.replace("sodium-hydroxide", alkali)))
        for alkali in ("sodium-hydroxide", f"sodium-hydroxide-solution-{strength}")
    )
    for before, after in ((dry.in_pot, ready.in_pot), (dry.in_bar, ready.in_bar)):
        assert [line.inci for line in after] == [line.inci for line in before]
        assert [line.percent for line in after] == pytest.approx([line.percent for line in before], rel=1e-3)


@pytest.mark.parametrize(
    ("material", "acid_percent", "moles", "salt", "salt_g_per_mol"),
    [
        ("citric-acid-anhydrous", 100, 0.1 / 192.124, "CITRATE", {"SODIUM": 258.07, "POTASSIUM": 306.40}),
        ("citric-acid-monohydrate", 91.43, 0.1 / 192.124, "CITRATE", {"SODIUM": 258.07, "POTASSIUM": 306.40}),
        ("lactic-acid-80", 80, 0.1 / 90.078, "LACTATE", {"SODIUM": 112.06, "POTASSIUM": 128.17}),
        ("vinegar-5", 5, 0.1 / 60.052, "ACETATE", {"SODIUM": 82.03, "POTASSIUM": 98.14}),
        ("tartaric-acid", 100, 0.1 / 150.087, "TARTRATE", {"DISODIUM": 194.05, "DIPOTASSIUM": 226.27}),
        ("malic-acid", 100, 0.1 / 134.087, "MALATE", {"SODIUM": 178.05, "POTASSIUM": 210.27}),
        ("ascorbic-acid", 100, 0.1 / 176.124, "ASCORBATE", {"SODIUM": 198.11, "POTASSIUM": 214.21}),
    ],
)
@pytest.mark.parametrize("metal", ["SODIUM", "POTASSIUM"])
def test_an_acid_stands_in_the_bar_as_the_salt_that_it_became(
    metal: str, material: str, acid_percent: float, moles: float, salt: str, salt_g_per_mol: dict[str, float]
) -> None:
    acid = f"additions:\n{CLAY}  - {{material: {material}, rate: 2 % of oils, at: oils, water: extra}}\n"
    found = grams_in_bar(kitchen((RECIPE + acid).replace("sodium-hydroxide", f"{metal.lower()}-hydroxide")))
    mol = 20.0 * acid_percent / 10.0 * moles
    (name,) = (name for name in salt_g_per_mol if name.removeprefix("DI") == metal)
    assert found[f"{name} {salt}"] == pytest.approx(mol * salt_g_per_mol[name], rel=2e-4)
    assert REGISTER[material].inci in {line.inci for line in lists(kitchen(RECIPE + acid)).in_pot}


def test_two_alkalis_share_what_an_acid_takes_by_moles() -> None:
    # 19.2124 g are 0.1 mol, of which a quarter becomes sodium citrate and the rest potassium citrate.
    both = "{by: moles, sodium-hydroxide: 25, potassium-hydroxide: 75}"
    acid = f"additions:\n{CLAY}  - {{material: citric-acid-anhydrous, rate: 1.92124 % of oils, at: oils}}\n"
    bought = "format: 1\nname: Potash\nkind: alkali\nassay: 90 %\n"
    recipe = RECIPE.replace("sodium-hydroxide", both) + acid
    for made in (kitchen(recipe), kitchen(recipe, **{"potassium-hydroxide": bought})):
        found = grams_in_bar(made)
        assert found["SODIUM CITRATE"] == pytest.approx(0.025 * 258.07, rel=1e-4)
        assert found["POTASSIUM CITRATE"] == pytest.approx(0.075 * 306.40, rel=1e-4)


def test_an_acid_on_top_or_a_juice_which_is_more_than_its_acid_stands_as_it_is() -> None:
    for material, at in (("citric-acid-anhydrous", "top"), ("lemon-juice", "oils")):
        acid = f"additions:\n{CLAY}  - {{material: {material}, rate: 2 % of oils, at: {at}, water: extra}}\n"
        assert grams_in_bar(kitchen(RECIPE + acid))[REGISTER[material].inci or ""] == pytest.approx(20.0)


def test_every_pure_acid_of_the_register_has_a_salt_to_stand_as() -> None:
    acids = {name: material for name, material in REGISTER.items() if sum(material.acids.values()) > 50}
    assert {name for name, material in acids.items() if material.inci_in_soap is None} == set()
    assert {"malic-acid", "tartaric-acid", "ascorbic-acid", "citric-acid-anhydrous", "lactic-acid-80"} <= acids.keys()


@pytest.mark.parametrize(
    "more",
    [
        "  - {material: citric-acid-monohydrate, rate: 2 % of oils, at: lye water, water: extra}\n",
        "  - {material: vinegar-5, rate: 5 % of oils, at: lye water, water: replaces}\n",
        "  - {material: lactic-acid-88, rate: 2 % of oils, at: lye water, water: extra}\n",
        "  - {material: clay, rate: 1 % of oils, at: top}\n",
    ],
)
@pytest.mark.parametrize("alkali", ["sodium-hydroxide", "potassium-hydroxide", "sodium-hydroxide-solution-50"])
def test_the_bar_holds_what_the_pot_held_less_the_water_that_left(more: str, alkali: str) -> None:
    for superfat, kind in product(("5", "-2"), ("oil", "fatty-acid", "wax")):
        recipe = RECIPE.replace("superfat: 5", f"superfat: {superfat}").replace("sodium-hydroxide", alkali)
        recipe += "purpose: household\nadditions:\n  - {material: poppy-seeds, rate: 1 % of oils, at: trace}\n" + more
        batch = kitchen(recipe, kind=kind).weigh_out()
        percents = {line.inci: line.percent for line in list_ingredients(batch, REGISTER, Settings()).in_bar}
        in_bar_g = 10.0 * 100.0 / percents[REGISTER["poppy-seeds"].inci or ""]
        assert in_bar_g == pytest.approx(cured_mass_g(batch.pot, batch.materials, Settings()), rel=1e-4)


def test_too_much_lye_stays_in_the_bar_as_lye() -> None:
    # 2 % over the 3 mol that the fat takes: 0.06 mol
    recipe = RECIPE.replace("superfat: 5", "superfat: -2") + "purpose: household\nadditions:\n" + CLAY
    assert grams_in_bar(kitchen(recipe))["SODIUM HYDROXIDE"] == pytest.approx(0.06 * NAOH, rel=1e-3)
    assert "FAT" not in grams_in_bar(kitchen(recipe))


def test_water_that_leaves_is_at_most_the_water_that_is_named() -> None:
    # 300 g of water for 1000 g of oils in a milk that stands by its own name, and none besides.
    milk = "format: 1\nname: Invented milk\nkind: liquid\ninci: LAC\nwater: 100 %\n"
    recipe = RECIPE.replace("lye_concentration: 33", "percent_of_oils: 30")
    recipe += f"additions:\n{CLAY}  - {{material: milk, rate: 30 % of oils, at: lye water, water: replaces}}\n"
    found = grams_in_bar(kitchen(recipe, milk=milk))
    assert "AQUA" not in found
    assert found["LAC"] == pytest.approx(300.0)
    assert sum(line.percent for line in lists(kitchen(recipe, milk=milk)).in_bar) == pytest.approx(100.0)


SCENT = "format: 1\nname: S\nkind: fragrance\ninci: PARFUM\nallergens: [linalool, citral]\ncontains: {linalool: 50 %}\n"


def allergens(rate: str, more: str = "", scent: str = SCENT) -> dict[str, float | None]:
    recipe = f"{RECIPE}scent:\n  - {{material: scent, rate: {rate} % of oils}}\n{more}"
    return dict(lists(kitchen(recipe, scent=scent)).allergens)


def bar_g(rate: float) -> float:
    """1000 g of fat, its lye, two fifths of the water, and the scent."""
    return 1000.0 + 2.85 * NAOH * (1 + 0.4 * 67 / 33) + rate * 10.0


def test_an_allergen_is_named_with_its_part_of_the_cured_bar_from_a_hundredth_of_a_percent() -> None:
    # Regulation (EC) No 1223/2009, Annex III as amended by (EU) 2023/1545: above 0.01 % of what is rinsed off.
    assert allergens("1") == {"linalool": pytest.approx(100 * 5.0 / bar_g(1)), "citral": None}
    assert allergens("0.024") == {"citral": None}  # 0.12 g in 1206 g are .00995 %
    assert allergens("0.0245") == {"linalool": pytest.approx(0.01016, abs=5e-5), "citral": None}


def test_an_allergen_is_summed_over_all_that_brings_it() -> None:
    other = SCENT.replace("linalool: 50", "linalool: 10").replace("[linalool, citral]", "[linalool]")
    recipe = f"{RECIPE}scent:\n  - {{material: scent, rate: 1 % of oils}}\n  - {{material: other, rate: 2 % of oils}}\n"
    found = dict(lists(kitchen(recipe, scent=SCENT, other=other)).allergens)
    assert found["linalool"] == pytest.approx(100 * 7.0 / bar_g(3))


def test_an_allergen_of_one_portion_is_told_as_the_bars_of_that_portion_hold_it() -> None:
    # All of it in half of the batter, which by eye may be four tenths: 0.2 g in 482 g instead of in 1206 g.
    portions = "portions:\n  - {name: plain, share: {percent: 50, by_eye: 10}, gets: {scent: 0}}\n"
    portions += "  - {name: scented, share: {percent: 50, by_eye: 10}, gets: {scent: 100}}\n"
    few = allergens("0.02", portions)
    assert allergens("0.02") == {"citral": None}
    assert few["linalool"] == pytest.approx(100 * 0.1 / (0.4 * bar_g(0)), rel=1e-3)


def test_an_allergen_of_unknown_amount_that_another_scent_brings_enough_of_is_named_once() -> None:
    other = SCENT.replace("contains: {linalool: 50 %}\n", "")
    recipe = f"{RECIPE}scent:\n  - {{material: scent, rate: 1 % of oils}}\n  - {{material: other, rate: 1 % of oils}}\n"
    found = lists(kitchen(recipe, scent=SCENT, other=other)).allergens
    assert [name for name, _ in found] == ["linalool", "citral"]
    assert found[1] == ("citral", None)


def test_the_certificate_of_the_lot_says_which_allergens_are_named() -> None:
    scent = SCENT + "lots:\n  A: {allergens: [geraniol], contains: {geraniol: 20 %}}\n"
    recipe = RECIPE + "scent:\n  - {material: scent, rate: 1 % of oils}\n"
    made = replace(kitchen(recipe, scent=scent), lots={"scent": "A"})
    assert dict(lists(made).allergens) == {"geraniol": pytest.approx(100 * 2.0 / bar_g(1))}


def test_a_scent_without_an_inci_name_may_stand_as_perfume_and_others_by_their_names() -> None:
    scent, clay = "format: 1\nname: Harbour fog\nkind: fragrance\n", "format: 1\nname: Grey clay\nkind: colourant\n"
    recipe = RECIPE + "scent:\n  - {material: fog, rate: 1 % of oils}\n"
    recipe += "additions:\n  - {material: grey-clay, rate: 1 % of oils, at: oils}\n"
    found = lists(kitchen(recipe, fog=scent, **{"grey-clay": clay}))
    for listed in (found.in_pot, found.in_bar):
        assert {"PARFUM", "GREY CLAY"} < {line.inci for line in listed}
    said = [finding.what for finding in found.findings if finding.code == "inci-unknown"]
    assert [what.partition("; ")[2] for what in said] == ["it stands as PARFUM here", "it stands as GREY CLAY here"]


def test_what_is_of_milk_nut_or_wheat_is_told_with_the_materials_that_bring_it() -> None:
    recipe = PLAIN.replace("olive-oil: 60", "sweet-almond-oil: 60")
    recipe += "additions:\n  - {material: almond-milk, rate: 5 % of oils, at: oils, water: replaces}\n"
    recipe += "  - {material: goat-milk, rate: 5 % of oils, at: oils, water: replaces}\n"
    found = lists(Kitchen(recipe))
    assert found.origins == (("milk", ("goat-milk",)), ("nut", ("almond-milk", "sweet-almond-oil")))
    assert found.to_json()["origins"] == [
        {"origin": "milk", "materials": ["goat-milk"]},
        {"origin": "nut", "materials": ["almond-milk", "sweet-almond-oil"]},
    ]


def test_only_what_is_under_a_hundredth_of_the_bar_may_stand_in_any_order() -> None:
    # Regulation (EC) No 1223/2009, Article 19 (1) g. 10 g of clay are 0.82 % of 1216 g, 13 g are 1.07 %.
    for rate, any_order in (("1", True), ("1.3", False)):
        found = lists(kitchen(RECIPE + "additions:\n" + CLAY.replace("rate: 1 %", f"rate: {rate} %")))
        assert {line.inci: line.any_order for line in found.in_bar}["CLAY"] is any_order


def test_what_brings_water_and_keeps_it_in_the_bar_is_named() -> None:
    # Of 20 g of oils the honey holds less than a gram of water, and the puree holds an acid without a salt of a name;
    # the crystal water of citric acid leaves it when it becomes a salt, and dry clay has none.
    wet = (
        "  - {material: oat-milk, rate: 8 % of oils, at: oils, water: replaces}\n"
        "  - {material: honey, rate: 2 % of oils, at: oils, water: extra}\n"
        "  - {material: apple-puree, rate: 5 % of oils, at: oils, water: replaces}\n"
        "  - {material: citric-acid-monohydrate, rate: 1 % of oils, at: lye water}\n"
    )
    found = lists(replace(kitchen(RECIPE + "additions:\n" + CLAY + wet), oils_g=20.0))
    assert found.with_their_water == ("apple-puree", "honey", "oat-milk")
    assert lists(kitchen(RECIPE + "additions:\n" + CLAY)).with_their_water == ()


def test_a_scent_of_which_nothing_went_in_names_no_allergen() -> None:
    scent = "scent:\n  - {material: clove-bud-oil, rate: RATE % of oils}\n"
    assert lists(kitchen(RECIPE + scent.replace("RATE", "1"))).allergens != ()
    assert lists(kitchen(RECIPE + scent.replace("RATE", "0"))).allergens == ()
