"""An effect is said so that nobody takes it the wrong way round, or multiplies it up to nonsense."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.settings import Settings
from tests.trials.invented import trial, version
from trials.answer.effect_counts import count_seen
from trials.answer.effect_words import even_chance_words
from trials.answer.text import render_explanation
from trials.charts import find_effects
from trials.explain_trials import explain_outcome
from trials.outcomes.known import find_outcomes
from trials.trial.model import AsMade, Trial

BASE = version()
OUTCOMES = find_outcomes(Settings())
SCENTED = version("clove", scent="material: clove-bud-oil, rate: 1 % of oils, at: trace")


def watery(code: str, day: int, depth: str) -> Trial:
    """A loaf into which a fifth more water went than planned; invented."""
    more = AsMade(line="water", weighed_g=Decimal(360))
    return trial(BASE, code, day, seen={"hardness": depth}, as_made=(more,), room=str(18 + day % 3))


def test_a_pin_that_goes_in_less_deep_is_said_to_be_a_harder_bar() -> None:
    dry = [
        trial(BASE, f"d{k}", k, seen={"hardness": ("3.0", "3.1", "2.9")[k % 3]}, room=str(18 + k % 3)) for k in range(9)
    ]
    wet = [watery(f"w{k}", 20 + k, ("4.0", "4.1", "3.9")[k % 3]) for k in range(6)]
    answer = explain_outcome([*dry, *wet], OUTCOMES["hardness"], Decimal(28))
    assert answer.causes[0].factors == ("lye with all water",)
    effect = answer.causes[0].main_effect
    assert effect is not None
    assert effect.effect is not None
    assert effect.effect < 0  # in mm of the pin
    assert "makes the bar harder at 28 d: the pin goes in" in answer.sentence
    assert "less deep" in answer.sentence
    assert "lowers hardness" not in answer.sentence
    assert "pin depth" in render_explanation(answer)


def test_a_step_of_lye_strength_cannot_be_read_as_so_much_lye() -> None:
    dry = [trial(BASE, f"d{k}", k, seen={"hardness": ("3.0", "3.1")[k % 2]}) for k in range(6)]
    wet = [watery(f"w{k}", 20 + k, ("4.0", "4.1")[k % 2]) for k in range(6)]
    answer = explain_outcome([*dry, *wet], OUTCOMES["hardness"], Decimal(28))
    assert "each 3 points stronger" in answer.sentence
    assert "each 3 % more" not in answer.sentence


def test_a_time_is_shortened_by_a_share_which_is_told_with_the_level_that_it_is_of() -> None:
    plain = [
        trial(BASE, f"p{k}", k, working=("12:00", "12:40", "11:20")[k % 3], room=str(18 + k % 3)) for k in range(8)
    ]
    quick = [trial(SCENTED, f"q{k}", 20 + k, working=("8:00", "8:20")[k % 2], room=str(18 + k % 3)) for k in range(6)]
    answer = explain_outcome([*plain, *quick], OUTCOMES["working time"])
    effect = answer.causes[0].main_effect
    assert effect is not None
    assert effect.effect is not None
    found = re.search(r"shortens working time by (\d+) %: ([\d.]+) min by ([\d.]+) min", answer.sentence)
    assert found is not None
    share, level, minutes = (float(figure) for figure in found.groups())
    assert abs(share - 100 * minutes / level) < 1.0
    assert abs(level - answer.level) < 0.06
    assert abs(minutes + effect.effect) < 0.06
    assert f"min, of {level:g}" in render_explanation(answer)


def test_grades_and_yes_or_no_become_likelier_and_nothing_is_raised() -> None:
    for outcome, values in (("ash", "0023"), ("cracked", "0011")):
        trials = [
            trial(SCENTED if k % 2 else BASE, f"g{k:02d}", k, seen={outcome: values[(k % 2) * 2 + (k // 2) % 2]})
            for k in range(20)
        ]
        answer = explain_outcome(trials, OUTCOMES[outcome], Decimal(28) if outcome == "ash" else None)
        assert answer.enough_evidence
        assert "likelier" in answer.sentence
        assert "raises" not in answer.sentence
        assert "likelier" in render_explanation(answer) or "even chance becomes" in render_explanation(answer)


def test_intervals_are_only_explained_where_some_are_shown() -> None:
    trials = [trial(SCENTED if k % 2 else BASE, f"g{k:02d}", k, seen={"cracked": str(k % 2)}) for k in range(20)]
    assert "9 of 10" not in render_explanation(explain_outcome(trials, OUTCOMES["cracked"]))


def test_of_yes_or_no_it_is_counted_how_often_with_it_and_without() -> None:
    trials = [
        trial(SCENTED if k % 2 else BASE, f"g{k:02d}", k, seen={"cracked": str(int(k % 2 and k != 5))})
        for k in range(20)
    ]
    answer = explain_outcome(trials, OUTCOMES["cracked"])
    assert "yes in 9 of 10 pours with it, in 0 of 10 without it" in answer.sentence
    effect = answer.causes[0].main_effect
    assert effect is not None
    assert effect.counts is not None
    assert (effect.counts.seen, effect.counts.of, effect.counts.rest_seen, effect.counts.rest_of) == (9, 10, 0, 10)
    warm = [trial(BASE, f"w{k:02d}", k, room=("18", "25")[k % 2], seen={"cracked": str(k % 2)}) for k in range(20)]
    room = explain_outcome(warm, OUTCOMES["cracked"])
    assert "yes in 10 of 10 pours above 18 °C, in 0 of 10 at 18 °C or below" in room.sentence


def test_of_grades_it_is_counted_at_the_grade_that_parts_the_pours_best() -> None:
    trials = [
        trial(SCENTED if k % 2 else BASE, f"g{k:02d}", k, seen={"ash": ("0", "2", "1", "3")[k % 4]}) for k in range(20)
    ]
    answer = explain_outcome(trials, OUTCOMES["ash"], Decimal(28))
    assert "up to a half or more in 10 of 10 pours with it, in 0 of 10 without it" in answer.sentence
    text = " ".join(render_explanation(answer).split())
    assert "even chance becomes" in text
    assert "looks stronger than it is" in text
    assert "looks stronger" not in " ".join(render_explanation(replace(answer, causes=())).split())


@pytest.mark.parametrize(
    ("becomes", "said"),
    [
        ((0.84, 0.66, 0.95), "84 % (66 to 95)"),
        ((0.001, 0.0, 0.94), "under 1 % (under 1 to 94)"),
        ((0.999, 0.8, 1.0), "over 99 % (80 to over 99)"),
        ((0.999, 0.998, 1.0), "over 99 %"),
    ],
)
def test_both_ends_of_what_an_even_chance_becomes_are_told(becomes: tuple[float, float, float], said: str) -> None:
    assert even_chance_words(becomes) == said


@pytest.mark.parametrize("outcome", ["cracked", "ash", "hardness"])
def test_no_way_is_told_that_is_not_known(outcome: str) -> None:
    # Alike with it and without, to the last reading: nobody can say whether it makes more of it, or less.
    values = {"cracked": "0110", "ash": "0220", "hardness": "3443"}[outcome]
    trials = [trial(SCENTED if k % 2 else BASE, f"n{k:02d}", k, seen={outcome: values[k % 4]}) for k in range(12)]
    answer = explain_outcome(trials, OUTCOMES[outcome], Decimal(28) if outcome != "cracked" else None)
    (cause,) = answer.causes
    effect = cause.main_effect
    assert effect is not None
    assert effect.direction == ""
    if outcome == "cracked":
        assert "either way" in render_explanation(answer)
        assert [row.said for row in find_effects(answer).rows] == ["either way"]
    certain = replace(answer, causes=(replace(cause, probability=0.9),))
    assert "is the likely cause (90 %): which way it acts cannot be told yet." in certain.sentence


@settings(max_examples=15, deadline=None)
@given(
    st.lists(st.tuples(st.integers(160, 200), st.booleans()), min_size=6, max_size=14),
    st.sampled_from(["room", "kaolin"]),
)
def test_pours_are_counted_as_their_words_say(pours: list[tuple[int, bool]], what: str) -> None:
    # In tenths of a degree, or so many hundredths of a percent of clay: slips of the scale and of the eye among them.
    made = [
        version("clay", additions=f"material: kaolin, rate: {(tenths - 160) / 100} % of oils, at: oils")
        if what == "kaolin" and tenths > 160
        else BASE
        for tenths, _ in pours
    ]
    room = [f"{tenths / 10}" if what == "room" else "19" for tenths, _ in pours]
    trials = [
        trial(made[k], f"c{k:02d}", k, room=room[k], seen={"cracked": str(int(yes))})
        for k, (_, yes) in enumerate(pours)
    ]
    answer = explain_outcome(trials, OUTCOMES["cracked"])
    for factor in answer.table.factors:
        counts = count_seen(answer, factor)
        if counts is None:
            continue
        column = [value for value in answer.table.column(factor.name) if value is not None]
        found = re.fullmatch(r"(above|below) ([\d.]+) .*", counts.words)
        border = 0.0 if found is None else float(found[2])
        below = found is not None and found[1] == "below"
        inside = [(value < border - 1e-6) if below else (value > border + 1e-6) for value in column]
        yes = [item.value.value == 1.0 for item in answer.seen]
        assert counts.of == sum(inside)
        assert counts.rest_of == len(inside) - sum(inside)
        assert counts.seen == sum(one and seen for one, seen in zip(inside, yes, strict=True))
        assert not below or border in column or min(abs(border - value) for value in column) < 0.06
