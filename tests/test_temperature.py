"""Who reads °F is told every temperature in it, and what is told converts back to what is kept."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.quantity import Kind, parse_quantity
from formulary.temperature import (
    CELSIUS,
    FAHRENHEIT,
    say_both,
    say_both_apart,
    say_degrees,
    say_range,
    say_written,
    told_apart,
    told_unit,
    told_value,
)

DEGREES = st.floats(-200.0, 400.0)


@pytest.mark.parametrize(("celsius", "fahrenheit"), [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0), (37.0, 98.6)])
def test_the_fixed_points_are_those_of_the_scales(celsius: float, fahrenheit: float) -> None:
    # By the definition of the degree Fahrenheit (NIST Special Publication 811, from memory).
    assert told_value(celsius, CELSIUS, FAHRENHEIT) == pytest.approx(fahrenheit)


@given(DEGREES)
def test_what_is_told_in_fahrenheit_converts_back_within_its_rounding(celsius: float) -> None:
    said = parse_quantity(say_degrees(celsius, FAHRENHEIT), Kind.TEMPERATURE)
    assert said.unit == FAHRENHEIT
    assert abs(float(said.to(CELSIUS)) - celsius) <= 0.05 * 5 / 9 + 1e-9
    assert say_both(celsius) == f"{say_degrees(celsius)} ({said})"


@given(DEGREES, DEGREES)
def test_a_difference_is_told_without_the_zero_point(one: float, other: float) -> None:
    told = told_value(one, CELSIUS, FAHRENHEIT) - told_value(other, CELSIUS, FAHRENHEIT)
    assert told_apart(one - other, CELSIUS, FAHRENHEIT) == pytest.approx(told, abs=1e-9)


@given(DEGREES, st.sampled_from(["min", "%", "", "g of oils", "°F"]))
def test_what_is_no_temperature_in_celsius_is_left_as_it_is(value: float, unit: str) -> None:
    assert told_unit(unit, FAHRENHEIT) == unit
    assert told_value(value, unit, FAHRENHEIT) == told_apart(value, unit, FAHRENHEIT) == value


@given(DEGREES)
def test_who_reads_celsius_is_told_what_is_kept(celsius: float) -> None:
    assert told_unit(CELSIUS, CELSIUS) == CELSIUS
    assert told_value(celsius, CELSIUS, CELSIUS) == told_apart(celsius, CELSIUS, CELSIUS) == celsius


def test_what_somebody_wrote_is_told_in_the_other_unit_only_where_it_is_a_temperature() -> None:
    assert say_written("38 °C", FAHRENHEIT) == "100.4 °F"
    assert say_written("100 °F", FAHRENHEIT) == "100 °F"
    assert say_written("100 °F", CELSIUS) == "37.8 °C"
    for words in ("insulated", "28 d", "7", ""):
        assert say_written(words, FAHRENHEIT) == words


def test_who_reads_either_unit_is_told_a_difference_and_a_range_in_it() -> None:
    assert say_both_apart(8.0) == "8 °C (14.4 °F)"
    assert say_range(0, 45) == "32 to 113 °F"
