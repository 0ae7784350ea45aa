"""Which tweak did it, in a maker's words: honest odds, groups by name, plain reasons when it cannot tell."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from statistics import NormalDist
from typing import Any

import jsonschema
import pytest

from formulary.materials.register import read_builtin_register
from formulary.recipes.version import Version
from formulary.settings import Settings
from tests.schemas import read_schema
from tests.trials.invented import BASE_OILS, steady, trial, version
from trials.answer.sentence import over_all_sentence
from trials.answer.text import render_explanation
from trials.charts import find_effects
from trials.explain_trials import explain_outcome
from trials.explanation import Explanation
from trials.outcomes.known import find_outcomes
from trials.trial.model import Observation, Reading, Trial

BASE = version()
OUTCOMES = find_outcomes(trial(BASE, "aaaa").plan.settings)
WORKING = OUTCOMES["working time"]
CLOVE_SCENT = "material: clove-bud-oil, rate: {} % of oils, at: trace"
MILK = "material: oat-milk, rate: 8 % of oils, at: oils, water: replaces"
KAOLIN = "material: kaolin, rate: 2 % of oils, at: oils"


def clock(minutes: float) -> str:
    seconds = round(60 * minutes)
    return f"{seconds // 60}:{seconds % 60:02d}"


@lru_cache(maxsize=4)
def history(*, log_per_percent: float = -0.6, together: bool = False, seed: int = 4) -> tuple[Trial, ...]:
    """Two dozen invented trials: clove changes the log minutes by so much for each percent; nothing else does.

    together: honey only ever comes with the clove.
    """
    rng = random.Random(seed)
    trials = []
    for day in range(24):
        percent = (0.0, 0.0, 0.6, 1.2)[day % 4]
        additions = [MILK] if day % 3 == 0 else []
        if day % 5 == 1:
            additions.append(KAOLIN)
        if together and percent:
            additions.append(f"material: honey, rate: {percent * 2:g} % of oils, at: trace, water: replaces")
        made_of = version(
            f"bar-{day}",
            {**BASE_OILS, "olive-oil": "45", "hemp-seed-oil": "8"} if day % 7 == 2 else BASE_OILS,
            additions="\n".join(additions),
            scent=CLOVE_SCENT.format(percent) if percent else "",
        )
        minutes = 12.0 * math.exp(log_per_percent * percent + rng.gauss(0, 0.08))
        stopped = minutes > 12.5
        trials.append(
            trial(
                made_of,
                f"t{day:03d}",
                7 * day,
                working=None if stopped else clock(3 + minutes),
                poured=clock(15.5) if stopped else None,
                blending=25 + 10 * (day % 3),
                room=str(16 + (day * 5) % 9),
            )
        )
    return tuple(trials)


@lru_cache(maxsize=4)
def clove_answer() -> Explanation:
    return explain_outcome(history(), WORKING)


def test_the_planted_cause_is_named_with_its_effect_in_minutes() -> None:
    answer = clove_answer()
    first = answer.causes[0]
    assert first.factors == ("clove bud oil",)
    assert first.probability > 0.9
    effect = first.main_effect
    assert effect is not None
    assert effect.per == "1 % of oils"
    assert effect.low is not None
    assert effect.high is not None
    truth = 12.0 * (math.exp(-0.6) - 1.0)  # what 1 % of clove does to a batter of 12 minutes
    assert effect.low < truth < effect.high < 0
    assert answer.sentence.startswith("Clove bud oil is the likely cause (")
    assert "each 1 % of oils shortens working time by" in answer.sentence


def test_a_pour_stopped_before_it_thickened_counts_as_later_than() -> None:
    answer = clove_answer()
    assert answer.limits > 0
    text = " ".join(render_explanation(answer).split())
    assert f'{answer.limits} were stopped before and count as "later than"' in text


def test_where_nothing_acts_nothing_is_named() -> None:
    answer = explain_outcome(history(log_per_percent=0.0, seed=9), WORKING)
    assert not answer.enough_evidence
    assert answer.sentence.startswith("Not enough evidence.")


def test_what_always_came_together_is_one_candidate_and_says_so() -> None:
    answer = explain_outcome(history(together=True), WORKING)
    first = answer.causes[0]
    assert set(first.factors) == {"clove bud oil", "honey"}
    assert "always went together" in answer.sentence
    assert len(first.effects) == 2


def test_the_order_of_the_trials_changes_nothing() -> None:
    shuffled = list(history())
    random.Random(3).shuffle(shuffled)
    assert explain_outcome(shuffled, WORKING).to_json() == clove_answer().to_json()


def test_an_interval_says_how_often_it_holds_once() -> None:
    answer = clove_answer()
    assert answer.has_intervals
    text = " ".join(render_explanation(answer).split())
    assert text.count("9 of 10 cases (90 %)") == 1
    assert "chance, %" in text
    assert "odds" not in text
    assert find_effects(answer).foot.count("(90 %)") == 1
    empty = explain_outcome([], WORKING)
    assert "90 %" not in render_explanation(empty) + find_effects(empty).foot


def test_noise_comes_from_repeats_and_is_called_assumed_without_them() -> None:
    assert clove_answer().noise is not None
    few = explain_outcome(history()[:4], WORKING)
    assert few.noise is not None
    assert few.noise.is_assumed
    assert "which is a guess" in " ".join(render_explanation(few).split())
    many = explain_outcome(history(), WORKING, among=steady(4, BASE, ("12:00", "13:00"), start=300))
    assert many.noise is not None
    assert not many.noise.is_assumed
    assert len(many.trials) == 24


def test_what_is_done_in_the_mould_cannot_have_thickened_the_batter() -> None:
    tall = [trial(BASE, f"m{k}", k, working="12:00", mould="tall-loaf" if k % 2 else "slab") for k in range(6)]
    answer = explain_outcome(tall, WORKING)
    assert "mould tall-loaf" not in [factor.name for factor in answer.table.factors]
    assert any(name.startswith("mould") for name in answer.cannot_act)


@pytest.mark.parametrize(
    ("trials", "outcome", "said"),
    [
        ([], "working time", "never observed"),
        ([trial(BASE, "aaaa", working="12:00")], "working time", "one trial alone"),
        (steady(2, BASE, ("12:00", "11:00")), "working time", "how much repeats differ"),
        ([trial(BASE, f"e{k}", k, working="12:00", room=str(15 + k)) for k in range(6)], "working time", "same result"),
        (steady(6, BASE, ("12:00", "11:00", "13:00")), "working time", "nothing that is recorded differed"),
        (steady(6, BASE, ("12:00", "11:00")), "hardness", "never observed"),
        (
            [trial(BASE, f"p{k}", k, poured="14:00", room=str(15 + k)) for k in range(6)],
            "working time",
            "beyond a limit",
        ),
        (steady(6, BASE, ("12:00", "11:00")), "colour", "colour change"),
    ],
)
def test_what_cannot_be_answered_gets_a_plain_sentence(trials: list[Trial], outcome: str, said: str) -> None:
    answer = explain_outcome(trials, OUTCOMES[outcome])
    assert answer.no_answer is not None
    assert said in answer.sentence
    assert not answer.enough_evidence
    assert answer.to_json()["causes"] == []
    assert render_explanation(answer)


def slip_of(percent: float, code: str, day: int, minutes: float, **record: Any) -> Trial:
    """A pour with so much kaolin."""
    made_of = version(f"odd-{percent:g}", additions=f"material: kaolin, rate: {percent:g} % of oils, at: oils")
    return trial(made_of, code, day, working=clock(3 + minutes), **record)


def alike(count: int, seed: int, **varied: Sequence[Any]) -> list[Trial]:
    """Pours of the base bar that differ by chance alone, and in what is varied, by turns."""
    rng = random.Random(seed)
    return [
        trial(
            BASE,
            f"q{k:03d}",
            7 * k,
            working=clock(3 + 12 * math.exp(rng.gauss(0, 0.08))),
            **{name: values[k % len(values)] for name, values in varied.items()},
        )
        for k in range(count)
    ]


def test_a_factor_off_base_in_one_trial_only_is_no_confident_cause() -> None:
    odd = trial(version("odd", additions=KAOLIN), "oddd", 40, working="9:00")
    answer = explain_outcome([*steady(7, BASE, ("12:00", "11:00", "13:00")), odd], WORKING)
    assert not answer.enough_evidence
    assert answer.causes[0].rests_on_one_trial
    assert answer.causes[0].rests_on == (odd.id,)
    assert answer.sentence.startswith("Not enough evidence.")
    assert "The first suspect is kaolin (" in answer.sentence
    assert "; that rests on oddd alone: pour another like it on another day" in answer.sentence
    again = trial(version("odd", additions=KAOLIN), "agan", 41, working="8:40")
    assert explain_outcome([*steady(7, BASE, ("12:00", "11:00", "13:00")), odd, again], WORKING).enough_evidence


@pytest.mark.parametrize(
    "trials",
    [
        [*alike(9, 1), slip_of(0.15, "slip", 70, 12.2), slip_of(3, "oddd", 80, 5.4)],
        [*alike(24, 2, room=("18.2", "19", "19.7", "20.3")), trial(BASE, "oddd", 200, working="8:20", room="31")],
        [*alike(9, 3, blending_after=(5, 10, 15)), trial(BASE, "oddd", 80, working="8:20", blending_after=60)],
        [*alike(9, 4), slip_of(3, "oddd", -9, 5.4)],
    ],
    ids=["a slip elsewhere", "room", "blending", "poured first"],
)
def test_what_moved_far_in_one_trial_alone_is_no_confident_cause(trials: list[Trial]) -> None:
    answer = explain_outcome(trials, WORKING)
    first = answer.causes[0]
    assert first.probability >= 0.8, "else nothing is held back here"
    assert [name.rpartition("-")[2] for name in first.rests_on] == ["oddd"]
    assert not answer.enough_evidence
    (row,) = [row for row in find_effects(answer).rows if row.probability >= 0.8]
    assert not row.is_likely
    assert "does not: that rests on oddd alone" in find_effects(answer).foot
    odd = next(one for one in trials if one.id.endswith("oddd"))
    assert "that rests on oddd alone: pour another like it on another day" in answer.sentence
    said = explain_outcome(trials, WORKING, about=odd).sentence
    assert " moved it (" not in said.replace("may well have moved it (", "")


def test_one_sitting_alone_is_no_confident_cause_and_a_second_day_or_a_control_of_that_day_is() -> None:
    twins = [slip_of(2, "twa1", 80, 5.6), slip_of(2, "twa2", 80, 6.0)]
    answer = explain_outcome([*alike(9, 5), *twins], WORKING)
    assert answer.causes[0].probability >= 0.8
    assert answer.causes[0].rests_on == tuple(one.id for one in twins)
    assert "rests on one sitting alone (twa1 and twa2): pour one like them on another day" in answer.sentence
    control = trial(BASE, "ctrl", 80, working="14:40")
    later = slip_of(1.5, "late", 95, 6.9)
    for more in (control, later):
        assert explain_outcome([*alike(9, 5), *twins, more], WORKING).sentence.startswith("Kaolin is the likely cause")


def test_a_sitting_of_the_same_name_on_another_day_is_no_control() -> None:
    twins = [slip_of(2, "twa1", 80, 5.6), slip_of(2, "twa2", 80, 6.0)]
    evenings = [replace(one, sitting="evening") for one in (*alike(9, 5), *twins)]
    answer = explain_outcome(evenings, WORKING)
    assert answer.causes[0].rests_on == tuple(one.id for one in twins)
    assert not answer.enough_evidence


def test_a_cause_that_other_trials_show_too_is_named_though_one_had_far_more_of_it() -> None:
    doses = [(1, "ka01", 8.6), (1, "ka02", 9.0), (3, "ka03", 4.7)]
    pours = [slip_of(dose, code, 80 + place, minutes) for place, (dose, code, minutes) in enumerate(doses)]
    assert explain_outcome([*alike(9, 6), *pours], WORKING).sentence.startswith("Kaolin is the likely cause")


def test_trials_without_a_reading_are_left_out_and_named_with_the_reason() -> None:
    silent = trial(BASE, "mute", 90)
    answer = explain_outcome([*history(), silent], WORKING)
    assert [(item.trial, bool(item.why)) for item in answer.left_out] == [(silent.id, True)]
    assert "Left out: mute (neither too thick to pour" in " ".join(render_explanation(answer).split())


@pytest.mark.parametrize("width", [60, 80, 100])
def test_no_line_is_wider_than_asked(width: int) -> None:
    text = render_explanation(clove_answer(), width, show_all=True)
    assert max(map(len, text.splitlines())) <= width


def test_the_json_follows_its_schema_and_keeps_the_agreed_keys() -> None:
    schema = read_schema("explain")
    answers = [clove_answer(), explain_outcome([], WORKING), explain_outcome(history(together=True), WORKING)]
    for answer in answers:
        tree = json.loads(json.dumps(answer.to_json(), allow_nan=False))
        jsonschema.validate(tree, schema)
        agreed = {"outcome", "unit", "scale", "trials_used", "trials_left_out", "noise", "enough_evidence"}
        assert agreed | {"probability_of_nothing", "causes", "suspects"} <= tree.keys()


def test_a_single_trial_is_told_what_moved_it_against_its_parent() -> None:
    base = [trial(BASE, f"b{k}", k, working=("12:00", "12:40", "11:30")[k % 3], room=str(18 + k % 3)) for k in range(9)]
    strong = version("harbour-base", scent=CLOVE_SCENT.format(2))
    scented = [trial(strong, f"s{k}", 20 + k, working=("5:30", "6:00")[k % 2], room=str(18 + k % 2)) for k in range(4)]
    answer = explain_outcome([*base, *scented], WORKING, about=scented[0])
    assert answer.moved is not None
    assert (answer.moved.trial, answer.moved.against) == ("s0", "b8")
    assert answer.moved.chances[0][0] == ("clove bud oil",)
    assert answer.moved.chances[0][1] > 0.9
    assert "Clove bud oil moved it" in answer.sentence


@pytest.mark.parametrize(
    ("outcome", "values"),
    [("mass loss", ("-0.1", "9.0", "0.0", "11.0")), ("ash", ("0", "3", "0", "2")), ("gel", ("0", "100", "0", "100"))],
)
def test_values_at_the_ends_of_their_scale_are_weighed_like_any_other(outcome: str, values: tuple[str, ...]) -> None:
    trials = [trial(BASE, f"v{k}", k, seen={outcome: values[k % 4]}, room=str(15 + k)) for k in range(8)]
    answer = explain_outcome(trials, OUTCOMES[outcome], Decimal(28))
    assert answer.no_answer is None
    assert math.isclose(sum(cause.probability >= 0 for cause in answer.causes), len(answer.causes))


def test_one_wild_pour_is_named_and_the_answer_without_it_is_given() -> None:
    wild = trial(BASE, "wild", 200, working="3:20")
    answer = explain_outcome([*history(), wild], WORKING)
    assert [item.trial for item in answer.botched] == [wild.id]
    assert answer.without_botched is not None
    assert wild.id not in [one.id for one in answer.without_botched.trials]
    assert "fits nothing else" in render_explanation(answer)


def test_one_wild_repeat_among_few_hides_no_cause() -> None:
    depths = {0.0: ["3.1", "3.0", "3.2"], 1.0: ["3.6", "3.5", "3.7"], 2.0: ["4.2", "4.1", "4.0"]}
    made_of = {
        percent: version(f"clove-{percent:g}", scent=CLOVE_SCENT.format(percent) if percent else "")
        for percent in depths
    }
    poured = [
        trial(made_of[percent], f"p{10 * place + percent:03g}", 21 * place + 7 * int(percent), seen={"hardness": depth})
        for percent, of_percent in depths.items()
        for place, depth in enumerate(of_percent)
    ]
    wild = trial(made_of[0.0], "wild", 40, seen={"hardness": "9.8"})
    answer = explain_outcome([*poured, wild], OUTCOMES["hardness"])
    assert [one.factors for one in answer.causes if one.is_likely] == [("clove bud oil",)]
    assert [item.trial for item in answer.botched] == [wild.id]
    assert answer.without_botched is not None
    assert answer.without_botched.enough_evidence


def test_without_a_spoilt_pour_repeats_differ_by_what_the_others_show() -> None:
    def cured(code: str, day: int, made_of: Version, depth: str) -> Trial:
        return trial(made_of, code, day, seen={"hardness": depth}, room="19")

    hard = version("hard", {"olive-oil": "45", "coconut-oil": "25", "rice-bran-oil": "22", "castor-oil": "8"})
    base = [cured(f"b{k}", 7 * k, BASE, f"{3.1 + 0.05 * (k % 3):g}") for k in range(8)]
    firm = [cured(f"c{k}", 70 + 7 * k, hard, f"{2.0 + 0.05 * (k % 3):g}") for k in range(5)]
    slip = cured("slip", 150, BASE, "31")  # one repeat more, its point forgotten
    answer = explain_outcome([*base, *firm, slip], OUTCOMES["hardness"])
    assert [one.trial for one in answer.botched] == [slip.id]
    rest = answer.without_botched
    never = explain_outcome([*base, *firm], OUTCOMES["hardness"])
    assert rest is not None
    assert rest.noise == never.noise
    assert over_all_sentence(rest) == never.sentence
    assert never.enough_evidence


def test_many_things_at_once_in_few_trials_name_nothing() -> None:
    materials = ("kaolin", "rose-clay", "sea-clay", "honey", "oat-milk", "goat-milk-powder", "oatmeal", "spirulina")
    known = [name for name in materials if name in read_builtin_register()]
    trials = []
    for k in range(8):
        lines = [
            f"material: {name}, rate: {1 + (k * 3 + j) % 5} % of oils, at: oils, water: extra"
            for j, name in enumerate(known)
            if (k + j) % 3
        ]
        trials.append(trial(version(f"all-{k}", additions="\n".join(lines)), f"x{k}", k, working=f"{9 + k % 4}:10"))
    assert not explain_outcome(trials, WORKING).enough_evidence


def test_what_only_acts_together_is_told_as_a_pair() -> None:
    rng = random.Random(5)
    trials = []
    for day in range(40):
        clove, honey = bool(day & 1), bool(day & 2)
        made_of = version(
            f"pair-{day}",
            additions="material: honey, rate: 2 % of oils, at: trace, water: replaces" if honey else "",
            scent=CLOVE_SCENT.format(1) if clove else "",
        )
        minutes = 12.0 * math.exp((-0.9 if clove and honey else 0.0) + rng.gauss(0, 0.08))
        trials.append(trial(made_of, f"p{day:03d}", day, working=clock(3 + minutes), room=str(16 + day % 5)))
    answer = explain_outcome(trials, WORKING)
    first = answer.causes[0]
    assert first.is_together
    assert set(first.factors) == {"clove bud oil", "honey"}
    assert "only together, are the likely cause" in answer.sentence
    # What a step of each is, is said: nobody knows it by heart.
    assert "1 % clove bud oil with 1 % honey shortens working time by" in answer.sentence.replace(
        "1 % honey with 1 % clove bud oil", "1 % clove bud oil with 1 % honey"
    )


def test_a_trial_whose_files_cannot_be_read_is_named_as_left_out() -> None:
    answer = explain_outcome(history(), WORKING, unreadable=["2026-01-01-broken-zzzz"])
    assert [(item.trial, item.why) for item in answer.left_out] == [
        ("2026-01-01-broken-zzzz", "its files cannot be read")
    ]
    assert answer.causes == clove_answer().causes


def test_the_narrowest_terminal_still_says_for_what_step_an_effect_is() -> None:
    answer = clove_answer()
    effect = answer.causes[0].main_effect
    assert effect is not None
    for width in (60, 75, 76, 100):
        assert f"{effect.per}" in render_explanation(answer, width).partition("candidate")[2]


def test_odds_that_add_to_more_than_all_are_explained_and_others_are_not() -> None:
    answer = clove_answer()
    sure = replace(answer, causes=tuple(replace(cause, probability=0.7) for cause in answer.causes[:2]))
    assert "need not add to 100 %" in " ".join(render_explanation(sure, 60).split())
    alone = replace(answer, causes=answer.causes[:1])
    assert "need not add" not in render_explanation(alone)


def test_one_pour_that_was_stopped_is_told_in_the_singular() -> None:
    answer = clove_answer()
    limits = [item for item in answer.seen if item.value.bound == "above"]
    one = replace(answer, seen=tuple(item for item in answer.seen if item not in limits[1:]))
    assert '1 was stopped before and counts as "later than"' in " ".join(render_explanation(one).split())


def test_grades_say_what_a_step_makes_of_an_even_chance_and_quantities_do_not() -> None:
    scented = version("clove-bar", scent=CLOVE_SCENT.format(1))
    rng = random.Random(3)
    trials = []
    for k in range(40):
        # By the model itself: a hidden normal scale with unit noise, cut into four grades; clove moves it by 1.6.
        hidden = rng.gauss(0, 1) + (1.6 if k % 2 else 0.0)
        grade = str(sum(hidden > cut for cut in (-0.7, 0.3, 1.2)))
        made_of = scented if k % 2 else BASE
        trials.append(trial(made_of, f"g{k:03d}", k, seen={"ash": grade}, room=str(16 + (k * 7) % 9)))
    answer = explain_outcome(trials, OUTCOMES["ash"], Decimal(28))
    (effect,) = next(cause for cause in answer.causes if cause.factors == ("clove bud oil",)).effects
    assert effect.even_chance_becomes is not None
    middle, low, high = effect.even_chance_becomes
    assert low <= NormalDist().cdf(1.6) <= high
    assert 0.5 < low < middle < high
    schema = read_schema("explain")
    jsonschema.validate(json.loads(json.dumps(answer.to_json(), allow_nan=False)), schema)
    assert "Intervals hold the true effect" in " ".join(render_explanation(answer, 80).split())
    assert "makes a higher grade of ash at 28 d likelier (" in answer.sentence
    assert "even chance becomes" in render_explanation(answer, 80)
    assert all(effect.even_chance_becomes is None for cause in clove_answer().causes for effect in cause.effects)


def test_the_noise_of_a_time_is_said_as_compare_says_it() -> None:
    text = " ".join(render_explanation(clove_answer(), 80).split())
    assert "min, " in text.partition("Repeats")[2] or "min, " in text.partition("repeats")[2]
    assert "% of it" in text


def test_values_between_two_readings_are_said_to_be_worked_out() -> None:
    def cured(code: str, day: int, soft: str, hard: str) -> Trial:
        ages = ((28, soft), (42, hard))
        readings = tuple(
            Observation(Decimal(age), "hardness", (Reading(value, Decimal(value)),)) for age, value in ages
        )
        return replace(trial(version(), code, day, room=str(17 + day % 5)), observations=readings)

    trials = [cured(f"h{k}", k, str(4 + k % 2), str(3 + k % 2)) for k in range(6)]
    hardness = find_outcomes(Settings())["hardness"]
    between = render_explanation(explain_outcome(trials, hardness, Decimal(35)))
    assert "All values are worked out between readings" in " ".join(between.split())
    assert "worked out" not in render_explanation(explain_outcome(trials, hardness, Decimal(28)))


def test_pours_for_and_against_are_explained_and_all_names_them() -> None:
    answer = clove_answer()
    assert "fit better with it" in " ".join(render_explanation(answer).split())
    text = " ".join(render_explanation(answer, show_all=True).split())
    first = answer.causes[0]
    assert first.speaks_for
    for item in first.speaks_for:
        assert item.trial.rpartition("-")[2] in text
    assert "clove bud oil: for " in text
