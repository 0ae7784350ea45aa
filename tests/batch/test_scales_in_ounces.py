"""Who weighs on a scale in ounces reads on every sheet what that scale will show."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.batch.scale import OUNCE_G, Scale, format_step
from formulary.batch.sitting import plan_sitting
from formulary.batch.sitting_text import render_sitting
from formulary.batch.weigh_out_text import render_batch
from formulary.materials.register import read_builtin_register
from formulary.settings import parse_settings
from tests.batch.recipes import PLAIN, weigh_out

IN_OUNCES = parse_settings("format: 1\nscale: {step: 0.1 oz, alkali_step: 0.05 oz}\n")[0]
IN_GRAMS = parse_settings("format: 1\nscale: {step: 2 g, alkali_step: 0.1 g}\n")[0]


def test_the_ounce_is_the_avoirdupois_ounce() -> None:
    # The international pound of 1959 is 0.45359237 kg, and an ounce a sixteenth of it (from memory).
    assert pytest.approx(453.59237 / 16, rel=1e-12) == OUNCE_G


def test_every_weight_of_a_sheet_stands_in_ounces_too() -> None:
    sheet = render_batch(weigh_out(PLAIN, oil_mass_g=32 * OUNCE_G, settings=IN_OUNCES), width=200)
    assert "(32.0 oz) of oils" in sheet
    rows = re.findall(r"^ +\S.*?  +([\d.]+) +([\d.]+) oz", sheet, re.M)
    assert len(rows) == 5  # water, alkali, three oils
    for grams, ounces in rows:
        assert len(grams.partition(".")[2]) <= 2, "no scale shows these grams: more digits would tell nobody anything"
        assert 0 <= float(ounces) * OUNCE_G - float(grams) < 0.01
    alkali = re.search(r"sodium hydroxide +([\d.]+) +(\d+\.\d\d) oz", sheet)
    assert alkali is not None
    assert float(alkali[2]) / 0.05 == pytest.approx(round(float(alkali[2]) / 0.05))


def test_what_loaves_of_one_sitting_get_stands_in_ounces_too() -> None:
    loaves = [weigh_out(PLAIN, oil_mass_g=ounces * OUNCE_G, settings=IN_OUNCES) for ounces in (32, 20)]
    sheet = render_sitting(plan_sitting(loaves, read_builtin_register()), width=200)
    for words in ("of the lye in the one jug", "water", "sodium hydroxide"):
        assert re.search(rf"{words} +[\d.]+ +[\d.]+ oz", sheet), words


def test_a_scale_in_grams_says_nothing_of_ounces() -> None:
    assert " oz" not in render_batch(weigh_out(PLAIN, settings=IN_GRAMS), width=200)


@given(st.sampled_from([0.01, 0.05, 0.1, 0.2, 0.5, 1.0]), st.floats(1.0, 500.0))
def test_ounces_are_told_as_finely_as_the_scale_shows_them(step_oz: float, steps: float) -> None:
    step_g = step_oz * OUNCE_G
    scale = Scale(step_g, step_g)
    said = float(scale.in_ounces("alkali", round(steps) * step_g).removesuffix(" oz"))
    assert said == pytest.approx(round(steps) * step_oz)
    assert format_step(step_g) == f"{step_oz:g} oz"


def test_what_is_finer_than_the_scale_is_never_told_as_no_ounces() -> None:
    scale = Scale(0.1 * OUNCE_G, 0.05 * OUNCE_G)
    assert [scale.in_ounces(role, 0.1) for role in ("alkali", "scent", "oil")] == ["", "", ""]
    assert scale.in_ounces("water", 0.0) == "0.0 oz"


@pytest.mark.parametrize("step_g", [0.01, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0])
def test_no_step_in_grams_is_taken_for_one_in_ounces(step_g: float) -> None:
    assert Scale(step_g, step_g).in_ounces("oil", 450.0) == ""
    assert format_step(step_g) == f"{step_g:g} g"
