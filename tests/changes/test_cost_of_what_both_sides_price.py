"""A diff compares what both sides price: a price that one side alone knows is no change of the cost."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.batch.cost import Cost
from formulary.changes.changes import Changes
from formulary.changes.compare import compare_sides
from formulary.changes.compared_side import ComparedSide
from formulary.changes.text import render_changes
from tests.batch.kitchen import Kitchen
from tests.batch.recipes import PLAIN, weigh_out

NAMES = tuple("abcdef")
PRICED = st.dictionaries(st.sampled_from(NAMES), st.none() | st.integers(1, 50))


def side(prices: dict[str, int | None], at_lots: tuple[tuple[str, tuple[str, ...]], ...] = ()) -> ComparedSide:
    """A recipe whose cost is just that: None for what is in it and has no price."""
    lines = tuple((name, float(money)) for name, money in prices.items() if money is not None)
    unpriced = tuple(name for name, money in prices.items() if money is None)
    cost = Cost(lines, sum(money for _, money in lines), unpriced, "EUR", at_lots)
    return ComparedSide(recipe=Kitchen(recipe=PLAIN).read_recipe(), batch=weigh_out(PLAIN), cost=cost)


def compare(before: dict[str, int | None], after: dict[str, int | None]) -> Changes:
    return compare_sides(side(before), side(after))


def test_a_price_that_one_side_lacks_is_in_neither_sum_and_it_is_said_which_lacks_it() -> None:
    changes = compare({"a": 5, "b": 2, "c": None}, {"a": 6, "b": 2, "c": 30})
    assert changes.cost is not None
    assert (changes.cost.before, changes.cost.after) == (7.0, 8.0)
    text = " ".join(render_changes(changes).split())
    assert "cost of the materials 7.00 8.00 +1.00" in text
    assert "without a price before, and so in neither cost: c" in text
    assert "without a price after, and so in neither cost: c" in " ".join(
        render_changes(compare({"a": 5, "b": 2, "c": 30}, {"a": 6, "b": 2, "c": None})).split()
    )


def test_a_material_that_one_side_does_not_hold_is_a_change_of_its_cost() -> None:
    changes = compare({"a": 5, "b": 2}, {"a": 5, "b": 2, "c": 30})
    assert changes.cost is not None
    assert (changes.cost.before, changes.cost.after) == (7.0, 37.0)


def test_where_most_is_unpriced_there_is_no_figure_and_all_says_why() -> None:
    changes = compare({"a": 5, "b": None, "c": None}, {"a": 9, "b": None, "c": None})
    assert changes.cost is not None
    assert (changes.cost.before, changes.cost.after) == (None, None)
    assert "cost" not in render_changes(changes)
    text = " ".join(render_changes(changes, show_all=True).split())
    assert "the cost is not compared: most of the materials have no price on both sides" in text
    assert "without a price, and so in neither cost: b, c" in text
    half = compare({"a": 5, "b": None}, {"a": 9, "b": None}).cost
    assert half is not None
    assert (half.before, half.after) == (5.0, 9.0)


def test_a_price_at_a_lot_is_told() -> None:
    lots = (("c", ("K1",)),)
    changes = compare_sides(side({"a": 5, "b": 2, "c": None}, lots), side({"a": 6, "b": 2, "c": 30}))
    assert "a price stands at a lot, for batches of it alone: c at K1" in " ".join(render_changes(changes).split())
    assert changes.to_json()["cost"]["priced_at_lots"] == [{"material": "c", "lots": ["K1"]}]  # type: ignore[index]


@given(PRICED, PRICED)
def test_the_difference_is_that_of_what_both_sides_price_whichever_way_it_is_asked(
    one: dict[str, int | None], two: dict[str, int | None]
) -> None:
    there, back = compare(one, two).cost, compare(two, one).cost
    if there is None or back is None:
        assert there is back
        return
    assert (there.before, there.after) == (back.after, back.before)
    unpriced = {name for prices in (one, two) for name, money in prices.items() if money is None}
    if there.before is not None and there.after is not None:
        known = {name for name in NAMES if name not in unpriced}
        expected = sum((two.get(name) or 0) - (one.get(name) or 0) for name in known)
        assert there.after - there.before == pytest.approx(expected)
