"""What common practice looks at, worked out here once more from grams and contents, all invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from formulary.batch.common_practice import Measured
from formulary.batch.common_quantities import find_common_quantities, find_conditions
from formulary.batch.model import Pot, PotLine
from formulary.materials.model import Known, Material, MaterialKind, ValueRange
from formulary.materials.register import read_builtin_register

BUILTIN = read_builtin_register()
OLIVE = PotLine("olive-oil", "oil", "oils", 800.0)
PALM = PotLine("soft-oil", "oil", "oils", 200.0)


def oil(slug: str, fatty_acids: Mapping[str, float], **known: object) -> Material:
    changed = replace(BUILTIN["olive-oil"], slug=slug, fatty_acids=dict(fatty_acids), group=None, melting_point_c=None)
    return replace(changed, **known)  # type: ignore[arg-type]


def stuff(slug: str, **known: object) -> Material:
    plain = replace(BUILTIN["kaolin"], slug=slug, group=None, water_percent=None)
    return replace(plain, **known)  # type: ignore[arg-type]


MATERIALS: dict[str, Material] = {
    **BUILTIN,
    "soft-oil": oil("soft-oil", {"C18:1": 100.0}),
    "half-castor": oil("half-castor", {"C18:1-OH": 50.0, "C18:1": 50.0}),
    "near-castor": oil("near-castor", {"C18:1-OH": 49.9, "C18:1": 50.1}),
    "lauric": oil("lauric", {"C12:0": 30.0, "C14:0": 10.0, "C18:1": 60.0}),
    "near-lauric": oil("near-lauric", {"C12:0": 30.0, "C14:0": 9.9, "C18:1": 60.1}),
    "lauric-by-name": oil("lauric-by-name", {}, group="lauric-oil"),
    "lauric-acid-like": oil("lauric-acid-like", {"C12:0": 100.0}, kind=MaterialKind.FATTY_ACID),
    "drying": oil("drying", {"C18:2": 20.0, "C18:3": 10.0, "C18:3n6": 5.0, "C18:1": 65.0}),
    "hard": oil("hard", {"C18:0": 100.0}, melting_point_c=35.0),
    "harder": oil("harder", {"C18:0": 100.0}, melting_point_c=55.0),
    "syrup": stuff("syrup", sugars_percent=60.0),
    "crumbs": stuff("crumbs", sugars_percent=1.0),
    "sea-salt": stuff("sea-salt", group="salt"),
    "whey": stuff("whey", water_percent=90.0),
    "pod": stuff("pod", vanillin_percent=2.0),
    "vanilla": replace(BUILTIN["lavender-oil"], slug="vanilla", vanillin_percent=None, contains={"vanillin": 10.0}),
    "sour": stuff("sour", acids={"citric": 5.0, "lactic": 1.0}),
}


def found(*lines: PotLine, concentration: float = 33.0, cure_days: float = 28.0, **process: str) -> dict[str, Measured]:
    pot = Pot((OLIVE, PALM, *lines))
    return find_common_quantities(
        pot, MATERIALS, nominal_concentration_percent=concentration, process=process, cure_days=cure_days
    )


def added(material: str, grams: float, at: str = "trace", role: str = "addition") -> PotLine:
    return PotLine(material, role, at, grams)


def test_without_oils_there_is_nothing_to_compare_with() -> None:
    pot = Pot((added("syrup", 10.0),))
    assert find_common_quantities(pot, MATERIALS, nominal_concentration_percent=33, process={}, cure_days=28) == {}


@pytest.mark.parametrize(
    ("material", "quantity", "counts"),
    [
        ("half-castor", "castor_percent_of_oils", True),
        ("near-castor", "castor_percent_of_oils", False),
        ("lauric", "lauric_percent_of_oils", True),
        ("near-lauric", "lauric_percent_of_oils", False),
        ("lauric-by-name", "lauric_percent_of_oils", True),
        ("lauric-acid-like", "lauric_percent_of_oils", False),
        ("lauric-acid-like", "stearic_percent_of_oils", True),
        ("beeswax", "beeswax_percent_of_oils", True),
    ],
)
def test_an_oil_counts_by_what_it_is_made_of(material: str, quantity: str, *, counts: bool) -> None:
    quantities = found(added(material, 0.5, "oils", "oil"))
    assert (quantity in quantities) == counts
    if counts:
        assert quantities[quantity].value == pytest.approx(100 * 0.5 / 1000.5)
        assert quantities[quantity].parts == ("oils", material)
    assert quantity not in found(added(material, 0.0, "oils", "oil"))


def found_of(*oils: tuple[str, float], **process: str) -> dict[str, Measured]:
    pot = Pot(tuple(PotLine(name, "oil", "oils", grams) for name, grams in oils))
    return find_common_quantities(pot, MATERIALS, nominal_concentration_percent=33, process=process, cure_days=28)


def test_a_pinch_of_oil_is_a_batch() -> None:
    assert found_of(("half-castor", 0.5))["castor_percent_of_oils"].value == 100


def test_fatty_acids_that_an_oil_lacks_are_none_of_it() -> None:
    assert found_of(("soft-oil", 500.0), ("drying", 500.0))["linoleic_and_linolenic_percent"].value == pytest.approx(
        17.5
    )
    assert found_of(("soft-oil", 500.0))["linoleic_and_linolenic_percent"].value == 0
    for slug, of_one, counts in (("near", 39.5, False), ("over", 40.5, True)):
        MATERIALS[slug] = oil(slug, {"C12:0": of_one, "C18:1": 100 - of_one})
        assert ("lauric_percent_of_oils" in found_of((slug, 500.0))) == counts
    for slug, of_one, counts in (("nearer", 49.5, False), ("full", 50.0, True)):
        MATERIALS[slug] = oil(slug, {"C18:1-OH": of_one, "C18:1": 100 - of_one})
        assert ("castor_percent_of_oils" in found_of((slug, 500.0))) == counts


def test_just_a_twentieth_of_a_hard_fat_is_to_be_melted() -> None:
    cool = found_of(("soft-oil", 950.0), ("harder", 50.0), oil_temperature="40 °C")
    assert cool["oils_below_melting_k"].value == 15
    assert "oils_below_melting_k" not in found_of(("soft-oil", 950.1), ("harder", 49.9), oil_temperature="40 °C")


def test_shares_of_a_kind_are_added_up_and_the_largest_is_named() -> None:
    quantities = found(added("kaolin", 4.0), added("rose-clay", 9.0, "oils"), added("kaolin", 2.0, "oils"))
    clay = quantities["clay_percent_of_oils"]
    assert (clay.value, clay.parts, clay.name) == (pytest.approx(1.5), ("additions", "rose-clay"), "rose-clay")


def test_scents_are_added_up_and_spices_by_themselves() -> None:
    quantities = found(added("lavender-oil", 20.0, role="scent"), added("clove-bud-oil", 5.0, role="scent"))
    assert quantities["scent_percent_of_oils"].value == pytest.approx(2.5)
    assert quantities["spice_oil_percent_of_oils"].value == pytest.approx(0.5)
    assert quantities["spice_oil_percent_of_oils"].parts == ("scent", "clove-bud-oil")


def test_the_acids_that_go_rancid_are_those_with_two_double_bonds_or_three() -> None:
    rancid = found(added("drying", 1000.0, "oils", "oil"))["linoleic_and_linolenic_percent"].value
    olive = BUILTIN["olive-oil"].fatty_acids
    of_olive = 100 * sum(olive.get(acid, 0.0) for acid in ("C18:2", "C18:3")) / sum(olive.values())
    assert rancid == pytest.approx((800 * of_olive + 1000 * 35) / 2000, rel=0.01)


def test_sugars_are_grams_for_a_kilogram_of_oils_wherever_they_stand() -> None:
    sugars = found(added("syrup", 20.0), added("crumbs", 50.0, "top"))["sugars_g_per_kg_oils"]
    assert (sugars.value, sugars.parts) == (pytest.approx(12.5), ("additions", "syrup"))
    assert found(added("crumbs", 50.0))["sugars_g_per_kg_oils"].value == pytest.approx(0.5)
    assert "sugars_g_per_kg_oils" not in found(added("kaolin", 20.0))


def test_acids_are_those_that_meet_the_lye() -> None:
    acids = found(added("sour", 100.0), added("sour", 50.0, "top"), added("kaolin", 5.0))["acid_percent_of_oils"]
    assert (acids.value, acids.parts) == (pytest.approx(0.6), ("additions", "sour"))
    assert "acid_percent_of_oils" not in found(added("sour", 50.0, "top"))
    assert "acid_percent_of_oils" not in found(added("kaolin", 50.0))
    assert found(added("sour", 5.0))["acid_percent_of_oils"].value == pytest.approx(0.03)
    assert found(added("syrup", 1.0))["sugars_g_per_kg_oils"].value == pytest.approx(0.6)


def test_brine_is_salt_in_all_the_water_of_the_jug() -> None:
    water = added("water", 300.0, "lye water", "water")
    salt, whey = added("sea-salt", 100.0, "lye water"), added("whey", 100.0, "lye water")
    assert found(water, salt)["brine_percent"].value == pytest.approx(25)
    assert found(water, salt, whey)["brine_percent"].value == pytest.approx(100 * 100 / 490)
    assert found(water, salt, whey)["brine_percent"].parts == ("additions", "sea-salt")
    # half of a ready-made lye of 50 % is water
    lye = added("sodium-hydroxide-solution-50", 200.0, "lye water", "alkali")
    assert found(water, salt, lye)["brine_percent"].value == pytest.approx(20)
    assert "brine_percent" not in found(water, added("sea-salt", 100.0))
    assert found(added("water", 0.0, "lye water", "water"), salt)["brine_percent"].value == 100
    small = found(added("water", 0.6, "lye water", "water"), added("sea-salt", 0.4, "lye water"))
    assert small["brine_percent"].value == pytest.approx(40)
    assert found(added("water", -50.0, "lye water", "water"), salt)["brine_percent"].value == 100


def test_vanillin_is_a_part_of_the_batter_and_not_of_what_lies_on_it() -> None:
    scent = found(added("vanilla", 20.0, role="scent"), added("pod", 30.0), added("pod", 500.0, "top"))
    vanillin = scent["vanillin_percent_of_batter"]
    assert vanillin.value == pytest.approx(100 * (20 * 0.10 + 30 * 0.02) / 1050)
    assert (vanillin.parts, vanillin.name) == (("scent", "vanilla"), "vanilla")
    ground = found(added("vanilla", 1.0, role="scent"), added("pod", 30.0))["vanillin_percent_of_batter"]
    assert ground.parts == ("additions", "pod")
    assert "vanillin_percent_of_batter" not in found(added("lavender-oil", 20.0, role="scent"))


def test_an_oil_below_its_melting_point_matters_from_a_twentieth_of_the_oils_on() -> None:
    at_bound = added("harder", 1000 / 19, "oils", "oil")  # 1/20 of the oils with it
    melting = found(at_bound, added("hard", 200.0, "oils", "oil"), oil_temperature="40 °C")
    assert melting["oil_temperature_c"].value == 40
    cool = found(added("harder", 100.0, "oils", "oil"), added("hard", 200.0, "oils", "oil"), oil_temperature="40 °C")
    assert (cool["oils_below_melting_k"].value, cool["oils_below_melting_k"].name) == (pytest.approx(15), "harder")
    only = found(added("harder", 52.7, "oils", "oil"), oil_temperature="40 °C")
    assert only["oils_below_melting_k"].value == pytest.approx(15)
    little = found(added("harder", 52.5, "oils", "oil"), added("hard", 200.0, "oils", "oil"), oil_temperature="40 °C")
    assert (little["oils_below_melting_k"].value, little["oils_below_melting_k"].name) == (pytest.approx(-5), "hard")
    unsaid = found(added("harder", 100.0, "oils", "oil"), lye_temperature="38 °C")
    assert not {"oils_below_melting_k", "oil_temperature_c"} & unsaid.keys()
    assert unsaid["lye_temperature_c"].value == 38


def test_beeswax_has_a_warmth_of_its_own() -> None:
    wax = found(added("beeswax", 100.0, "oils", "oil"), oil_temperature="45 °C")
    assert wax["beeswax_below_60_k"].value == pytest.approx(15)
    assert wax["oils_below_melting_k"].name != "beeswax" if "oils_below_melting_k" in wax else True
    assert found(added("beeswax", 0.5, "oils", "oil"), oil_temperature="45 °C")["beeswax_below_60_k"].value == 15
    assert "beeswax_below_60_k" not in found(added("beeswax", 0.0, "oils", "oil"), oil_temperature="45 °C")


def test_the_cure_of_a_recipe_goes_before_that_of_the_formulary() -> None:
    assert found(cure_days=42.0)["cure_days"].value == 42
    assert found(cure_days=42.0, cure="6 weeks")["cure_days"].value == pytest.approx(42)
    assert found(cure_days=28.0, cure="10 d")["cure_days"].value == 10
    assert found(cure_days=28.0, cure="until it is hard")["cure_days"].value == 28
    assert found(concentration=31.0)["lye_concentration_percent"].value == 31


def conditions(*lines: PotLine, superfat: float = 5.0, **process: str) -> frozenset[str]:
    return find_conditions(Pot(lines), MATERIALS, superfat=superfat, process=process)


def test_conditions_hold_for_what_they_say() -> None:
    soda = added("sodium-hydroxide", 130.0, "lye water", "alkali")
    potash = added("potassium-hydroxide", 10.0, "lye water", "alkali")
    assert conditions(soda) == {"superfat below 8", "sodium only"}
    assert conditions(soda, potash) == {"superfat below 8"}
    assert conditions(soda, superfat=8.0) == {"sodium only"}
    assert conditions(soda, superfat=7.9) == {"superfat below 8", "sodium only"}
    for cover, holds in (("insulated", True), ("oven", True), ("open", False)):
        assert ("insulated" in conditions(soda, cover=cover)) == holds
    assert "light colour" in conditions(soda, added("titanium-dioxide", 5.0))
    for_skin = find_conditions(Pot((soda,)), MATERIALS, superfat=9.0, process={}, is_for_skin=True)
    assert for_skin == {"sodium only", "for skin"}


def test_potassium_is_told_as_its_part_of_the_moles() -> None:
    """40 g NaOH of 39.997 g/mol are 1.0001 mol, 56.1 g KOH of 56.105 g/mol and 90 % are 0.8999 mol (CIAAW weights)."""
    sodium, potassium = BUILTIN["sodium-hydroxide"], BUILTIN["potassium-hydroxide"]
    known = Known("maker", "invented for this test")
    materials = {
        **MATERIALS,
        "sodium-hydroxide": replace(sodium, assay_percent=ValueRange(99, 100, 100, known)),
        "potassium-hydroxide": replace(potassium, assay_percent=ValueRange(85, 95, 90, known)),
    }

    def percent(soda_g: float, potash_g: float) -> float:
        soda = added("sodium-hydroxide", soda_g, "lye water", "alkali")
        potash = added("potassium-hydroxide", potash_g, "lye water", "alkali")
        pot = Pot((OLIVE, PALM, soda, potash))
        quantities = find_common_quantities(pot, materials, nominal_concentration_percent=33, process={}, cure_days=28)
        return quantities["potassium_percent_of_alkali"].value

    assert percent(40.0, 56.1) == pytest.approx(100 * 0.8999 / (0.8999 + 1.0001), rel=1e-3)
    assert percent(4.0, 5.61) == pytest.approx(percent(40.0, 56.1))
    assert percent(40.0, 0.0) == 0
    assert "potassium_percent_of_alkali" not in found()


def test_of_two_salts_in_the_jug_the_first_is_named_and_a_trace_of_vanillin_is_told() -> None:
    MATERIALS["rock-salt"] = stuff("rock-salt", group="salt")
    water = added("water", 200.0, "lye water", "water")
    both = found(water, added("rock-salt", 10.0, "lye water"), added("sea-salt", 40.0, "lye water"))
    assert both["brine_percent"] == Measured(pytest.approx(20), ("additions", "rock-salt"))
    MATERIALS["faint"] = stuff("faint", vanillin_percent=0.5)
    assert found(added("faint", 10.0))["vanillin_percent_of_batter"].value == pytest.approx(5 / 1010)
