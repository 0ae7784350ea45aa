"""Of a pour that is proposed it is told what it tests, and that what was in it set in the pot before."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest

from formulary.materials.register import Register, read_builtin_register
from formulary.settings import Settings
from tests.trials.invented import trial, version
from trials.answer.text import render_explanation
from trials.explain_trials import explain_outcome
from trials.explanation import Explanation
from trials.next_trial.next_trial import NextTrial, find_next_trials
from trials.next_trial.outlook import Expected, choose_told
from trials.next_trial.text import render_next_trials
from trials.outcomes.known import find_outcomes
from trials.telling_apart import with_next_pour

OUTCOMES = find_outcomes(Settings())
BASE = version()
HONEY = "material: honey, rate: 2 % of oils, at: trace, water: replaces"
CLOVE = "material: clove-bud-oil, rate: 2 % of oils, at: trace"
BOTH = version("winter", additions=HONEY, scent=CLOVE)


@lru_cache(maxsize=1)
def register() -> Register:
    return read_builtin_register()


def explained(outcome: str, *, minutes: float) -> Explanation:
    """Honey and clove only ever came together, softened the bar, and were worked for so many minutes."""
    ends = [f"{3 + int(minutes)}:{round(60 * (minutes % 1)) + k:02d}" for k in range(4)]
    odd = [trial(BOTH, f"w{k}", 40 + k, working=ends[k], seen={"hardness": str(6 + k % 2)}) for k in range(4)]
    plain = [trial(BASE, f"p{k}", k, working=f"{11 + k % 2}:00", seen={"hardness": str(3 + k % 2)}) for k in range(5)]
    return explain_outcome([*plain, *odd], OUTCOMES[outcome])


def proposed(answer: Explanation) -> tuple[NextTrial, ...]:
    return find_next_trials(answer, register(), Settings(), most=10)


def expect(cause: str | None, probability: float, value: float) -> Expected:
    return Expected(() if cause is None else ((cause,),), probability, value, value / 2, value * 2)


def test_what_a_pour_tests_is_told_with_it_and_without_however_unlikely() -> None:
    answer = explained("working time", minutes=5.0)
    likely = [expect(name, 0.15, 8.0 + k) for k, name in enumerate(("kaolin", "room", "mint", "rose clay", "lye"))]
    every = [*likely, expect("honey", 0.1, 8.0), expect("clove", 0.03, 1.5), expect(None, 0.02, 9.0)]
    told = [item.causes for item in choose_told(answer, every, [{"clove"}])]
    assert (("clove",),) in told
    assert told[:2] == [(("kaolin",),), (("room",),)]
    told = [item.causes for item in choose_told(answer, every, [{item.causes[0][0]} for item in likely])]
    assert (("honey",),) in told  # the likeliest without any of them
    alike = [expect("kaolin", 0.5, 8.0), expect("mint", 0.4, 8.0), expect("room", 0.01, 8.0), expect("lye", 0.01, 4.0)]
    assert alike[3] in choose_told(answer, alike, [])  # else the lines tell nothing apart


@pytest.mark.parametrize("outcome", ["working time", "hardness"])
def test_every_proposal_tells_of_what_it_tests(outcome: str) -> None:
    for one in proposed(explained(outcome, minutes=5.0)):
        names = [{name for group in item.causes for name in group} for item in one.expected]
        for change in one.changes:
            assert any(change.factor in each for each in names)
            assert any(change.factor not in each for each in names)


@pytest.mark.parametrize("outcome", ["working time", "hardness"])
def test_what_set_in_the_pot_before_is_warned_of_whatever_is_asked(outcome: str) -> None:
    answer = explained(outcome, minutes=1.0)
    found = proposed(answer)
    assert found
    for one in found:
        has_clove = any(line.material == "clove-bud-oil" for line in one.version.recipe.scent)
        said = one.too_quick or ""
        assert ("four of four pours with clove bud oil (" in said) == has_clove
        assert ("1.0 min" in said) == (one.too_quick is not None)
    if outcome == "hardness":
        assert any(" left no time to pour, so that it may set in the pot: " in (one.too_quick or "") for one in found)
    assert [one.too_quick is not None for one in found] == sorted(one.too_quick is not None for one in found)


def test_what_could_be_poured_before_is_not_warned_of() -> None:
    assert all(one.too_quick is None for one in proposed(explained("hardness", minutes=5.0)))


def test_what_is_usual_is_warned_of_where_it_set_and_is_not_left_out() -> None:
    clove = version("clove", scent=CLOVE)
    sweet = version("sweet", additions=HONEY, scent=CLOVE)
    often = [
        trial(clove, f"c{k}", k, working=("8:00", "3:50")[k == 3], seen={"hardness": str(3 + k % 2)}) for k in range(5)
    ]
    odd = [trial(sweet, f"s{k}", 40 + k, working="8:00", seen={"hardness": str(6 + k % 2)}) for k in range(4)]
    plain = [trial(BASE, f"p{k}", 60 + k, working="12:00", seen={"hardness": str(6 + k % 2)}) for k in range(2)]
    found = proposed(explain_outcome([*often, *odd, *plain], OUTCOMES["hardness"]))
    for one in found:
        has_clove = any(line.material == "clove-bud-oil" for line in one.version.recipe.scent)
        said = "one of five pours with nothing unusual in it (c3 0.8 min) left no time to pour"
        assert (said in (one.too_quick or "")) == has_clove
    assert found


def test_pours_of_other_recipes_warn_too() -> None:
    others = [trial(version("clove", scent=CLOVE), f"q{k}", 90 + k, working="3:50") for k in range(2)]
    answer = explained("hardness", minutes=5.0)
    found = find_next_trials(answer, register(), Settings(), most=10, poured=others)
    said = [
        one.too_quick for one in found if any(line.material == "clove-bud-oil" for line in one.version.recipe.scent)
    ]
    assert said
    assert all(text is not None and "two of six pours with clove bud oil" in text for text in said)


@pytest.mark.parametrize("outcome", ["working time", "hardness"])
def test_what_seized_warns_though_nobody_noted_when(outcome: str) -> None:
    clove = version("clove", scent=CLOVE)
    lost = [trial(clove, f"z{k}", 90 + k, seen={"seized": str(grade)}) for k, grade in enumerate((2, 1, 0))]
    found = find_next_trials(explained(outcome, minutes=5.0), register(), Settings(), most=10, poured=lost)
    for one in found:
        has_clove = any(line.material == "clove-bud-oil" for line in one.version.recipe.scent)
        said = "two of six pours with clove bud oil (z0 seized, lost and z1 seized, stirred out) left no time to pour"
        assert (said in (one.too_quick or "")) == has_clove
    assert any(one.too_quick for one in found)


def test_a_batter_that_was_worked_for_long_before_it_seized_left_the_time_to_pour() -> None:
    clove = version("clove", scent=CLOVE)
    halves = {"plain": {"working": "15:00"}, "clove": {"working": "12:00", "scent_in": "4:00"}}
    late = [
        trial(clove, "late", 90, working="12:00", seen={"seized": "2"}),
        trial(clove, "half", 91, portions=halves, seen={"seized": "1"}),
    ]
    found = find_next_trials(explained("hardness", minutes=5.0), register(), Settings(), most=10, poured=late)
    assert found
    assert all(one.too_quick is None for one in found)


def test_a_lot_that_seized_in_a_pour_without_the_outcome_asked_about_is_told() -> None:
    old = {"clove-bud-oil": "CB-1"}
    new = {"clove-bud-oil": "CB-2"}
    clove = version("clove", scent=CLOVE)
    old_lot = [
        trial(clove, f"o{k}", 40 + k, working="9:00", lots=old, seen={"hardness": str(3 + k % 2)}) for k in range(5)
    ]
    new_lot = [trial(clove, f"n{k}", k, working="9:00", lots=new, seen={"hardness": str(6 + k % 2)}) for k in range(4)]
    lost = trial(clove, "lost", 60, lots=new, seen={"seized": "2"})
    answer = explain_outcome([*old_lot, *new_lot], OUTCOMES["hardness"])
    found = find_next_trials(answer, register(), Settings(), most=10, poured=[lost])
    told = [one.too_quick or "" for one in found if "lot CB-2 of clove bud oil" in one.words]
    assert told
    assert all("one of five pours with lot CB-2 of clove bud oil (lost seized, lost)" in text for text in told)


def test_a_quick_pour_of_another_recipe_is_not_said_to_have_nothing_unusual_in_it() -> None:
    berry = version("berry", scent="material: peppermint-oil, rate: 3 % of oils, at: trace")
    other = trial(berry, "quick", 90, working="3:50")
    found = find_next_trials(explained("hardness", minutes=5.0), register(), Settings(), most=10, poured=[other])
    assert found
    assert all(one.too_quick is None for one in found)


@pytest.mark.parametrize("is_often", [False, True])
def test_an_oil_that_is_in_no_more_quick_pours_than_any_is_no_warning(is_often: bool) -> None:
    soft = version("soft", {"olive-oil": "33", "coconut-oil": "25", "rice-bran-oil": "42"})
    odd = [trial(soft, f"s{k}", 40 + k, working="12:00", seen={"hardness": str(6 + k % 2)}) for k in range(4)]
    plain = [trial(BASE, f"p{k}", k, working="11:00", seen={"hardness": str(3 + k % 2)}) for k in range(5)]
    mint = version("mint", scent="material: peppermint-oil, rate: 3 % of oils, at: trace")
    others = [trial(mint, f"m{k}", 120 + k, working="12:00" if is_often else "3:50") for k in range(8)]
    quick = trial(soft, "q", 110, working="3:50")
    found = find_next_trials(
        explain_outcome([*plain, *odd], OUTCOMES["hardness"]), register(), Settings(), most=10, poured=[*others, quick]
    )
    said = [one.too_quick or "" for one in found if one.start.slug == "soft" or "rice bran oil" in one.words]
    assert said
    assert any("pours with rice bran oil" in text for text in said) == is_often


def test_why_what_tells_more_stands_later_is_said_on_the_screen() -> None:
    answer = explained("working time", minutes=5.0)
    first = proposed(answer)[0]

    def said(*bits_and_warning: tuple[float, str | None]) -> str:
        several = [replace(first, bits=bits, too_quick=text) for bits, text in bits_and_warning]
        return " ".join(render_next_trials(several, answer).split())

    last = "What may set in the pot comes last."
    worth = "A tenth of a bit is not worth another change"
    assert last not in said((0.5, None), (0.4, "it sets"))
    assert worth not in said((0.5, None), (0.4, None))
    assert last in said((0.3, None), (0.4, "it sets"))
    assert worth in said((0.3, None), (0.35, None))


def test_explain_does_not_say_of_its_first_pour_that_it_tells_most() -> None:
    # It may come first since others would set in the pot, or need another change.
    told = with_next_pour(explained("working time", minutes=5.0), register(), Settings())
    assert f"What to pour next: {told.to_tell_apart}." in " ".join(render_explanation(told).split())
