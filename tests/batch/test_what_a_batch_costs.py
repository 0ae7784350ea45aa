"""What a batch costs: every gram at its own price, worked by hand; nothing without a price is counted or hidden."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from formulary.batch.blend_text import render_cost
from formulary.batch.cost import Cost, work_out_cost
from formulary.batch.model import Batch
from formulary.materials.chosen_lots import with_chosen_lots
from formulary.materials.model import Material
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register
from tests.batch.kitchen import Kitchen
from tests.batch.recipes import PLAIN, weigh_out

REGISTER = read_builtin_register()
# Invented prices.
OLIVE = "format: 1\nname: Olive oil\nkind: oil\nprice: {price}\n"
KITCHEN = Kitchen(
    materials={
        "olive-oil": OLIVE.format(price="9.13 per l\ndensity: 0.913 g/ml"),
        "coconut-oil": "format: 1\nname: Coconut oil\nkind: oil\nprice: 4.00 per kg\n",
        "sodium-hydroxide": "format: 1\nname: Lye\nkind: alkali\nprice: 3.00 per 500 g\n",
    },
    oils_g=2000.0,
)


def cost(batch: Batch) -> Cost:
    return work_out_cost(batch, REGISTER, currency="EUR")


def test_each_line_costs_its_grams_at_its_price_and_the_sum_is_of_those_with_a_price() -> None:
    batch = KITCHEN.weigh_out()
    found = cost(batch)
    # 60 % of 2000 g are 1200 g, which at 0.913 g/ml are 1200 / 913 l at 9.13: 12.00. 25 % are 0.5 kg at 4.00: 2.00.
    # Alkali at 6.00 for 1 kg. Nobody said what sunflower oil costs.
    alkali = 6.00 * batch.lye[0].grams / 1000
    assert dict(found.lines) == pytest.approx({"olive-oil": 12.00, "coconut-oil": 2.00, "sodium-hydroxide": alkali})
    assert found.total == pytest.approx(14.00 + alkali)
    assert found.unpriced == ("sunflower-oil",)
    assert found.currency == "EUR"


def test_each_bar_has_its_part_of_the_cost() -> None:
    assert Cost((("olive-oil", 12.0),), 12.0, ()).per_bar(8) == 1.5


def test_a_material_in_several_lines_is_one_cost_of_all_its_grams() -> None:
    # 1 % of 2000 g in each of two lines, and half of it in each portion: 40 g in all, at 5.00 for 10 g.
    lines = "".join(f"  - {{material: lavender-oil, rate: 1 % of oils, at: {at}}}\n" for at in ("oils", "trace"))
    portions = "portions:\n  - {name: a, share: 50, gets: {lavender-oil: 30}}\n  - {name: b, share: 50}\n"
    lavender = "format: 1\nname: Lavender\nkind: fragrance\nprice: 5.00 per 10 g\n"
    kitchen = replace(KITCHEN, recipe=f"{PLAIN}scent:\n{lines}", materials={"lavender-oil": lavender})
    assert cost(kitchen.weigh_out()).lines == (("lavender-oil", pytest.approx(20.00)),)
    divided = replace(
        kitchen, recipe=kitchen.recipe + portions.replace("share: 50}", "share: 50, gets: {lavender-oil: 70}}")
    )
    assert cost(divided.weigh_out()).lines == (("lavender-oil", pytest.approx(20.00)),)


def test_a_price_by_volume_of_what_has_no_density_is_no_price() -> None:
    clay = "format: 1\nname: Invented clay\nkind: colourant\nprice: 8.00 per l\n"
    recipe = PLAIN + "additions:\n  - {material: invented-clay, rate: 1 % of oils, at: oils}\n"
    found = cost(replace(KITCHEN, recipe=recipe, materials={"invented-clay": clay}).weigh_out())
    assert "invented-clay" in found.unpriced
    assert found.lines == ()
    assert found.total == 0


def test_water_from_the_tap_is_free_and_water_that_is_bought_costs_what_it_costs() -> None:
    tap = weigh_out(PLAIN)
    assert cost(tap).unpriced == ("olive-oil", "coconut-oil", "sunflower-oil", "sodium-hydroxide")
    bought = "format: 1\nname: Bought water\nkind: liquid\nwater: 100 %\nprice: 2.00 per kg\n"
    batch = replace(KITCHEN, materials={"water": bought}).weigh_out()
    assert dict(cost(batch).lines) == pytest.approx({"water": 2.00 * batch.water.weigh_grams / 1000})


def test_the_lot_that_a_batch_is_made_from_has_its_own_price() -> None:
    olive = OLIVE.format(price="9.00 per kg") + "lots:\n  dear: {price: 12.00 per kg}\n"
    kitchen = Kitchen(materials={"olive-oil": olive})
    # 600 g of it
    assert cost(kitchen.weigh_out()).lines == (("olive-oil", pytest.approx(5.40)),)
    assert cost(replace(kitchen, lots={"olive-oil": "dear"}).weigh_out()).lines == (("olive-oil", pytest.approx(7.20)),)


def test_several_lots_cost_the_mean_of_their_prices_by_weight() -> None:
    lots = "lots:\n  dear: {price: 12.00 per kg}\n  cheap: {price: 1.50 per 250 g}\n  by-litre: {price: 9.00 per l}\n"
    olive = Kitchen(materials={"olive-oil": OLIVE.format(price="9.00 per kg") + lots})
    register = REGISTER.combined_with([olive_oil_of(olive)])
    # A third of 600 g at 12 and two thirds at 6 for a kilogram: 2.40 + 2.40.
    mixed = with_chosen_lots({"olive-oil": register["olive-oil"]}, {"olive-oil": {"dear": 200.0, "cheap": 400.0}})
    batch = replace(olive.weigh_out(), materials=mixed)
    assert dict(cost(batch).lines)["olive-oil"] == pytest.approx(4.80)
    # Nobody can add a price by weight to one by volume: that of the larger part counts.
    mixed = with_chosen_lots({"olive-oil": register["olive-oil"]}, {"olive-oil": {"dear": 400.0, "by-litre": 200.0}})
    assert dict(cost(replace(batch, materials=mixed)).lines)["olive-oil"] == pytest.approx(7.20)


def olive_oil_of(kitchen: Kitchen) -> Material:
    material, _ = parse_material(kitchen.materials["olive-oil"], "materials/olive-oil.yaml", "olive-oil")
    assert material is not None
    return material


def test_nothing_with_a_price_has_no_sum_and_some_without_make_it_the_least() -> None:
    nothing = cost(weigh_out(PLAIN))
    assert nothing.to_json()["total"] is None
    assert "0.00" not in render_cost(nothing)
    assert "nothing to add up" in " ".join(render_cost(nothing).split())
    some = render_cost(cost(KITCHEN.weigh_out()), bars=10)
    assert "together, at least" in some
    assert "for each of 10 bars, at least" in some
    assert "at least" not in render_cost(Cost((("olive-oil", 2.0),), 2.0, ()), bars=10)


def test_json_tells_the_same_money() -> None:
    found = cost(KITCHEN.weigh_out())
    assert found.to_json() == {
        "lines": [
            {"material": material, "cost": amount, "least": amount, "most": amount} for material, amount in found.lines
        ],
        "total": found.total,
        "least": found.total,
        "most": found.total,
        "unpriced": ["sunflower-oil"],
        "unweighed": [],
        "priced_at_lots": [],
        "currency": "EUR",
    }


def test_a_price_that_stands_at_a_lot_is_told_with_the_lot_that_makes_it_count() -> None:
    lots = (
        "format: 1\nname: Sunflower oil\nkind: oil\nlots:\n  S1: {price: 3 per 1 kg}\n  S2: {received: '2026-03-01'}\n"
    )
    found = cost(replace(KITCHEN, materials={**KITCHEN.materials, "sunflower-oil": lots}).weigh_out())
    assert (found.unpriced, found.at_lots) == (("sunflower-oil",), (("sunflower-oil", ("S1",)),))
    assert found.to_json()["priced_at_lots"] == [{"material": "sunflower-oil", "lots": ["S1"]}]
    text = " ".join(render_cost(found).split())
    assert "A price stands at a lot: sunflower oil at S1. It counts with the lot: --lot sunflower-oil=S1" in text
    nothing = Cost((), 0.0, ("fat",), at_lots=(("fat", ("L1", "L2")),))
    assert "fat at L1 and L2" in render_cost(nothing)
    trial = " ".join(render_cost(found, naming="formulary trial lot k7wq {material} {lot}").split())
    assert trial.endswith("formulary trial lot k7wq sunflower-oil S1")
    spaced = render_cost(Cost((), 0.0, ("fat",), at_lots=(("fat", ("KO 2025/11",)),)))
    assert "--lot fat='KO 2025/11'" in " ".join(spaced.split())


@pytest.mark.parametrize(
    ("lots", "told"), [("AB", "A and B"), ("ABC", "A and B and C"), ("ABCD", "A and B and C and others")]
)
def test_the_first_lots_that_have_a_price_are_named(lots: str, told: str) -> None:
    at_lots = (("olive-oil", tuple(lots)),)
    text = " ".join(render_cost(Cost((), 0.0, ("olive-oil",), at_lots=at_lots), width=400).split())
    assert re.search(rf"olive oil at {told}(?! and)\b", text)
