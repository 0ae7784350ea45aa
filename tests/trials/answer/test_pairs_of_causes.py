"""Two things that act only, or more, together: which pair it is, and which of the two is surer, is not made up."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from functools import lru_cache

import jsonschema
import pytest

from formulary.materials.register import read_builtin_register
from formulary.settings import Settings
from tests.schemas import read_schema
from tests.trials.invented import trial, version
from trials.answer.text import render_explanation
from trials.charts import find_effects
from trials.explain_trials import explain_outcome
from trials.explanation import Explanation
from trials.next_trial.next_trial import find_next_trials
from trials.next_trial.text import next_trials_json, render_next_trials
from trials.outcomes.known import find_outcomes
from trials.trial.model import Trial

WORKING = find_outcomes(Settings())["working time"]
CLOVE = "material: clove-bud-oil, rate: 1 % of oils, at: trace"
LINES = {
    "honey": "material: honey, rate: 2 % of oils, at: trace, water: replaces",
    "kaolin": "material: kaolin, rate: 2 % of oils, at: oils",
}


def pours(makes: Iterator[tuple[bool, tuple[str, ...]]], *, clove: float, pair: float) -> Iterator[Trial]:
    """Invented pours: clove, and more of it beside honey, changes the log minutes by so much."""
    rng = random.Random(11)
    for day, (has_clove, others) in enumerate(makes):
        made_of = version(
            f"bar-{day}", additions="\n".join(LINES[name] for name in others), scent=CLOVE if has_clove else ""
        )
        effect = clove * has_clove + pair * (has_clove and "honey" in others)
        minutes = 12.0 * math.exp(effect + rng.gauss(0, 0.06))
        seconds = round(60 * (3 + minutes))
        yield trial(made_of, f"p{day:03d}", 7 * day, working=f"{seconds // 60}:{seconds % 60:02d}")


@lru_cache(maxsize=1)
def either_pair() -> Explanation:
    """Honey and kaolin were each poured alone, but met the clove only both at once."""
    makes = [*[(False, ())] * 5, *[(True, ())] * 5, *[(False, ("honey",))] * 4, *[(False, ("kaolin",))] * 4]
    makes += [*[(True, ("honey", "kaolin"))] * 5, *[(False, ("honey", "kaolin"))] * 3]
    return explain_outcome(list(pours(iter(makes), clove=0.0, pair=-0.9)), WORKING)


@lru_cache(maxsize=1)
def surer() -> Explanation:
    """Clove acts by itself, and more beside honey."""
    makes = [*[(False, ())] * 5, *[(True, ())] * 5, *[(False, ("honey",))] * 5, *[(True, ("honey",))] * 3]
    return explain_outcome(list(pours(iter(makes), clove=-0.7, pair=-0.35)), WORKING)


def test_pairs_that_look_the_same_are_all_told_and_none_is_picked() -> None:
    answer = either_pair()
    first = answer.causes[0]
    assert first.probability >= 0.8
    assert {frozenset(name for group in pair for name in group) for pair in (first.groups, *first.or_pairs)} == {
        frozenset({"clove bud oil", "honey"}),
        frozenset({"clove bud oil", "kaolin"}),
    }
    assert answer.sentence.startswith("Clove bud oil with ")
    assert "which of these it is cannot be told yet: pour clove bud oil with one of them alone" in answer.sentence
    assert {"honey", "kaolin"} <= set(first.factors)
    # What the pair holds already is not told once more as a chance of its members.
    assert all(cause.probability < 0.2 for cause in answer.causes[1:])
    assert "honey or kaolin" in " ".join(find_effects(answer).rows[0].names).replace(
        "kaolin or honey", "honey or kaolin"
    )
    assert first.to_json()["or_groups"]


def test_where_pairs_look_the_same_next_proposes_a_pour_that_tells_them_apart() -> None:
    answer = either_pair()
    first = find_next_trials(answer, read_builtin_register(), Settings())[0]
    assert first.bits > 0.5
    by_pair = {frozenset(pair): item for item in first.expected for pair in item.causes if len(pair) == 2}
    honey, kaolin = (by_pair[frozenset({"clove bud oil", other})] for other in ("honey", "kaolin"))
    assert honey.probability == pytest.approx(kaolin.probability, rel=0.05)
    assert honey.high is not None
    assert honey.low is not None
    assert kaolin.high is not None
    assert kaolin.low is not None
    assert honey.high < kaolin.low or kaolin.high < honey.low
    text = " ".join(render_next_trials([first], answer).split())
    assert "Little is left to learn" not in text


def test_the_surer_of_two_that_act_together_is_named_by_itself() -> None:
    answer = surer()
    assert answer.sentence.startswith("Clove bud oil is the likely cause (")
    assert "only together, are" not in answer.sentence
    named = [cause.factors for cause in answer.causes if cause.is_likely]
    assert named == [("clove bud oil",)]


def test_what_acts_by_itself_and_more_beside_another_is_not_told_as_only_together() -> None:
    makes = [*[(False, ())] * 5, *[(True, ())] * 5, *[(False, ("honey",))] * 5, *[(True, ("honey",))] * 5]
    both = explain_outcome(list(pours(iter(makes), clove=-0.5, pair=-0.5)), WORKING)
    assert both.sentence.startswith(
        "Clove bud oil is the likely cause (over 99 %), more together with honey (over 99 %)"
    )
    assert "beyond that, 1 % clove bud oil with 1 % honey shortens working time by" in both.sentence
    assert "only together" not in both.sentence
    assert "Honey does not: it is likely only beside what is surer." in find_effects(both).foot
    pair = explain_outcome(list(pours(iter(makes), clove=0.0, pair=-0.9)), WORKING)
    assert pair.sentence.startswith("Clove bud oil and honey, only together, are the likely cause (over 99 %)")


def test_beside_what_is_usual_it_is_said_that_the_effect_is_not_of_the_cause_alone() -> None:
    rare = [*[(False, ("honey",))] * 8, *[(True, ("honey",))] * 6, *[(False, ())] * 4, *[(True, ())] * 4]
    answer = explain_outcome(list(pours(iter(rare), clove=0.0, pair=-0.9)), WORKING)
    assert answer.sentence.startswith("Clove bud oil is the likely cause (")
    assert "That is beside honey at 2 % of oils, as is usual here, and differs without it." in answer.sentence
    assert "as is usual here" not in surer().sentence


def test_what_it_acts_more_together_with_is_not_picked_out_of_two_that_look_the_same() -> None:
    makes = [*[(False, ())] * 5, *[(True, ())] * 5, *[(False, ("honey",))] * 4, *[(False, ("kaolin",))] * 4]
    makes += [*[(True, ("honey", "kaolin"))] * 5, *[(False, ("honey", "kaolin"))] * 3]
    answer = explain_outcome(list(pours(iter(makes), clove=-0.5, pair=-0.6)), WORKING)
    first = answer.causes[0]
    assert first.groups == (("clove bud oil",),)
    assert {one.names: round(one.probability, 1) for one in first.partners} == {("honey",): 0.5, ("kaolin",): 0.5}
    assert "likelier at work" not in answer.sentence


def test_what_acts_mostly_with_others_is_told_so_and_with_no_effect_of_its_own() -> None:
    answer = either_pair()
    first = answer.causes[0]
    pair = [cause for cause in answer.causes if cause.is_mostly_together]
    for cause in pair:
        assert cause.effects == ()
    assert first.effects == ()  # a step of each would be another for every pair
    for cause in surer().causes:
        assert cause.alone is not None or cause.is_together
        if cause.is_mostly_together and cause.probability >= 0.02:
            assert "only with others" in render_explanation(surer())


@pytest.mark.parametrize("explained", [either_pair, surer])
def test_no_explanation_of_a_next_pour_names_a_thing_twice(explained: object) -> None:
    assert callable(explained)
    answer = explained()
    proposed = find_next_trials(answer, read_builtin_register(), Settings())
    for one in proposed:
        for expected in one.expected:
            names = expected.to_json()["causes"]
            assert isinstance(names, list)
            assert len(names) == len(set(names))
    assert " with clove bud oil and " not in render_next_trials(proposed, answer)
    assert next_trials_json(proposed, answer)


def test_a_pair_that_met_in_one_sitting_alone_is_not_named_although_most_pours_have_one_of_it() -> None:
    rng = random.Random(0)

    def pour(code: str, day: int, *, clove: bool, honey: bool, lye: str = "33") -> Trial:
        made_of = version(
            "plain" if not (clove or honey) else f"bar-{code}",
            concentration=lye,
            additions=LINES["honey"] if honey else "",
            scent=CLOVE if clove else "",
        )
        seconds = round(60 * (3 + 12 * math.exp(-1.0 * (clove and honey) + rng.gauss(0, 0.06))))
        return trial(made_of, code, day, working=f"{seconds // 60}:{seconds % 60:02d}")

    made = [pour(f"pl{k:02d}", 7 * k, clove=False, honey=False) for k in range(4)]
    made += [pour(f"cl{k:02d}", 70 + 7 * k, clove=True, honey=False, lye=str(30 + k)) for k in range(6)]
    made += [pour(f"ho{k:02d}", 140 + 7 * k, clove=False, honey=True) for k in range(2)]
    made += [pour(f"bo{k:02d}", 210, clove=True, honey=True, lye=str(32 + k)) for k in range(2)]
    answer = explain_outcome(made, WORKING)
    first = answer.causes[0]
    assert first.is_together
    assert first.probability >= 0.8
    assert first.rests_on == tuple(one.id for one in made[-2:])
    assert not answer.enough_evidence


@pytest.mark.parametrize("days_apart", [0, 7])
def test_what_is_said_of_acting_together_does_not_rest_on_one_sitting(days_apart: int) -> None:
    rng = random.Random(0)

    def pour(code: str, day: int, *, clove: bool, honey: bool) -> Trial:
        lines, scent = LINES["honey"] if honey else "", CLOVE if clove else ""
        made_of = version(f"bar{clove:d}{honey:d}", additions=lines, scent=scent)
        effect = -0.7 * clove - 0.8 * (clove and honey)
        seconds = round(60 * (3 + 12 * math.exp(effect + rng.gauss(0, 0.06))))
        return trial(made_of, code, day, working=f"{seconds // 60}:{seconds % 60:02d}")

    made = [pour(f"pl{k:02d}", 7 * k, clove=False, honey=False) for k in range(6)]
    made += [pour(f"cl{k:02d}", 70 + 7 * k, clove=True, honey=False) for k in range(5)]
    made += [pour(f"ho{k:02d}", 140 + 7 * k, clove=False, honey=True) for k in range(4)]
    made += [pour(f"bo{k:02d}", 210 + days_apart * k, clove=True, honey=True) for k in range(2)]
    answer = explain_outcome(made, WORKING)
    assert answer.sentence.startswith("Clove bud oil is the likely cause (over 99 %), ")
    (partner,) = answer.causes[0].partners
    assert partner.probability >= 0.8
    is_one_sitting = days_apart == 0
    assert bool(partner.rests_on) == is_one_sitting
    assert ("beyond that" in answer.sentence) != is_one_sitting
    rests = "That it acts together with honey rests on one sitting alone (bo00 and bo01): pour one like them"
    assert (rests in answer.sentence) == is_one_sitting
    jsonschema.validate(answer.to_json(), read_schema("explain"))
