"""The figures of a pot, worked out here once more from its grams and the definitions alone.

Molar masses NaOH 39.997, KOH 56.105 g/mol (CIAAW abridged weights); a saponification value is mg KOH for 1 g (ISO
3657); citric acid C6H8O7, 192.123 g/mol, three protons (general chemistry, from memory). Every material is invented.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from types import MappingProxyType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.figures import (
    JUICE_ACID_DOUBT,
    acid_mol,
    alkali_of,
    assay,
    batter_g,
    certain_saponification_value,
    concentration_percent,
    fat_mol,
    limit_percent,
    portion_figures,
    portion_pot,
    pure_alkali_g,
    scent_figures,
    superfat_band,
    water_in,
    work_out_pot,
)
from formulary.batch.model import WHOLE, Pot, PotLine, PotPortion
from formulary.chemistry.alkali import Alkali
from formulary.materials.model import FragranceLimit, Known, Material, MaterialKind, ValueRange
from formulary.settings import Settings

KNOWN = Known("maker", "invented for this test")
NAOH, KOH, CITRIC = 39.997, 56.105, 192.123


def value(low: float, working: float, high: float) -> ValueRange:
    return ValueRange(low, high, working, KNOWN)


def material(slug: str, kind: MaterialKind, **more: object) -> Material:
    return Material(slug, slug, kind, **more)  # type: ignore[arg-type]


SODIUM = Alkali.SODIUM_HYDROXIDE
SETTINGS = Settings(alkali_step_g=Decimal("0.4"), water_lost_percent=Decimal(40))
MATERIALS = {
    each.slug: each
    for each in (
        material(
            "soft",
            MaterialKind.OIL,
            saponification_value=value(185, 190, 197),
            fatty_acids=MappingProxyType({"C18:1": 80.0, "C16:0": 20.0}),
        ),
        material(
            "hard",
            MaterialKind.OIL,
            saponification_value=value(246, 250, 259),
            fatty_acids=MappingProxyType({"C12:0": 60.0, "C14:0": 40.0}),
        ),
        material("bare", MaterialKind.OIL),
        material("wax", MaterialKind.WAX, saponification_value=value(80, 95, 101), acid_value=value(17, 20, 24)),
        material("dull-wax", MaterialKind.WAX, saponification_value=value(80, 95, 101)),
        material(
            "lye",
            MaterialKind.ALKALI,
            alkali=Alkali.SODIUM_HYDROXIDE,
            assay_percent=value(97, 98, 99),
            water_percent=2.0,
        ),
        material("potash", MaterialKind.ALKALI, alkali=Alkali.POTASSIUM_HYDROXIDE, assay_percent=value(85, 90, 93)),
        material("pure-lye", MaterialKind.ALKALI, alkali=SODIUM),
        material("water", MaterialKind.LIQUID, water_percent=100.0),
        material(
            "milk",
            MaterialKind.LIQUID,
            group="milk",
            water_percent=90.0,
            fat_percent=4.0,
            fat_saponification_value=230.0,
            sugars_percent=5.0,
        ),
        material("paste", MaterialKind.LIQUID, water_percent=50.0, fat_percent=10.0),
        material("butter-paste", MaterialKind.LIQUID, fat_percent=10.0, saponification_value=value(20, 21, 22)),
        material("juice", MaterialKind.ACID, group="juice", water_percent=92.0, acids={"citric": 6.0}),
        material("crystals", MaterialKind.ACID, acids=MappingProxyType({"citric": 100.0})),
        material("sour-milk", MaterialKind.LIQUID, group="milk", acids=MappingProxyType({"citric": 1.0})),
        material("sour-puree", MaterialKind.LIQUID, group="puree", acids=MappingProxyType({"citric": 1.0})),
        material("clay", MaterialKind.COLOURANT),
        material("rose", MaterialKind.FRAGRANCE, water_percent=0.0, limit=FragranceLimit(2.5, None, None, KNOWN)),
        material("mint", MaterialKind.FRAGRANCE, acids=MappingProxyType({"citric": 1.0})),
    )
}


def line(name: str, role: str, grams: float, at: str = "oils", portion: str | None = None) -> PotLine:
    return PotLine(name, role, at, grams, portion)


LYE = line("lye", "alkali", 140.0, "lye water")
WATER = line("water", "water", 250.0, "lye water")
SOFT, HARD = line("soft", "oil", 700.0), line("hard", "oil", 300.0)
PLAIN = Pot((SOFT, HARD, LYE, WATER))


def with_lines(*more: PotLine) -> Pot:
    return Pot((*PLAIN.lines, *more))


def equivalents(grams: float, saponification_value: float) -> float:
    return grams * saponification_value / 1000 / KOH


# (least, as worked with, most) of the plain pot, in mol
FAT = [
    (equivalents(700, 185), equivalents(700, 190), equivalents(700, 197)),
    (equivalents(300, 246), equivalents(300, 250), equivalents(300, 259)),
]
HYDROXIDE = [(139.8 * 0.97 / NAOH, 140 * 0.98 / NAOH, 140.2 * 0.99 / NAOH)]
ENDS = tuple[float, float, float]


def demand_band(pot: Pot, fat: list[ENDS], free: list[ENDS]) -> None:
    """The band's working value and worst case, from the ends of everything that is in the pot."""
    band = superfat_band(pot, MATERIALS, SETTINGS)
    least, fats, most = (sum(each[end] for each in fat) for end in range(3))
    least_free, frees, most_free = (sum(each[end] for each in free) for end in range(3))
    assert band.working == pytest.approx(100 * (1 - frees / fats))
    assert band.worst_low == pytest.approx(100 * (1 - most_free / least))
    assert band.worst_high == pytest.approx(100 * (1 - least_free / most))
    # by the law of propagation the band is the root of the sum of the squares of what each alone does
    downs = [frees / fats - frees / (fats - each[1] + each[0]) for each in fat]
    downs += [(each[1] - each[2]) / fats for each in free]
    assert band.low == pytest.approx(band.working - 100 * sum(down * down for down in downs) ** 0.5)


