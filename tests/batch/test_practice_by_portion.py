"""What one portion gets alone is judged by that portion's own oils, wherever a batch is told of."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.figures import take_portion
from formulary.batch.model import Batch
from formulary.batch.portion_practice import check_practice
from formulary.batch.rescue import work_out_rescue
from formulary.batch.sitting_text import render_rescue
from formulary.batch.weigh_out_text import render_batch
from formulary.finding import Finding, Severity
from formulary.settings import Settings, parse_settings
from tests.batch.recipes import PLAIN, weigh_out

LAVENDER = "scent:\n  - {material: lavender-oil, rate: RATE % of oils}\n"


def scented(rate: float, share: int = 30, *, by_eye: int = 0, part: int = 100) -> str:
    """A batter of which `part` % of the scent goes into a portion of `share` %."""
    lav, rest = (f"{{percent: {percent}, by_eye: {by_eye}}}" for percent in (share, 100 - share))
    return (
        PLAIN
        + LAVENDER.replace("RATE", f"{rate:g}")
        + (
            "portions:\n"
            f"  - {{name: lav, share: {lav}, gets: {{lavender-oil: {part}}}}}\n"
            f"  - {{name: rest, share: {rest}, gets: {{lavender-oil: {100 - part}}}}}\n"
        )
    )


def told(batch: Batch, code: str = "scent-much") -> list[Finding]:
    return [finding for finding in batch.findings if finding.code == code]


def test_a_usual_rate_that_all_goes_into_a_third_of_the_batter_is_told_with_the_rate_that_would_be_usual() -> None:
    # 2.5 % of all oils in 30 % of them is 8.33 % of that portion's; 5 % of its oils is 1.5 % of all.
    (finding,) = told(weigh_out(scented(2.5)))
    assert finding.what == "in the lav portion, scent is 8.3 % of the oils, more than is usual"
    assert "1.5 % of all the oils" in finding.do
    assert told(weigh_out(scented(1.5))) == []
    sheet = " ".join(render_batch(weigh_out(scented(2.5))).split())
    assert "in the lav portion, scent is 8.3 %" in sheet


def test_a_split_by_eye_is_judged_at_the_least_batter_that_the_portion_may_get() -> None:
    # 2.5 % in 30 % less 10 by eye: 12.5 % of that portion's oils, which is warned of.
    (finding,) = told(weigh_out(scented(2.5, by_eye=10)))
    assert (finding.severity, finding.what.split(",")[1]) == (Severity.WARN, " scent is 12.5 % of the oils")


def test_colour_that_one_portion_gets_is_judged_by_its_oils() -> None:
    blue = "additions:\n  - {material: ultramarine-blue, rate: 0.8 % of oils, at: trace}\n" + (
        "portions:\n  - {name: white, share: 80, gets: {ultramarine-blue: 0}}\n"
        "  - {name: blue, share: 20, gets: {ultramarine-blue: 100}}\n"
    )
    (finding,) = told(weigh_out(PLAIN + blue), "pigment-much")
    assert "in the blue portion, pigments are 4 % of the oils" in finding.what


def test_what_all_portions_have_alike_is_told_once_of_the_whole() -> None:
    # Weighed apart for each, either may get too little batter for its scent by eye.
    lav, rest = told(weigh_out(scented(6, by_eye=10, part=30)))
    assert ("in the lav portion" in lav.what, "in the rest portion" in rest.what) == (True, True)
    (finding,) = told(weigh_out(scented(6).split("portions:")[0]))
    assert finding.what.startswith("scent is 6 %")
    shared = re.sub(r"gets: \{lavender-oil: \d+\}", "gets: {}", scented(6, by_eye=10))
    (finding,) = told(weigh_out(shared))
    assert finding.what.startswith("scent is 6 %")


def test_a_bound_that_is_no_rate_of_the_oils_is_told_as_none() -> None:
    # Honey is 80 % sugars (the built-in value): 6 % of all oils in half of them is 96 g of sugars a kilogram.
    honey = "additions:\n  - {material: honey, rate: 6 % of oils, at: trace, water: extra}\nportions:\n"
    honey += "  - {name: a, share: 50, gets: {honey: 0}}\n  - {name: b, share: 50, gets: {honey: 100}}\n"
    batch = weigh_out(PLAIN + honey)
    (sugars,) = told(batch, "sugars-much")
    assert "in the b portion" in sugars.what
    assert "of all the oils" not in sugars.do
    (rate,) = told(batch, "honey-much")
    assert "3 % of this portion's oils is 1.5 % of all the oils" in rate.do


def test_a_small_rate_of_which_half_of_the_batter_has_more_is_told() -> None:
    # Nine tenths of 0.95 % of all oils in half of them is 1.71 % of that portion's: above 1.5 %, though within a point
    # of the whole's.
    white = "additions:\n  - {material: titanium-dioxide, rate: 0.95 % of oils, at: trace}\nportions:\n"
    white += "  - {name: a, share: 50, gets: {titanium-dioxide: 10}}\n"
    white += "  - {name: b, share: 50, gets: {titanium-dioxide: 90}}\n"
    (finding,) = told(weigh_out(PLAIN + white), "white-pigment-much")
    assert "in the b portion, titanium dioxide is 1.7 % of the oils" in finding.what


@pytest.mark.parametrize(("by_eye", "percent"), [(0, "8.3"), (10, "12.5")])
def test_a_portion_looked_at_by_itself_is_told_of_in_its_own_terms(by_eye: int, percent: str) -> None:
    batch = weigh_out(scented(2.5, by_eye=by_eye))
    alone = check_practice(
        take_portion(batch.pot, "lav"),
        batch.materials,
        nominal_concentration_percent=33.0,
        process={},
        cure_days=28.0,
        superfat=5.0,
    )
    (finding,) = (each for each in alone if each.code == "scent-much")
    assert finding.what == f"scent is {percent} % of the oils, more than is usual"
    assert "of all the oils" not in finding.do


def test_a_check_that_is_off_is_off_for_portions() -> None:
    off = parse_settings("format: 1\nchecks: {off: [scent-much]}\n")[0]
    assert told(weigh_out(scented(2.5), settings=off)) == []


@settings(max_examples=50, deadline=None)
@given(st.floats(0.1, 12), st.integers(5, 95), st.integers(0, 100))
def test_each_portion_is_told_of_just_as_a_batch_of_its_own_would_be(rate: float, share: int, part: int) -> None:
    rate = round(rate, 2)
    findings = told(weigh_out(scented(rate, share, part=part)))
    expected = []
    for name, own, batter in (("lav", part, share), ("rest", 100 - part, 100 - share)):
        percent = rate * own / batter
        if abs(percent - 5) < 1e-6 or abs(percent - 10) < 1e-6:
            return
        expected += [(name, percent > 10)] if percent > 5 else []
    if share == part:
        assert bool(findings) == (rate > 5)
        return
    assert [
        (name, finding.severity is Severity.WARN)
        for finding in findings
        for name in ("lav", "rest")
        if f"in the {name} portion" in finding.what
    ] == expected


@pytest.mark.parametrize("lye_is_in", [False, True])
def test_a_rescue_keeps_the_dividing_and_each_portions_scent(lye_is_in: bool) -> None:
    batch = weigh_out(scented(2.5))
    rescue = work_out_rescue(batch, {"lavender-oil": 60.0}, batch.materials, Settings(), lye_is_in=lye_is_in)
    text = " ".join(render_rescue(rescue).split())
    # 60 g in 300 g of oils
    assert "in the lav portion, scent is 20 % of the oils" in text
    (lav,) = (portion for portion in rescue.portions if portion.name == "lav")
    assert f"Lav portion: scent {lav.scent[0].percent_of_cured:.2f} % of the cured bar" in text
    assert text.index("Divide the batter g lav ") < text.index("Into the lav portion g lavender oil 60")
    planned_g = {portion.name: portion.grams for portion in batch.portions}
    for portion in rescue.divided:
        more_g = 35.0 if portion.name == "lav" else 0.0
        assert portion.total_g == pytest.approx(planned_g[portion.name] + more_g, abs=4.0)
