"""The one rule for the saponification value that a material is worked with."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.chemistry.fatty_acids import calculated_saponification_value
from formulary.materials.model import Known, Lot, Material, MaterialKind, ValueRange
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from formulary.materials.working_value import choose_saponification_value

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
    assert lot.lot == "OL-7"
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
