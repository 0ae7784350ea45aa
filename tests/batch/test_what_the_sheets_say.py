"""Every sheet to weigh out by shows all that is in the pot, the water first, and every caution."""

from __future__ import annotations

import re
from html import unescape

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.batch.model import Batch
from formulary.batch.recipe_text import render_recipe
from formulary.batch.rescue import work_out_rescue
from formulary.batch.sitting import plan_sitting
from formulary.batch.sitting_text import render_rescue, render_sitting
from formulary.batch.weigh_out_text import measured_words, render_batch
from formulary.materials.plain_name import material_words
from formulary.materials.register import read_builtin_register
from formulary.recipes.version import Version
from formulary.settings import Settings, parse_settings
from tests.batch.recipes import PLAIN, read_recipe, weigh_out

REGISTER = read_builtin_register()
FULL = (
    PLAIN.replace("olive-oil: 60", "olive-oil: 52\n  castor-oil: {percent: 8, at: trace}")
    + "additions:\n"
    + "  - {material: goat-milk, rate: 8 % of oils, at: lye water, water: replaces, prepared: frozen}\n"
    + "  - {material: kaolin, rate: 1 % of oils, at: oils}\n"
    + "  - {material: honey, rate: 2 % of oils, at: trace, water: extra}\n"
    + "  - {material: poppy-seeds, rate: 1 % of oils, at: top}\n"
    + "scent:\n  - {material: clove-bud-oil, rate: 1 % of oils}\n"
    + "  - {material: lavender-oil, rate: 1 % of oils, at: oils}\n"
    + "portions:\n  - {name: plain, share: 50, gets: {clove-bud-oil: 0}}\n"
    + "  - {name: clove, share: 50, gets: {clove-bud-oil: 100}}\n"
)


def sheets(batch: Batch) -> dict[str, str]:
    rescue = work_out_rescue(batch, {"olive-oil": 700.0}, REGISTER, Settings())
    return {
        "one loaf": render_batch(batch),
        "a sitting": render_sitting(plan_sitting([batch, batch], REGISTER)),
        "a rescue": render_rescue(rescue),
    }


@pytest.mark.parametrize("sheet", ["one loaf", "a sitting", "a rescue"])
def test_a_sheet_shows_everything_that_is_in_the_pot_and_the_cautions(sheet: str) -> None:
    batch = weigh_out(FULL)
    text = sheets(batch)[sheet]
    for line in batch.pot.lines:
        assert material_words(line.material) in text, line
    assert "Lye into water, never water into" in text
    assert "qualified safety assessor" in " ".join(text.split())
    assert max(len(line) for line in text.splitlines()) <= 80


@pytest.mark.parametrize("sheet", ["one loaf", "a sitting"])
def test_water_stands_before_the_alkali_and_every_finding_is_told(sheet: str) -> None:
    batch = weigh_out(FULL)
    text = sheets(batch)[sheet]
    assert re.search(r"^\s+water\s", text, re.MULTILINE)
    assert text.index("\n     water" if sheet == "one loaf" else "\n    water") < text.index("sodium hydroxide  ")
    for finding in batch.findings:
        assert f"[{finding.code}]" in text


def test_that_a_jug_may_boil_or_spit_is_said_once_before_anything_goes_into_it() -> None:
    strong = weigh_out(PLAIN.replace("lye_concentration: 33", "lye_concentration: 45"))
    weak = weigh_out(PLAIN)
    shared = render_sitting(plan_sitting([strong, strong], REGISTER))
    apart = render_sitting(plan_sitting([strong, weak], REGISTER))
    for sheet in (render_batch(strong), shared, apart):
        text = " ".join(sheet.split())
        assert text.count("it may boil or spit") == text.count("[jug-strong]") == 1
        water = re.search(r"^ +water +[0-9]", sheet, re.MULTILINE)
        assert water is not None
        assert sheet.index("In the jug" if sheet != shared else "One jug") < sheet.index("[jug-strong]") < water.start()
    assert apart.index("Loaf 1") < apart.index("[jug-strong]") < apart.index("Loaf 2")
    assert "jug-strong" in {each["code"] for each in strong.to_json()["findings"]}  # type: ignore[attr-defined]


@given(st.floats(1, 12), st.sampled_from(["1 g", "0.1 g", "0.01 g"]))
def test_a_recipe_shows_the_lye_of_a_kilogram_of_its_oils_as_its_sheet_does(superfat: float, step: str) -> None:
    text = PLAIN.replace("superfat: 5", f"superfat: {superfat:.2f}")
    scale = parse_settings(f"format: 1\nscale: {{step: 1 g, alkali_step: {step}}}\n")[0]
    batch = weigh_out(text, settings=scale)
    shown = render_recipe(Version(recipe=read_recipe(text), text=text, is_saved=True), batch, REGISTER)
    on_recipe, on_sheet = (
        re.findall(r"^ +sodium hydroxide +([\d.]+) ", said, re.MULTILINE) for said in (shown, render_batch(batch))
    )
    assert len(on_sheet) == 1
    assert on_recipe == on_sheet
    assert float(on_recipe[0]) == pytest.approx(batch.lye[0].grams)


