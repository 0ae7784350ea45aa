"""The amount that a finding says to write instead is enough, and next to the least that is."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from formulary.finding import Finding
from tests.batch.finding_cases import added, addition, fragrance, oils, plain, scented, water
from tests.batch.kitchen import Kitchen

SOME = settings(max_examples=25, deadline=None)


def found(kitchen: Kitchen, code: str) -> Finding | None:
    return next((finding for finding in kitchen.find() if finding.code == code), None)


def stated(finding: Finding, pattern: str) -> float:
    """The number that the finding's `do` states where the pattern has `N`."""
    match = re.search(re.escape(pattern).replace("N", "([0-9.]+)"), finding.do)
    assert match is not None, finding.do
    return float(match.group(1))


BLENDS = st.sampled_from(
    [
        ("olive-oil", "coconut-oil"),
        ("shea-butter", "olive-oil"),
        ("lanolin", "olive-oil"),
        ("beeswax", "sunflower-oil"),
        ("jojoba-oil", "lard"),
    ]
)


@SOME
@given(BLENDS, st.integers(1, 30), st.integers(0, 60), st.integers(200, 3000), st.booleans())
def test_the_superfat_that_a_band_asks_for_is_enough_and_next_to_the_least(
    blend: tuple[str, str], percent: int, tenths: int, oils_g: int, with_acid: bool
) -> None:
    first, second = blend
    more = addition("lemon-juice", "3 % of oils", "oils", water="extra") if with_acid else ""

    def at(superfat: str) -> Kitchen:
        return replace(oils((first, percent), (second, 100 - percent), superfat=superfat, more=more), oils_g=oils_g)

    band = found(at(f"{tenths / 10} %"), "superfat-band")
    assume(band is not None)
    assert band is not None
    assume("raise" in band.do)
    enough = stated(band, "raise the superfat to N % or more")
    assert found(at(f"{enough} %"), "superfat-band") is None
    # rounding the alkali down to 0.1 g is worth some hundredths of a point in a kilogram, more in less, at either end
    slack = 0.3 + 150.0 / oils_g
    assert tenths / 10 < enough
    if enough - slack > tenths / 10:
        assert found(at(f"{enough - slack:.1f} %"), "superfat-band") is not None


@SOME
@given(st.integers(530, 690), st.integers(0, 20), st.integers(0, 10))
def test_the_lye_concentration_that_a_jug_asks_for_dissolves_and_is_next_to_the_most(
    tenths: int, replacing: int, extra: int
) -> None:
    lines = []
    if replacing:
        lines.append(f"{{material: oat-milk, rate: {replacing} % of oils, at: oils, water: replaces}}")
    if extra:
        said = "at: lye water, water: extra, prepared: frozen"
        lines.append(f"{{material: goat-milk, rate: {extra} % of oils, {said}}}")
    more = f"additions: [{', '.join(lines)}]\n" if lines else ""

    def at(percent: float) -> Kitchen:
        return water(f"lye_concentration: {percent}", more)

    full = found(at(tenths / 10), "jug-saturated")
    assume(full is not None)
    assert full is not None
    most = stated(full, "state a lye concentration of N % or less")
    assert found(at(most), "jug-saturated") is None
    if most + 0.2 < tenths / 10:
        assert found(at(round(most + 0.2, 1)), "jug-saturated") is not None


def test_a_jug_that_milk_starves_is_told_to_take_it_and_one_that_it_does_not_is_told_of_its_lye() -> None:
    milk = found(added("oat-milk", 20, "oils", water="replaces"), "jug-saturated")
    assert milk is not None
    assert milk.do.startswith("add at `lye water` what replaces water, or state")
    little = added("oat-milk", 1, "oils", water="replaces")
    strong = replace(little, recipe=little.recipe.replace("lye_concentration: 33", "lye_concentration: 60"))
    starved = found(strong, "jug-saturated")
    assert starved is not None
    assert starved.do.startswith("state a lye concentration")
    in_the_jug = water("lye_concentration: 60", addition("oat-milk", "20 % of oils", "lye water", water="replaces"))
    held = found(in_the_jug, "jug-saturated")
    assert held is not None
    assert held.do.startswith("state a lye concentration of 52.1 %")


@SOME
@given(st.integers(20, 200))
def test_the_scale_or_the_size_that_a_coarse_scale_asks_for_is_enough(oils_g: int) -> None:
    kitchen = replace(plain(), oils_g=float(oils_g))
    coarse = found(kitchen, "scale-coarse")
    assume(coarse is not None)
    assert coarse is not None
    step_g = stated(coarse, "use a scale that shows N g")
    assert math.log10(step_g) == pytest.approx(round(math.log10(step_g)))
    finer = replace(kitchen, settings=f"format: 1\nscale: {{alkali_step: {step_g:g} g}}\n")
    assert found(finer, "scale-coarse") is None
    coarser = replace(kitchen, settings=f"format: 1\nscale: {{alkali_step: {step_g * 10:g} g}}\n")
    assert found(coarser, "scale-coarse") is not None
    times = stated(coarse, "or make N times as much")
    assert found(replace(kitchen, oils_g=oils_g * times), "scale-coarse") is None
    assert found(replace(kitchen, oils_g=oils_g * (times * 0.95 - 0.1)), "scale-coarse") is not None