def test_the_band_of_a_plain_pot() -> None:
    demand_band(PLAIN, FAT, HYDROXIDE)


CARRIED = [
    # a milk's fat with the value of milk fat; a paste's with whatever ordinary fats have, 180 to 260
    (line("milk", "addition", 200.0), (equivalents(8, 230),) * 3),
    (line("paste", "addition", 200.0), (equivalents(20, 180), equivalents(20, 195), equivalents(20, 260))),
    # a material's own saponification value stands for its fat
    (line("butter-paste", "addition", 200.0), (equivalents(20, 21),) * 3),
    # an oil among the additions is fat like any other
    (line("hard", "addition", 10.0), (equivalents(10, 246), equivalents(10, 250), equivalents(10, 259))),
    # of a wax only its free acids react for certain
    (line("wax", "oil", 50.0), (equivalents(50, 17), equivalents(50, 95), equivalents(50, 101))),
    (line("dull-wax", "oil", 50.0), (0.0, equivalents(50, 95), equivalents(50, 101))),
]


@pytest.mark.parametrize(("more", "ends"), CARRIED, ids=[more.material for more, _ in CARRIED])
def test_what_is_known_of_each_fat_counts_in_the_band(more: PotLine, ends: ENDS) -> None:
    # More of an oil that is in the pot already lies at the same end as the rest of it.
    fat = [*FAT, ends] if more.material != "hard" else [FAT[0], tuple(map(sum, zip(FAT[1], ends, strict=True)))]
    demand_band(with_lines(more), fat, HYDROXIDE)


@pytest.mark.parametrize(
    "more",
    [
        line("bare", "oil", 80.0),
        line("bare", "addition", 80.0),
        line("clay", "addition", 20.0),
        line("milk", "scent", 200.0),
        line("hard", "addition", 50.0, "top"),
        line("juice", "addition", 50.0, "top"),
        line("mint", "scent", 50.0),
    ],
    ids=lambda more: f"{more.material} {more.role} {more.at}",
)
def test_what_has_no_fat_or_never_meets_the_lye_changes_nothing(more: PotLine) -> None:
    demand_band(with_lines(more), FAT, HYDROXIDE)


def test_lye_counts_wherever_it_went_in() -> None:
    bands = {
        superfat_band(with_lines(line("lye", "alkali", 20.0, at)), MATERIALS, SETTINGS)
        for at in ("lye water", "oils", "trace", "top")
    }
    assert len(bands) == 1
    assert bands != {superfat_band(with_lines(), MATERIALS, SETTINGS)}


ALKALIS = [
    (line("potash", "alkali", 10.0), (9.8 * 0.85 / KOH, 10 * 0.90 / KOH, 10.2 * 0.93 / KOH)),
    (line("pure-lye", "alkali", 10.0), (9.8 / NAOH, 10 / NAOH, 10.2 / NAOH)),
    # no scale shows less than nothing
    (line("pure-lye", "alkali", 0.1), (0.0, 0.1 / NAOH, 0.3 / NAOH)),
]
ACIDS = [("crystals", 1.0, 0.0), ("juice", 0.06, JUICE_ACID_DOUBT), ("sour-milk", 0.01, 0.2), ("sour-puree", 0.01, 0.2)]


