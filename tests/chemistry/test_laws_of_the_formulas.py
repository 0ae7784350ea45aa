"""Laws that the formulas keep whatever the numbers."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.chemistry import acids, alkali, density, fatty_acids, heat, solubility, superfat_band, water
from formulary.chemistry.alkali import Alkali

masses = st.floats(0.1, 50_000)
saponification_values = st.floats(20, 400)
percents = st.floats(0.5, 99.5)
alkalis = st.sampled_from(Alkali)
profiles = st.dictionaries(
    st.sampled_from(["C8:0", "C12:0", "C14:0", "C16:0", "C18:0", "C18:1", "C18:1-OH", "C18:2", "C18:3", "C22:1"]),
    st.floats(0.1, 100),
    min_size=1,
)


@given(masses, saponification_values, st.floats(0.01, 100))
def test_alkali_scales_with_fat(mass: float, value: float, factor: float) -> None:
    moles = alkali.hydroxide_mol_for_fat(mass, value)
    assert alkali.hydroxide_mol_for_fat(mass * factor, value) == pytest.approx(factor * moles)


@given(masses, saponification_values, alkalis)
def test_koh_for_naoh_keeps_the_moles(mass: float, value: float, which: Alkali) -> None:
    moles = alkali.hydroxide_mol_for_fat(mass, value)
    assert alkali.hydroxide_mol(alkali.alkali_mass_g(moles, which), which) == pytest.approx(moles)


@given(masses, saponification_values, st.floats(-5, 50))
def test_a_discounted_fat_has_the_superfat_that_it_was_given(mass: float, value: float, superfat: float) -> None:
    fat = alkali.hydroxide_mol_for_fat(mass, value)
    given_alkali = alkali.discounted_mol(fat, superfat)
    assert alkali.superfat_percent(fat, given_alkali) == pytest.approx(superfat, abs=1e-9)


@given(masses, saponification_values, st.floats(0, 49), st.floats(0.01, 1))
def test_more_superfat_is_less_alkali(mass: float, value: float, superfat: float, step: float) -> None:
    fat = alkali.hydroxide_mol_for_fat(mass, value)
    assert alkali.discounted_mol(fat, superfat + step) < alkali.discounted_mol(fat, superfat)


@given(masses, percents)
def test_assay_there_and_back(mass: float, assay: float) -> None:
    assert alkali.pure_g(alkali.weighed_g(mass, assay), assay) == pytest.approx(mass)


@given(st.floats(0.01, 100), percents)
def test_both_ways_of_splitting_keep_the_hydroxide(moles: float, share: float) -> None:
    shares = {Alkali.SODIUM_HYDROXIDE: share, Alkali.POTASSIUM_HYDROXIDE: 100 - share}
    for split in (alkali.split_by_mass(moles, shares), alkali.split_by_moles(moles, shares)):
        total = sum(alkali.hydroxide_mol(grams, which) for which, grams in split.items())
        assert total == pytest.approx(moles)


@given(st.floats(0.01, 100), percents)
def test_a_split_has_the_shares_that_were_asked_for(moles: float, share: float) -> None:
    shares = {Alkali.SODIUM_HYDROXIDE: share, Alkali.POTASSIUM_HYDROXIDE: 100 - share}
    by_mass = alkali.split_by_mass(moles, shares)
    assert by_mass[Alkali.SODIUM_HYDROXIDE] / sum(by_mass.values()) == pytest.approx(share / 100)
    by_moles = alkali.split_by_moles(moles, shares)
    sodium_mol = alkali.hydroxide_mol(by_moles[Alkali.SODIUM_HYDROXIDE], Alkali.SODIUM_HYDROXIDE)
    assert sodium_mol / moles == pytest.approx(share / 100)


@given(st.floats(0.01, 10), st.floats(5, 95))
def test_the_same_shares_by_mass_weigh_less_koh_than_by_moles(moles: float, share: float) -> None:
    shares = {Alkali.SODIUM_HYDROXIDE: share, Alkali.POTASSIUM_HYDROXIDE: 100 - share}
    potassium = Alkali.POTASSIUM_HYDROXIDE
    assert alkali.split_by_mass(moles, shares)[potassium] < alkali.split_by_moles(moles, shares)[potassium]


def test_a_share_of_nothing_leaves_all_to_the_other() -> None:
    shares = {Alkali.SODIUM_HYDROXIDE: 100.0, Alkali.POTASSIUM_HYDROXIDE: 0.0}
    for split in (alkali.split_by_mass(1.0, shares), alkali.split_by_moles(1.0, shares)):
        assert split == pytest.approx({Alkali.SODIUM_HYDROXIDE: 39.997, Alkali.POTASSIUM_HYDROXIDE: 0.0})


@pytest.mark.parametrize(
    "shares",
    [
        {},
        {Alkali.SODIUM_HYDROXIDE: 0.0},
        {Alkali.SODIUM_HYDROXIDE: -1.0},
        {Alkali.SODIUM_HYDROXIDE: math.inf},
        {Alkali.SODIUM_HYDROXIDE: math.nan},
        {Alkali.SODIUM_HYDROXIDE: 60.0, Alkali.POTASSIUM_HYDROXIDE: -10.0},
    ],
)
def test_a_split_of_nothing_or_below_nothing_is_refused(shares: dict[Alkali, float]) -> None:
    for split in (alkali.split_by_mass, alkali.split_by_moles):
        with pytest.raises(ValueError, match="alkali"):
            split(1.0, shares)


@given(masses, st.sampled_from([1.0, 0.1, 0.01, 0.5, 5.0]))
def test_a_scale_is_never_filled_above_the_mass_and_less_than_a_step_below(mass: float, step: float) -> None:
    shown = alkali.rounded_down_g(mass, step)
    assert shown <= mass + step * 1e-8
    assert mass - shown < step * (1 + 1e-8)


@given(st.integers(1, 100_000), st.sampled_from([1.0, 0.1, 0.01]))
def test_a_mass_that_the_scale_shows_stays_as_it_is(steps: int, step: float) -> None:
    assert alkali.rounded_down_g(steps * step, step) == pytest.approx(steps * step, abs=1e-9)


def test_a_superfat_of_no_fat_is_refused() -> None:
    with pytest.raises(ValueError, match="fat"):
        alkali.superfat_percent(0.0, 1.0)


@given(st.floats(0.1, 1000), st.floats(1, 99))
def test_water_for_a_concentration_gives_it_back(pure: float, concentration: float) -> None:
    needed = water.water_g_for_concentration(pure, concentration)
    assert water.lye_concentration_percent(pure, needed) == pytest.approx(concentration)
    assert water.lye_concentration_percent(pure, water.water_g_for_ratio(pure, needed / pure)) == pytest.approx(
        concentration
    )


@pytest.mark.parametrize("concentration", [0.0, 100.0, -5.0, math.nan])
def test_a_lye_of_impossible_strength_is_refused(concentration: float) -> None:
    with pytest.raises(ValueError, match="concentration"):
        water.water_g_for_concentration(100, concentration)


@given(alkalis, st.floats(0, 100))
def test_a_jug_at_its_solubility_is_exactly_full(which: Alkali, temperature: float) -> None:
    dissolved = solubility.solubility_g_per_100_g_water(which, temperature)
    assert solubility.saturation({which: dissolved}, 100, temperature) == pytest.approx(1)


@given(alkalis, st.floats(0, 99), st.floats(0.1, 1))
def test_warmer_water_dissolves_more(which: Alkali, temperature: float, step: float) -> None:
    cooler = solubility.solubility_g_per_100_g_water(which, temperature)
    assert solubility.solubility_g_per_100_g_water(which, temperature + step) > cooler


def test_a_little_water_dissolves_a_little_alkali() -> None:
    assert solubility.saturation({Alkali.SODIUM_HYDROXIDE: 0.5}, 0.5) == pytest.approx(100 / 109)


def test_a_dry_jug_is_overfull_and_an_empty_one_is_not() -> None:
    assert solubility.saturation({Alkali.SODIUM_HYDROXIDE: 1}, 0) == math.inf
    assert solubility.saturation({}, 0) == 0


@pytest.mark.parametrize("temperature", [-1.0, 101.0])
def test_solubility_outside_the_table_is_refused(temperature: float) -> None:
    with pytest.raises(ValueError, match="100 °C"):
        solubility.solubility_g_per_100_g_water(Alkali.SODIUM_HYDROXIDE, temperature)


@given(masses, st.sampled_from(sorted(acids.ACIDS)), alkalis)
def test_an_acid_is_neutralised_mole_for_mole(mass: float, acid: str, which: Alkali) -> None:
    extra = alkali.alkali_mass_g(acids.acid_equivalents_mol(mass, acid), which)
    known = acids.ACIDS[acid]
    protons = mass / known.molar_mass_g_per_mol * known.equivalents_per_mol
    assert alkali.hydroxide_mol(extra, which) == pytest.approx(protons)


def test_citric_monohydrate_takes_less_than_the_same_weight_of_anhydrous() -> None:
    monohydrate = {"citric": 100 * 192.123 / 210.138}
    assert acids.equivalents_of_mixture_mol(210.138, monohydrate) == pytest.approx(3, rel=1e-5)
    assert acids.equivalents_of_mixture_mol(192.123, {"citric": 100}) == pytest.approx(3, rel=1e-5)


@given(profiles, st.floats(0.1, 10))
def test_only_the_ratios_of_a_profile_count(profile: dict[str, float], factor: float) -> None:
    scaled = {acid: percent * factor for acid, percent in profile.items()}
    for calculate in (fatty_acids.calculated_saponification_value, fatty_acids.calculated_iodine_value):
        assert calculate(scaled) == pytest.approx(calculate(profile))


@given(profiles)
def test_a_blend_of_one_is_itself_and_groups_total_100(profile: dict[str, float]) -> None:
    blend = fatty_acids.blended_fatty_acids_percent({"it": (12.0, profile)})
    total = sum(profile.values())
    assert blend == pytest.approx({acid: percent * 100 / total for acid, percent in profile.items()})
    found = fatty_acids.find_saturation(profile)
    assert found.saturated_percent + found.monounsaturated_percent + found.polyunsaturated_percent == pytest.approx(100)
    assert sum(fatty_acids.chain_groups_percent(profile).values()) == pytest.approx(100)


@given(profiles, profiles, st.floats(0.1, 10))
def test_a_blends_saponification_value_lies_between_its_parts(
    one: dict[str, float], other: dict[str, float], mass: float
) -> None:
    blend = fatty_acids.blended_fatty_acids_percent({"one": (1.0, one), "other": (mass, other)})
    low, high = sorted(fatty_acids.calculated_saponification_value(profile) for profile in (one, other))
    assert low * (1 - 1e-9) <= fatty_acids.calculated_saponification_value(blend) <= high * (1 + 1e-9)


@pytest.mark.parametrize("shorthand", ["C18", "18:1", "C18:9", "C1:0", "C0:0", "oleic", "C18:1 "])
def test_what_is_no_fatty_acid_is_refused(shorthand: str) -> None:
    with pytest.raises(ValueError, match=r"fatty acid|double bonds"):
        fatty_acids.parse_fatty_acid(shorthand)


def test_an_empty_profile_is_refused() -> None:
    for calculate in (
        fatty_acids.mean_molar_mass_g_per_mol,
        fatty_acids.calculated_iodine_value,
        fatty_acids.find_saturation,
        fatty_acids.chain_groups_percent,
    ):
        with pytest.raises(ValueError, match="at least one acid"):
            calculate({})
    assert fatty_acids.blended_fatty_acids_percent({}) == {}


uncertains = st.builds(
    lambda working, down, up: superfat_band.Uncertain(working, working * (1 - down), working * (1 + up)),
    st.floats(0.1, 10),
    st.floats(0, 0.1),
    st.floats(0, 0.1),
)


@given(st.lists(uncertains, min_size=1, max_size=6), st.lists(uncertains, min_size=1, max_size=2))
def test_the_band_holds_the_working_value_and_the_worst_case_holds_the_band(
    fats: list[superfat_band.Uncertain], alkalis_in_it: list[superfat_band.Uncertain]
) -> None:
    band = superfat_band.find_superfat_band(fats, alkalis_in_it)
    slack = 1e-9 * (1 + abs(band.working))
    assert band.low <= band.working <= band.high
    # the worst case is taken exactly and the band by single shifts, so that it may pass it by what is of second order
    second_order = slack + 0.025 * (band.high - band.low)
    assert band.worst_low <= band.low + second_order
    assert band.worst_high >= band.high - second_order


@given(uncertains, uncertains)
def test_one_source_of_doubt_alone_gives_a_band_that_is_its_worst_case(
    fat: superfat_band.Uncertain, exact: superfat_band.Uncertain
) -> None:
    known = superfat_band.Uncertain(exact.working_mol, exact.working_mol, exact.working_mol)
    band = superfat_band.find_superfat_band([fat], [known])
    assert (band.low, band.high) == pytest.approx((band.worst_low, band.worst_high), abs=1e-9)


@given(uncertains, uncertains, uncertains)
def test_doubt_of_one_alkali_alone_gives_a_band_that_is_its_worst_case(
    fat: superfat_band.Uncertain, doubtful: superfat_band.Uncertain, other: superfat_band.Uncertain
) -> None:
    exact_fat = superfat_band.Uncertain(30 + fat.working_mol, 30 + fat.working_mol, 30 + fat.working_mol)
    exact = superfat_band.Uncertain(other.working_mol, other.working_mol, other.working_mol)
    band = superfat_band.find_superfat_band([exact_fat], [doubtful, exact])
    total = doubtful.working_mol + other.working_mol
    assert band.working == pytest.approx(100 * (1 - total / exact_fat.working_mol))
    low = 100 * (1 - (doubtful.high_mol + other.working_mol) / exact_fat.working_mol)
    high = 100 * (1 - (doubtful.low_mol + other.working_mol) / exact_fat.working_mol)
    assert (band.low, band.high) == pytest.approx((low, high), abs=1e-9)
    assert (band.worst_low, band.worst_high) == pytest.approx((low, high), abs=1e-9)


def test_two_doubts_of_one_size_add_by_their_squares() -> None:
    fat = superfat_band.Uncertain(100.0, 100.0, 100.0)
    alkalis_in_it = [superfat_band.Uncertain(40.0, 37.0, 43.0), superfat_band.Uncertain(50.0, 46.0, 54.0)]
    band = superfat_band.find_superfat_band([fat], alkalis_in_it)
    assert (band.low, band.working, band.high) == pytest.approx((5, 10, 15))
    assert (band.worst_low, band.worst_high) == pytest.approx((3, 17))


def test_with_no_fat_that_is_certain_the_band_ends_at_twice_the_alkali() -> None:
    exact = superfat_band.Uncertain(1.0, 1.0, 1.0)
    wax = superfat_band.find_superfat_band([superfat_band.Uncertain(1.0, 0.0, 1.1)], [exact])
    assert (wax.working, wax.low, wax.worst_low) == (0, -100, -100)
    assert superfat_band.find_superfat_band([], [exact]).working == -100
    assert superfat_band.find_superfat_band([], []).working == 0
    nearly = superfat_band.find_superfat_band([superfat_band.Uncertain(1.0, 0.01, 1.1)], [exact])
    assert nearly.low == -100


def test_nothing_unknown_gives_a_band_of_no_width() -> None:
    exact = superfat_band.Uncertain(1.0, 1.0, 1.0)
    band = superfat_band.find_superfat_band([exact], [superfat_band.Uncertain(0.95, 0.95, 0.95)])
    assert band.low == band.high == band.working == pytest.approx(5)


@given(alkalis, st.floats(1, 200), st.floats(100, 500))
def test_more_alkali_in_the_same_water_is_hotter_and_denser(which: Alkali, grams: float, water_g: float) -> None:
    cooler = heat.warm_up_bound_k({which: grams}, water_g)
    assert heat.warm_up_bound_k({which: grams * 1.1}, water_g) > cooler
    percent = min(40.0, water.lye_concentration_percent(grams, water_g))
    assert density.lye_density_g_per_ml(which, percent) < density.lye_density_g_per_ml(which, percent + 1)


def test_a_warm_up_of_nothing_and_a_density_off_the_table_are_refused() -> None:
    with pytest.raises(ValueError, match="water or alkali"):
        heat.warm_up_bound_k({}, 0)
    with pytest.raises(ValueError, match="52 %"):
        density.lye_density_g_per_ml(Alkali.SODIUM_HYDROXIDE, 60)


@given(masses, st.floats(0.3, 3))
def test_mass_and_volume_there_and_back(mass: float, per_ml: float) -> None:
    assert density.mass_g(density.volume_ml(mass, per_ml), per_ml) == pytest.approx(mass)
