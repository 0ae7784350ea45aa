"""What is too hot to be mixed: water boils where lye of it meets oil above its boiling point."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from formulary.finding import Finding, Place, stop
from formulary.quantity import Kind, NotAQuantity, parse_quantity
from formulary.temperature import CELSIUS, say_both, say_degrees

BOILING_C = 100.0  # water at the sea's level; the scale's own mark
_USUAL = say_both(40.0)
_KEYS = {"oil_temperature": "the oils are", "lye_temperature": "the lye is"}


def check_temperatures(process: Mapping[str, str], locate: Callable[..., Place]) -> Iterable[Finding]:
    """A stop for oils or lye that are to be mixed above the boiling point of water."""
    for key, what_is in _KEYS.items():
        text = process.get(key)
        degrees_c = parse_celsius(text)
        if text is not None and degrees_c is not None and degrees_c > BOILING_C:
            what = f"{what_is} to be mixed at {say_temperature(text)}, where water boils: it erupts out of the pot"
            do = f"let both cool to about {_USUAL} before they meet"
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
    """A temperature in the unit that it was written in, and in the other one beside it."""
    written = parse_quantity(text, Kind.TEMPERATURE)
    celsius = float(written.to(CELSIUS))
    return say_both(celsius) if written.unit == CELSIUS else f"{written} ({say_degrees(celsius)})"