@pytest.mark.parametrize(("more", "ends"), ALKALIS)
def test_what_is_known_of_each_alkali_counts_in_the_band(more: PotLine, ends: ENDS) -> None:
    demand_band(with_lines(more), FAT, [*HYDROXIDE, ends])


@pytest.mark.parametrize(("name", "part", "doubt"), ACIDS)
def test_what_an_acid_takes_is_not_free_for_the_fat(name: str, part: float, doubt: float) -> None:
    taken = 40 * part / CITRIC * 3
    ends = (-taken * (1 + doubt), -taken, -taken * (1 - doubt))
    demand_band(with_lines(line(name, "addition", 40.0)), FAT, [*HYDROXIDE, ends])


def test_the_least_that_a_material_takes_up_for_certain() -> None:
    certain = {name: certain_saponification_value(MATERIALS[name]) for name in ("soft", "wax", "dull-wax", "bare")}
    assert certain == {"soft": 185, "wax": 17, "dull-wax": 0, "bare": 0}


def test_equivalents_of_oils_and_acids() -> None:
    assert fat_mol(SOFT, MATERIALS["soft"]) == pytest.approx(equivalents(700, 190))
    assert fat_mol(line("bare", "oil", 80.0), MATERIALS["bare"]) == 0
    assert acid_mol(line("juice", "addition", 40.0), MATERIALS) == pytest.approx(40 * 0.06 / CITRIC * 3)
    assert acid_mol(line("juice", "addition", 40.0, "top"), MATERIALS) == 0
    assert acid_mol(line("mint", "scent", 40.0), MATERIALS) == 0


def test_the_assay_and_what_is_pure() -> None:
    assert assay(MATERIALS["lye"]) == (97, 98, 99)
    assert assay(MATERIALS["pure-lye"]) == (100, 100, 100)
    pot = with_lines(line("potash", "alkali", 10.0), line("pure-lye", "alkali", 5.0))
    assert pure_alkali_g(pot, MATERIALS) == pytest.approx(137.2 + 9 + 5)
    assert alkali_of(MATERIALS["potash"]) is Alkali.POTASSIUM_HYDROXIDE
    with pytest.raises(ValueError, match="clay"):
        alkali_of(MATERIALS["clay"])


def test_the_water_that_a_line_brings() -> None:
    assert water_in(line("milk", "addition", 200.0), MATERIALS) == pytest.approx(180)
    assert water_in(line("clay", "addition", 200.0), MATERIALS) == 0
    assert water_in(WATER, MATERIALS) == 250
    # what is poured as the water is water, though nothing is known of it
    assert water_in(line("butter-paste", "water", 200.0), MATERIALS) == 200
    assert water_in(line("milk", "water", 200.0), MATERIALS) == pytest.approx(180)
    assert water_in(line("butter-paste", "addition", 200.0), MATERIALS) == 0


def test_a_lye_concentration_without_alkali_and_without_water() -> None:
    assert concentration_percent(0.0, 100.0) == 0
    assert concentration_percent(0.0, 0.0) == 0
    assert concentration_percent(0.5, 1.5) == pytest.approx(25)
    assert concentration_percent(100.0, 0.0) == 100
    assert concentration_percent(100.0, -0.5) == 100
    assert concentration_percent(50.0, 0.5) == pytest.approx(100 * 50 / 50.5)


MADE = with_lines(
    line("soft", "oil", 100.0, "trace"),
    line("milk", "addition", 200.0, "lye water"),
    line("milk", "addition", 50.0, "top"),
    line("clay", "addition", 20.0),
    line("rose", "scent", 12.0, "trace"),
    line("rose", "scent", 6.0, "trace"),
    line("rose", "scent", 2.0, "top"),
    line("mint", "scent", 4.0, "trace"),
)


