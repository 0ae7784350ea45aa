"""The bars of a portion list what is in them: a divided batter has a list for each portion, and none for all."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.blend_text import render_ingredients
from formulary.batch.ingredients import IngredientList, list_ingredients
from formulary.batch.model import Batch
from formulary.settings import Settings
from tests.batch.recipes import PLAIN, weigh_out

MORE = (
    "additions:\n  - {material: ultramarine-blue, rate: 0.8 % of oils, at: trace}\n"
    "scent:\n  - {material: lavender-oil, rate: 2.5 % of oils}\n"
)
DIVIDED = MORE + (
    "portions:\n  - {name: plain, share: 50, gets: {}}\n"
    "  - {name: lav, share: 30, gets: {lavender-oil: 100}}\n"
    "  - {name: blue, share: 20, gets: {ultramarine-blue: 100}}\n"
)


def lists(batch: Batch, portion: str | None = None) -> IngredientList:
    return list_ingredients(batch, batch.materials, Settings(), portion=portion)


def percents(found: IngredientList) -> dict[str, float]:
    return {line.inci: line.percent for line in found.in_bar}


def test_each_portion_lists_what_it_got_and_nothing_that_another_got_alone() -> None:
    batch = weigh_out(PLAIN + DIVIDED)
    plain, lav, blue = lists(batch).portions
    scent, colour = "LAVANDULA ANGUSTIFOLIA OIL", "CI 77007"
    assert [scent in percents(each) for each in (plain, lav, blue)] == [False, True, False]
    assert [colour in percents(each) for each in (plain, lav, blue)] == [False, False, True]
    assert (plain.allergens, blue.allergens) == ((), ())
    assert {name for name, _ in lav.allergens} >= {"linalool"}
    # 8 g in a fifth of the batter without what others got alone, less the water that the cure takes.
    shared_g = sum(line.grams for line in batch.pot.lines if line.portion is None)
    cured_g = 0.2 * (shared_g - 0.6 * batch.water.weigh_grams) + 8.0
    assert percents(blue)[colour] == pytest.approx(100 * 8.0 / cured_g, rel=2e-3)


@settings(max_examples=30, deadline=None)
@given(st.integers(5, 95), st.integers(0, 100))
def test_a_portion_lists_what_a_batch_of_its_own_would(share: int, part: int) -> None:
    rows = ""
    for name, percent, of_all in (("one", share, part), ("two", 100 - share, 100 - part)):
        gets = f"{{lavender-oil: {of_all}, ultramarine-blue: {of_all}}}"
        rows += f"  - {{name: {name}, share: {percent}, gets: {gets}}}\n"
    text = f"{PLAIN}{MORE}portions:\n{rows}"
    times = part / share
    alone = PLAIN + MORE.replace("0.8 %", f"{0.8 * times:.9f} %").replace("2.5 %", f"{2.5 * times:.9f} %")
    own, other = lists(weigh_out(text), "one"), lists(weigh_out(alone, oil_mass_g=1000.0))
    found, expected = percents(own), percents(other)
    assert {key: value for key, value in found.items() if value > 1e-6} == pytest.approx(
        {key: value for key, value in expected.items() if value > 1e-6}, rel=1e-5
    )
    assert [name for name, _ in own.allergens] == [name for name, _ in other.allergens]


def test_the_text_of_a_divided_batter_has_no_list_that_is_of_no_bar() -> None:
    text = render_ingredients(lists(weigh_out(PLAIN + DIVIDED)))
    lines = text.splitlines()
    assert [line for line in lines if line.startswith("As in the bar")] == [
        f"As in the bar of the {name} portion" for name in ("plain", "lav", "blue")
    ]
    assert "Allergens to name in the plain portion: none that is known." in lines
    assert max(map(len, lines)) <= 80


def test_json_tells_of_each_portion_and_which_one_was_asked_for() -> None:
    batch = weigh_out(PLAIN + DIVIDED)
    whole = json.loads(json.dumps(lists(batch).to_json()))
    assert (whole["portion"], [each["portion"] for each in whole["portions"]]) == (None, ["plain", "lav", "blue"])
    lav = lists(batch, "lav").to_json()
    assert (lav["portion"], lav["portions"]) == ("lav", [])
    assert whole["portions"][1]["in_bar"] == lav["in_bar"]
    assert lists(weigh_out(PLAIN + MORE)).to_json()["portions"] == []
