"""What an answer says of its own grounds: the season, limits, repeats that nobody measured, ends beyond all seen."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from decimal import Decimal

import pytest

from formulary.settings import Settings
from tests.trials.invented import steady, trial, version
from trials.answer.answer import ChangedFactor, MovedTrial
from trials.answer.chance_words import percent
from trials.answer.moved_sentence import moved_sentence
from trials.answer.season import hard_to_tell
from trials.answer.text import render_explanation
from trials.explain_trials import explain_outcome
from trials.outcomes.known import find_outcomes
from trials.outcomes.value import OutcomeValue
from trials.trial.model import Observation, Reading, Trial

BASE = version()
OUTCOMES = find_outcomes(Settings())
CLOVE = version("clove", scent="material: clove-bud-oil, rate: 1 % of oils, at: trace")


def clock(minutes: float) -> str:
    return f"{round(60 * minutes) // 60}:{round(60 * minutes) % 60:02d}"


@pytest.mark.parametrize("with_season", [True, False])
def test_a_condition_that_went_with_the_season_is_named_with_that_caution(with_season: bool) -> None:
    rng = random.Random(4)
    trials = []
    for k in range(20):
        warm = math.sin(2 * math.pi * 18 * k / 365.25) if with_season else rng.uniform(-1, 1)
        minutes = 12.0 * math.exp(-0.5 * warm + rng.gauss(0, 0.06))
        trials.append(trial(BASE, f"s{k:03d}", 18 * k, working=clock(3 + minutes), room=f"{19 + 5 * warm:.1f}"))
    said = explain_outcome(trials, OUTCOMES["working time"]).sentence
    assert said.startswith("Room is the likely cause (")
    assert ("Room went with the season, so whatever else did may be behind it." in said) == with_season


def test_a_condition_that_is_only_suspected_has_the_same_caution() -> None:
    rng = random.Random(2)
    trials = []
    for k in range(14):
        warm = math.sin(2 * math.pi * 18 * k / 365.25)
        minutes = 12.0 * math.exp(-0.12 * warm + rng.gauss(0, 0.12))
        trials.append(trial(BASE, f"s{k:03d}", 18 * k, working=clock(3 + minutes), room=f"{19 + 5 * warm:.1f}"))
    said = explain_outcome(trials, OUTCOMES["working time"]).sentence
    assert said.startswith("Not enough evidence.")
    assert "Room went with the season, so whatever else did may be behind it." in said


def test_what_was_put_in_is_no_season() -> None:
    plain = steady(6, BASE, ("12:00", "11:20", "12:40"))
    later = steady(6, CLOVE, ("7:30", "8:00", "7:10"), start=100)
    said = explain_outcome([*plain, *later], OUTCOMES["working time"]).sentence
    assert said.startswith("Clove bud oil is the likely cause (")
    assert "went with" not in said


def test_limits_of_each_kind_are_counted_by_themselves() -> None:
    def looked(code: str, day: int, *seen: tuple[int, str]) -> Trial:
        found = tuple(
            Observation(Decimal(age), "first rancid spot", (Reading(word, Decimal(int(word == "yes"))),))
            for age, word in seen
        )
        return replace(trial(BASE, code, day, room=str(18 + day % 5)), observations=found)

    trials = [
        *(looked(f"b{k}", k, (90, "yes")) for k in range(3)),
        *(looked(f"t{k}", 9 + k, (90, "no"), (180, "yes")) for k in range(4)),
        looked("late", 20, (180, "no")),
    ]
    text = " ".join(render_explanation(explain_outcome(trials, OUTCOMES["first rancid spot"])).split())
    assert '1 is known only as "later than"; 3 are known only as "before"' in text
    assert "4 are known only to lie between two values" in text
    assert "was repeated" not in text  # they were, but no repeat was seen to its day
    assert "No two repeats were measured" in text


def test_a_share_that_is_weighed_is_not_taken_to_vary_as_one_that_is_read_by_eye() -> None:
    weighed = [trial(BASE, f"m{k}", k, seen={"mass loss": f"{11 + k}"}, room=str(15 + 9 * k)) for k in range(2)]
    noise = explain_outcome(weighed, OUTCOMES["mass loss"], Decimal(28)).noise
    assert noise is not None
    assert noise.is_assumed
    assert noise.sd == pytest.approx(1.15)  # a tenth of it
    by_eye = [trial(BASE, f"g{k}", k, seen={"gel": f"{10 + k}"}, room=str(15 + 9 * k)) for k in range(2)]
    noise = explain_outcome(by_eye, OUTCOMES["gel"]).noise
    assert noise is not None
    assert noise.sd == pytest.approx(10.0)


def test_no_end_of_an_interval_is_told_beyond_what_was_ever_seen() -> None:
    trials = [
        trial(BASE, "aaaa", 0, working="15:00", room="16"),
        trial(BASE, "bbbb", 9, poured="9:00", room="26"),
        trial(CLOVE, "cccc", 20, poured="12:00", room="21"),
    ]
    text = render_explanation(explain_outcome(trials, OUTCOMES["working time"]), 100)
    assert "over +24" in text  # twice the twelve minutes of the longest
    for word in text.replace("(", " ").replace(")", " ").replace(",", " ").split():
        if word.startswith("+"):
            assert float(word) <= 24.0


def test_of_several_files_that_cannot_be_read_their_reason_is_told_in_the_plural() -> None:
    trials = steady(4, BASE, ("12:00", "11:20"))
    for ids, said in ((["x-aaaa"], "(its files"), (["x-aaaa", "x-bbbb"], "(their files")):
        answer = explain_outcome(trials, OUTCOMES["working time"], unreadable=ids)
        assert said in " ".join(render_explanation(answer).split())


def test_two_pours_that_showed_the_same_show_no_difference() -> None:
    alike = [trial(BASE, f"a{k}", k, seen={"hardness": "3.2"}, room=str(17 + 9 * k)) for k in range(2)]
    said = explain_outcome(alike, OUTCOMES["hardness"], Decimal(28)).sentence
    assert "two pours showed the same" in said
    assert "show a difference" not in said


@pytest.mark.parametrize(
    ("times", "said"),
    [
        ({"poured": "9:00"}, "was never read in any trial, only that it lies beyond a limit"),
        ({"working": "15:00"}, "two pours may have been the same, as far as they are known"),
        ({"working": "8:00"}, "two pours show a difference"),
    ],
    ids=["two limits", "a limit below what was seen", "a limit beyond what was seen"],
)
def test_two_pours_show_a_difference_only_where_they_cannot_have_been_the_same(
    times: dict[str, str], said: str
) -> None:
    two = [trial(BASE, "aaaa", 0, poured="12:00", room="16"), trial(BASE, "bbbb", 9, **times, room="26")]
    assert said in explain_outcome(two, OUTCOMES["working time"]).sentence


def with_lots(*days: int, effect: float, of_the_year: float = 0.0) -> list[Trial]:
    """Twenty pours, each by the new lot of clove on these days, which changes working time beside a drift."""
    rng = random.Random(11)
    made = []
    for k in range(20):
        minutes = 9.0 * math.exp(effect * (k in days) + of_the_year * k / 20 + rng.gauss(0, 0.06))
        lot = {"clove-bud-oil": "CB-2" if k in days else "CB-1"}
        made.append(trial(CLOVE, f"l{k:03d}", 18 * k, working=clock(3 + minutes), lots=lot, room=str(18 + k % 4)))
    return made


def test_a_lot_that_took_over_on_a_day_is_told_to_be_hard_to_tell_from_what_else_changed() -> None:
    since = "Lot CB-2 of clove bud oil is in every pour since 2026-08-28, and in none before"
    for effect, drift in ((-0.9, 0.0), (0.0, -1.2)):
        trials = with_lots(*range(10, 20), effect=effect, of_the_year=drift)
        told = " ".join(render_explanation(explain_outcome(trials, OUTCOMES["working time"])).split())
        assert told.count(since) == 1
    by_turns = with_lots(*range(1, 20, 2), effect=-0.9)
    told = " ".join(render_explanation(explain_outcome(by_turns, OUTCOMES["working time"])).split())
    assert told.startswith("Lot CB-2 of clove bud oil is the likely cause (")
    assert "in none before" not in told
    last_two = with_lots(18, 19, effect=-0.9)
    assert "in none before" not in render_explanation(explain_outcome(last_two, OUTCOMES["working time"]))


def test_the_chance_of_a_lot_that_took_over_stands_beside_that_of_a_drift() -> None:
    trials = [
        trial(CLOVE, f"d{k:03d}", 18 * k, working=clock(3 + 9.0 * math.exp(-0.045 * k)), room=str(18 + k % 4),
              lots={"clove-bud-oil": "CB-2" if k >= 10 else "CB-1"})
        for k in range(20)
    ]  # fmt: skip
    answer = explain_outcome(trials, OUTCOMES["working time"])
    (lot,) = answer.took_over
    assert (lot.factor, lot.since.isoformat()) == ("lot CB-2 of clove bud oil", "2026-08-28")
    chance = next((cause.probability for cause in answer.causes if cause.factors == (lot.factor,)), 0.0)
    assert lot.if_nothing_drifted > 0.8 > chance  # nobody can tell it from the drift that acts here
    assert f"(if nothing else has, its chance is {percent(lot.if_nothing_drifted)})" in hard_to_tell(answer, lot)
    assert answer.to_json()["took_over"] == [lot.to_json()]
    by_turns = explain_outcome(with_lots(*range(1, 20, 2), effect=-0.9), OUTCOMES["working time"])
    assert by_turns.took_over == ()


def test_of_one_trial_a_lot_that_took_over_is_not_talked_away() -> None:
    answer = explain_outcome(with_lots(*range(10, 20), effect=0.0, of_the_year=-0.2), OUTCOMES["working time"])
    lot = ChangedFactor("lot CB-2 of clove bud oil", 0.0, 1.0, "")
    room = ChangedFactor("room", 18.0, 20.0, "°C")
    for minutes, changed in ((2.7, lot), (2.7, room), (8.6, lot)):
        values = {"before": OutcomeValue(9.0), "after": OutcomeValue(minutes)}
        moved = MovedTrial("l012", "l004", (), 0.9, 0.0, "", changed=(changed,), **values)
        said = moved_sentence(replace(answer, moved=moved))
        assert "No change between them is likely to have moved it" in said
        assert ("But lot CB-2 of clove bud oil is in every pour since 2026-08-28" in said) == (changed is lot)
        assert ("though repeats differ less, so something else may have" in said) == (minutes == 2.7)
