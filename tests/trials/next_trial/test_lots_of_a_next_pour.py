"""A pour that is proposed is foretold for the lots that stand on the shelf, and for settings that a bench can have."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.trials.invented import trial, version
from trials.explain_trials import explain_outcome
from trials.explanation import Explanation
from trials.next_trial.candidates import CandidatePour, find_candidates
from trials.next_trial.change import find_changes
from trials.next_trial.next_trial import find_next_trials
from trials.next_trial.text import next_trials_json, render_next_trials
from trials.next_trial.usual import all_else, find_lots_in_use
from trials.outcomes.known import find_outcomes

WORKING = find_outcomes(Settings())["working time"]
CLOVE = version("clove", scent="material: clove-bud-oil, rate: 1 % of oils, at: trace")
PLAIN = version("plain")
REGISTER = read_builtin_register()


def history(*lots: str) -> Explanation:
    """A pour a day of each lot of clove bud oil, and two pours without any; the last lot is the quicker one."""
    minutes = {lot: 12 - 3 * place for place, lot in enumerate(dict.fromkeys(lots))}
    scented = [
        trial(CLOVE, f"c{day}", day, working=f"{minutes[lot]}:{7 * day % 40:02d}", lots={"clove-bud-oil": lot})
        for day, lot in enumerate(lots)
    ]
    plain = [trial(PLAIN, f"p{day}", 60 + day, working=f"14:{20 * day:02d}") for day in range(2)]
    return explain_outcome([*scented, *plain], WORKING)


def candidates(answer: Explanation) -> dict[tuple[str, tuple[str, ...]], dict[str, float]]:
    """By recipe and changes, where each candidate stands among the factors."""

    def place(one: CandidatePour) -> dict[str, float]:
        return {factor.name: step for factor, step in zip(answer.table.factors, one.steps, strict=True)}

    found = find_candidates(answer, REGISTER, Settings(), {}, lambda _: ())
    return {(one.start.slug, tuple(change.words for change in one.changes)): place(one) for one in found}


def test_a_pour_once_more_is_foretold_for_the_lot_in_use_and_not_for_one_used_up() -> None:
    answer = history(*["CB-1"] * 5, *["CB-2"] * 4)
    found = candidates(answer)
    assert found["clove", ()]["lot CB-2 of clove bud oil"] == 1.0
    assert found["clove", ("lot CB-1 of clove bud oil",)]["lot CB-2 of clove bud oil"] == 0.0
    assert found["plain", ()]["lot CB-2 of clove bud oil"] == 0.0  # there is none of it in there
    back = history(*["CB-1"] * 4, *["CB-2"] * 4, "CB-1")
    assert candidates(back)["clove", ()]["lot CB-2 of clove bud oil"] == 0.0


def test_of_three_lots_a_pour_has_one() -> None:
    answer = history(*["CB-1"] * 4, *["CB-2"] * 3, *["CB-3"] * 3)
    two, three = "lot CB-2 of clove bud oil", "lot CB-3 of clove bud oil"
    assert find_lots_in_use(answer) == {two: 0.0, three: 1.0}
    found = candidates(answer)
    assert (found["clove", ()][two], found["clove", ()][three]) == (0.0, 1.0)
    for (slug, changes), place in found.items():
        assert place[two] + place[three] <= 1.0
        if slug == "clove" and two in changes:
            assert (place[two], place[three]) == (1.0, 0.0)


def test_it_is_said_what_the_proposals_are_foretold_for() -> None:
    answer = history(*["CB-1"] * 5, *["CB-2"] * 4)
    assert "lot CB-2 of clove bud oil" in all_else(answer)
    proposed = find_next_trials(answer, REGISTER, Settings())
    assert proposed
    said = " ".join(render_next_trials(proposed, answer).split())
    assert "Where a pour says nothing else, it is foretold for lot CB-2 of clove bud oil" in said
    assert next_trials_json(proposed, answer)["all_else"] == list(all_else(answer))


def test_a_temperature_is_proposed_in_whole_degrees() -> None:
    warm = [trial(PLAIN, f"w{k}", k, working=f"8:{10 + k}", room="25.56") for k in range(4)]
    cool = [trial(PLAIN, f"c{k}", 20 + k, working=f"14:{10 + k}", room="16.11") for k in range(5)]
    answer = explain_outcome([*warm, *cool], WORKING)
    rooms = [words for _, changes in candidates(answer) for words in changes if "room" in words]
    assert rooms
    assert all(Decimal(words.split()[-2]) % 1 == 0 for words in rooms)


def test_a_lot_that_took_over_is_named_with_the_pour_that_would_tell() -> None:
    answer = history(*["CB-1"] * 5, *["CB-2"] * 4)
    open_still = replace(answer, causes=tuple(replace(cause, probability=0.1) for cause in answer.causes))
    proposed = find_next_trials(answer, REGISTER, Settings())
    assert proposed
    said = " ".join(render_next_trials(proposed, open_still).split())
    assert "Lot CB-2 of clove bud oil is in every pour since 2026-03-06, and in none before" in said
    assert "a pour by the lot before it would tell." in said
    by_turns = history(*["CB-1", "CB-2"] * 5)
    assert "in none before" not in render_next_trials(find_next_trials(by_turns, REGISTER, Settings()), by_turns)


def test_a_temperature_is_proposed_in_the_unit_that_the_recipe_states_its_own_in() -> None:
    warm = [trial(PLAIN, f"w{k}", k, working=f"8:{10 + k}", room="25.56") for k in range(4)]
    cool = [trial(PLAIN, f"c{k}", 20 + k, working=f"14:{10 + k}", room="16.11") for k in range(5)]
    answer = explain_outcome([*warm, *cool], WORKING)
    start = {"room": answer.factor("room").baseline}
    for stated, words in (("38 °C", "a room at 26 °C"), ("100F", "a room at 78 °F"), ("100 °F", "a room at 78 °F")):
        recipe = replace(PLAIN.recipe, process={"lye_temperature": stated, "cover": "FULL"})
        changes = list(find_changes(answer, "room", start, recipe))
        assert words in [change.words for change in changes]
        assert all(change.value is not None and abs(change.value - 25.56) < 0.6 for change in changes)
