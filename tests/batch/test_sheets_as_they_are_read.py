"""Whole sheets as a maker reads them, beside texts in `sheets/` that were read through and whose numbers were reckoned.

All materials are invented. A kilogram of each fat takes 168.315 g of potassium hydroxide, so 3 mol (ISO 3657, 56.105
g/mol): 119.991 g of sodium hydroxide (39.997 g/mol), of which 5 % superfat leaves 113.99 g, 113.9 g on the scale.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from formulary.batch.blend import describe_blend
from formulary.batch.blend_text import render_blend, render_cost, render_ingredients
from formulary.batch.cost import Cost
from formulary.batch.ingredients import list_ingredients
from formulary.batch.model import Batch
from formulary.batch.recipe_text import recipe_json, render_recipe
from formulary.batch.rescue import work_out_rescue
from formulary.batch.sitting import plan_sitting
from formulary.batch.sitting_text import render_rescue, render_sitting
from formulary.batch.weigh_out_text import render_batch
from formulary.finding import Finding, note, stop, warn
from formulary.recipes.version import Version
from formulary.settings import Settings
from tests.batch.kitchen import Kitchen
from tests.batch.recipes import PLAIN

SHEETS = Path(__file__).with_name("sheets")
MATERIALS = {
    "fat": "format: 1\nname: Fat\nkind: oil\ninci: FAT\nsaponification_value: 168.315\nmelting_point: 30 °C\n",
    "butter": "format: 1\nname: Butter\nkind: oil\ninci: BUTTER\nsaponification_value: 168.315\nmelting_point: 30 °C\n",
    "held-oil": "format: 1\nname: Held\nkind: oil\ninci: HELD\nsaponification_value: 168.315\nmelting_point: 2 °C\n",
    "soda": "format: 1\nname: Soda\nkind: alkali\ninci: SODIUM HYDROXIDE\nalkali: sodium-hydroxide\nassay: 100 %\n",
    "wet-milk": "format: 1\nname: Wet milk\nkind: liquid\ninci: MILK\nwater: 90 %\norigin: [milk]\n",
    "clay": "format: 1\nname: Clay\nkind: colourant\ninci: KAOLIN\n",
    "syrup": "format: 1\nname: Syrup\nkind: liquid\ninci: SYRUP\nwater: 25 %\norigin: [wheat]\n",
    "crumb": "format: 1\nname: Crumb\nkind: additive\ninci: CRUMB\norigin: [wheat]\n",
    "clove": "format: 1\nname: Clove\nkind: fragrance\nlimit: {percent_of_product: 3.5}\nallergens: [eugenol]\n"
    "contains: {eugenol: 80 %}\n",
    "calm": "format: 1\nname: Calm\nkind: fragrance\ninci: CALM OIL\nallergens: [linalool]\n",
}
OILS = "  olive-oil: 60\n  coconut-oil: 25\n  sunflower-oil: 15\n"
SODA = PLAIN.replace("alkali: sodium-hydroxide", "alkali: soda")
# 10 g of citric acid (192.12 g/mol, three protons) take 6.25 g of sodium hydroxide, so that 120.2 g are weighed; their
# water at 33 % is 244 g, of which the milk brings 72 g. Of 1441.2 g of batter 0.6 go into the plain portion: with 6 g
# of clove and 5.4 g of calm, and without three fifths of their water, 772 g, of which 11.4 g are 1.48 %.
FULL = Kitchen(
    SODA.replace(OILS, "  fat: 65\n  butter: 25\n  held-oil: {percent: 10, at: trace}\n")
    + "additions:\n"
    + "  - {material: wet-milk, rate: 8 % of oils, at: lye water, water: replaces, prepared: frozen}\n"
    + "  - {material: citric-acid-anhydrous, rate: 1 % of oils, at: lye water}\n"
    + "  - {material: clay, rate: 1 % of oils, at: oils}\n"
    + "  - {material: syrup, rate: 2 % of oils, at: trace, water: extra}\n"
    + "  - {material: crumb, rate: 0.5 % of oils, at: top}\n"
    + "scent:\n  - {material: clove, rate: 2 % of oils}\n"
    + "  - {material: calm, rate: 0.9 % of oils, at: oils}\n"
    + "portions:\n  - {name: plain, share: 60, gets: {clove: 30}}\n"
    + "  - {name: clove, share: 40, gets: {clove: 70}}\n"
    + "process: {lye_temperature: 38 °C, cover: insulated}\n",
    materials=MATERIALS,
)
SIMPLE = Kitchen(SODA.replace(OILS, "  fat: 75\n  butter: 25\n"), materials=MATERIALS)
ONE_FAT = SODA.replace(OILS, "  fat: 100\n")
WINTER = (
    SIMPLE.recipe.replace("Plain bar", "Winter bar")
    + "additions:\n  - {material: clay, rate: 1 % of oils, at: trace}\n"
    + "scent:\n  - {material: calm, rate: 1 % of oils}\n"
    + "process: {lye_temperature: 45 °C}\n"
)


# Invented, so that no sheet here follows what checks say: in the order in which they stand on no sheet.
SAID = (
    note("invented-note", "a note that is so long that it is told on two lines below its severity and code", ""),
    warn(
        "invented-warning", "something to know", "something to do that is so long that it goes on on another line too"
    ),
)
STOPS = (stop("invented-stop", "nothing may be made of this", "make something else"), *SAID)


def loaf(oils_g: float, recipe: str = SIMPLE.recipe, found: tuple[Finding, ...] = ()) -> Batch:
    return replace(replace(SIMPLE, oils_g=oils_g, recipe=recipe).weigh_out(), findings=found)


def full(found: tuple[Finding, ...] = SAID, oils_g: float = 1000.0) -> Batch:
    return replace(replace(FULL, oils_g=oils_g).weigh_out(), findings=found)


def sitting(*batches: Batch, found: tuple[Finding, ...] = ()) -> str:
    return render_sitting(replace(plan_sitting(batches, full().materials), findings=found))


def rescue(
    weighed: dict[str, float],
    batch: Batch | None = None,
    *,
    lye_is_in: bool = False,
    found: tuple[Finding, ...] = (),
) -> str:
    batch = batch or loaf(1000.0)
    worked_out = work_out_rescue(batch, weighed, batch.materials, Settings(), lye_is_in=lye_is_in)
    return render_rescue(replace(worked_out, findings=found))


def wet_jug() -> str:
    # 113.9 g of hydroxide in 231.25 g of water, 4.5 g of the milk's, and 5 g of the syrup's: 32.58 % and then 32.12 %.
    milk = "  - {material: wet-milk, rate: 0.5 % of oils, at: lye water, water: extra}\n"
    syrup = "  - {material: syrup, rate: 2 % of oils, at: trace, water: extra}\n"
    return render_batch(loaf(1000.0, SIMPLE.recipe + "additions:\n" + milk + syrup))


def four_loaves() -> str:
    # 113.9, 79.9, 57.2 and 37.9 g of hydroxide are 288.9, whose water at 33 % is 587 g: 875.9 g in the jug, of which
    # each loaf gets by its hydroxide, rounded down: 345.3, 242.2, 173.4 and 114.9 g; 0.1 g is left.
    first = loaf(1000.0, SIMPLE.recipe + "process: {lye_temperature: 38 °C}\n", SAID[1:])
    third = loaf(333.0, SIMPLE.recipe.replace("Plain bar", "Third bar"), SAID)
    own = note("own-note", "of this loaf alone", "")
    return sitting(first, loaf(701.0, WINTER, (own, own)), loaf(502.0, WINTER, SAID[1:]), third, found=SAID[:1])


def of_recipe(*, show_all: bool, label: str | None = None, with_unknown: bool = False) -> str:
    text = FULL.recipe.replace("share: 60,", "share: {percent: 60, by_eye: 5},").replace(
        "40,", "{percent: 40, by_eye: 5},"
    )
    text = text.replace("alkali: soda,", "alkali: {by: mass, soda: 95, potassium-hydroxide: 5},")
    if with_unknown:
        text = text.replace("butter: 25", "butter: 20\n  unknown-fat: 5")
    text += "based_on: {recipe: harbour-base, version: '" + 40 * "4" + "'}\nnotes: |\n  Stir slowly.\n  Keep it warm.\n"
    unknown = "format: 1\nname: Unknown fat\nkind: oil\ninci: UNKNOWN\n"
    kitchen = replace(FULL, recipe=text, materials={**MATERIALS, "unknown-fat": unknown})
    batch = replace(kitchen.weigh_out(), findings=STOPS if with_unknown else SAID)
    version = Version(recipe=kitchen.read_recipe(), text=text, is_saved=True, label=label)
    return render_recipe(version, batch, batch.materials, show_all=show_all)


def of_simple_recipe(recipe: str = SIMPLE.recipe) -> str:
    kitchen = replace(SIMPLE, recipe=recipe + "notes: One line.\n")
    version = Version(recipe=kitchen.read_recipe(), text=kitchen.recipe, is_saved=False)
    return render_recipe(version, kitchen.weigh_out(), kitchen.weigh_out().materials)


TEXTS: dict[str, Callable[[], str]] = {
    "weigh_out": lambda: render_batch(full(), show_all=True),
    "weigh_out_simple": lambda: render_batch(loaf(1000.0)),
    "weigh_out_wet_jug": wet_jug,
    "weigh_out_stopped": lambda: render_batch(loaf(1000.0, found=STOPS)),
    "sitting": four_loaves,
    "sitting_own_jugs": lambda: sitting(full(), full((), 500.0)),
    "sitting_both_alike": lambda: sitting(loaf(701.0, WINTER, SAID), loaf(702.0, WINTER, SAID)),
    "sitting_no_pot": lambda: sitting(loaf(1000.0, ONE_FAT), loaf(1000.0, ONE_FAT.replace("fat: 100", "butter: 100"))),
    "sitting_stopped": lambda: sitting(loaf(1000.0), loaf(1000.0), found=STOPS),
    "rescue_new_alkali": lambda: rescue({"fat": 700.0}, full(), found=SAID),
    "rescue_more_oil": lambda: rescue({"soda": 130.0}),
    "rescue_more_oil_lye_in": lambda: rescue({"soda": 130.0}, lye_is_in=True),
    "rescue_as_it_is_lye_in": lambda: rescue({"fat": 760.0}, lye_is_in=True),
    "rescue_as_it_is": lambda: rescue({"clove": 24.0}, full()),
    "rescue_stopped": lambda: rescue({"clove": 60.0}, full(), lye_is_in=True, found=STOPS),
    "recipe": lambda: of_recipe(show_all=False, label="the 4th saved"),
    "recipe_all": lambda: of_recipe(show_all=True),
    "recipe_stopped": lambda: of_recipe(show_all=True, with_unknown=True),
    "recipe_simple": of_simple_recipe,
    "recipe_one_oil": lambda: of_simple_recipe(ONE_FAT + "purpose: household\n"),
    "blend": lambda: render_blend(describe_blend(Kitchen().weigh_out(), {})),
    "blend_unknown": lambda: render_blend(describe_blend(full(), {})),
    "ingredients": lambda: render_ingredients(list_ingredients(FULL.weigh_out(), {}, Settings())),
    "ingredients_simple": lambda: render_ingredients(list_ingredients(loaf(1000.0), {}, Settings())),
    "cost": lambda: render_cost(Cost((("fat", 12.346), ("soda", 0.5)), 12.846, ("clay", "syrup"), "EUR"), bars=8),
    "cost_simple": lambda: render_cost(Cost((("fat", 12.346),), 12.346, ())),
}


@pytest.mark.parametrize("name", TEXTS)
def test_a_sheet_reads_as_it_was_read_through(name: str) -> None:
    assert TEXTS[name]() + "\n" == (SHEETS / f"{name}.txt").read_text(encoding="utf-8")


def test_every_text_that_was_read_through_is_tried() -> None:
    assert {path.stem for path in SHEETS.iterdir()} == set(TEXTS)


@pytest.mark.parametrize(("letters", "lines"), [(45, 1), (46, 2)])
def test_the_name_and_the_size_stand_on_one_line_while_four_columns_are_between_them(letters: int, lines: int) -> None:
    # "1000 g of oils, 1345 g of batter" has 32 letters, less one for a batter of 999 g; the width is 80.
    batch = replace(loaf(1000.0), recipe_name="x" * letters)
    size = "1000 g of oils, 1344.9 g of batter"
    sheet = render_batch(batch, width=45 + 4 + len(size)).splitlines()
    assert sheet.index("") == lines
    assert sheet[0].startswith("x" * letters)
    assert sheet[lines - 1].endswith(size)


def test_a_sheet_names_its_version() -> None:
    batch = replace(loaf(1000.0), version_id="0123456789abcdef", version_label="the 4th saved")
    assert render_batch(batch).startswith("Plain bar  01234567 (the 4th saved) ")


def test_of_a_scent_that_is_nothing_and_of_a_portion_without_any_nothing_is_said() -> None:
    scented = SIMPLE.recipe + "scent:\n  - {material: calm, rate: 0 % of oils}\n"
    assert "cured bar" not in render_batch(loaf(1000.0, scented))
    halves = "portions:\n  - {name: one, share: 50, gets: {calm: 100}}\n  - {name: two, share: 50, gets: {calm: 0}}\n"
    sheet = render_batch(loaf(1000.0, scented.replace("0 %", "0.05 %") + halves))
    assert [line.strip() for line in sheet.splitlines() if "cured bar" in line] == [
        "One portion: scent 0.08 % of the cured bar"
    ]


@pytest.mark.parametrize(
    ("rate", "said"),
    [
        ("0.007", None),  # 0.07 g of citric acid take 0.04 g
        ("0.01", "0.1 g of it for the acids"),  # 0.06 g
        ("0.1", "0.6 g of it for the acids"),
    ],
)
def test_what_acids_take_of_the_alkali_is_said_from_a_twentieth_of_a_gram(rate: str, said: str | None) -> None:
    acid = f"additions:\n  - {{material: citric-acid-anhydrous, rate: {rate} % of oils, at: oils}}\n"
    sheet = " ".join(render_batch(loaf(1000.0, SIMPLE.recipe + acid)).split())
    assert (said in sheet) if said else ("for the acids" not in sheet)


@pytest.mark.parametrize(
    ("rate", "said"), [("0.2", None), ("0.24", "adds 1 g of water"), ("0.56", "adds 1 g of water")]
)
def test_water_that_an_addition_brings_is_said_where_it_is_more_than_half_a_gram(rate: str, said: str | None) -> None:
    # a quarter of 2, 2.4 and 5.6 g
    syrup = f"additions:\n  - {{material: syrup, rate: {rate} % of oils, at: trace, water: extra}}\n"
    sheet = render_batch(loaf(1000.0, SIMPLE.recipe + syrup))
    assert (said in sheet) if said else ("of water" not in sheet)


def test_what_goes_into_one_portion_alone_is_said_to() -> None:
    halves = "portions:\n  - {name: one, share: 50, gets: {clay: 100}}\n  - {name: two, share: 50, gets: {clay: 0}}\n"
    clay = "additions:\n  - {material: clay, rate: 2 % of oils, at: trace}\n"
    sheet = " ".join(render_batch(loaf(1000.0, SIMPLE.recipe + clay + halves)).split())
    assert "Into the one portion g clay 20 " in sheet
    assert "Into the two portion" not in sheet


@pytest.mark.parametrize(
    "portions",
    ["", "portions:\n  - {name: a, share: 50, gets: {calm: 100}}\n  - {name: b, share: 50, gets: {calm: 0}}\n"],
)
def test_a_scent_that_a_recipe_only_keeps_a_place_for_stands_in_it(portions: str) -> None:
    text = of_simple_recipe(SIMPLE.recipe + "scent:\n  - {material: calm, rate: 0 % of oils}\n" + portions)
    assert "calm 0.0 0 % of oils, at trace" in " ".join(text.split())


def test_json_states_the_recipe_as_its_file_does() -> None:
    text = SIMPLE.recipe + "scent:\n  - {material: calm, rate: 1.5 % of oils}\nnotes: Stir.\n"
    text += "additions:\n  - {material: syrup, rate: 2 % of oils, at: trace, water: extra}\n"
    based_on = "based_on: {recipe: harbour-base, version: '" + 40 * "4" + "'}\n"
    for more, parent in (("", None), (based_on, {"recipe": "harbour-base", "version": 40 * "4"})):
        kitchen = replace(SIMPLE, recipe=text + more)
        version = Version(recipe=kitchen.read_recipe(), text=text, is_saved=True)
        tree = recipe_json(version, kitchen.weigh_out())
        assert (tree["recipe"], tree["name"], tree["is_saved"], tree["based_on"]) == (
            "plain",
            "Plain bar",
            True,
            parent,
        )
        assert tree["version"] == {"id": version.id, "label": None}
        assert tree["stated"] == {
            "oils": [
                {"material": "fat", "percent": 75.0, "at": "oils"},
                {"material": "butter", "percent": 25.0, "at": "oils"},
            ],
            "alkalis": [{"material": "soda", "share_percent": 100.0}],
            "alkali_basis": None,
            "superfat": 5.0,
            "water": {"rule": "lye_concentration", "value": 33.0},
            "additions": [{"material": "syrup", "rate": "2 % of oils", "at": "trace", "water": "extra"}],
            "scent": [{"material": "calm", "rate": "1.5 % of oils", "at": "trace"}],
            "process": {},
            "notes": "Stir.",
        }
