"""Lye of water that meets oil above its boiling point erupts: 100 °C, the mark of the scale (212 °F)."""

from __future__ import annotations

import pytest

from formulary.batch.temperature_checks import check_temperatures, parse_celsius, say_temperature
from formulary.finding import Place


def located(*parts: str) -> Place:
    return Place(path="/".join(parts), line=1, column=1)


@pytest.mark.parametrize("key", ["oil_temperature", "lye_temperature"])
@pytest.mark.parametrize(
    ("text", "is_told"),
    [("100 °C", False), ("100.1 °C", True), ("212 °F", False), ("213 °F", True), ("40 °C", False), ("warm", False)],
)
def test_what_is_mixed_above_the_boiling_point_of_water_is_stopped(key: str, text: str, *, is_told: bool) -> None:
    found = list(check_temperatures({key: text}, located))
    assert bool(found) == is_told
    for finding in found:
        assert (finding.severity.value, finding.code) == ("stop", "boiling-hot")
        assert text in finding.what
        assert ("the oils are" if key == "oil_temperature" else "the lye is") in finding.what
        assert finding.place.path == f"process/{key}"


def test_both_are_told_and_what_is_not_said_is_not_judged() -> None:
    assert list(check_temperatures({}, located)) == []
    hot = {"lye_temperature": "120 °C", "oil_temperature": "150 °C", "cover": "oven"}
    assert len(list(check_temperatures(hot, located))) == 2


@pytest.mark.parametrize(
    ("text", "celsius", "said"),
    [("40 °C", 40.0, "40 °C (104 °F)"), ("40.26 °C", 40.26, "40.3 °C (104.5 °F)"), ("104 °F", 40.0, "104 °F (40 °C)")],
)
def test_a_temperature_is_said_as_it_was_written_with_the_other_unit_beside(
    text: str, celsius: float, said: str
) -> None:
    assert parse_celsius(text) == pytest.approx(celsius)
    assert say_temperature(text) == said


def test_a_temperature_that_cannot_be_read_is_none() -> None:
    assert parse_celsius(None) is None
    assert parse_celsius("hand warm") is None
    assert parse_celsius("38") is None
