"""Percentages from weights: exactly 100 in all, what is missing given to the largest rests, no weight of nothing."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.batch.from_weights import figures_from_weights, percentages_from_weights
from formulary.errors import InputError
from formulary.materials.register import read_builtin_register
from formulary.recipes.compose import compose_recipe


def test_a_hundred_seats_are_shared_by_the_largest_remainder() -> None:
    # Six parties of 100,000 votes, the usual example of the Hare-Niemeyer method, for 100 seats (from memory): quotas
    # 47, 16, 15.9, 12, 6, 3.1; the whole parts total 99, and the one seat that is left goes to .9, the largest rest.
    votes = {"yellow": 47_000, "white": 16_000, "red": 15_900, "green": 12_000, "blue": 6_000, "pink": 3_100}
    seats = percentages_from_weights({name: Decimal(count) for name, count in votes.items()}, places=0)
    assert list(seats.values()) == [47, 16, 16, 12, 6, 3]


@given(st.lists(st.decimals(Decimal("1e-20"), Decimal("1e20"), places=20), min_size=1, max_size=8))
def test_weights_of_any_sizes_total_100_and_none_is_off_by_a_step(weights_g: list[Decimal]) -> None:
    percents = percentages_from_weights({str(number): weight for number, weight in enumerate(weights_g)})
    assert sum(percents.values()) == 100
    total = sum(map(Fraction, weights_g))
    for percent, weight_g in zip(percents.values(), weights_g, strict=True):
        assert abs(Fraction(percent) - Fraction(weight_g) * 100 / total) < Fraction(1, 100)


@pytest.mark.parametrize("weight", ["0", "-0.1", "-1", "-450", "NaN", "Infinity", "-Infinity"])
def test_what_is_no_weight_is_refused(weight: str) -> None:
    with pytest.raises(InputError, match="needs a weight above 0 g"):
        percentages_from_weights({"olive-oil": Decimal(100), "coconut-oil": Decimal(weight)})


def test_no_weights_at_all_are_refused() -> None:
    with pytest.raises(InputError, match="needs a weight above 0 g"):
        percentages_from_weights({})


def test_the_smallest_weights_are_weights() -> None:
    assert percentages_from_weights({"a": Decimal("0.01"), "b": Decimal("0.03")}) == {"a": 25, "b": 75}


# Olive oil is worked with 190 mg KOH per g (the middle of the Codex range, 184 to 196): 1000 g take 1000 x 190 / 56105
# x 39.997 = 135.45 g of sodium hydroxide (ISO 3657; CIAAW abridged molar masses).
OLIVE = {"olive-oil": Decimal(1000)}


@pytest.mark.parametrize(
    ("lye", "water", "stated", "figures"),
    [
        ("128.68 g", "257.4 g", (None, None), ("5.0", "33.3")),
        ("4.539 oz", "9.08 oz", (None, None), ("5.0", "33.3")),
        ("135.45 g", None, (None, None), ("0.0", None)),
        ("142.2 g", None, (None, "30"), ("-5.0", "30")),
        (None, "257.4 g", (None, None), ("5", "33.3")),
        (None, "270.9 g", ("0", None), ("0", "33.3")),
    ],
)
def test_superfat_and_strength_follow_from_the_lye_and_the_water_of_a_notebook(
    lye: str | None, water: str | None, stated: tuple[str | None, str | None], figures: tuple[str, str | None]
) -> None:
    assert figures_from_weights(OLIVE, lye, water, stated, read_builtin_register()) == figures


@pytest.mark.parametrize(
    ("lye", "water", "stated", "code"),
    [
        ("128 g", None, ("5", None), "figure-twice"),
        (None, "257 g", (None, "33"), "figure-twice"),
        ("128", None, (None, None), "bad-weighed"),
        ("0 g", None, (None, None), "bad-weighed"),
        ("4.5 g", None, (None, None), "bad-weighed"),
        ("4500 g", None, (None, None), "bad-weighed"),
    ],
)
def test_a_weight_of_lye_that_cannot_be_is_refused(
    lye: str | None, water: str | None, stated: tuple[str | None, str | None], code: str
) -> None:
    with pytest.raises(InputError) as caught:
        figures_from_weights(OLIVE, lye, water, stated, read_builtin_register())
    assert [each.code for each in caught.value.findings] == [code]


@pytest.mark.parametrize(("written", "percent"), [("1:2", "33.33"), ("2:1", "33.33"), ("1 : 1.5", "40"), ("1:3", "25")])
def test_parts_of_lye_and_water_are_told_as_percent(written: str, percent: str) -> None:
    with pytest.raises(InputError) as caught:
        compose_recipe("old", {"olive-oil": Decimal(100)}, lye_concentration=written)
    assert caught.value.findings[0].do == f"write {percent}"
