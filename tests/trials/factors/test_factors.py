"""What varied between pours: only what moved by a tenth of a step, from the formula as made, by portion."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.trials.invented import BASE_OILS, trial, version
from trials.factors.displacement import find_displacements
from trials.factors.factors import FactorTable, find_factors
from trials.factors.portion_facts import find_facts, find_pours
from trials.trial.model import AsMade, Handling, Trial

BASE = version()
HALVES = "name: plain, share: 50, gets: {clove-bud-oil: 0}\nname: clove, share: 50, gets: {clove-bud-oil: 100}"
CLOVE = version(
    "midwinter-clove",
    scent="material: clove-bud-oil, rate: 1.2 % of oils, at: trace",
    portions=HALVES,
)


def table(*trials: Trial) -> FactorTable:
    return find_factors(find_pours(trials))


def names(found: FactorTable) -> list[str]:
    return [factor.name for factor in found.factors]


def test_two_pours_of_one_recipe_differ_in_nothing() -> None:
    assert names(table(trial(BASE, "aaaa"), trial(BASE, "bbbb", 3))) == []


def test_a_date_or_the_last_gram_is_no_factor() -> None:
    nearly = [AsMade(line="olive-oil", weighed_g=Decimal("531"))]
    assert names(table(trial(BASE, "aaaa"), trial(BASE, "bbbb", 40, as_made=nearly))) == []


def test_forgotten_water_is_a_factor_although_no_recipe_has_it() -> None:
    milk = version(additions="material: oat-milk, rate: 8 % of oils, at: oils, water: replaces")
    weighed_all = [AsMade(line="water", weighed_g=Decimal("283"))]
    found = table(trial(milk, "aaaa"), trial(milk, "bbbb", 1, as_made=weighed_all))
    assert names(found) == ["lye with all water"]
    before, after = found.column("lye with all water")
    assert before == pytest.approx(33.0, abs=0.1)
    # 139 g of alkali in 283 g weighed and about 70 g in the milk (88 to 90 % water)
    assert after == pytest.approx(100 * 139 / (139 + 283 + 71), abs=0.3)


def test_oils_are_named_as_one_in_place_of_another() -> None:
    hemp = version("hemp", {**BASE_OILS, "olive-oil": "45", "hemp-seed-oil": "8"})
    found = table(trial(BASE, "aaaa"), trial(BASE, "bbbb", 1), trial(hemp, "cccc", 2))
    assert names(found) == ["hemp seed oil for olive oil"]
    assert found.column("hemp seed oil for olive oil") == (0.0, 0.0, 8.0)


def test_a_portion_has_its_own_scent_and_its_control_has_none() -> None:
    portions = {"plain": {"poured": "14:00"}, "clove": {"working": "7:00", "scent_in": "3:00"}}
    found = table(trial(CLOVE, "aaaa", portions=portions))
    assert names(found) == ["clove bud oil"]
    assert found.column("clove bud oil") == (0.0, 2.4)  # all of 1.2 % of the oils went into half of them


def test_blending_counts_by_portion_before_and_after_the_scent() -> None:
    portions = {
        "plain": {"poured": "14:00"},
        "clove": {"working": "7:00", "scent_in": "3:00", "blending_after": 12},
    }
    found = table(trial(CLOVE, "aaaa", portions=portions, blending=40))
    assert found.column("blending after scent") == (0.0, 12.0)
    assert "blending before scent" not in names(found)


def test_a_new_lot_is_a_factor_and_an_unrecorded_one_is_not_guessed() -> None:
    lots = ({"olive-oil": "OL-7"}, {"olive-oil": "OL-7"}, {"olive-oil": "OL-8"}, {})
    found = table(*(trial(BASE, f"t{k}", k, lots=lot) for k, lot in enumerate(lots)))
    assert names(found) == ["lot OL-8 of olive oil"]
    assert found.column("lot OL-8 of olive oil") == (0.0, 0.0, 1.0, None)
    assert found.remarks == ("lot OL-8 of olive oil: not recorded in 1 of 4, which count as average there",)
    assert [row[0] for row in found.steps()] == [0.0, 0.0, 1.0, pytest.approx(1 / 3, abs=1e-5)]


def test_what_is_recorded_too_seldom_is_set_aside_and_named() -> None:
    found = table(*(trial(BASE, f"t{k}", k, room=room) for k, room in enumerate(("17", "22", None, None))))
    assert names(found) == []
    assert [(item.name, item.why) for item in found.set_aside] == [("room", "recorded in 2 of 4 only")]


def test_a_condition_that_one_loaf_alone_records_is_named_as_not_weighed() -> None:
    found = table(*(trial(BASE, f"t{k}", k, room=room) for k, room in enumerate(("30", None, None, None))))
    assert [(item.name, item.why) for item in found.set_aside] == [("room", "recorded in 1 of 4 only")]
    alike = table(*(trial(BASE, f"t{k}", k, room="30") for k in range(4)))
    assert (alike.set_aside, names(alike)) == ((), [])


def test_a_trial_without_any_note_of_handling_is_unknown_not_untreated() -> None:
    fan = [Handling("fan", Decimal(1)), Handling("unmoulded", Decimal(20))]
    still = [Handling("unmoulded", Decimal(44))]
    found = table(
        *(trial(BASE, f"t{k}", k, after_pour=steps) for k, steps in enumerate((fan, still, still, still, [])))
    )
    assert found.column("fan") == (1.0, 0.0, 0.0, 0.0, None)
    assert found.column("hours to unmoulding") == (20.0, 44.0, 44.0, 44.0, None)


def test_a_temperature_that_nobody_measured_is_taken_from_the_plan_and_said_to_be() -> None:
    from dataclasses import replace

    made = trial(BASE, "aaaa")
    recipe = replace(made.plan.recipe, process={"lye_temperature": "50 °C"})
    planned = replace(made, id="planned", plan=replace(made.plan, recipe=recipe))
    pour = find_facts(planned)
    assert {aspect.subject for aspect in pour.as_planned} == {"lye temperature"}


def test_the_order_of_trials_changes_no_factor() -> None:
    hemp = version("hemp", {**BASE_OILS, "olive-oil": "45", "hemp-seed-oil": "8"})
    trials = [trial(BASE, "aaaa", 0, room="17"), trial(hemp, "bbbb", 1, room="22"), trial(BASE, "cccc", 2)]
    one, two = table(*trials), table(*reversed(trials))
    assert one.factors == two.factors
    assert one.steps() == two.steps()


oil_moves = st.lists(
    st.tuples(st.integers(-20, 20), st.integers(-20, 20), st.integers(-20, 20)), min_size=1, max_size=8
).map(lambda rows: [(a, b, c, -a - b - c) for a, b, c in rows])


@given(oil_moves)
def test_displacements_give_back_how_every_oil_but_one_moved(rows: list[tuple[int, int, int, int]]) -> None:
    moves = {oil: [float(row[k]) for row in rows] for k, oil in enumerate(("almond", "babassu", "coconut", "olive"))}
    found = find_displacements(moves, within=0.5)
    told = {item.rises for item in found} | {item.falls for item in found if item.falls}
    assert told == {oil for oil, points in moves.items() if any(points)}
    for item in found:
        assert list(item.moves) == moves[item.rises]
    assert len(found) <= max(0, len(told) - 1)