def test_the_figures_of_a_whole_pot() -> None:
    figures = work_out_pot(MADE, MATERIALS, SETTINGS)
    assert figures.oil_mass_g == 1100
    assert figures.oil_percents == pytest.approx({"soft": 100 * 800 / 1100, "hard": 100 * 300 / 1100})
    batter = 1100 + 140 + 250 + 200 + 20 + 12 + 6 + 4
    assert figures.batter_grams == batter == batter_g(MADE)
    assert figures.pure_alkali_g == pytest.approx(137.2)
    assert figures.water_weighed_g == 250
    in_jug, total = 250 + 180 + 2.8, 250 + 180 + 2.8 + 45
    assert figures.water_total_g == pytest.approx(total)
    assert figures.in_jug_percent == pytest.approx(100 * 137.2 / (137.2 + in_jug))
    assert figures.effective_percent == pytest.approx(100 * 137.2 / (137.2 + total))
    assert figures.sugars_g_per_kg_oils == pytest.approx(1000 * 250 * 0.05 / 1100)
    band = superfat_band(MADE, MATERIALS, SETTINGS)
    shown = (figures.superfat_effective, figures.superfat_low, figures.superfat_high)
    assert shown == (band.working, band.low, band.high)
    assert (figures.superfat_worst_low, figures.superfat_worst_high) == (band.worst_low, band.worst_high)
    assert figures.scent == scent_figures(MADE, MATERIALS, SETTINGS)
    divided = work_out_pot(DIVIDED, MATERIALS, SETTINGS)
    assert divided.portions == portion_figures(DIVIDED, MATERIALS, SETTINGS)


def test_fatty_acids_are_blended_by_what_the_oils_weigh() -> None:
    # free acids of 80 % oleic and 20 % palmitic, and of lauric and myristic: between the two by mass, nearly
    figures = work_out_pot(MADE, MATERIALS, SETTINGS)
    soft = 100 * 800 / 1100
    assert figures.fatty_acids["C18:1"] == pytest.approx(0.8 * soft, abs=1.5)
    assert figures.fatty_acids["C12:0"] == pytest.approx(0.6 * (100 - soft), abs=1.5)
    assert sum(figures.fatty_acids.values()) == pytest.approx(100)
    swapped = Pot((line("soft", "oil", 800.0), line("hard", "oil", 300.0), *MADE.lines[2:4]))
    assert work_out_pot(swapped, MATERIALS, SETTINGS).fatty_acids == pytest.approx(dict(figures.fatty_acids))


def test_scents_in_percent_of_oils_batter_cured_and_dry_bar() -> None:
    whole = 1100 + 140 + 250 + 250 + 20 + 20 + 4
    water_g = 250 + 180 + 2.8 + 45
    at_trace, on_top, mint = scent_figures(MADE, MATERIALS, SETTINGS)
    assert (at_trace.material, at_trace.at, at_trace.grams, at_trace.limit_percent) == ("rose", "trace", 18, 2.5)
    assert (on_top.material, on_top.at, on_top.grams) == ("rose", "top", 2)
    assert (mint.material, mint.grams, mint.limit_percent) == ("mint", 4, None)
    assert at_trace.percent_of_oils == pytest.approx(100 * 18 / 1100)
    assert at_trace.percent_of_batter == pytest.approx(100 * 18 / (whole - 52))
    assert at_trace.percent_of_cured == pytest.approx(100 * 18 / (whole - 0.4 * water_g))
    assert at_trace.percent_of_dry == pytest.approx(100 * 18 / (whole - water_g))
    assert limit_percent(MATERIALS["rose"]) == 2.5
    assert limit_percent(MATERIALS["mint"]) is None


PARTS = (PotPortion("one", 0.6, 0.1), PotPortion("two", 0.4, 0.1))
DIVIDED = Pot(
    (
        *PLAIN.lines,
        line("milk", "addition", 200.0),
        line("milk", "addition", 100.0, "top"),
        line("rose", "scent", 9.0, "trace", "one"),
        line("rose", "scent", 3.0, "trace", "two"),
        line("clay", "addition", 20.0, "trace", "two"),
        line("clay", "addition", 10.0, "top", "two"),
        line("crystals", "addition", 5.0, "trace", "two"),
    ),
    PARTS,
)


def test_portions_have_their_share_of_the_batter_and_their_own_lines() -> None:
    one, two = portion_figures(DIVIDED, MATERIALS, SETTINGS)
    shared = 700 + 300 + 140 + 250 + 200
    assert (one.name, one.share_percent) == ("one", pytest.approx(60))
    assert one.grams == pytest.approx(0.6 * shared + 9)
    assert two.grams == pytest.approx(0.4 * shared + 3 + 20 + 5)
    # the scent at the worst end of a split by eye: the smallest share of the batter
    (scent,) = one.scent
    bar, water_g = 0.5 * (shared + 100) + 9, 0.5 * (250 + 270 + 2.8)
    assert scent.grams == 9
    assert scent.percent_of_oils == pytest.approx(100 * 9 / 500)
    assert scent.percent_of_batter == pytest.approx(100 * 9 / (0.5 * shared + 9))
    assert scent.percent_of_cured == pytest.approx(100 * 9 / (bar - 0.4 * water_g))
    assert scent.percent_of_dry == pytest.approx(100 * 9 / (bar - water_g))


