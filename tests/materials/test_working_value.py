"""The one rule for the saponification value that a material is worked with."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.chemistry.alkali import Alkali
from formulary.chemistry.fatty_acids import calculated_saponification_value
from formulary.materials.model import Known, Lot, Material, MaterialKind, ValueRange
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from formulary.materials.working_value import choose_saponification_value, unknown_assay

KNOWN = Known("read", "a table")
OLEIC = {"C18:1": 100.0}  # implies 190.09


def choose(low: float | None, high: float | None, profile: dict[str, float], **more: object) -> ValueRange:
    chosen = choose_saponification_value(low, high, profile, MaterialKind.OIL, KNOWN, **more)  # type: ignore[arg-type]
    assert chosen.value is not None
    return chosen.value


def test_the_middle_of_the_range_where_the_fatty_acids_agree() -> None:
    assert choose(188, 193, OLEIC).working == 190.5


def test_the_lower_of_the_two_where_they_differ_by_more_than_one_percent() -> None:
    assert choose(190, 200, OLEIC).working == pytest.approx(190.09, abs=0.01)
    assert choose(180, 190, OLEIC).working == 185


@given(st.floats(150, 260), st.floats(0.1, 30))
def test_the_working_value_is_never_above_the_middle_and_lies_in_its_band(low: float, width: float) -> None:
    value = choose(low, low + width, OLEIC)
    middle = low + width / 2
    calculated = calculated_saponification_value(OLEIC)
    assert value.low <= value.working <= value.high
    assert value.working <= middle + 1e-9
    assert value.working == pytest.approx(middle) or value.working == pytest.approx(min(middle, calculated))
    if abs(middle - calculated) > middle * 0.0101:
        assert value.working == pytest.approx(min(middle, calculated))


def test_a_single_published_value_is_no_range() -> None:
    value = choose(190, 190, {})
    assert (value.low, value.working, value.high) == pytest.approx((184.3, 190, 195.7))


def test_nothing_published_falls_back_on_the_fatty_acids_and_nothing_at_all_is_unknown() -> None:
    value = choose(None, None, OLEIC)
    assert value.working == pytest.approx(190.09, abs=0.01)
    assert value.known.obtained == "computed"
    assert choose_saponification_value(None, None, {}, MaterialKind.OIL, KNOWN).value is None


def test_a_working_value_that_the_file_states_is_kept() -> None:
    assert choose(180, 200, OLEIC, stated_working=196).working == 196


def test_free_fatty_acids_are_compared_as_acids() -> None:
    chosen = choose_saponification_value(206, 211, {"C16:0": 50, "C18:0": 50}, MaterialKind.FATTY_ACID, KNOWN)
    assert chosen.value is not None
    assert chosen.value.working == 208.5
    assert "agrees" in chosen.how


def test_a_waxs_band_begins_at_its_acid_value_alone() -> None:
    beeswax = read_builtin_register()["beeswax"]
    assert beeswax.saponification_value is not None
    assert beeswax.acid_value is not None
    assert beeswax.saponification_value.low == beeswax.acid_value.low == 17
    assert beeswax.saponification_value.working == 95.5


def test_a_lots_certificate_comes_before_all_and_counts_one_either_way() -> None:
    certificate = ValueRange(187.0, 189.0, 188.0, Known("maker", "certificate of lot OL-7"))
    material = Material(
        "olive-oil",
        "Olive oil",
        MaterialKind.OIL,
        saponification_value=choose(184, 196, OLEIC),
        lots={"OL-7": Lot("OL-7", overrides={"saponification_value": certificate, "density_g_per_ml": 0.915})},
    )
    lot = material.with_lot("OL-7")
    assert lot.saponification_value == certificate
    assert lot.density_g_per_ml == 0.915
    assert lot.lots_used == ("OL-7",)
    assert "OL-7" in lot.how_working_value
    assert lot.sources["density_g_per_ml"].obtained == "maker"
    assert material.saponification_value != certificate
    with pytest.raises(KeyError):
        material.with_lot("OL-8")


def test_the_register_says_which_of_the_two_it_took() -> None:
    register = read_builtin_register()
    assert "agrees within 1 %" in register["coconut-oil"].how_working_value
    assert "so the lower" in register["shea-butter"].how_working_value
    assert register["shea-butter"].saponification_value.working == 177.5  # type: ignore[union-attr]


@given(st.floats(2, 89.9))
def test_no_lye_is_worked_out_from_a_profile_that_names_too_little(named_percent: float) -> None:
    profile = {"C18:1": named_percent * 0.25, "C16:0": named_percent * 0.75}
    chosen = choose_saponification_value(None, None, profile, MaterialKind.OIL, KNOWN)
    assert chosen.value is None
    text = f"format: 1\nname: Oil\nkind: oil\nfatty_acids: {{C18:1: {profile['C18:1']}, C16:0: {profile['C16:0']}}}\n"
    material, findings = parse_material(text, None, "of-mine")
    assert material is not None
    assert material.saponification_value is None
    assert [each.code for each in findings] == ["fatty-acids-incomplete"]


@pytest.mark.parametrize("more", ["fatty_acids: {C16:0: 11, C18:1: 72, C18:2: 9}", "saponification_value: 190"])
def test_a_profile_without_its_minor_acids_still_gives_lye(more: str) -> None:
    material, findings = parse_material(f"format: 1\nname: Oil\nkind: oil\n{more}\n", None, "of-mine")
    assert material is not None
    assert material.saponification_value is not None
    assert findings == ()


def test_a_profile_of_a_third_is_not_held_against_a_measured_value() -> None:
    assert choose(250, 260, {"C18:1": 30.0}).working == 255


@pytest.mark.parametrize(("off_percent", "is_middle"), [(0.995, True), (1.005, False), (-0.995, True), (-1.005, True)])
def test_one_percent_is_the_bound_of_what_agrees(off_percent: float, is_middle: bool) -> None:
    implied = calculated_saponification_value(OLEIC)
    middle = implied / (1 - off_percent / 100)
    chosen = choose_saponification_value(middle - 5, middle + 5, OLEIC, MaterialKind.OIL, KNOWN)
    assert chosen.value is not None
    assert chosen.value.working == pytest.approx(middle if is_middle else implied)
    assert ("agrees" in chosen.how) == (abs(off_percent) < 1)


@pytest.mark.parametrize(("named_percent", "counts"), [(79.5, False), (80.0, True), (80.5, True)])
def test_four_fifths_of_a_profile_are_held_against_a_measured_value(named_percent: float, counts: bool) -> None:
    profile = {"C18:1": named_percent}
    value = choose(250, 260, profile)
    assert value.working == pytest.approx(calculated_saponification_value(profile) if counts else 255)


@pytest.mark.parametrize(("named_percent", "counts"), [(89.5, False), (90.0, True), (90.5, True)])
def test_lye_is_worked_out_from_nine_tenths_of_a_profile(named_percent: float, counts: bool) -> None:
    chosen = choose_saponification_value(None, None, {"C18:1": named_percent}, MaterialKind.OIL, KNOWN)
    assert (chosen.value is not None) == counts


def test_half_a_range_is_none() -> None:
    for low, high in ((None, 200.0), (180.0, None)):
        assert choose(low, high, OLEIC).working == pytest.approx(calculated_saponification_value(OLEIC))


def test_why_nothing_was_compared_is_said_of_a_wax_and_of_an_oil() -> None:
    wax = choose_saponification_value(80, 100, OLEIC, MaterialKind.WAX, KNOWN)
    assert "a wax's profile says little" in wax.how
    # Of whose free acids nothing is known either: nothing of it is certain to take lye.
    assert wax.value is not None
    assert (wax.value.low, wax.value.working, wax.value.high) == (0, 90, 100)
    oil = choose_saponification_value(180, 200, {}, MaterialKind.OIL, KNOWN)
    assert "no fatty-acid profile is known" in oil.how


@pytest.mark.parametrize(
    ("alkali", "low"), [(Alkali.SODIUM_HYDROXIDE, 95.0), (Alkali.POTASSIUM_HYDROXIDE, 85.0), (None, 95.0)]
)
def test_a_purity_that_nobody_states_is_taken_as_whole_with_what_is_usual_below_it(
    alkali: Alkali | None, low: float
) -> None:
    # Common practice, no source: potassium hydroxide flakes hold water.
    value = unknown_assay(alkali)
    assert (value.low, value.working, value.high) == (low, 100.0, 100.0)