@SOME
@given(st.integers(1, 95), st.integers(1, 95))
def test_the_scale_that_small_weights_ask_for_weighs_them_all_to_a_twentieth(first: int, second: int) -> None:
    lines = [
        f"{{material: {name}, rate: {tenths / 100} % of oils, at: oils}}"
        for name, tenths in (("rose-clay", first), ("kaolin", second))
    ]
    kitchen = plain(more=f"additions: [{', '.join(lines)}]\n")
    small = found(kitchen, "weight-small")
    assert small is not None
    step_g = stated(small, "weigh on a scale that shows N g")
    assert f"step: {step_g:g} g" in small.do
    for finer, is_fine in ((step_g, True), (step_g * 10, False)):
        at = replace(kitchen, settings=f"format: 1\nscale: {{step: {finer:.9g} g}}\n")
        assert (found(at, "weight-small") is None) == is_fine


def test_a_scent_is_never_told_to_be_measured_in_spoons() -> None:
    small = found(plain(more=scented(("lavender-oil", 0.5))), "weight-small")
    assert small is not None
    assert "spoons" not in small.do
    clay = found(added("rose-clay", 0.5), "weight-small")
    assert clay is not None
    assert "spoons" in clay.do


@SOME
@given(st.integers(300, 1400), st.sampled_from(["pot", "jug"]))
def test_the_vessel_or_the_part_of_a_batch_that_a_small_vessel_asks_for_fits(size_ml: int, vessel: str) -> None:
    kitchen = replace(plain(), settings=f"format: 1\nvessels: {{{vessel}: {size_ml} ml}}\n")
    small = found(kitchen, f"{vessel}-small")
    assume(small is not None)
    assert small is not None
    larger = stated(small, "take one of N ml or more")
    for size, is_large in ((larger, True), (larger - 11, False)):
        at = replace(kitchen, settings=f"format: 1\nvessels: {{{vessel}: {size:g} ml}}\n")
        assert (found(at, f"{vessel}-small") is None) == is_large
    part = stated(small, "make at most N % of this")
    assert found(replace(kitchen, oils_g=10.0 * part), f"{vessel}-small") is None
    assert found(replace(kitchen, oils_g=10.0 * part + 12), f"{vessel}-small") is not None


def blend(first: float, second: float, limit: float, contains: str = "") -> Kitchen:
    text = scented(("one", first), ("two", second))
    return replace(plain(more=text), materials=dict.fromkeys(("one", "two"), fragrance(limit, contains)))


@SOME
@given(st.integers(5, 40), st.integers(5, 40), st.integers(8, 30))
def test_lowering_a_blend_as_far_as_is_said_is_enough_and_next_to_the_least(
    first: int, second: int, limit: int
) -> None:
    whole = found(blend(first / 10, second / 10, limit / 10), "scent-blend")
    assume(whole is not None)
    assert whole is not None
    percent = stated(whole, "to N % of what they are")
    for part, is_enough in ((percent, True), (percent + 1.01, False)):
        lowered = [Decimal(rate) * Decimal(str(part)) / 1000 for rate in (first, second)]
        at = blend(float(lowered[0]), float(lowered[1]), limit / 10)
        assert (found(at, "scent-blend") is None) == is_enough


@SOME
@given(st.integers(5, 40), st.integers(5, 40), st.integers(30, 99), st.sampled_from(["", "-dry"]))
def test_lowering_the_scents_that_hold_a_constituent_as_far_as_is_said_is_enough(
    first: int, second: int, holds: int, dry: str
) -> None:
    code, contains = f"constituent-limit{dry}", f"contains: {{citronellal: {holds}}}\n"
    whole = found(blend(first / 10, second / 10, 100, contains), code)
    assume(whole is not None)
    assert whole is not None
    percent = stated(whole, "lower one and two to N % of what they are")
    for part, is_enough in ((percent, True), (percent + 1.01, False)):
        lowered = [Decimal(rate) * Decimal(str(part)) / 1000 for rate in (first, second)]
        at = blend(float(lowered[0]), float(lowered[1]), 100, contains)
        assert (found(at, code) is None) == is_enough


def test_what_has_a_limit_of_nothing_is_left_out() -> None:
    none = fragrance(50, "contains: {musk: 10}\nlimits: {musk: 0}\n")
    over = found(replace(plain(more=scented(("one", 1))), materials={"one": none}), "constituent-limit")
    assert over is not None
    assert over.do.startswith("leave one out")
    alone = found(
        replace(plain(more=scented(("one", 3))), materials={"one": fragrance(50, "contains: {citronellal: 90}\n")}),
        "constituent-limit",
    )
    assert alone is not None
    assert "of what it is" in alone.do


def test_wax_is_told_to_be_less_and_an_oil_to_be_certified() -> None:
    wax = found(oils(("olive-oil", 90), ("lanolin", 10)), "superfat-band")
    oil = found(oils(("olive-oil", 60), ("shea-butter", 40), superfat="2"), "superfat-band")
    assert wax is not None
    assert oil is not None
    assert wax.do.startswith("use less lanolin")
    assert "certificate" not in wax.do
    assert oil.do.startswith("give the saponification value of your shea-butter from its certificate")