def test_printing_a_batch_shows_its_sheet_also_while_it_is_stopped() -> None:
    batch = weigh_out(PLAIN)
    assert str(batch) == render_batch(batch)
    stopped = weigh_out(PLAIN.replace("superfat: 5", "superfat: -5"))
    assert stopped.is_stopped
    assert str(stopped) == render_batch(stopped)
    assert "STOP" in str(stopped)
    assert unescape(stopped._repr_html_()) == f"<pre>{stopped}</pre>"  # what a notebook asks for


def test_a_household_soap_says_on_every_sheet_that_it_is_not_for_skin() -> None:
    batch = weigh_out(FULL + "purpose: household\n")
    assert "Never use it on skin" in render_batch(batch)
    assert render_sitting(plan_sitting([batch, weigh_out(FULL)], REGISTER)).count("Never use it on skin") == 1


def test_frozen_milk_is_said_to_be_frozen_where_it_is_weighed() -> None:
    assert "frozen, lye in slowly" in " ".join(render_batch(weigh_out(FULL)).split())


@pytest.mark.parametrize(
    ("amount", "unit", "said"),
    [
        (1.17, "tsp", "about 1 1/4 level tsp"),
        (1.95, "tsp", "about 2 level tsp"),
        (0.57, "tbsp", "about 1/2 level tbsp"),
        (2.5, "tsp", "2 1/2 level tsp"),
        (4.0, "tsp", "4 level tsp"),
        (0.75, "cup", "3/4 level cup"),
        (0.2, "tsp", "0.2 level tsp"),  # a quarter would be a quarter too much
        (0.05, "tsp", "0.05 level tsp"),
        (12.35, "ml", "12.35 ml"),
    ],
)
def test_spoons_are_told_in_the_quarters_that_there_are(amount: float, unit: str, said: str) -> None:
    assert measured_words(amount, unit) == said


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(["kaolin", "honey", "clove-bud-oil", "water"]), st.floats(1.05, 3))
def test_what_else_went_over_stays_as_it_is_and_is_judged(material: str, factor: float) -> None:
    batch = weigh_out(FULL)
    planned = sum(line.grams for line in batch.pot.lines if line.material == material)
    rescue = work_out_rescue(batch, {material: planned * factor}, REGISTER, Settings())
    assert rescue.way == "as-it-is"
    assert all(line.remaining_grams >= -1e-9 for line in rescue.remaining)
    assert rescue.superfat_percent == pytest.approx(batch.superfat.effective, abs=1e-6)
    if material == "water":
        assert "weaker than stated" in " ".join(rescue.remarks)
        assert rescue.in_jug_percent < batch.water.in_jug_percent


@pytest.mark.parametrize(
    ("first", "second", "said"),
    [
        ("38 °C", "38 °C", "let it clear and cool to 38 °C"),
        ("38 °C", "45 °C", "let it clear and cool: loaf 1 38 °C, loaf 2 45 °C"),
        ("", "", "let it clear and cool "),
    ],
)
def test_a_sitting_says_to_what_its_one_jug_cools_and_that_its_one_pot_is_of_fats_to_melt(
    first: str, second: str, said: str
) -> None:
    texts = [PLAIN + (f"process: {{lye_temperature: {each}}}\n" if each else "") for each in (first, second)]
    sheet = render_sitting(plan_sitting([weigh_out(text) for text in texts], REGISTER))
    jug = " ".join(sheet[sheet.index("One jug") : sheet.index("Loaf 1")].split()) + " "
    assert said in jug
    assert "One pot of the fats to melt that all share" in jug


def test_alkali_added_to_made_lye_is_cautioned() -> None:
    batch = weigh_out(FULL)
    weighed = {"sodium-hydroxide": batch.lye[0].grams, "olive-oil": 640.0}
    rescue = work_out_rescue(batch, weighed, REGISTER, Settings())
    assert rescue.way == "new-alkali"
    assert any("heats it again" in text for text in rescue.remarks)


@pytest.mark.parametrize("superfat", [5, -1])
def test_that_a_soap_is_for_the_household_is_said_in_the_width_there_is(superfat: int) -> None:
    text = f"purpose: household\n{PLAIN}".replace("superfat: 5", f"superfat: {superfat}")
    sheet = render_batch(weigh_out(text), width=50)
    assert max(map(len, sheet.splitlines())) <= 50
    assert "Never use it on skin." in " ".join(sheet.split())


def test_a_lye_of_two_alkalis_cools_once_both_are_in() -> None:
    mixed = PLAIN.replace(
        "alkali: sodium-hydroxide", "alkali: {sodium-hydroxide: 90, potassium-hydroxide: 10, by: mass}"
    )
    batch = weigh_out(mixed)
    shared = render_sitting(plan_sitting([batch, batch], REGISTER))
    for text in (render_batch(batch), shared):
        assert text.count("let it clear and cool") == 1
        assert text.index("sodium hydroxide") < text.index("potassium hydroxide") < text.index("let it clear and cool")
