"""Amounts are exact, carry their unit, and convert as a general unit library converts them.

The judge is pint (https://pint.readthedocs.io), whose definitions follow the SI brochure and NIST.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from functools import lru_cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.document.fields import parse_date
from formulary.quantity import (
    Kind,
    NotAQuantity,
    Quantity,
    format_decimal,
    format_number,
    parse_decimal,
    parse_mass_g,
    parse_percent,
    parse_quantity,
)
from formulary.rate import Basis, Rate, parse_rate
from trials.trial.elapsed import format_clock, parse_age_days, parse_elapsed

JUDGED = {
    Kind.MASS: {"g": "gram", "kg": "kilogram", "mg": "milligram", "oz": "ounce", "lb": "pound"},
    Kind.VOLUME: {"ml": "milliliter", "l": "liter"},
    Kind.DURATION: {"s": "second", "min": "minute", "h": "hour", "d": "day"},
    Kind.LENGTH: {"mm": "millimeter", "cm": "centimeter", "in": "inch"},
    Kind.TEMPERATURE: {"°C": "degC", "°F": "degF"},
}
amounts = st.decimals(Decimal("-1000"), Decimal("100000"), places=3)


@lru_cache(maxsize=1)
def units() -> object:
    import pint

    return pint.UnitRegistry(non_int_type=Decimal)


@given(st.sampled_from(sorted(JUDGED, key=lambda kind: kind.value)), amounts, st.data())
def test_conversions_agree_with_a_general_unit_library(kind: Kind, amount: Decimal, data: st.DataObject) -> None:
    names = JUDGED[kind]
    amount = amount.copy_abs() if kind is Kind.TEMPERATURE else amount
    start, end = data.draw(st.sampled_from(sorted(names))), data.draw(st.sampled_from(sorted(names)))
    registry = units()
    expected = registry.Quantity(amount, names[start]).to(names[end]).magnitude  # type: ignore[attr-defined]
    found = parse_quantity(f"{amount} {start}", kind).to(end)
    assert float(found) == pytest.approx(float(expected), rel=1e-12, abs=1e-9)


@given(st.decimals(-(10**6), 10**6, places=6), st.sampled_from(["g", "kg", "oz", "ml", "°C", "min", "mm", "%", "tbsp"]))
def test_an_amount_written_and_read_is_the_same_amount(amount: Decimal, unit: str) -> None:
    quantity = Quantity(amount.copy_abs() if unit == "°C" else amount, unit)
    assert parse_quantity(str(quantity), *Kind) == quantity


@pytest.mark.parametrize(("coldest", "too_cold"), [("-273.15 °C", "-273.16 °C"), ("-459.67 °F", "-459.68 °F")])
def test_nothing_is_colder_than_absolute_zero(coldest: str, too_cold: str) -> None:
    # −273.15 °C is the definition (BIPM, The International System of Units); −459.67 °F is the same by conversion.
    assert parse_quantity(coldest, Kind.TEMPERATURE).to("°C") == pytest.approx(Decimal("-273.15"))
    with pytest.raises(NotAQuantity):
        parse_quantity(too_cold, Kind.TEMPERATURE)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("1,5 kg", "write a point: 1.5"),
        ("1, 5 kg", "write a point: 1.5"),
        ("1,000 g", "write 1000 for thousands, or 1.000 with a point"),
        ("0,045 kg", "write a point: 0.045"),
        ("12,345,678 g", "write it without commas: 12345678"),
    ],
)
def test_a_comma_is_never_taken_for_a_point_nor_for_thousands(written: str, meant: str) -> None:
    with pytest.raises(NotAQuantity) as raised:
        parse_quantity(written, Kind.MASS)
    assert raised.value.do == meant


@given(st.decimals(0, 1000, places=3), st.sampled_from(["%", "g", "kg", "ml", "tsp"]), st.sampled_from(Basis))
def test_a_rate_written_and_read_is_the_same_rate(amount: Decimal, unit: str, basis: Basis) -> None:
    rate = Rate(amount, unit, basis)
    assert parse_rate(str(rate)) == rate


@pytest.mark.parametrize(
    ("text", "percent"),
    [
        ("8 % of oils", "8"),
        ("8% of the oils", "8"),
        ("30 g per kg oils", "3"),
        ("0.5 oz per kg of the oils", "1.41747615625"),
    ],
)
def test_a_rate_by_mass_is_a_percentage(text: str, percent: str) -> None:
    assert parse_rate(text).percent_of_basis() == Decimal(percent)


def test_digits_stay_as_written() -> None:
    assert format_decimal(parse_decimal("1.10")) == "1.10"
    assert str(parse_quantity("1.50 kg", Kind.MASS)) == "1.50 kg"
    assert format_decimal(parse_decimal("1e3")) == "1000"


@given(st.permutations([6, 6.0, Decimal("6"), Decimal("6.0"), Decimal("6.00"), "6", "6.0"]))
def test_a_number_keeps_its_own_digits_whichever_equal_one_came_before(
    numbers: list[int | float | Decimal | str],
) -> None:
    for number in numbers:
        assert format_decimal(parse_decimal(number)) == format_decimal(parse_percent(number)) == str(number)
    with pytest.raises(NotAQuantity):
        parse_decimal(bool(parse_decimal(1)))  # True equals 1, and is no number


@pytest.mark.parametrize(
    ("text", "what", "do"),
    [
        ("1000", "no unit", "1000 g"),
        ("1000 ml", "volume, not a mass", "1000 g"),
        ("10 stone", "not a unit", "1000 g"),
        ("1,5 kg", "comma", "point"),
        ("a lot", "not an amount", "number and its unit"),
        ("", "not an amount", "number"),
        ("nan g", "not an amount", "number"),
        ("inf g", "not an amount", "number"),
        ("٣ g", "not an amount", "number"),
        ("1e400g", "larger than any scale", "plain digits, such as 1000 g"),
        ("1e-400 g", "larger than any scale", "plain digits"),
        ("1 000 g", "space within its number", "write it without: 1000 g"),
        ("1 000 000.5g", "space within its number", "write it without: 1000000.5g"),
        ("1\u202f000 g", "space within its number", "write it without: 1000 g"),
        ("1 0000 g", "not a unit", "1000 g"),
        ("1e99 g", "larger than any scale", "plain digits"),
        ("1e-30 g", "finer", "plain digits"),
        ("1.000000000000000000001 g", "more digits", "20 digits"),
        ("0 g", "no weight", "more than 0"),
        ("-5 g", "no weight", "more than 0"),
    ],
)
def test_what_is_no_mass_is_refused_with_what_to_write(text: str, what: str, do: str) -> None:
    with pytest.raises(NotAQuantity) as caught:
        parse_mass_g(text)
    assert what in caught.value.what
    assert do in caught.value.do


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("8 %", "of what"),
        ("8", "not a rate"),
        ("8 % of tea", "not what a rate refers to"),
        ("8 cm per kg oils", "not a unit for a rate"),
        ("8 g per 100 g oils", "not a rate"),
        ("-1 % of oils", "below zero"),
        ("1,2 % of oils", "comma"),
    ],
)
def test_what_is_no_rate_is_refused(text: str, what: str) -> None:
    with pytest.raises(NotAQuantity, match=what):
        parse_rate(text)


@pytest.mark.parametrize("written", ["+5 g", "+5g", " +0.2 oz", "+1 tsp", "+20 grams"])
def test_an_amount_with_a_plus_is_not_taken_for_all_of_it(written: str) -> None:
    with pytest.raises(NotAQuantity) as raised:
        parse_quantity(written, Kind.MASS, Kind.VOLUME)
    assert "without the plus" in raised.value.do
    assert parse_quantity("+5 °C", Kind.TEMPERATURE).amount == 5


@pytest.mark.parametrize("unit", ["tsp", "tbsp", "cup", "fl_oz"])
def test_spoons_have_no_size_of_their_own(unit: str) -> None:
    with pytest.raises(NotAQuantity, match="no fixed size"):
        Quantity(Decimal(1), unit).to("ml")


@pytest.mark.parametrize(
    ("text", "low_s", "high_s", "approximate"),
    [
        ("4:10", 250, 250, False),
        ("1:02:00", 3720, 3720, False),
        ("-15:00", -900, -900, False),
        ("250 s", 250, 250, False),
        ("~4 min", 240, 240, True),
        ("3-5 min", 180, 300, False),
        ("3 to 5 min", 180, 300, False),
        ("unknown", None, None, False),
    ],
)
def test_times_on_a_record_are_as_exact_as_they_were_written(
    text: str, low_s: int | None, high_s: int | None, approximate: bool
) -> None:
    elapsed = parse_elapsed(text)
    assert (elapsed.low_s, elapsed.high_s, elapsed.approximate) == (low_s, high_s, approximate)


@given(st.integers(-(10**5), 10**6))
def test_a_clock_time_written_and_read_is_the_same_time(seconds: int) -> None:
    assert parse_elapsed(format_clock(Decimal(seconds))).low_s == seconds


@pytest.mark.parametrize(
    ("number", "places", "text"), [(-0.04, 1, "0.0"), (-0.05001, 1, "-0.1"), (2.5, 0, "2"), (1e-9, 2, "0.00")]
)
def test_calculated_numbers_have_fixed_places_and_no_negative_nought(number: float, places: int, text: str) -> None:
    assert format_number(number, places) == text


def _any_quantity(text: str) -> Quantity:
    return parse_quantity(text, *Kind)


@pytest.mark.parametrize(
    "parse",
    [parse_decimal, parse_percent, parse_mass_g, parse_rate, parse_elapsed, parse_age_days, parse_date, _any_quantity],
)
@given(text=st.one_of(st.text(max_size=30), st.from_regex(r"[-+~]?[0-9.,:_eE]{0,8} ?(%|g|min|d|per kg| of oils){0,2}")))
def test_any_text_is_read_or_refused_in_words(parse: Callable[[str], object], text: str) -> None:
    try:
        parse(text)
    except NotAQuantity as problem:
        said = (problem.what, problem.do)
    else:
        return
    assert all(said)


@pytest.mark.parametrize("written", ["1 lb 2 oz", "1 kg 200 g", "1lb, 2oz", "1 lb and 2 oz"])
def test_a_weight_in_two_units_is_told_to_use_one(written: str) -> None:
    with pytest.raises(NotAQuantity) as fault:
        parse_quantity(written, Kind.MASS)
    assert "use one unit" in fault.value.do
