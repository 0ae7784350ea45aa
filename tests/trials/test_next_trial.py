"""The next pour: a small, safe change of a version at hand that tells the leading explanations apart."""

from __future__ import annotations

import json
import random
from functools import lru_cache
from importlib.resources import files

import jsonschema
import pytest

from formulary.batch.weigh_out import work_out_batch
from formulary.errors import InputError
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.version import Version
from formulary.settings import Settings
from tests.trials.invented import BASE_OILS, steady, trial, version
from trials.explain_trials import explain_outcome
from trials.explanation import Explanation
from trials.model import Trial
from trials.next_text import render_next_trials
from trials.next_trial import find_next_trials
from trials.outcomes_known import find_outcomes

BASE = version()
WORKING = find_outcomes(Settings())["working time"]
BOTH = version(
    "winter",
    additions="material: honey, rate: 2 % of oils, at: trace, water: replaces",
    scent="material: clove-bud-oil, rate: 1 % of oils, at: trace",
)
HEMP = version("hemp", {**BASE_OILS, "olive-oil": "45", "hemp-seed-oil": "8"})


@lru_cache(maxsize=1)
def register() -> Register:
    return read_builtin_register()


@lru_cache(maxsize=1)
def history() -> tuple[Trial, ...]:
    """Honey and clove only ever came together, and those pours thickened in half the time."""
    quick = [trial(BOTH, f"w{k}", 40 + k, working=("8:00", "8:30", "7:40")[k % 3], room=str(18 + k)) for k in range(5)]
    soft = [trial(HEMP, f"h{k}", 60 + k, working=("12:10", "11:40")[k % 2], room=str(18 + k)) for k in range(3)]
    return (*steady(6, BASE, ("12:00", "11:20", "12:40")), *quick, *soft)


@lru_cache(maxsize=1)
def answer() -> Explanation:
    return explain_outcome(history(), WORKING)


def test_twins_are_told_apart_by_pouring_one_without_the_other() -> None:
    best = find_next_trials(answer(), register(), Settings())[0]
    assert len(best.changes) == 1
    assert best.changes[0].factor in ("honey", "clove bud oil")
    assert best.bits > 0.3
    by_cause = {item.causes: item for item in best.expected}
    honey, clove = by_cause[("honey",)], by_cause[("clove bud oil",)]
    assert honey.high < clove.low or clove.high < honey.low


def test_a_proposal_becomes_a_variant_that_remembers_its_start() -> None:
    best = find_next_trials(answer(), register(), Settings())[0]
    made = best.branch("one-of-two")
    assert made.slug == "one-of-two"
    assert made.recipe.based_on is not None
    assert made.recipe.based_on.version == best.start.id
    assert sum(line.percent for line in made.recipe.oils) == 100
    has = {line.material for line in (*made.recipe.additions, *made.recipe.scent)}
    assert len(has & {"honey", "clove-bud-oil"}) == 1


def test_every_proposal_can_be_weighed_out_without_a_stop() -> None:
    for one in find_next_trials(answer(), register(), Settings(), most=10):
        assert not work_out_batch(one.version, register(), Settings(), oil_mass_g=1000.0).is_stopped


def test_a_repeat_or_other_handling_needs_no_recipe_and_says_so() -> None:
    blended = [
        trial(
            BASE, f"b{k}", k, working="8:00" if k % 2 else "12:00", blending=60 if k % 2 else 20, room=str(17 + k % 3)
        )
        for k in range(5)
    ]
    found = find_next_trials(explain_outcome(blended, WORKING), register(), Settings(), most=10)
    by_hand = [one for one in found if not [tweak for change in one.changes for tweak in change.tweaks]]
    for one in by_hand:
        with pytest.raises(InputError, match="needs no new recipe"):
            one.branch("again")


def test_divided_pours_of_an_undivided_recipe_are_something_to_start_from() -> None:
    def halved(made_of: Version, code: str, day: int, *minutes: str) -> Trial:
        parts = {f"half {k}": {"working": at, "scent_in": "3:00"} for k, at in enumerate(minutes)}
        return trial(made_of, code, day, portions=parts)

    slow = [halved(BASE, f"d{k}", k, "12:00", ("11:30", "12:40")[k % 2]) for k in range(4)]
    quick = [halved(BOTH, f"q{k}", 20 + k, "8:00", ("7:40", "8:20")[k % 2]) for k in range(4)]
    assert all(one.is_divided for one in (*slow, *quick))
    best = find_next_trials(explain_outcome([*slow, *quick], WORKING), register(), Settings())[0]
    assert {change.factor for change in best.changes} <= {"honey", "clove bud oil"}


