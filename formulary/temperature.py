"""Temperatures as a maker reads them: all are kept and worked out in °C, and told in the unit of the settings."""

from __future__ import annotations

from typing import Final

from formulary.quantity import Kind, NotAQuantity, format_plain_number, parse_quantity

CELSIUS: Final = "°C"
FAHRENHEIT: Final = "°F"
TEMPERATURE_UNITS = (CELSIUS, FAHRENHEIT)


def told_unit(unit: str, told_in: str) -> str:
    """The unit that values in `unit` are told in. told_in: what temperatures are."""
    return told_in if unit == CELSIUS else unit


def told_value(value: float, unit: str, told_in: str) -> float:
    """A value as it is told; of anything but a temperature as it is."""
    return value * 9.0 / 5.0 + 32.0 if _is_in_fahrenheit(unit, told_in) else value


def told_apart(difference: float, unit: str, told_in: str) -> float:
    """How far two values are apart, as it is told: no zero point goes into that."""
    return difference * 9.0 / 5.0 if _is_in_fahrenheit(unit, told_in) else difference


def say_degrees(celsius: float, told_in: str = CELSIUS, places: int = 1) -> str:
    """A temperature in °C as it is told, to a tenth: `38 °C`, `100.4 °F`."""
    return f"{format_plain_number(told_value(celsius, CELSIUS, told_in), places)} {told_in}"


def say_both(celsius: float, places: int = 1) -> str:
    """A temperature for those who read either, as findings say it: `38 °C (100.4 °F)`."""
    return f"{say_degrees(celsius, CELSIUS, places)} ({say_degrees(celsius, FAHRENHEIT, places)})"


def say_both_apart(kelvin: float) -> str:
    """A difference for those who read either: `8 °C (14.4 °F)`."""
    in_fahrenheit = format_plain_number(told_apart(kelvin, CELSIUS, FAHRENHEIT), 1)
    return f"{format_plain_number(kelvin, 1)} °C ({in_fahrenheit} °F)"


def say_range(low_c: float, high_c: float) -> str:
    """From and to in °F, to stand behind the same in °C: `32 to 113 °F`."""
    return f"{format_plain_number(told_value(low_c, CELSIUS, FAHRENHEIT), 1)} to {say_degrees(high_c, FAHRENHEIT)}"


def say_written(text: str, told_in: str) -> str:
    """A temperature that somebody wrote, as it is told; what is none, or is written so already, as it stands."""
    try:
        written = parse_quantity(text, Kind.TEMPERATURE)
    except NotAQuantity:
        return text
    if written.unit == told_in:
        return text
    return say_degrees(float(written.to(CELSIUS)), told_in)


def _is_in_fahrenheit(unit: str, told_in: str) -> bool:
    return unit == CELSIUS and told_in == FAHRENHEIT
