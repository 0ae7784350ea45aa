"""Two lots of one oil in one batch: the mixture takes the alkali that its parts take."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.chemistry.alkali import hydroxide_mol_for_fat
from formulary.materials.lots import mix_lots
from formulary.materials.model import Material
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register

TEXT = """\
format: 1
name: Olive oil
kind: oil
lots:
  "OL-7": {saponification_value: 188, density: 0.910 g/ml, price: 9 per kg}
  "OL-8": {saponification_value: 192, fatty_acids: {C18:1: 80, C16:0: 20}}
  "OL-9": {received: 2026-01-01}
"""


def olive_oil() -> Material:
    makers, findings = parse_material(TEXT, "materials/olive-oil.yaml", "olive-oil")
    assert makers is not None, findings
    return read_builtin_register().combined_with([makers])["olive-oil"]


masses = st.floats(1, 1000)


@given(masses, masses, masses)
def test_the_mixture_takes_the_alkali_of_its_parts(first: float, second: float, third: float) -> None:
    material = olive_oil()
    weights = {"OL-7": first, "OL-8": second, "OL-9": third}
    mixed = mix_lots(material, weights)
    assert mixed.saponification_value is not None
    parts = 0.0
    for lot, grams in weights.items():
        value = material.with_lot(lot).saponification_value
        assert value is not None
        parts += hydroxide_mol_for_fat(grams, value.working)
    whole = hydroxide_mol_for_fat(first + second + third, mixed.saponification_value.working)
    assert whole == pytest.approx(parts)
    assert mixed.saponification_value.low <= mixed.saponification_value.working <= mixed.saponification_value.high


@given(masses, masses)
def test_the_mixture_fills_the_volume_of_its_parts(first: float, second: float) -> None:
    material = olive_oil()
    mixed = mix_lots(material, {"OL-7": first, "OL-8": second})
    assert mixed.density_g_per_ml is not None
    assert material.density_g_per_ml is not None
    parts = first / 0.910 + second / material.density_g_per_ml
    assert (first + second) / mixed.density_g_per_ml == pytest.approx(parts)


def test_one_lot_alone_is_that_lot() -> None:
    assert mix_lots(olive_oil(), {"OL-7": 5, "OL-8": 0}) == olive_oil().with_lot("OL-7")


def test_profiles_are_averaged_and_named() -> None:
    mixed = mix_lots(olive_oil(), {"OL-7": 300, "OL-8": 100})
    olive = olive_oil().fatty_acids
    assert mixed.fatty_acids["C18:1"] == pytest.approx(0.75 * olive["C18:1"] + 0.25 * 80)
    assert sum(mixed.fatty_acids.values()) == pytest.approx(100)
    assert mixed.lots_used == ("OL-7", "OL-8")
    assert "OL-7 and OL-8" in mixed.how_working_value


@pytest.mark.parametrize("weights", [{}, {"OL-7": 0.0}, {"OL-7": -1.0, "OL-8": 5.0}])
def test_no_weight_or_less_than_none_is_refused(weights: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="weights"):
        mix_lots(olive_oil(), weights)


def test_the_lowest_limit_of_a_scent_holds_for_the_mixture() -> None:
    text = (
        "format: 1\nname: Scent\nkind: fragrance\nlimit: {percent_of_product: 3}\ncontains: {eugenol: 10}\n"
        "lots: {A: {limit: {percent_of_product: 2}, contains: {eugenol: 20}}, B: {contains: {}}}\n"
    )
    scent, findings = parse_material(text, "m.yaml", "scent")
    assert scent is not None, findings
    mixed = mix_lots(scent, {"A": 10, "B": 30})
    assert mixed.limit is not None
    assert mixed.limit.percent_of_product == 2
    assert mixed.contains == {"eugenol": 5}


PRICED = """\
format: 1
name: Olive oil
kind: oil
price: 12.50 per 1000 g
lots:
  A: {price: 9.00 per kg}
  B: {price: 0.80 per 100 g}
  C: {price: 21.00 per 5 l, density: 0.915 g/ml}
  D: {price: 5.00 per 500 ml, density: 0.915 g/ml}
  E: {received: 2026-01-01}
"""


def priced() -> Material:
    makers, findings = parse_material(PRICED, "materials/olive-oil.yaml", "olive-oil")
    assert makers is not None, findings
    return read_builtin_register().combined_with([makers])["olive-oil"]


def cost(material: Material, grams: float) -> float:
    assert material.price is not None
    found = material.price.cost(grams, material.density_g_per_ml)
    assert found is not None
    return found


@pytest.mark.parametrize("names", ["AB", "CD", "ABE"])
@given(st.lists(masses, min_size=3, max_size=3))
def test_the_mixture_costs_what_its_parts_cost(names: str, weights: list[float]) -> None:
    material = priced()
    grams = dict(zip(names, weights, strict=False))
    parts = sum(cost(material.with_lot(lot), weight_g) for lot, weight_g in grams.items())
    assert cost(mix_lots(material, grams), sum(grams.values())) == pytest.approx(parts, rel=1e-4)


def test_a_price_by_weight_beside_one_by_volume_is_that_of_the_larger_part() -> None:
    material = priced()
    for grams, lot in (({"A": 300, "C": 100}, "A"), ({"A": 100, "C": 300}, "C")):
        assert mix_lots(material, grams).price == material.with_lot(lot).price


def test_what_is_known_of_one_lot_alone_is_a_limit_for_all_and_else_unknown() -> None:
    text = (
        "format: 1\nname: Scent\nkind: fragrance\n"
        "lots: {A: {limit: {percent_of_product: 2}, density: 0.9 g/ml, vanillin: 3 %}, B: {received: 2026-01-01}}\n"
    )
    scent, findings = parse_material(text, "m.yaml", "scent")
    assert scent is not None, findings
    mixed = mix_lots(scent, {"A": 10, "B": 90})
    assert mixed.limit is not None
    assert mixed.limit.percent_of_product == 2
    assert mixed.density_g_per_ml is None