def test_a_warm_room_and_another_mould_can_be_tried_alone() -> None:
    warm = [trial(BASE, f"w{k}", k, working=f"{8 + k % 2}:00", room=str(25 + k % 3)) for k in range(5)]
    cool = [trial(BASE, f"c{k}", 20 + k, working=f"{11 + k % 2}:00", room=str(18 + k % 3)) for k in range(5)]
    found = find_next_trials(explain_outcome([*warm, *cool], WORKING), register(), Settings(), most=10)
    assert any(one.words.startswith("pour harbour-base with a room at ") for one in found)
    soft = [trial(BASE, f"t{k}", k, mould="tray", seen={"hardness": str(5 + k % 2)}) for k in range(4)]
    hard = [trial(BASE, f"l{k}", 20 + k, mould="loaf", seen={"hardness": str(3 + k % 2)}) for k in range(5)]
    hardness = find_outcomes(Settings())["hardness"]
    found = find_next_trials(explain_outcome([*soft, *hard], hardness), register(), Settings(), most=10)
    assert "pour harbour-base with mould tray" in {one.words for one in found}


def test_a_renamed_recipe_is_called_by_its_name_of_today() -> None:
    today = {"harbour-base": "quay-base", "winter": "frost", "hemp": "hemp"}
    renamed = find_next_trials(answer(), register(), Settings(), names=today)
    assert {one.start.slug for one in renamed} <= set(today.values())
    assert not any("harbour-base" in one.words or "winter" in one.words for one in renamed)
    best = next(one for one in renamed if one.tweaks)
    based_on = best.branch("one-of-two").recipe.based_on
    assert based_on is not None
    assert based_on.recipe in today.values()


def test_no_share_of_the_face_is_foretold_beyond_all_of_it() -> None:
    sweet = [trial(BOTH, f"s{k}", k, seen={"gel": str(90 + 2 * (k % 5))}) for k in range(5)]
    plain = [trial(BASE, f"p{k}", 20 + k, seen={"gel": str(10 + 20 * (k % 3))}) for k in range(5)]
    gel = find_outcomes(Settings())["gel"]
    found = find_next_trials(explain_outcome([*sweet, *plain], gel), register(), Settings())
    told = [value for one in found for item in one.expected for value in (item.low, item.value, item.high)]
    assert told
    assert all(0 <= value <= 100 for value in told)


def test_nothing_is_proposed_where_there_was_nothing_to_weigh() -> None:
    empty = explain_outcome([], WORKING)
    assert find_next_trials(empty, register(), Settings()) == ()
    assert "nothing to tell apart" in render_next_trials((), empty)


def test_the_order_of_the_trials_changes_no_proposal() -> None:
    shuffled = list(history())
    random.Random(2).shuffle(shuffled)
    again = find_next_trials(explain_outcome(shuffled, WORKING), register(), Settings())
    first = find_next_trials(answer(), register(), Settings())
    assert [one.to_json() for one in again] == [one.to_json() for one in first]


def test_each_proposal_changes_something_else_and_says_what_each_result_would_mean() -> None:
    proposed = find_next_trials(answer(), register(), Settings())
    assert 1 <= len(proposed) <= 3
    changed = [frozenset(change.factor for change in one.changes) for one in proposed]
    assert len(set(changed)) == len(changed)
    text = render_next_trials(proposed, answer())
    assert "1  Pour " in text
    assert "if honey did it" in text
    assert max(map(len, text.splitlines())) <= 80


def test_the_json_follows_its_schema() -> None:
    schema = json.loads((files("trials") / "schemas" / "next.schema.json").read_text(encoding="utf-8"))
    for one in find_next_trials(answer(), register(), Settings()):
        jsonschema.validate(json.loads(json.dumps(one.to_json(), allow_nan=False)), schema)