def portion_superfat(share: float, acid_g: float) -> float:
    """Of a share of the batter with so much citric acid: milk carries 8 g of fat of 230."""
    fats = share * (equivalents(700, 190) + equivalents(300, 250) + equivalents(8, 230))
    return 100 * (1 - (share * 140 * 0.98 / NAOH - acid_g / CITRIC * 3) / fats)


def test_the_superfat_of_a_portion_is_the_least_of_its_split() -> None:
    one, two = portion_figures(DIVIDED, MATERIALS, SETTINGS)
    assert one.superfat_percent == pytest.approx(portion_superfat(0.6, 0.0))
    # acid of its own raises it, least where the portion is largest
    assert two.superfat_percent == pytest.approx(portion_superfat(0.5, 5.0))
    by_itself = portion_pot(DIVIDED, "two")
    assert superfat_band(by_itself, MATERIALS, SETTINGS).working == pytest.approx(portion_superfat(0.4, 5.0))
    # alkali of its own lowers it, most where the portion is smallest
    caustic = replace(DIVIDED, lines=(*DIVIDED.lines, line("pure-lye", "alkali", 2.0, "trace", "one")))
    one, _ = portion_figures(caustic, MATERIALS, SETTINGS)
    fats = 0.5 * (equivalents(700, 190) + equivalents(300, 250) + equivalents(8, 230))
    free = 0.5 * 140 * 0.98 / NAOH + 2 / NAOH
    assert one.superfat_percent == pytest.approx(100 * (1 - free / fats))


def test_a_portion_that_may_be_nothing_has_no_lye_in_it() -> None:
    tiny = replace(DIVIDED, portions=(PotPortion("one", 0.95, 0.05), PotPortion("two", 0.05, 0.05)))
    _, two = portion_figures(
        replace(tiny, lines=tuple(each for each in tiny.lines if each.role != "scent")), MATERIALS, SETTINGS
    )
    assert two.superfat_percent is not None
    assert two.superfat_percent <= 100
    assert two.superfat_percent == pytest.approx(portion_superfat(0.1, 5.0))


def test_a_portion_of_nothing_has_all_of_its_fat_left() -> None:
    none = replace(PLAIN, portions=(PotPortion("one", 1.0), PotPortion("two", 0.0)))
    assert portion_figures(none, MATERIALS, SETTINGS)[1].superfat_percent == 100


def test_a_portion_by_itself_is_a_pot_of_its_own() -> None:
    pot = portion_pot(DIVIDED, "two")
    assert pot.portions == ()
    assert all(each.portion is None for each in pot.lines)
    assert pot.grams("oil") == pytest.approx(400)
    assert [each.grams for each in pot.lines if each.material == "rose"] == [3.0]
    assert sum(each.grams for each in pot.lines if each.material == "clay") == 30
    assert portion_pot(PLAIN, WHOLE) is PLAIN
    for name in ("three", WHOLE):
        with pytest.raises(KeyError):
            portion_pot(DIVIDED, name)


def test_an_undivided_batter_is_one_portion_called_whole() -> None:
    (whole,) = work_out_pot(MADE, MATERIALS, SETTINGS).portions
    assert (whole.name, whole.share_percent) == (WHOLE, 100)
    assert whole.grams == batter_g(MADE)
    assert whole.scent == scent_figures(MADE, MATERIALS, SETTINGS)
    band = superfat_band(MADE, MATERIALS, SETTINGS)
    assert (whole.superfat_percent, whole.superfat_low_percent) == (band.working, band.low)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.1, 20))
def test_figures_in_percent_are_the_same_for_any_size(factor: float) -> None:
    fine = replace(SETTINGS, alkali_step_g=Decimal("1e-9"))
    scaled = replace(DIVIDED, lines=tuple(replace(each, grams=each.grams * factor) for each in DIVIDED.lines))
    before, after = work_out_pot(DIVIDED, MATERIALS, fine), work_out_pot(scaled, MATERIALS, fine)
    assert after.oil_mass_g == pytest.approx(before.oil_mass_g * factor)
    assert after.batter_grams == pytest.approx(before.batter_grams * factor)
    assert after.superfat_low == pytest.approx(before.superfat_low)
    assert after.effective_percent == pytest.approx(before.effective_percent)
    assert after.sugars_g_per_kg_oils == pytest.approx(before.sugars_g_per_kg_oils)
    assert dict(after.fatty_acids) == pytest.approx(dict(before.fatty_acids))
    for small, large in zip(before.portions, after.portions, strict=True):
        assert large.superfat_percent == pytest.approx(small.superfat_percent)
        assert large.scent[0].percent_of_cured == pytest.approx(small.scent[0].percent_of_cured)
