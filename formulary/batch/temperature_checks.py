"""What is too hot to be mixed: water boils where lye of it meets oil above its boiling point."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from formulary.finding import Finding, Place, stop
from formulary.quantity import Kind, NotAQuantity, format_plain_number, parse_quantity

BOILING_C = 100.0  # water at the sea's level; the scale's own mark
_USUAL_C = "40 °C"
_KEYS = {"oil_temperature": "the oils are", "lye_temperature": "the lye is"}


def check_temperatures(process: Mapping[str, str], locate: Callable[..., Place]) -> Iterable[Finding]:
    """A stop for oils or lye that are to be mixed above the boiling point of water."""
    for key, what_is in _KEYS.items():
        text = process.get(key)
        degrees_c = parse_celsius(text)
        if text is not None and degrees_c is not None and degrees_c > BOILING_C:
            what = f"{what_is} to be mixed at {say_temperature(text)}, where water boils: it erupts out of the pot"
            do = f"let both cool to about {_USUAL_C} before they meet"
            yield stop("boiling-hot", what, do, locate("process", key))


def parse_celsius(text: str | None) -> float | None:
    """A temperature as written, in °C; None where there is none that can be read."""
    if text is None:
        return None
    try:
        return float(parse_quantity(text, Kind.TEMPERATURE).to("°C"))
    except NotAQuantity:
        return None


def say_temperature(text: str) -> str:
    """A temperature in the unit that it was written in, and in °C beside it."""
    written = parse_quantity(text, Kind.TEMPERATURE)
    degrees_c = format_plain_number(float(written.to("°C")), 1)
    return f"{degrees_c} °C" if written.unit == "°C" else f"{written} ({degrees_c} °C)"
