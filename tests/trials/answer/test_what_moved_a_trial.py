"""What a maker asks after a bad pour: which change did that, or plainly why it cannot be said."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from types import MappingProxyType

import jsonschema

from formulary.settings import Settings
from tests.schemas import read_schema
from tests.trials.invented import BASE_OILS, steady, trial, version
from trials.answer.text import render_explanation
from trials.explain_trials import explain_outcome
from trials.explanation import Explanation
from trials.outcomes.known import find_outcomes
from trials.trial.model import Trial

BASE = version()
OUTCOMES = find_outcomes(Settings())
WORKING = OUTCOMES["working time"]
STRONG = version("harbour-base", scent="material: clove-bud-oil, rate: 2 % of oils, at: trace")
WITH_MILK = version("harbour-base", additions="material: oat-milk, rate: 8 % of oils, at: oils, water: replaces")


@lru_cache(maxsize=1)
def history() -> tuple[Trial, ...]:
    """Clove halves the time, a warm room takes a little; invented."""
    base = [trial(BASE, f"b{k}", k, working=("12:00", "12:40", "11:30")[k % 3], room=str(18 + k % 3)) for k in range(9)]
    scented = [trial(STRONG, f"s{k}", 20 + k, working=("5:30", "6:00")[k % 2], room=str(18 + k % 2)) for k in range(4)]
    return (*base, *scented)


def ask(about: Trial, *more: Trial, called: Mapping[str, str] = MappingProxyType({})) -> Explanation:
    return explain_outcome([*history(), *more], WORKING, about=about, called=called)


def test_what_is_said_of_the_trial_stands_first_and_what_changed_is_listed() -> None:
    answer = ask(history()[9])
    assert answer.sentence.startswith("s0: working time ")
    assert "Clove bud oil moved it" in answer.sentence.partition("From all trials together:")[0]
    assert answer.moved is not None
    changed = {item.name: (item.before, item.after) for item in answer.moved.changed}
    assert changed["clove bud oil"] == (0.0, 2.0)
    assert "clove bud oil 0 to 2 % of oils" in " ".join(render_explanation(answer).split())


def test_a_batch_that_went_wrong_as_a_whole_is_laid_to_no_change() -> None:
    # In a warmer room, which can take a minute at most: a batter that seized at once must not be laid to it.
    botched = trial(BASE, "odd1", 40, working="3:40", room="24")
    warm = [trial(BASE, f"w{k}", 30 + k, working=("10:40", "10:10", "11:00")[k], room=str(23 + k)) for k in range(3)]
    answer = ask(botched, *warm, botched)
    assert botched.id in [item.trial for item in answer.botched]
    moved = answer.moved
    assert moved is not None
    assert moved.went_wrong > 0.5
    assert moved.odd == "odd1"
    assert all(chance < 0.5 for _, chance in moved.chances)
    assert "moved it (" not in answer.sentence.partition("From all trials together:")[0]
    assert "odd1 fits nothing else" in answer.sentence


def test_the_chances_of_one_trial_add_to_all() -> None:
    for about in history()[9:]:
        moved = ask(about).moved
        assert moved is not None
        whole = sum(chance for _, chance in moved.chances) + moved.nothing + moved.went_wrong
        assert 0.9 < whole < 1.0 + 1e-9  # what is under 2 % each is not listed


def test_a_repeat_that_went_otherwise_is_set_beside_the_pour_that_it_repeats() -> None:
    quick = trial(STRONG, "s9", 60, working="9:30", room="18")  # of the same version, twice the time
    answer = ask(quick, quick)
    assert answer.moved is not None
    assert answer.moved.against == "s3"
    alike = trial(STRONG, "s8", 60, working="5:40", room="18")
    answer = ask(alike, alike)
    assert answer.moved is not None
    assert answer.moved.against == "b8"  # as its repeats: what is asked then is what made this version so


def test_two_limits_that_overlap_show_no_movement() -> None:
    late = trial(WITH_MILK, "m1", 70, poured="16:00", room="18")
    later = trial(WITH_MILK, "m2", 71, poured="18:00", room="25")
    base = [trial(BASE, f"p{k}", 50 + k, poured="15:00", room=str(18 + k)) for k in range(3)]
    answer = ask(later, *base, late, later)
    assert answer.moved is not None
    assert "nothing shows that it moved" in answer.sentence


def test_what_acts_the_other_way_is_no_reason() -> None:
    # Less clove, and quicker all the same: the clove can only have slowed this one down.
    weak = version("harbour-base", scent="material: clove-bud-oil, rate: 1 % of oils, at: trace")
    odd = trial(weak, "k1", 80, working="5:10", room="19")
    answer = ask(odd, odd)
    assert answer.moved is not None
    assert answer.moved.against == "s3"
    assert ("clove bud oil",) not in [names for names, _ in answer.moved.chances]


def test_a_trial_that_cannot_be_told_of_gets_the_reason() -> None:
    mute = trial(BASE, "mute", 90)
    stranger = trial(version("other", BASE_OILS), "else", 91, working="12:00")
    first = history()[0]
    for about, more, word in (
        (mute, (mute,), "says nothing of working time"),
        (stranger, (), "not among the trials that were weighed"),
        (first, (), "no earlier pour"),
    ):
        answer = ask(about, *more)
        assert answer.moved is None
        assert answer.not_moved is not None
        assert word in answer.not_moved
        assert answer.sentence.startswith(about.id)
        assert about.id in " ".join(render_explanation(answer).split())


def test_the_json_of_one_trial_follows_its_schema() -> None:
    schema = read_schema("explain")
    for answer in (ask(history()[9]), ask(history()[0]), explain_outcome(steady(2, BASE, ("9:00",)), WORKING)):
        jsonschema.validate(json.loads(json.dumps(answer.to_json(), allow_nan=False)), schema)


def test_nothing_is_said_to_have_moved_what_repeats_move_as_much() -> None:
    answer = ask(history()[9])
    assert answer.noise is not None
    assert "Clove bud oil moved it (" in answer.sentence
    noisy = replace(answer, noise=replace(answer.noise, sd=3.0)).sentence.partition("From all trials together:")[0]
    assert " moved it (" not in noisy.replace("may well have moved it (", "")
    assert "Clove bud oil may well have moved it (" in noisy
    assert "but repeats differ as much." in noisy
    seldom = replace(answer, noise=replace(answer.noise, sd=0.57)).sentence
    assert re.search(r"may well have moved it \(.*\), but one in \w+ pairs of repeats differs as much\.", seldom)
    guessed = replace(answer, noise=replace(answer.noise, sd=3.0, is_assumed=True)).sentence
    assert "but repeats are taken to differ as much, which is a guess." in guessed


def test_where_both_showed_the_same_or_may_have_no_change_has_a_chance() -> None:
    same = trial(STRONG, "k2", 90, working="11:30", room="18")  # as b8, its clove and all
    limit = trial(STRONG, "k3", 91, poured="9:00", room="18")  # which may be as b8, too
    for odd, said in ((same, "so nothing has to account for it"), (limit, "so nothing shows that it moved")):
        base = [one for one in history() if one.version == BASE.id]
        answer = explain_outcome([*base, odd], WORKING, about=odd)
        assert said in answer.sentence
        assert answer.moved is not None
        assert (answer.moved.chances, answer.moved.nothing, answer.moved.went_wrong) == ((), 1.0, 0.0)


def test_a_scented_portion_is_held_against_its_own_unscented_one() -> None:
    halves = "name: plain, share: 50, gets: {clove-bud-oil: 0}\nname: clove, share: 50, gets: {clove-bud-oil: 100}"
    divided = version("harbour-base", scent="material: clove-bud-oil, rate: 1 % of oils, at: trace", portions=halves)
    loaf = trial(
        divided,
        "half",
        80,
        room="24",
        portions={
            "plain": {"working": "10:20", "scent_in": "3:00", "blending_after": 0},
            "clove": {"working": "5:40", "scent_in": "3:00", "blending_after": 0},
        },
    )
    moved = ask(loaf, loaf).moved
    assert moved is not None
    assert (moved.trial, moved.against) == ("half clove", "half plain")
    assert [change.name for change in moved.changed] == ["clove bud oil"]


def test_a_recipe_that_was_renamed_is_the_same_recipe() -> None:
    # Another version under a new name: it came from the strong one, and not from nowhere.
    stronger = version("quay-base", scent="material: clove-bud-oil, rate: 2.2 % of oils, at: trace")
    renamed = trial(stronger, "r1", 60, working="5:20", room="18")
    named = {"harbour-base": "quay-base"}
    assert ask(renamed, renamed).moved is None
    moved = ask(renamed, renamed, called=named).moved
    assert moved is not None
    assert moved.against == "s3"
