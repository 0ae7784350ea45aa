"""Which pour is the best on an outcome, and which may be as good."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from formulary.recipes.model import BasedOn
from formulary.settings import Settings
from tests.trials.invented import BASE_OILS, steady, trial, version
from trials.outcomes.known import find_outcomes
from trials.pours.ranking import Ranking, find_ranking, render_ranking
from trials.trial.model import Observation, Reading, Trial

OUTCOMES = find_outcomes(Settings())
BASE = version()
HEMP = version("hemp", {**BASE_OILS, "olive-oil": "45", "hemp-seed-oil": "8"})
REPEATS = steady(6, BASE, ("12:00", "12:20", "12:30"), start=20)
SLOW = trial(HEMP, "slow", 40, working="21:00")
QUICK = trial(version("lean", superfat="2"), "quik", 41, working="5:00")
STOPPED = trial(HEMP, "stop", 42, poured="8:00")
MUTE = trial(HEMP, "mute", 43)
ALL = (*REPEATS, QUICK, SLOW, STOPPED, MUTE)


def codes(ranking: Ranking) -> list[str]:
    return [pour.trial.id[-4:] for pour in ranking.pours]


def seen(outcome: str, **values: str) -> list[Trial]:
    """Trials with a value of an outcome each, by code."""
    age = next(iter(OUTCOMES[outcome].ages_days), Decimal(1))
    return [
        replace(trial(BASE, code, day), observations=(Observation(age, outcome, (Reading(value, Decimal(value)),)),))
        for day, (code, value) in enumerate(values.items())
    ]


def test_the_best_comes_first_and_a_limit_where_it_lies() -> None:
    found = find_ranking(ALL, OUTCOMES["working time"])
    assert codes(found)[0] == "slow"
    assert codes(found)[-2:] == ["stop", "quik"]
    best = {pour.trial.id[-4:] for pour in found.pours if pour.may_be_best}
    assert best == {"slow", "stop"}, "what was poured before it thickened may be better than it shows"
    assert [item.trial[-4:] for item in found.left_out] == ["mute"]
    text = " ".join(render_ranking(found).split())
    assert text.startswith("By working time (higher is better) the best is slow of hemp, 18.0 min; one other may be")
    assert "(6 repeats in 6 loaves)" in text
    assert "Without it: mute." in text


def test_what_repeats_differ_by_makes_no_pour_worse() -> None:
    found = find_ranking([*REPEATS, QUICK], OUTCOMES["working time"])
    assert {pour.trial.id[-4:]: pour.may_be_best for pour in found.pours} == {
        **{one.id[-4:]: True for one in REPEATS},
        "quik": False,
    }


def test_lower_is_better_where_the_outcome_says_so_and_neither_names_no_best() -> None:
    hard = find_ranking(seen("hardness", aaaa="3.5", bbbb="1.0", cccc="9.0"), OUTCOMES["hardness"])
    assert codes(hard) == ["bbbb", "aaaa", "cccc"]
    assert "lower is better" in str(hard)
    assert [pour.may_be_best for pour in hard.pours] == [True] * 3, (
        "three that differ so much are all there is to go by"
    )
    alone = find_ranking(seen("hardness", aaaa="3.5"), OUTCOMES["hardness"])
    assert "which is a guess" in " ".join(str(alone).split())
    gel = find_ranking(seen("gel", aaaa="50", bbbb="10"), OUTCOMES["gel"])
    assert codes(gel) == ["bbbb", "aaaa"]
    assert not any(pour.may_be_best for pour in gel.pours)
    assert "neither way is better" in str(gel)


def test_of_grades_all_with_the_best_one_are_the_best() -> None:
    found = find_ranking(seen("ash", aaaa="2", bbbb="0", cccc="0"), OUTCOMES["ash"])
    assert [pour.may_be_best for pour in found.pours] == [True, True, False]
    assert "two pours are the best, with none" in str(found)


def test_without_a_value_or_an_order_it_says_so() -> None:
    assert str(find_ranking(ALL, OUTCOMES["pH"])).startswith("No pour shows pH at 28 d.")
    assert "no order of its own" in str(find_ranking(ALL, OUTCOMES["colour"]))
    assert str(find_ranking([], OUTCOMES["gel"])) == "No pour shows gel."


@pytest.mark.parametrize("width", [50, 80])
def test_no_line_is_wider_than_asked(width: int) -> None:
    for outcome in ("working time", "gel", "pH"):
        assert max(map(len, render_ranking(find_ranking(ALL, OUTCOMES[outcome]), width).splitlines())) <= width


def test_the_order_of_the_trials_changes_nothing() -> None:
    assert codes(find_ranking(ALL[::-1], OUTCOMES["working time"])) == codes(
        find_ranking(ALL, OUTCOMES["working time"])
    )


def test_a_test_for_safety_makes_no_pour_the_best_and_tells_what_others_found() -> None:
    alkali = OUTCOMES["free alkali"]

    def tested(code: str, day: int, *found: tuple[int, str]) -> Trial:
        rows = tuple(
            Observation(Decimal(age), alkali.name, (Reading(grade, Decimal(alkali.grades.index(grade))),))
            for age, grade in found
        )
        return replace(trial(BASE, code, day), observations=rows)

    rebatched = tested("mild", 1, (4, "none"), (60, "present"))
    pours = [rebatched, tested("well", 2, (28, "none"), (40, "none")), tested("pink", 3, (28, "none"), (60, "present"))]
    found = find_ranking(pours, alkali, Decimal(28))
    assert set(codes(found)) == {"well", "pink"}, "nothing is worked out for a day without a test"
    assert not any(pour.may_be_best for pour in found.pours)
    text = render_ranking(found)
    assert "*" not in text
    assert "the best, with" not in " ".join(text.split())
    row = next(line for line in text.split("\n\n")[1].split("\n  ") if "pink" in line)
    assert "present at 60 d" in " ".join(text.split()), row


def test_a_variant_that_is_surely_better_than_its_base_is_told_with_how_it_goes_back() -> None:
    based_on = BasedOn(BASE.slug, BASE.id)

    def of_variant(one: Trial, base: BasedOn | None = based_on) -> Trial:
        return replace(one, plan=replace(one.plan, recipe=replace(one.plan.recipe, based_on=base)))

    better = [*REPEATS, of_variant(SLOW)]
    said = " ".join(render_ranking(find_ranking(better, OUTCOMES["working time"])).split())
    assert f"No pour of {BASE.slug} is as good" in said
    assert f"formulary send-back hemp@{SLOW.version[:8]}" in said
    renamed = of_variant(SLOW, BasedOn("other", "0"))  # of a base that was called other once, and of a variant, too
    called = {"other": BASE.slug, "hemp": "quay-hemp"}
    now = " ".join(render_ranking(find_ranking([*REPEATS, renamed], OUTCOMES["working time"], called=called)).split())
    assert f"No pour of {BASE.slug} is as good. What quay-hemp has otherwise" in now
    assert f"formulary send-back quay-hemp@{SLOW.version[:8]}" in now
    as_good = [*better, trial(BASE, "good", 50, working="21:00")]
    for trials in ([*REPEATS, SLOW], as_good, [of_variant(SLOW)], [*REPEATS, of_variant(SLOW, BasedOn("other", "0"))]):
        assert "send-back" not in render_ranking(find_ranking(trials, OUTCOMES["working time"]))
