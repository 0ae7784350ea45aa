"""Colours against published figures.

`data/ciede2000_pairs.csv`: Sharma, Wu, Dalal, "The CIEDE2000 color-difference formula", Color Research and Application
30(1), 2005, 21-30, Table 1. `data/srgb_to_lab_d65.csv`: IEC 61966-2-1:1999 constants with the white from
xy = (0.3127, 0.3290), computed with two general colour libraries.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from trials.outcomes.colour import colour_difference, lab_of_srgb, parse_colour

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, float]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return [{key: float(value) for key, value in row.items()} for row in csv.DictReader(file)]


@pytest.mark.parametrize("row", rows("ciede2000_pairs.csv"), ids=lambda row: f"pair {row['pair']:.0f}")
def test_each_published_pair_is_met_to_the_last_digit_either_way_round(row: dict[str, float]) -> None:
    one, other = (row["L1"], row["a1"], row["b1"]), (row["L2"], row["a2"], row["b2"])
    assert colour_difference(one, other) == pytest.approx(row["dE00"], abs=5.1e-5)
    assert colour_difference(other, one) == pytest.approx(row["dE00"], abs=5.1e-5)


@pytest.mark.parametrize(
    "row", rows("srgb_to_lab_d65.csv"), ids=lambda row: f"{row['R']:.0f},{row['G']:.0f},{row['B']:.0f}"
)
def test_each_screen_colour_has_the_lab_of_two_other_libraries(row: dict[str, float]) -> None:
    red, green, blue = int(row["R"]), int(row["G"]), int(row["B"])
    assert lab_of_srgb(red, green, blue) == pytest.approx((row["L"], row["a"], row["b"]), abs=1e-3)
    assert parse_colour(f"#{red:02x}{green:02x}{blue:02x}") == lab_of_srgb(red, green, blue)
