"""The next pour: a small, safe change of a version at hand that tells the leading explanations apart."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from math import log
from statistics import NormalDist

import jsonschema
import pytest

from formulary.batch.weigh_out import work_out_batch
from formulary.errors import InputError
from formulary.materials.register import Register, read_builtin_register
from formulary.recipes.version import Version
from formulary.settings import Settings
from tests.schemas import read_schema
from tests.trials.invented import BASE_OILS, steady, trial, version
from trials.answer.text import render_explanation
from trials.explain.next_run import Outlook
from trials.explain_trials import explain_outcome
from trials.explanation import Explanation
from trials.next_trial.candidates import find_candidates
from trials.next_trial.next_trial import NextTrial, find_next_trials, patience
from trials.next_trial.outlook import Expected, grade_bits, share_bits
from trials.next_trial.starts import Start, find_starts
from trials.next_trial.text import little_left, next_trials_json, render_next_trials
from trials.outcomes.known import find_outcomes
from trials.outcomes.value import OutcomeValue
from trials.pours.seen import Seen
from trials.telling_apart import with_next_pour
from trials.trial.model import REBATCHED, Handling, Observation, Reading, Trial

BASE = version()
WORKING = find_outcomes(Settings())["working time"]
BOTH = version(
    "winter",
    additions="material: honey, rate: 2 % of oils, at: trace, water: replaces",
    scent="material: clove-bud-oil, rate: 1 % of oils, at: trace",
)
CLOVE = version("clove", scent="material: clove-bud-oil, rate: 1 % of oils, at: trace")
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
    honey, clove = by_cause[(("honey",),)], by_cause[(("clove bud oil",),)]
    assert honey.high < clove.low or clove.high < honey.low


@pytest.mark.parametrize("poured", ["4:30", "6:00"])
def test_one_loaf_that_was_poured_at_once_does_not_hide_what_the_next_pour_would_tell(poured: str) -> None:
    early = trial(BASE, "early", 70, poured=poured)
    best = find_next_trials(explain_outcome((*history(), early), WORKING), register(), Settings())[0]
    assert {change.factor for change in best.changes} <= {"honey", "clove bud oil"}
    assert best.bits > 0.3


@pytest.mark.parametrize(
    ("ends", "stops", "expected"),
    [
        ((), (), None),
        ((12.0, 9.0, 15.0), (), None),
        ((12.0, 9.0, 15.0), (2.0,), None),  # one of four was given up; the others were watched for longer
        ((), (5.0, 6.0, 7.0), 6.0),  # by hand: 2/3 are watched beyond 5 min, 1/3 beyond 6
        ((4.0,), (5.0, 6.0, 7.0), 6.0),  # one that ended before anybody gave up says nothing of patience
        ((5.5, 12.0), (5.0, 6.0, 7.0), 7.0),  # by hand: 4/5, then 4/5 x 2/3 = 8/15, then 8/15 x 1/2
        ((20.0, 21.0), (5.0, 5.0, 5.0), 5.0),  # by hand: 2/5 are watched beyond 5 min
    ],
)
def test_how_long_pours_are_watched_is_told_by_those_that_were_seen_to_the_end_too(
    ends: tuple[float, ...], stops: tuple[float, ...], expected: float | None
) -> None:
    values = [OutcomeValue(end) for end in ends] + [OutcomeValue(None, "above", low=stop) for stop in stops]
    pour = answer().seen[0].pour
    assert patience([Seen(pour, value) for value in values]) == expected


def test_of_two_recipes_that_tell_as_much_the_commoner_one_is_changed() -> None:
    best = find_next_trials(answer(), register(), Settings())[0]
    assert best.start.slug == BASE.slug


@pytest.mark.parametrize(("times", "commonest"), [(4, "harbour-base"), (8, "halves")])
def test_a_batter_is_not_divided_to_learn_as_much_however_often_it_was(times: int, commonest: str) -> None:
    halves = version(
        "halves",
        scent="material: lavender-oil, rate: 1 % of oils, at: trace",
        portions="name: plain, share: 50, gets: {lavender-oil: 0}\nname: purple, share: 50, gets: {lavender-oil: 100}",
    )
    both = {name: {"working": "12:00", "scent_in": "3:00"} for name in ("plain", "purple")}
    explained = explain_outcome(
        [*history(), *(trial(halves, f"d{k}", 80 + k, portions=both) for k in range(times))], WORKING
    )
    begun = find_starts(explained, register(), Settings(), {}, lambda _: ())
    assert next(iter(begun)).version.slug == commonest  # by its pours: each of two portions is no pour more
    best = find_next_trials(explained, register(), Settings())[0]
    assert (best.start.slug, best.portion) == (BASE.slug, None)


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


def test_other_handling_needs_no_recipe_and_says_so() -> None:
    warm = [trial(BASE, f"w{k}", k, working=f"{8 + k % 2}:00", room=str(25 + k % 3)) for k in range(5)]
    cool = [trial(BASE, f"c{k}", 20 + k, working=f"{11 + k % 2}:00", room=str(18 + k % 3)) for k in range(5)]
    found = find_next_trials(explain_outcome([*warm, *cool], WORKING), register(), Settings(), most=10)
    by_hand = [one for one in found if not one.tweaks]
    assert by_hand
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
    assert "never observed" in render_next_trials((), empty)


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
    schema = read_schema("next")
    proposed = find_next_trials(answer(), register(), Settings())
    assert proposed
    empty = explain_outcome([], WORKING)
    for tree in (next_trials_json(proposed, answer()), next_trials_json((), empty)):
        jsonschema.validate(json.loads(json.dumps(tree, allow_nan=False)), schema)
    assert "never observed" in str(next_trials_json((), empty)["why_none"])


def test_what_explain_says_to_pour_is_what_next_proposes_first() -> None:
    told = with_next_pour(answer(), register(), Settings())
    assert told.to_tell_apart == find_next_trials(answer(), register(), Settings())[0].words
    assert told.to_tell_apart is not None
    assert told.to_tell_apart in " ".join(render_explanation(told).split())
    settled = explain_outcome(
        [
            *steady(9, BASE, ("12:00", "11:20", "12:40")),
            *(trial(CLOVE, f"c{k}", 40 + k, working="8:00") for k in range(6)),
        ],
        WORKING,
    )
    assert settled.enough_evidence
    assert with_next_pour(settled, register(), Settings()).to_tell_apart is None


def test_a_rebatch_may_be_the_cause_and_is_never_proposed() -> None:
    def hard(code: str, day: int, mm: str, *after: Handling) -> Trial:
        return trial(BASE, code, day, seen={"hardness": mm}, after_pour=after, room=str(18 + day % 5))

    sound = [hard(f"s{k}", k, str(3 + k % 2 / 10)) for k in range(5)]
    # the latest pour of all is one that was rebatched: the next starts from it as it was planned
    again = [hard(f"r{k}", 20 + k, str(5 + k % 2 / 10), Handling(REBATCHED, Decimal(48))) for k in range(5)]
    explained = explain_outcome([*sound, *again], find_outcomes(Settings())["hardness"])
    assert explained.causes[0].factors == (REBATCHED,)
    begun = list(find_starts(explained, register(), Settings(), {}, lambda _: ()))
    assert not any(step.what == REBATCHED for one in begun for step in one.trial.after_pour)
    for one in find_next_trials(explained, register(), Settings(), most=10):
        assert REBATCHED not in {change.factor for change in one.changes}


def test_no_pour_has_two_covers_at_once() -> None:
    def under(cover: str, code: str, day: int, ash: str) -> Trial:
        one = trial(BASE, code, day, seen={"ash": ash}, room=str(18 + day % 4))
        return replace(one, conditions=replace(one.conditions, cover=cover))

    trials = [
        under(("insulated", "open", "fridge")[k % 3], f"o{k:02d}", k, str((0, 2, 1)[k % 3] if k % 5 else 1))
        for k in range(12)
    ]
    explained = explain_outcome(trials, find_outcomes(Settings())["ash"], Decimal(28))
    assert sum(factor.name.startswith("cover ") for factor in explained.table.factors) == 2
    for one in find_candidates(explained, register(), Settings(), {}, lambda _: ()):
        assert sum(change.factor.startswith("cover ") for change in one.changes) <= 1


def test_of_grades_it_says_how_likely_each_is_if_this_or_that_did_it() -> None:
    trials = [
        trial(BOTH if k % 2 else BASE, f"g{k:02d}", k, seen={"cracked": str(k % 2)}, room=str(18 + k % 3))
        for k in range(12)
    ]
    explained = explain_outcome(trials, find_outcomes(Settings())["cracked"])
    proposed = find_next_trials(explained, register(), Settings())
    best = {item.causes: dict(item.grades) for item in proposed[0].expected}
    assert abs(best[(("honey",),)][1] - best[(("clove bud oil",),)][1]) > 0.5  # that is what makes it worth a pour
    for one in proposed:
        for item in one.expected:
            assert item.value is None
            assert sum(chance for _, chance in item.grades) == pytest.approx(1.0)
    text = render_next_trials(proposed, explained)
    assert "cracked would be" in text
    assert "yes (" in text


def test_a_grade_that_comes_whatever_is_true_tells_nothing() -> None:
    def expect(cause: str, *chances: float) -> Expected:
        return Expected(((cause,),), 0.5, None, None, None, tuple(enumerate(chances)))

    assert grade_bits([expect("honey", 1.0, 0.0), expect("clove", 1.0, 0.0)]) == pytest.approx(0.0)
    assert grade_bits([expect("honey", 1.0, 0.0), expect("clove", 0.0, 1.0)]) == pytest.approx(1.0)
    assert 0.0 < grade_bits([expect("honey", 0.9, 0.1), expect("clove", 0.2, 0.8)]) < 1.0


def test_a_share_of_the_face_that_is_none_whatever_is_true_tells_nothing() -> None:
    def expect(middle: float) -> Outlook:
        return Outlook((), 0.5, middle, 8.0)

    assert share_bits([expect(-90.0), expect(-40.0)]) < 0.01
    assert share_bits([expect(140.0), expect(190.0)]) < 0.01
    assert share_bits([expect(-40.0), expect(50.0)]) == pytest.approx(1.0, abs=0.01)
    assert 0.0 < share_bits([expect(45.0), expect(50.0)]) < 0.2


def test_no_pour_is_proposed_twice_by_way_of_two_recipes() -> None:
    # The clove bar is the base with the clove: to pour it once more, and to put clove into the base, is one thing.
    odd = trial(CLOVE, "clov", 90, working="8:10", room="19")
    alone = explain_outcome([*steady(6, BASE, ("12:00", "11:20", "12:40")), odd], WORKING)
    words = [one.words for one in find_next_trials(alone, register(), Settings())]
    assert words[0].startswith("pour clove")
    assert not any("clove bud oil" in one and "harbour-base" in one for one in words)


@pytest.mark.parametrize("explained", [answer, lambda: explain_outcome(history()[:9], WORKING)])
def test_what_is_to_be_told_shows_in_two_lines_that_differ(explained: Callable[[], Explanation]) -> None:
    proposed = find_next_trials(explained(), register(), Settings())
    text = render_next_trials(proposed, explained(), 200)
    for block in text.split("would be\n")[1:]:
        lines = [line.rpartition("%)")[2] for line in block.splitlines() if line.strip().startswith("if ")]
        assert len(set(lines)) >= 2


def test_a_recipe_that_divides_its_batter_is_something_to_start_from() -> None:
    halves = "name: plain, share: 50, gets: {lavender-oil: 0}\nname: purple, share: 50, gets: {lavender-oil: 100}"
    lavender = "material: lavender-oil, rate: 1 % of oils, at: trace"
    plain = version("halves", scent=lavender, portions=halves)
    sweet = version(
        "sweet-halves",
        additions="material: honey, rate: 2 % of oils, at: trace, water: replaces\n"
        "material: kaolin, rate: 2 % of oils, at: oils",
        scent=lavender,
        portions=halves,
    )

    def poured(made_of: Version, code: str, day: int, *minutes: str) -> Trial:
        names = ("plain", "purple")
        return trial(
            made_of,
            code,
            day,
            portions={name: {"working": at, "scent_in": "3:00"} for name, at in zip(names, minutes, strict=True)},
        )

    slow = [poured(plain, f"d{k}", k, "12:00", ("11:30", "12:40")[k % 2]) for k in range(4)]
    quick = [poured(sweet, f"q{k}", 20 + k, "8:00", ("7:40", "8:20")[k % 2]) for k in range(4)]
    explained = explain_outcome([*slow, *quick], WORKING)
    proposed = find_next_trials(explained, register(), Settings())
    assert proposed
    assert {change.factor for change in proposed[0].changes} <= {"honey", "kaolin"}
    assert proposed[0].portion in ("plain", "purple")
    assert f"{proposed[0].portion} portion would" in render_next_trials(proposed, explained)
    made = proposed[0].branch("one-of-two")
    assert [part.name for part in made.recipe.portions] == ["plain", "purple"]
    gelled = [replace(one, observations=_gel(80 if one in quick else 20)) for one in (*slow, *quick)]
    of_whole = explain_outcome(gelled, find_outcomes(Settings())["gel"])
    assert all(one.portion is None for one in find_next_trials(of_whole, register(), Settings()))


def _gel(percent: int) -> tuple[Observation, ...]:
    return (Observation(Decimal(1), "gel", (Reading(f"{percent} %", Decimal(percent)),)),)


def test_nothing_is_proposed_that_tells_next_to_nothing_beside_the_best() -> None:
    proposed = find_next_trials(answer(), register(), Settings(), most=10)
    best = max(one.bits for one in proposed)
    assert all(one.bits >= 0.1 * best for one in proposed)


@pytest.mark.parametrize(
    ("trials", "advice"),
    [
        ((), "tells how it is done"),
        (steady(1, BASE, ("12:00",)), "Pour a second"),
        (steady(2, BASE, ("12:00", "9:00")), "once more"),
        (tuple(trial(BASE, f"p{k}", k, poured="14:00", room=str(15 + k)) for k in range(6)), "kept back"),
    ],
)
def test_where_nothing_can_be_told_yet_it_says_what_would_help(trials: tuple[Trial, ...], advice: str) -> None:
    explained = explain_outcome(trials, WORKING)
    for text in (render_next_trials((), explained), render_explanation(explained)):
        assert advice in " ".join(text.split())
    assert explained.to_json()["advice"] == explained.advice


def test_no_fault_is_asked_for_once_more() -> None:
    def advice(outcome: str, *values: str, silent: int = 0) -> str:
        seen = [trial(BASE, f"p{k}", k, seen={outcome: value}, room=str(15 + 4 * k)) for k, value in enumerate(values)]
        others = [trial(BASE, f"s{k}", 20 + k) for k in range(silent)]
        return explain_outcome([*seen, *others], find_outcomes(Settings())[outcome]).advice or ""

    assert "not the same once more" in advice("seized", "2")
    assert "the same once more, or" in advice("seized", "0")
    assert "Pour p1 once more" in advice("seized", "2", "0")
    assert "neither of them once more" in advice("seized", "2", "1")
    assert "Pour p1 once more" in advice("hardness", "4", "3")  # a pin that goes in less is the better
    assert "Pour one of them once more" in advice("gel", "40", "90")
    assert "formulary trial observe s0 seized none --age 0d" in advice("seized", "2", silent=2)
    assert "trial observe" not in advice("hardness", "4", silent=2)
    short = explain_outcome([trial(BASE, "q", working="4:00")], WORKING)
    assert "not the same once more" in (short.advice or "")


def test_no_change_is_proposed_that_tells_no_more_than_the_same_pour_without_it() -> None:
    candidates = list(find_candidates(answer(), register(), Settings(), {}, lambda _: ()))
    assert any(not one.changes for one in candidates)
    by_words = {one.words: one for one in find_next_trials(answer(), register(), Settings(), most=50)}
    for one in by_words.values():
        for other in by_words.values():
            fewer = {change.words for change in other.changes} < {change.words for change in one.changes}
            assert not (fewer and other.start.id == one.start.id and other.bits >= one.bits)
    # Kaolin never mattered and nothing is known against it: to leave it out tells what a repeat tells.
    trials = [
        trial(BASE if k % 2 else version("clay", additions="material: kaolin, rate: 2 % of oils, at: oils"), f"n{k}", k,
              working=("12:00", "11:00", "12:40", "11:20")[k % 4], room=str(17 + k % 3))
        for k in range(8)
    ]  # fmt: skip
    none = explain_outcome(trials, WORKING)
    for one in find_next_trials(none, register(), Settings(), most=50):
        assert one.bits >= 0.05


def test_a_long_proposal_stays_under_its_number() -> None:
    one = find_next_trials(answer(), register(), Settings())[0]
    long = replace(one, words=f"{one.words} and {one.words.removeprefix('pour ')} and once more as it was before that")
    head, second, *_ = render_next_trials([long], answer(), 50).splitlines()
    assert head.startswith("1  Pour ")
    assert second.startswith("   ")


def test_what_no_recipe_holds_is_told_beside_the_tweaks() -> None:
    sweet = version("sweet", additions="material: honey, rate: 2 % of oils, at: trace, water: replaces")
    cool = [trial(BASE, f"c{k}", k, working=("12:00", "11:20", "12:40")[k % 3], room="18") for k in range(6)]
    warm = [trial(sweet, f"h{k}", 20 + k, working=("7:00", "7:30")[k % 2], room="26") for k in range(5)]
    explained = explain_outcome([*cool, *warm], WORKING)
    for one in find_next_trials(explained, register(), Settings(), most=10):
        assert set(one.by_hand) == {change.words for change in one.changes if not change.tweaks}
        assert one.to_json()["by_hand"] == list(one.by_hand)
    assert any(one.by_hand for one in find_next_trials(explained, register(), Settings(), most=10))


def _begun(*newest_first: Version, of: Explanation) -> Start:
    starts = find_starts(of, register(), Settings(), {}, {"harbour-base": newest_first}.get)
    return next(start for start in starts if start.version.slug == "harbour-base")


def test_a_pour_starts_from_the_newest_save_that_changes_only_what_was_tried() -> None:
    softer = version(oils={**BASE_OILS, "olive-oil": "47", "hemp-seed-oil": "6"})  # hemp was poured already
    begun = _begun(softer, BASE, of=answer())
    assert (begun.version.id, begun.why_not_newest) == (softer.id, "")
    again = _begun(BASE, softer, of=answer())
    assert (again.version.id, again.why_not_newest) == (BASE.id, "")


@pytest.mark.parametrize(
    ("newest", "why"),
    [
        (version(oils={"sunflower-oil": "53", "coconut-oil": "25", "rice-bran-oil": "22"}), "sunflower oil"),
        (version(oils={"hemp-seed-oil": "53", "coconut-oil": "25", "rice-bran-oil": "22"}), "hemp seed oil"),
        (version(superfat="12"), "effective superfat"),
        (version(concentration="70"), "cannot be weighed out"),
    ],
)
def test_an_earlier_version_is_started_from_with_the_reason_why(newest: Version, why: str) -> None:
    begun = _begun(newest, BASE, of=answer())
    assert begun.version.id == BASE.id
    assert begun.why_not_newest.startswith(f"its newest save, {newest.short_id}, ")
    assert why in begun.why_not_newest


def test_a_proposal_names_the_earlier_version_that_it_starts_from() -> None:
    saves = {
        made.slug: (version(made.slug, {**BASE_OILS, "olive-oil": "43", "sunflower-oil": "10"}), made)
        for made in (BASE, BOTH, HEMP)
    }
    found = find_next_trials(answer(), register(), Settings(), saves=saves.get)
    assert {one.start.id for one in found} <= {BASE.id, BOTH.id, HEMP.id}
    text = " ".join(render_next_trials(found, answer()).split())
    assert f"Pour {found[0].start.name} " in text
    assert "It starts from an earlier version: its newest save" in text


def _quick(percent: str) -> Explanation:
    """Honey and clove only ever came together, and each percent of clove halved the time."""
    both = version(
        "winter",
        additions="material: honey, rate: 2 % of oils, at: trace, water: replaces",
        scent=f"material: clove-bud-oil, rate: {percent} % of oils, at: trace",
    )
    seconds = round(180 + 540 * 0.5 ** float(percent))
    times = [f"{(seconds + 5 * k) // 60}:{(seconds + 5 * k) % 60:02d}" for k in range(3)]
    quick = [trial(both, f"w{k}", 40 + k, working=times[k % 3], room=str(18 + k)) for k in range(5)]
    return explain_outcome([*steady(6, BASE, ("12:00", "11:20", "12:40")), *quick], WORKING)


def _chance_under(limit: float, one: NextTrial) -> float:
    """How likely a pour takes less than so many minutes, by the ranges that are printed of it."""
    chance = 0.0
    for item in one.expected:
        assert item.value is not None
        assert item.low is not None
        assert item.high is not None
        wide = (log(item.high) - log(item.low)) / (2 * NormalDist().inv_cdf(0.95))
        chance += item.probability * NormalDist(log(item.value), wide).cdf(log(limit))
    return chance / sum(item.probability for item in one.expected)


@pytest.mark.parametrize("percent", ["1.8", "3"])
def test_a_pour_that_may_set_in_the_pot_is_said_to_and_comes_after_what_can_be_poured(percent: str) -> None:
    answered = _quick(percent)
    found = find_next_trials(answered, register(), Settings(), most=10)
    warned = [one.too_quick is not None for one in found]
    assert any(warned)
    assert warned == sorted(warned)
    text = " ".join(render_next_trials(found, answered).split())
    for one in found:
        said = "is likely" if _chance_under(3.0, one) > 0.5 else "may well be"
        assert f"warn: working time {said} under 3.0 min (" in text
    assert warned == [_chance_under(3.0, one) >= 0.3 for one in found]


def test_a_pour_is_as_quick_as_the_quickest_of_its_portions() -> None:
    """The plain half is slow, and tells most; the scented one of the same batter would set in the pot."""
    portions = "name: plain, share: 50, gets: {clove-bud-oil: 0}\nname: clove, share: 50, gets: {clove-bud-oil: 100}"
    scent = "material: clove-bud-oil, rate: 1.5 % of oils, at: trace"
    honey = "material: honey, rate: 2 % of oils, at: oils, water: replaces"
    halves = version("halves", scent=scent, portions=portions)
    sweet = version("sweet", scent=scent, portions=portions, additions=honey)

    def made(of: Version, code: str, day: int, room: int, plain: str, clove: str) -> Trial:
        parts = {"plain": {"working": plain, "scent_in": "3:00"}, "clove": {"working": clove, "scent_in": "3:00"}}
        return trial(of, code, day, room=str(room), portions=parts)

    cool = [made(halves, f"c{k}", k, 18 + k % 2, ("12:00", "12:30")[k % 2], ("5:30", "5:36")[k % 2]) for k in range(4)]
    warm = [made(sweet, f"w{k}", 20 + k, 26, ("9:00", "8:40")[k % 2], "4:40") for k in range(4)]
    found = find_next_trials(explain_outcome([*cool, *warm], WORKING), register(), Settings(), most=10)
    by_plain = [one for one in found if one.portion == "plain"]
    assert by_plain
    for one in by_plain:
        assert _chance_under(3.0, one) < 0.1
        assert one.too_quick is not None
        assert one.too_quick.startswith("working time of the clove portion is likely under 3.0 min")


def test_where_the_cause_is_known_little_is_said_to_be_left() -> None:
    answered = answer()
    found = find_next_trials(answered, register(), Settings())
    assert little_left(found, answered) is None
    known = replace(
        answered, causes=(replace(answered.causes[0], groups=(("honey",),), probability=0.999), *answered.causes[1:])
    )
    faint = [replace(one, bits=one.bits / 10) for one in found]
    said = "Little is left to learn about working time: honey (over 99 %) did it, and no pour would tell much more."
    assert next_trials_json(faint, known)["little_left"] == said
    assert said in " ".join(render_next_trials(faint, known).split())
    assert little_left(found, known) is None
    assert little_left(faint, answered) is None
