"""How much repeats differ, and when a difference is more than that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import combinations, permutations
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.trials.invented import steady, trial, version
from trials.comparison.compare import compare_trials
from trials.outcomes.known import find_outcomes
from trials.pours.noise import RepeatNoise, find_noise
from trials.pours.pour_book import PourBook
from trials.pours.repeats import find_repeats
from trials.pours.seen import find_seen
from trials.pours.sentences import noise_size
from trials.pours.student_t import chance_of_more
from trials.trial.model import Observation, Reading, Trial

BASE = version()
OUTCOMES = find_outcomes(trial(BASE, "aaaa").plan.settings)


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 5, 9, 30, 61])
@pytest.mark.parametrize("t", [0.0, 0.2, 1.0, 2.5, 12.0])
def test_the_chance_of_a_larger_t_is_that_of_scipy(t: float, degrees: int) -> None:
    assert chance_of_more(t, degrees) == pytest.approx(2 * stats.t.sf(t, degrees), abs=1e-12)


def test_noise_of_times_is_pooled_over_groups_of_repeats_on_the_log_scale() -> None:
    warm = version("warm", superfat="8")
    trials = (*steady(3, BASE, ("12:00", "11:00", "13:00")), *steady(2, warm, ("8:00", "9:30"), start=20))
    book = PourBook(trials)
    seen, left_out = find_seen(book, OUTCOMES["working time"], None)
    noise = find_noise(seen, OUTCOMES["working time"], book)
    groups = [np.log([9.0, 8.0, 10.0]), np.log([5.0, 6.5])]
    pooled = sum(group.var(ddof=1) * (len(group) - 1) for group in groups) / 3
    assert not left_out
    assert noise is not None
    assert noise.sd == pytest.approx(np.sqrt(pooled))
    assert (noise.degrees, noise.repeats, noise.is_assumed) == (3, 5, False)
    assert noise.chance(9.0, 8.0) == pytest.approx(2 * stats.t.sf(np.log(9 / 8) / np.sqrt(2 * pooled), 3))


def test_without_repeats_the_noise_is_assumed_and_says_so() -> None:
    trials = (trial(BASE, "aaaa", working="12:00"), trial(version("warm", superfat="8"), "bbbb", 1, working="8:00"))
    book = PourBook(trials)
    noise = find_noise(find_seen(book, OUTCOMES["working time"], None)[0], OUTCOMES["working time"], book)
    assert noise is not None
    assert noise.is_assumed
    assert noise.repeats == 0


def test_repeats_in_portions_say_how_many_loaves_they_come_from() -> None:
    halves = [
        trial(
            BASE,
            f"h{day}",
            day,
            portions={
                "left": {"working": f"{9 + day}:00", "scent_in": "3:00", "blending_after": 0},
                "right": {"working": f"{7 + day}:30", "scent_in": "3:00", "blending_after": 90},
            },
        )
        for day in range(3)
    ]
    book = PourBook(halves)
    noise = find_noise(find_seen(book, OUTCOMES["working time"], None)[0], OUTCOMES["working time"], book)
    assert noise is not None
    assert (noise.repeats, noise.loaves) == (6, 3)
    assert noise.basis == "6 repeats in 3 loaves"


def test_a_pour_that_was_stopped_early_adds_nothing_to_the_noise() -> None:
    trials = (*steady(3, BASE, ("12:00", "11:00", "13:00")), trial(BASE, "stop", 9, poured="5:00"))
    book = PourBook(trials)
    seen, _ = find_seen(book, OUTCOMES["working time"], None)
    noise = find_noise(seen, OUTCOMES["working time"], book)
    assert noise is not None
    assert noise.degrees == 2


def test_a_new_lot_or_a_much_warmer_room_is_no_repeat() -> None:
    trials = (
        trial(BASE, "aaaa", 0, working="12:00", lots={"olive-oil": "OL-7"}),
        trial(BASE, "bbbb", 1, working="12:30", lots={"olive-oil": "OL-8"}),
        trial(BASE, "cccc", 2, working="11:00", room="30", lots={"olive-oil": "OL-7"}),
    )
    book = PourBook(trials)
    assert len({book.repeat_group(pour) for pour in book.all_pours()}) == 3


def test_portions_of_one_trial_are_no_repeats_of_one_another() -> None:
    portions = {"left": {"working": "9:00", "scent_in": "3:00"}, "right": {"working": "9:30", "scent_in": "3:00"}}
    book = PourBook((trial(BASE, "aaaa", portions=portions),))
    left, right = book.all_pours()
    assert book.repeat_group(left) != book.repeat_group(right)


@pytest.mark.parametrize("order", list(permutations(range(3))))
@pytest.mark.parametrize(
    "records",
    [
        [{"lots": {}}, {"lots": {"olive-oil": "A-1"}}, {"lots": {"olive-oil": "B-1"}}],
        [{"room": "18"}, {"room": "13.1"}, {"room": "22.9"}],
    ],
    ids=["a lot that nobody noted", "rooms a step to either side"],
)
def test_pours_that_differ_are_no_repeats_for_being_alike_to_a_third(
    records: list[dict[str, Any]], order: tuple[int, ...]
) -> None:
    codes = ("aaaa", "bbbb", "cccc")  # the second and third differ from one another, not from the first
    trials = [trial(BASE, codes[k], day, working="12:00", **records[k]) for day, k in enumerate(order)]
    book = PourBook(trials)
    _, second, third = sorted(book.all_pours(), key=lambda pour: pour.trial.id.rpartition("-")[2])
    assert book.repeat_group(second) != book.repeat_group(third)
    assert len({book.repeat_group(pour) for pour in book.all_pours()}) == 2


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["", "A-1", "B-1"]), st.integers(15, 30), st.sampled_from([None, 30, 45, 60]), st.booleans()
        ),
        min_size=1,
        max_size=9,
    )
)
@settings(max_examples=40)
def test_each_repeat_is_one_of_every_other_of_its_group(rows: list[tuple[str, int, int | None, bool]]) -> None:
    honey = version("honey", additions="material: honey, rate: 2 % of oils, at: trace, water: replaces")
    trials = [
        trial(
            honey if sweet else BASE,
            f"p{k:03d}",
            k,
            room=str(room),
            blending=blending,
            lots={"olive-oil": lot} if lot else {},
        )
        for k, (lot, room, blending, sweet) in enumerate(rows)
    ]
    pours = PourBook(trials).all_pours()
    groups = find_repeats(pours)
    assert sorted(row for group in groups for row in group) == list(range(len(pours)))
    for group in groups:
        for one, two in combinations(group, 2):
            assert find_repeats([pours[one], pours[two]]) == ((0, 1),)


def noise_of(times: Sequence[str], *more: Trial) -> RepeatNoise:
    """The noise of repeats of the base bar, timed since scent went in at 3:00."""
    book = PourBook((*steady(len(times), BASE, times), *more))
    noise = find_noise(find_seen(book, OUTCOMES["working time"], None)[0], OUTCOMES["working time"], book)
    assert noise is not None
    return noise


def test_repeats_that_read_the_same_to_the_minute_may_differ_by_what_rounding_hides() -> None:
    other = trial(version("warm", superfat="8"), "warm", 40, working="16:00")
    even = noise_of(["18:00"] * 5, other)
    assert even.read_to == pytest.approx(1.0)  # minutes
    # Both ends of a working time are rounded to the minute, each by a sixtieth to a half: 15 may be 14, as 13 may be.
    assert even.chance(15.0, 13.0) == 1.0
    assert even.is_within(15.0, 13.0)
    assert even.in_unit(15.0) == pytest.approx(np.sqrt(2 / 12))  # of the sum of two rounding errors
    assert even.chance(15.0, 12.0) < 0.05
    five = noise_of(["18:00"] * 5, trial(version("warm", superfat="8"), "warm", 40, working="13:00"))
    assert five.read_to == pytest.approx(5.0)
    assert five.is_within(15.0, 10.0)


def test_seconds_and_repeats_that_scatter_further_than_rounding_need_no_allowance_for_it() -> None:
    assert noise_of(["18:05", "18:10", "18:05"]).read_to == 0.0
    scattered = noise_of(["18:00", "15:00", "21:00"])
    assert (scattered.read_to, scattered.rounding) == (0.0, 0.0)
    assert scattered.sd == pytest.approx(np.std(np.log([15, 12, 18]), ddof=1))


def test_a_comparison_by_the_clock_says_what_all_was_read_to() -> None:
    base = steady(5, BASE, ("18:00",))
    slow = trial(version("warm", superfat="8"), "slow", 40, working="20:00")
    sentence = compare_trials([base[0], slow], [*base, slow]).sentence
    assert "read to 1 min" in sentence
    assert "that may well be noise" in sentence


def test_where_one_repeat_makes_most_of_the_noise_it_is_named() -> None:
    usual = ["15:00", "15:20", "14:50", "15:10", "15:05"]
    even = noise_of(usual)
    assert even.mostly_by == ""
    odd = trial(BASE, "oddd", 60, working="6:00")
    assert noise_of(usual, odd).mostly_by == odd.id
    assert noise_of(["15:00", "6:00"]).mostly_by == ""  # of two nobody knows which is the odd one
    said = compare_trials([odd, steady(5, BASE, usual)[0]], [*steady(5, BASE, usual), odd]).sentence
    assert "nearly all by oddd alone)" in said


def test_a_repeat_that_lies_too_far_off_for_luck_does_not_count_for_how_far_the_others_differ() -> None:
    usual = ["15:00", "15:20", "14:50"]
    wild = trial(BASE, "wild", 60, working="4:00")
    noise = noise_of(usual, wild)
    assert (noise.mostly_by, noise.usual_sd) == (wild.id, noise_of(usual).sd)
    for by_luck in (["15:00", "15:20", "14:50", "13:30"], ["15:00", "6:00"], usual):
        assert noise_of(by_luck).usual_sd == noise_of(by_luck).sd


def hardness_of(*readings: Sequence[str]) -> RepeatNoise:
    """The noise of repeats whose readings at 28 d these are, and of one that is none of them and was read badly."""
    hot = version("hot", superfat="8")
    made = [trial(BASE, f"h{k}", k) for k in range(len(readings))]
    other = trial(hot, "rough", 50)
    seen = [
        replace(one, observations=(Observation(Decimal(28), "hardness", tuple(Reading(t, Decimal(t)) for t in texts)),))
        for one, texts in zip([*made, other], [*readings, ("1.0", "9.0")], strict=True)
    ]
    book = PourBook(seen)
    noise = find_noise(find_seen(book, OUTCOMES["hardness"], Decimal(28))[0], OUTCOMES["hardness"], book)
    assert noise is not None
    return noise


def test_repeats_that_agree_are_no_surer_than_their_own_readings() -> None:
    agreeing = hardness_of(("2.6", "2.8", "3.0"), ("2.8",) * 3, ("2.6", "2.8", "3.0"))
    # Three medians of 2.8; two of the pours have readings 0.2 apart, the third none: a pooled error of the mean.
    assert agreeing.sd == pytest.approx(np.sqrt((0.04 + 0.0 + 0.04) / 3 / 3))
    assert hardness_of(("2.8",) * 3, ("2.8",) * 3, ("2.8",) * 3).sd == pytest.approx(0.1 / np.sqrt(12))  # as it is read
    apart = hardness_of(("2.0",) * 3, ("3.0",) * 3)
    assert apart.sd == pytest.approx(np.sqrt(0.5))
    assert (agreeing.read_alike, apart.read_alike) == (True, False)


def test_a_little_noise_is_not_told_as_none() -> None:
    hardness = OUTCOMES["hardness"]
    alike = hardness_of(("2.8",) * 3, ("2.8",) * 3)
    assert noise_size(hardness, alike, 2.8) == "0.03 mm"
    assert noise_size(hardness, replace(alike, sd=0.2), 2.8) == "0.2 mm"
