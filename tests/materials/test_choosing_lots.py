"""Lots are chosen as typed; what cannot be meant is told with what to write, and nothing is taken for another lot."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, cast

import pytest

from formulary.errors import InputError
from formulary.materials.chosen_lots import (
    demand_known_lot,
    given_lots,
    lot_shares,
    lots_with_values,
    parse_chosen_lots,
    with_chosen_lots,
)
from formulary.materials.read import parse_material
from formulary.materials.register import read_builtin_register

OLIVE, _ = parse_material(
    "{format: 1, name: Olive oil, kind: oil, lots: {OL-7: {}, OL-8: {saponification_value: 188}}}", None, "olive-oil"
)
assert OLIVE is not None
REGISTER = read_builtin_register().combined_with([OLIVE])


def refused(raised: pytest.ExceptionInfo[InputError]) -> tuple[str, str]:
    (finding,) = raised.value.findings
    return finding.what, finding.do


@pytest.mark.parametrize("text", ["olive-oil", "olive-oil=", "=OL-7", "OL-7", " = "])
def test_what_is_not_a_material_and_a_lot_is_told_with_an_example(text: str) -> None:
    with pytest.raises(InputError) as raised:
        parse_chosen_lots([text])
    what, do = refused(raised)
    assert "MATERIAL=LOT" in what
    assert "--lot" in do


def test_all_that_is_wrong_is_told_at_once() -> None:
    with pytest.raises(InputError) as raised:
        parse_chosen_lots(["olive-oil", "coconut-oil=A 3 ml", "castor-oil=A", "castor-oil=B"])
    assert len(raised.value.findings) == 3


def test_lots_stand_by_their_material_with_the_grams_that_were_said() -> None:
    assert parse_chosen_lots(["olive-oil = OL-7 300 g", "olive-oil=OL-8 0.1 kg", "castor-oil=C 12"]) == {
        "olive-oil": {"OL-7": 300.0, "OL-8": 100.0},
        "castor-oil": {"C 12": None},
    }


def test_parts_are_by_weight_and_one_lot_is_all() -> None:
    assert lot_shares({"A": 300.0, "B": 100.0}) == {"A": 0.75, "B": 0.25}
    assert lot_shares({"A": 0.2, "B": 0.3}) == pytest.approx({"A": 0.4, "B": 0.6})
    assert lot_shares({"A": 20.0}) == lot_shares({"A": None}) == {"A": 1.0}


def test_less_than_a_gram_of_a_lot_is_a_weight_too() -> None:
    lots = {"olive-oil": {"OL-7": 0.5, "OL-8": 0.5}}
    assert with_chosen_lots({"olive-oil": OLIVE}, lots)["olive-oil"].lots_used == ("OL-7", "OL-8")


def test_a_lot_is_free_text_where_none_is_recorded_and_a_slip_where_others_are() -> None:
    demand_known_lot(REGISTER, "olive-oil", "OL-7")
    demand_known_lot(REGISTER, "coconut-oil", "anything")
    demand_known_lot(REGISTER, "nothing-of-the-kind", "anything")
    with pytest.raises(InputError) as raised:
        demand_known_lot(REGISTER, "olive-oil", "OL-9")
    what, do = refused(raised)
    assert what == "olive-oil has no lot 'OL-9'"
    assert "lots of it: OL-7, OL-8" in do


def test_only_a_lot_that_is_recorded_has_values() -> None:
    lots = given_lots({"olive-oil": "OL-8", "coconut-oil": "anything", "nothing-of-the-kind": "x"})
    assert lots_with_values(REGISTER, lots) == {"olive-oil": {"OL-8": None}}
    assert lots_with_values(REGISTER, {"olive-oil": {"OL-8": 1.0, "OL-9": 2.0}}) == {}


def test_a_lot_that_is_called_as_if_it_had_a_weight_can_be_chosen() -> None:
    """Names of lots are the maker's own text."""
    texts = ["olive-oil=Jar 500 g"]
    assert parse_chosen_lots(texts) == {"olive-oil": {"Jar": 500.0}}
    named, _ = parse_material(
        "{format: 1, name: O, kind: oil, lots: {Jar 500 g: {saponification_value: 188}, B + C: {}}}", None, "olive-oil"
    )
    assert named is not None
    register = {"olive-oil": named}
    assert parse_chosen_lots(texts, register) == {"olive-oil": {"Jar 500 g": None}}
    several = parse_chosen_lots(["olive-oil=Jar 500 g 120 g", "olive-oil=B + C"], register)
    assert several == {"olive-oil": {"Jar 500 g": 120.0, "B + C": None}}


def test_a_material_that_is_not_there_and_a_lot_that_none_has_are_told() -> None:
    with pytest.raises(InputError) as raised:
        with_chosen_lots({"olive-oil": OLIVE}, {"olive": "OL-7"})
    what, do = refused(raised)
    assert what == "nothing here is called 'olive'"
    assert "olive-oil" in do
    coconut = REGISTER["coconut-oil"]
    with pytest.raises(InputError) as raised:
        with_chosen_lots({"coconut-oil": coconut}, {"coconut-oil": "X"})
    do = refused(raised)[1]
    assert "none is recorded" in do
    assert "as there are others" not in do


@pytest.mark.parametrize(
    "lots",
    [
        ["OL-7"],
        {"olive-oil": None},
        {"olive-oil": 7},
        {7: "OL-7"},
        {"olive-oil": ""},
        {"olive-oil": " "},
        {"olive-oil": {}},
        {"olive-oil": {7: 300.0, "OL-8": 150.0}},
        {"olive-oil": {"OL-7": "300 g", "OL-8": "150 g"}},
        {"olive-oil": {"OL-7": float("nan"), "OL-8": 150.0}},  # of a table in which it is missing
        {"olive-oil": {"OL-7": 10**400, "OL-8": 150.0}},
        {"olive-oil": {"OL-7": Decimal("nan"), "OL-8": None}},
        {"olive-oil": {"OL-7": float("inf")}},
    ],
)
def test_what_names_no_lot_is_told_to_name_none(lots: Any) -> None:
    with pytest.raises(InputError) as raised:
        with_chosen_lots(REGISTER, lots)
    assert {finding.code for finding in raised.value.findings} <= {"bad-lot", "bad-name", "empty-entry"}


def test_a_lot_without_a_name_is_none() -> None:
    for name in ("", "  ", 7, None):
        with pytest.raises(InputError):
            demand_known_lot(REGISTER, "olive-oil", cast("str", name))
    text = '{format: 1, name: Olive oil, kind: oil, lots: {"": {saponification_value: 188}}}'
    assert "lot-name-empty" in {finding.code for finding in parse_material(text, None, "olive-oil")[1]}
