"""Trials side by side: only what differs, with n and noise, a control before anything else, and plain words."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import jsonschema
import pytest

from formulary.batch.weigh_out import work_out_batch
from formulary.errors import InputError
from formulary.settings import Settings
from tests.schemas import read_schema
from tests.trials.invented import BASE_OILS, steady, trial, version
from trials.as_made.effective import effective_portion
from trials.comparison.compare import compare_trials
from trials.comparison.comparison import Comparison
from trials.comparison.table import render_comparison
from trials.explain_trials import explain_outcome
from trials.outcomes.known import find_outcomes
from trials.trial.model import AsMade, Handling, Observation, Reading, TakenIn, Trial
from trials.trial.plan import make_plan

BASE = version()
HEMP = version("hemp", {**BASE_OILS, "olive-oil": "45", "hemp-seed-oil": "8"})
CLOVE = version(
    "midwinter-clove",
    scent="material: clove-bud-oil, rate: 1.2 % of oils, at: trace",
    portions="name: plain, share: 50, gets: {clove-bud-oil: 0}\nname: clove, share: 50, gets: {clove-bud-oil: 100}",
)
REPEATS = steady(4, BASE, ("12:00", "11:20", "12:30", "11:40"), start=20)
HALVES = trial(
    CLOVE,
    "k7wq",
    9,
    portions={"plain": {"poured": "14:00"}, "clove": {"working": "7:00", "scent_in": "3:00", "blending_after": 10}},
)
ONE = trial(BASE, "aaaa", 0, working="12:00", seen={"hardness": "3.1"})
OTHER = trial(HEMP, "bbbb", 30, working="6:30", seen={"hardness": "3.2"}, room="20")
ALL = (*REPEATS, HALVES, ONE, OTHER)


def factors(comparison: Comparison) -> dict[str, tuple[object, ...]]:
    return {factor.factor: factor.values for factor in comparison.factors}


def test_only_what_differs_is_listed_and_the_rest_is_counted() -> None:
    found = compare_trials([ONE, OTHER], ALL)
    assert factors(found) == {
        "hemp seed oil": (0.0, 8.0),
        "olive oil": (53.0, 45.0),
        "room": (19.0, 20.0),
    }
    assert found.hidden == len(found.alike) + sum(not row.differs for row in found.lye) > 0
    assert f"{found.hidden} alike" in render_comparison(found)
    assert "coconut oil" not in render_comparison(found)
    assert "coconut oil" in render_comparison(found, show_all=True)


def test_a_material_that_one_side_lacks_is_zero_there_and_not_dropped() -> None:
    assert factors(compare_trials([OTHER, ONE], ALL))["hemp seed oil"] == (8.0, 0.0)


def test_a_difference_beyond_the_noise_of_repeats_is_called_more_than_noise() -> None:
    sentence = compare_trials([ONE, OTHER], ALL).sentence
    assert "thickened 5.5 min sooner" in sentence
    assert "more than noise" in sentence


def test_noise_is_told_with_the_number_of_its_repeats() -> None:
    found = compare_trials([ONE, OTHER], ALL)
    assert "(5 repeats in 5 loaves), so that is more than noise" in found.sentence
    text = " ".join(render_comparison(found).split())
    assert " n 5" in text
    assert "from n repeats" in text


@pytest.mark.parametrize("repeats", [REPEATS[:1], ()])
def test_fewer_than_three_repeats_call_nothing_more_than_noise(repeats: tuple[Trial, ...]) -> None:
    found = compare_trials([ONE, OTHER], (*repeats, ONE, OTHER))
    assert "so that is more than noise" not in found.sentence
    assert "would be more than noise" in found.sentence or "only repeats can show" in found.sentence
    for contrast in found.contrasts[0]:
        tree = contrast.to_json()
        assert tree["beyond_noise"] is None
        assert tree["noise_doubt"]


@pytest.mark.parametrize(("working", "said"), [("10:00", "too few to say whether"), ("11:50", "may well be noise")])
def test_a_difference_far_beyond_two_repeats_is_never_called_noise(working: str, said: str) -> None:
    two = steady(2, BASE, ("12:00", "12:15"), start=20)  # working times of 9 and 9.25 min
    found = compare_trials([two[0], trial(HEMP, "cccc", 30, working=working)], two)
    assert "(2 repeats in 2 loaves)" in found.sentence
    assert said in found.sentence
    contrast = next(each for each in found.contrasts[0] if each.label == "working time")
    assert contrast.chance is not None
    assert contrast.chance >= 0.05
    assert contrast.to_json()["beyond_noise"] is None
    assert contrast.to_json()["noise_doubt"] == "there are only 2 repeats in 2 loaves"


def test_with_repeats_enough_the_json_says_what_the_sentence_says() -> None:
    contrast = next(each for each in compare_trials([ONE, OTHER], ALL).contrasts[0] if each.label == "working time")
    tree = contrast.to_json()
    assert (tree["beyond_noise"], tree["noise_doubt"]) == (True, None)


def test_a_difference_below_the_spread_of_the_readings_says_so() -> None:
    def read(code: str, day: int, *values: str) -> Trial:
        readings = tuple(Reading(value, Decimal(value)) for value in values)
        made = trial(HEMP if code == "hhhh" else BASE, code, day)
        return replace(made, observations=(Observation(Decimal(28), "hardness", readings),))

    steady_ones = [read(f"b{day}", day, "3.0", "3.0") for day in range(5)]
    rough, even = read("hhhh", 9, "2.5", "5.5"), read("hhhh", 9, "4.0", "4.0")
    said = "so that is more than noise, though the readings of one side spread by 2.1 mm themselves"
    assert said in compare_trials([steady_ones[0], rough], steady_ones).sentence
    plain = compare_trials([steady_ones[0], even], steady_ones).sentence
    assert "so that is more than noise" in plain
    assert "spread" not in plain


def test_two_repeats_differ_by_no_more_than_noise() -> None:
    found = compare_trials(REPEATS[:2], ALL)
    assert found.factors == ()
    assert "made alike" in found.sentence
    assert "may well be noise" in found.sentence


def test_two_repeats_are_said_to_be_repeats_and_a_difference_of_theirs_is_no_more_than_rare() -> None:
    warmer = trial(BASE, "warm", 40, working="19:30", room="21")
    found = compare_trials([REPEATS[0], warmer], [*REPEATS, warmer])
    assert found.are_repeats
    start = (
        "These two repeat one another, but for what always differs a little: room, and warm thickened 7.5 min later; "
    )
    assert found.sentence.startswith(start)
    assert "more than noise" not in found.sentence
    far = trial(BASE, "warm", 40, working="29:30", room="21")
    assert compare_trials([REPEATS[0], far], steady(30, BASE, ("12:00", "12:10"), start=50)).sentence.endswith(
        "so that is more than they mostly do."
    )


def test_a_bare_mass_is_no_headline_while_anything_else_was_compared() -> None:
    weighed = [trial(BASE, f"m{k}", k, seen={"mass": f"{300 + k % 2}", "hardness": "3.1"}) for k in range(9)]
    heavy = trial(HEMP, "hemp", 20, seen={"mass": "340", "hardness": "3.2"})
    found = compare_trials([weighed[0], heavy], [*weighed, heavy])
    assert "mass" not in found.sentence
    assert "pin" in found.sentence
    assert "mass at 28 d" in [contrast.label for contrast in found.contrasts[0]]
    bare = [replace(each, observations=each.observations[:1]) for each in (*weighed, heavy)]
    assert "mass at 28 d 40.0 g higher" in compare_trials([bare[0], bare[-1]], bare).sentence


def test_a_range_runs_over_what_was_seen_and_limits_stand_beside_it() -> None:
    stopped = trial(HEMP, "stop", 50, poured="5:00")
    slow = trial(version("warm", superfat="8"), "slow", 51, working="16:00")
    said = compare_trials([ONE, stopped, slow]).sentence
    assert "Working time runs from 9.0 (aaaa) to 13.0 min (slow); known only as a limit: stop later than 2.0;" in said
    assert "Working time was 13.0 min (slow); known only as a limit: stop later than 2.0;" in (
        compare_trials([replace(ONE, events=ONE.events[:1]), stopped, slow]).sentence
    )


def test_a_scented_portion_is_set_against_its_own_control_before_anything_else() -> None:
    found = compare_trials([ONE, HALVES], ALL)
    assert [(control.label, scented.label) for control, scented, _ in found.controls] == [("k7wq plain", "k7wq clove")]
    assert found.sentence.startswith("Beside its own unscented portion, k7wq clove thickened at least 7.0 min sooner")


def test_portions_of_which_nothing_was_seen_alone_are_not_said_to_lack_what_was_seen_of_the_whole() -> None:
    together = replace(
        HALVES,
        events=ONE.events,
        observations=(),
        portions=tuple(replace(each, events=()) for each in HALVES.portions),
    )
    said = compare_trials([together], ALL).sentence
    assert "no outcome was measured of each portion by itself" in said
    unseen = replace(ONE, events=(), observations=())
    assert "no outcome was measured of both" in compare_trials([unseen, OTHER], ALL).sentence


def test_repeats_among_many_are_put_together_with_n_and_spread() -> None:
    found = compare_trials([*REPEATS, OTHER], ALL)
    assert [len(column.pours) for column in found.columns] == [4, 1]
    working = next(outcome for outcome in found.outcomes if outcome.label == "working time")
    value = working.values[0]
    assert value is not None
    assert value.n == 4
    assert value.value == pytest.approx((9 * (25 / 3) * 9.5 * (26 / 3)) ** 0.25)
    assert value.spread is not None
    assert value.spread > 0


def test_a_time_that_was_not_reached_stays_a_limit() -> None:
    text = render_comparison(compare_trials([HALVES], ALL))
    assert "later than 11.0" in text


def test_pours_that_differ_in_one_thing_alone_are_found_across_the_formulary() -> None:
    found = compare_trials([ONE, HALVES], ALL)
    assert [(pair.before, pair.after, pair.factor.factor) for pair in found.one_changes] == [
        ("aaaa +5", "bbbb", "hemp seed oil for olive oil"),
        ("aaaa +5", "k7wq clove", "clove bud oil"),  # the unscented half repeats the base
    ]


@pytest.mark.parametrize(("room", "slight"), [("19", ()), ("20.5", ("room",)), ("23", None)])
def test_what_else_differed_a_little_is_named_and_more_than_a_little_makes_no_pair(
    room: str, slight: tuple[str, ...] | None
) -> None:
    pair = trial(BASE, "aaaa", 0, working="12:00"), trial(HEMP, "bbbb", 30, working="6:30", room=room)
    found = compare_trials([pair[0]], pair)
    assert [tuple(item.factor for item in one.slight) for one in found.one_changes] == [slight] * (slight is not None)
    text = " ".join(render_comparison(found).split())
    assert ("one recorded thing alone, or nearly so" in text) == bool(slight)
    assert ("besides, room 19 to 20.5 °C" in text) == bool(slight)


@pytest.mark.parametrize(("working", "is_noise"), [("12:30", True), ("6:00", False)])
def test_pours_that_differ_in_one_thing_say_where_that_may_be_noise(working: str, is_noise: bool) -> None:
    hemp = trial(HEMP, "bbbb", 30, working=working)
    text = " ".join(render_comparison(compare_trials([REPEATS[0]], [*REPEATS, hemp])).split())
    assert "hemp seed oil for olive oil 0 to 8 % of oils; the second thickened " in text
    assert ("(may be noise)" in text) == is_noise


def test_pours_of_two_lots_make_no_pair_for_another_thing_where_a_repeat_has_no_lot_noted() -> None:
    unnoted = trial(BASE, "aaaa", 0, working="12:00")
    old = trial(BASE, "bbbb", 7, working="12:30", lots={"olive-oil": "A-1"})
    new = trial(BASE, "cccc", 14, working="8:00", lots={"olive-oil": "B-1"}, room="24")
    assert compare_trials([old], [unnoted, old, new]).one_changes == ()
    as_before = trial(BASE, "cccc", 14, working="8:00", lots={"olive-oil": "A-1"}, room="25")
    (pair,) = compare_trials([old], [unnoted, old, as_before]).one_changes
    assert (pair.before, pair.factor.factor) == ("aaaa +1", "room")


def test_a_cover_after_pouring_is_no_pair_for_how_the_batter_thickened() -> None:
    def covered(code: str, cover: str, working: str, gel: str) -> Trial:
        one = trial(BASE, code, working=working, seen={"gel": gel})
        return replace(one, conditions=replace(one.conditions, cover=cover))

    pair = covered("aaaa", "insulated", "12:00", "100"), covered("bbbb", "open", "6:30", "20")
    found = compare_trials([pair[0]], pair)
    assert [(one.factor.factor, [item.label for item in one.contrasts]) for one in found.one_changes] == [
        ("cover", ["gel"])
    ]
    assert "on which nothing that differed can have acted" in compare_trials(pair, pair).sentence


def _lye_g(oils: dict[str, str]) -> float:
    """Grams of sodium hydroxide for 1000 g of oils at 5 % superfat, by the molar masses of CIAAW."""
    materials = ONE.plan.materials
    saponifiable = 0.0
    for oil, percent in oils.items():
        value = materials[oil].saponification_value
        assert value is not None
        saponifiable += 10.0 * float(percent) * float(value.working) / 56105
    return 0.95 * 39.997 * saponifiable


def test_lye_and_water_are_told_for_one_mass_of_oils_where_they_differ() -> None:
    rich = version("rich", {"coconut-oil": "60", "olive-oil": "40"})
    found = compare_trials([ONE, trial(rich, "rich", 3, working="8:00")], ALL)
    alkali, water = found.lye
    assert (alkali.weighed, water.weighed) == ("sodium hydroxide", "water to weigh")
    assert alkali.differs
    assert water.differs
    assert alkali.values == pytest.approx(
        (_lye_g(BASE_OILS), _lye_g({"coconut-oil": "60", "olive-oil": "40"})), abs=0.1
    )
    text = render_comparison(found)
    assert "lye for 1000 g of oils" in text
    assert "sodium hydroxide, g" in text
    tree = json.loads(json.dumps(found.to_json()))["lye_for_1000_g_of_oils"]
    assert [row["weighed"] for row in tree] == ["sodium hydroxide", "water to weigh"]


def test_the_size_of_a_batch_and_its_rounding_are_no_difference_of_the_lye() -> None:
    batch = work_out_batch(BASE, ONE.plan.materials, Settings(), oil_mass_g=733.0)
    small = replace(ONE, id=ONE.id[:-4] + "smal", plan=make_plan(BASE, batch, ONE.plan.materials, Settings()))
    found = compare_trials([ONE, small], ALL)
    assert [row.differs for row in found.lye] == [False, False]
    assert "lye for 1000 g of oils" not in render_comparison(found)
    assert "lye for 1000 g of oils" in render_comparison(found, show_all=True)


def test_two_alkalis_and_their_water_differ_by_no_rounding_of_a_scale() -> None:
    """The water follows both of them, so that it may move by what both were rounded down."""
    both = version("both", concentration="25", alkali="{sodium-hydroxide: 60, potassium-hydroxide: 40, by: mass}")

    def made(code: str, oil_mass_g: float) -> Trial:
        batch = work_out_batch(both, ONE.plan.materials, Settings(), oil_mass_g=oil_mass_g)
        return replace(ONE, id=ONE.id[:-4] + code, plan=make_plan(both, batch, ONE.plan.materials, Settings()))

    large = made("larg", 1000.0)
    for oil_mass_g in range(400, 500, 7):
        rows = compare_trials([large, made("smal", float(oil_mass_g))]).lye
        assert [row.weighed for row in rows] == ["potassium hydroxide", "sodium hydroxide", "water to weigh"]
        assert not any(row.differs for row in rows)
    rows = compare_trials([large, ONE]).lye
    assert [row.differs for row in rows] == [True, True, True]
    assert rows[0].values[1] == 0.0


def test_water_that_was_weighed_otherwise_is_told() -> None:
    wet = replace(ONE, id=ONE.id[:-4] + "wett", as_made=(AsMade(line="water", weighed_g=Decimal(310)),))
    alkali, water = compare_trials([ONE, wet], ALL).lye
    assert (alkali.differs, water.differs) == (False, True)
    assert water.values[1] == pytest.approx(310.0)


def test_pours_that_all_repeat_one_another_are_shown_each_by_itself_with_what_differed_and_limits() -> None:
    early = trial(BASE, "earl", 31, poured="11:00", room="21")
    found = compare_trials([*REPEATS[:2], early], ALL)
    assert found.are_repeats
    assert [column.label for column in found.columns] == ["r020", "r021", "earl"]
    assert found.sentence.startswith(
        "These three pours repeat one another, but for what always differs a little: room."
    )
    text = render_comparison(found)
    assert "> 8.0" in text
    assert "name a second trial" not in text


def test_what_was_never_measured_runs_from_nowhere_to_nowhere() -> None:
    early = [trial(BASE, f"e{k}", 31 + k, poured=f"{4 + k}:00", room=str(18 + 6 * k)) for k in range(3)]
    assert compare_trials(early).sentence.endswith("No outcome was measured of two of them.")
    hard = [replace(each, observations=ONE.observations) for each in early]
    assert "Hardness at 28 d was 3.1 mm wherever it was measured" in compare_trials(hard).sentence


def test_what_was_not_recorded_is_told_once_for_those_of_which_it_is_not() -> None:
    bare = [trial(HEMP, f"b{k}", 40 + k, working=f"{7 + 3 * k}:00", blending=None, room=None) for k in range(2)]
    remarks = compare_trials([ONE, *bare], each=True).remarks
    assert [remark.partition(":")[0] for remark in remarks] == ["not recorded for b0 and b1"]
    assert {"blending before scent", "room"} <= set(re.split(", |: ", remarks[0]))


@pytest.mark.parametrize("what", ["rebatched", "fan"])
def test_what_was_done_to_a_loaf_makes_it_no_repeat_of_one_to_which_it_was_not(what: str) -> None:
    cut = [Handling("cut", Decimal(24))]
    plain = [trial(BASE, f"p{k}", k, working="9:00", seen={"hardness": f"3.{k}"}, after_pour=cut) for k in range(3)]
    done = trial(
        BASE, "done", 5, working="9:00", seen={"hardness": "6.0"}, after_pour=[Handling(what, Decimal(20)), *cut]
    )
    found = compare_trials([plain[0], done], plain)
    assert factors(found) == {what: (0.0, 1.0)}
    assert f"these two differ in one thing, {what} (no and yes), and" in found.sentence.lower()
    hardness = next(outcome for outcome in found.outcomes if outcome.outcome.name == "hardness")
    assert hardness.noise is not None
    assert (hardness.noise.repeats, round(hardness.noise.in_unit(3.0), 2)) == (3, 0.1)


def test_a_loaf_of_which_no_rebatch_is_recorded_was_not_rebatched() -> None:
    again = trial(BASE, "cccc", 5, working="9:00", seen={"hardness": "6.0"}, after_pour=[Handling("rebatched", None)])
    found = compare_trials([ONE, again], ALL)
    assert factors(found)["rebatched"] == (0.0, 1.0)
    assert "made alike" not in found.sentence
    assert "rebatched" not in " ".join(compare_trials([ONE, OTHER], ALL).remarks)


def test_a_rebatched_loaf_is_compared_by_its_batter_and_the_superfat_of_its_bars_is_told() -> None:
    fat = (TakenIn("olive-oil", Decimal(80)),)
    again = trial(BASE, "cccc", 5, working="9:00", after_pour=[Handling("rebatched", Decimal(48), taken_in=fat)])
    found = compare_trials([ONE, again], ALL)
    assert "effective superfat" not in factors(found), "nothing of it went into the batter"
    said = " ".join(render_comparison(found).split())
    bars = effective_portion(again, as_bars=True).figures.superfat_effective
    assert "What is compared of cccc is the batter, before it was rebatched" in said
    assert f"effective superfat of the bars: cccc {bars:.1f} %." in said
    ahead = compare_trials([ONE, again], ALL, today=again.made)
    assert "rebatched" not in factors(ahead), "what is to be worked in another day is in no bars yet"
    assert "rebatched" not in render_comparison(ahead)
    legend = [line for line in render_comparison(found).split("\n") if line.endswith("before it was rebatched")]
    assert [line.split()[0] for line in legend] == ["cccc"]


def test_what_nobody_did_after_pouring_is_not_told_as_missing() -> None:
    only = trial(BASE, "cccc", 5, working="9:00", after_pour=[Handling("rebatched", Decimal(48))])
    cut = trial(BASE, "dddd", 6, working="9:00", after_pour=[Handling("cut", Decimal(24))])
    half = trial(
        CLOVE,
        "eeee",
        7,
        portions={"plain": {"poured": "14:00"}, "clove": {"working": "7:00", "scent_in": "3:00"}},
        after_pour=[Handling("fan", Decimal(2), portion="clove")],
    )
    for found in (compare_trials([ONE, only]), compare_trials([only, cut]), compare_trials([half])):
        assert not {"fan", "sprayed", "uncovered", "rebatched"} & set(re.split(", |: ", " ".join(found.remarks)))
    assert factors(compare_trials([half]))["fan"] == (0.0, 1.0), "who wrote of one portion wrote of all"
    assert factors(compare_trials([ONE, half]))["fan"] == (None, 0.0, 1.0)


def test_repeats_beside_others_are_shown_apart_when_that_is_wanted() -> None:
    together = compare_trials([*REPEATS, OTHER], ALL)
    assert not together.are_repeats
    assert "--each shows them apart" in render_comparison(together)
    apart = compare_trials([*REPEATS, OTHER], ALL, each=True)
    assert [len(column.pours) for column in apart.columns] == [1] * 5
    assert "--each" not in render_comparison(apart)


def test_one_trial_alone_and_none_at_all_are_said_plainly() -> None:
    assert "stands alone" in compare_trials([ONE], ALL).sentence
    assert "nothing to compare" in str(compare_trials([], ()))


@pytest.mark.parametrize("width", [60, 80, 100])
def test_no_line_is_wider_than_asked(width: int) -> None:
    text = render_comparison(compare_trials(ALL, ALL), width)
    assert max(map(len, text.splitlines())) <= width


def test_the_day_of_a_recipe_with_a_long_name_is_cut_off_no_line() -> None:
    long = trial(version("a-bar-for-the-longest-night-of-the-year-with-clove-and-honey"), "long", 5, working="9:00")
    for width in (50, 80):
        text = render_comparison(compare_trials([ONE, long], ALL), width)
        assert "2026-03-06" in text
        assert max(map(len, text.splitlines())) <= width


def test_the_json_follows_its_schema_and_keeps_the_agreed_keys() -> None:
    schema = read_schema("compare")
    for some in ([ONE, OTHER], [HALVES], ALL, []):
        tree = json.loads(json.dumps(compare_trials(some, ALL).to_json(), allow_nan=False))
        jsonschema.validate(tree, schema)
        assert {"trials", "factors", "outcomes", "hidden"} <= tree.keys()


def test_values_and_columns_are_in_the_order_in_which_the_trials_were_named() -> None:
    tree = compare_trials([OTHER, ONE], ALL).to_json()
    assert [column["label"] for column in tree["trials"]] == ["bbbb", "aaaa"]  # type: ignore[attr-defined]


def test_a_record_that_leaves_out_every_oil_is_refused_by_name_and_passed_over_elsewhere() -> None:
    empty = trial(BASE, "none", 5, working="9:00", as_made=[AsMade(line=oil, left_out=True) for oil in BASE_OILS])
    with pytest.raises(InputError, match="no oil went into"):
        compare_trials([empty, ONE], ALL)
    assert compare_trials([ONE, OTHER], [*ALL, empty]).to_json() == compare_trials([ONE, OTHER], ALL).to_json()
    answer = explain_outcome([*REPEATS, OTHER, empty], find_outcomes(Settings())["working time"])
    assert [(item.trial, item.why) for item in answer.left_out] == [(empty.id, "no oil went in, as it is recorded")]


def test_comparing_needs_no_numerical_library() -> None:
    wanted = "trials.comparison.compare, trials.comparison.table, trials.factors.factors"
    script = f"import sys, {wanted}; print('numpy' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2]
    )
    assert done.stdout.strip() == "False"


def test_what_was_seen_of_the_whole_trial_sets_no_portion_against_its_control() -> None:
    whole = Observation(Decimal(1), "peak temperature", (Reading("68 °C", Decimal(68)),))
    found = compare_trials([replace(HALVES, observations=(whole,))], ALL)
    assert "peak temperature" in [outcome.label for outcome in found.outcomes]
    labels = [contrast.label for _, _, told in found.controls for contrast in told]
    assert labels[0] == "working time"
    assert "peak temperature" not in labels


def test_what_was_weighed_is_compared_to_the_last_gram_where_it_was_noted() -> None:
    """246 g for 250 g of coconut oil among 1000 g: too little to count as a cause, but it is what was in the pot."""
    weighed = [AsMade(line="coconut-oil", weighed_g=Decimal(246))]
    found = factors(compare_trials([trial(BASE, "aaaa"), trial(BASE, "bbbb", 1, as_made=weighed)]))
    assert found["coconut oil"] == (25.0, pytest.approx(100 * 246 / 996, abs=1e-6))
    assert "olive oil" not in found  # it moved by 0.2 points only because the sum did


def test_effective_figures_are_called_so_as_in_a_diff() -> None:
    from trials.as_made.as_made_recipe import describe_as_made

    wet = [AsMade(line="water", weighed_g=Decimal(360))]
    dry, made = trial(BASE, "aaaa"), trial(BASE, "bbbb", 1, as_made=wet)
    found = factors(compare_trials([dry, made]))
    sides = [describe_as_made(one, oil_mass_g=1000.0).batch.water.effective_percent for one in (dry, made)]
    assert found == {"lye with all water": (pytest.approx(sides[0]), pytest.approx(sides[1]))}


def test_the_noise_of_a_time_is_told_as_a_part_of_it_too() -> None:
    """Repeats of a time differ by a part of it, so only the percentage is the same about every time."""
    sentence = compare_trials([ONE, OTHER], [ONE, OTHER]).sentence
    assert "20 % of it" in sentence


def test_a_range_is_shortened_between_figures_and_a_grade_keeps_its_words() -> None:
    from trials.comparison.table import _RANGE

    assert _RANGE.sub("-", "2.1 to 3.4") == "2.1-3.4"
    assert _RANGE.sub("-", "up to a quarter") == "up to a quarter"


def test_no_column_stands_twice_however_many_there_are() -> None:
    many = [trial(BASE, f"m{k:03d}", 40 + k, working=f"{8 + k}:00", room=str(14 + 2 * k)) for k in range(9)]
    found = compare_trials([*many, OTHER], ALL)
    for width in (60, 80, 100):
        text = render_comparison(found, width)
        lines = text.splitlines()
        heads = [lines[place - 1] for place, line in enumerate(lines) if line == "  what differed"]
        labels = [label for head in heads for label in re.split(r" {2,}", head.strip())]
        assert sorted(labels) == sorted([*(column.label for column in found.columns), "repeats ±"])
        assert max(map(len, text.splitlines())) <= width


def test_one_oil_in_the_place_of_another_is_one_thing_among_others() -> None:
    richer = version(
        "rich",
        {**BASE_OILS, "olive-oil": "45", "hemp-seed-oil": "8"},
        additions="material: kaolin, rate: 2 % of oils, at: oils",
    )
    one = trial(BASE, "aaaa", 0, working="12:00", room="18")
    other = trial(richer, "cccc", 30, working="6:30", room="24")
    said = compare_trials([one, other], (*REPEATS, one, other)).sentence
    assert "three things" in said
    assert "hemp seed oil for olive oil" in said


def test_a_lot_is_called_a_lot_and_what_is_put_together_is_explained() -> None:
    scented = version("clove", scent="material: clove-bud-oil, rate: 1 % of oils, at: trace")
    first = [trial(scented, f"f{k}", k, working=("7:00", "7:20")[k % 2], lots={"clove-bud-oil": "A"}) for k in range(3)]
    second = trial(scented, "ssss", 20, working="4:00", lots={"clove-bud-oil": "B"})
    text = " ".join(render_comparison(compare_trials([first[0], second], (*first, second))).split())
    assert "lot of clove bud oil A to B" in text
    assert "f0 +2" in text
    assert "+2 beside a name: put together with two more pours that repeat it" in text
