"""Entries are written into the person's file: in any order, comments kept, and nothing else changed."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.errors import InputError
from tests.trials.examples import HEAD, MIDWINTER_CLOVE, TRIAL, TRIAL_ID, folder_with, plan_of, trial_of
from trials import record
from trials.bench import open_bench
from trials.record.file_text import write_entries
from trials.record.new_trial_text import render_new_trial
from trials.trial.elapsed import parse_elapsed
from trials.trial.entry import Entry
from trials.trial.model import Trial

WHOLE_BATTER = MIDWINTER_CLOVE[: MIDWINTER_CLOVE.index("portions:")]


def started(recipe: str = MIDWINTER_CLOVE) -> tuple[str, Trial]:
    """The text of a new trial, and what it says."""
    from datetime import date

    plan = plan_of(recipe)
    text = render_new_trial(TRIAL_ID, plan, date(2026, 10, 3))
    return text, trial_of(text, plan)


def test_a_new_file_is_complete_and_holds_nothing_but_the_plan() -> None:
    text, trial = started()
    assert [portion.name for portion in trial.portions] == ["plain", "clove"]
    assert (trial.as_made, trial.events, trial.observations, trial.after_pour, trial.lots) == ((), (), (), (), {})
    assert trial.conditions.room_c is None
    assert "# planned 38 °C" in text


def test_every_example_in_the_comments_of_a_new_file_can_be_used_as_it_stands() -> None:
    text, trial = started(WHOLE_BATTER)
    uncommented = "\n".join(line[1:] if line.startswith("#  - {") else line for line in text.split("\n"))
    lines = uncommented.split("\n")
    # The examples stand above their key: each goes below it.
    moved: list[str] = []
    waiting: list[str] = []
    for line in lines:
        if line.startswith("  - {"):
            waiting.append(line)
            continue
        moved.append(line)
        if line.endswith(":") and waiting and not line.startswith((" ", "#")):
            moved += waiting
            waiting = []
    used = trial_of("\n".join(moved), trial.plan)
    assert [entry.material for entry in used.as_made] == ["water", "olive-oil", "oat-milk"]
    assert [event.what for event in used.events] == ["lye in", "blending"]
    assert len(used.observations) == 1


EVENTS = [
    ("lye in", "0:00"),
    ("emulsion", "1:10"),
    ("scent in", "2:40"),
    ("light trace", "4:10"),
    ("medium trace", "~7 min"),
    ("poured", "9:30"),
]


def entries(trial: Trial) -> list[Entry]:
    made = [trial.event(what, at) for what, at in EVENTS]
    made += [
        record.blending(trial, "15s", "0:20"),
        record.temperature(trial, "38C", "2:00"),
        trial.observe("hardness", "3.1mm", "3.3mm", age="28d"),
        trial.observe("hardness", "2.5 mm", age="42 d", who="R", note="harder: much"),
        trial.observe("gel", "100 %", age="1d", portion="clove"),
        record.handle(trial, "covered", "0 h"),
        record.handle(trial, "oven", "1 h", temperature="70C", lasted="2 h"),
        record.as_made(trial, "water 283 g"),
        record.as_made(trial, "no rose-clay"),
        record.as_made(trial, "sunflower-oil instead of castor-oil 80 g"),
        record.as_made(trial, "extra honey 12 g at trace", portion="clove"),
        record.lot(trial, "olive-oil", "00123"),
        record.lot(trial, "clove-bud-oil", "no"),
        record.condition(trial, "room", "19C"),
        record.condition(trial, "lye_temperature", "37 °C"),
    ]
    return made


def content(trial: Trial) -> Trial:
    """The trial with its unordered lists in one order."""
    return replace(
        trial,
        observations=tuple(sorted(trial.observations, key=lambda item: (item.age_days, item.outcome))),
        as_made=tuple(sorted(trial.as_made, key=lambda item: item.material)),
    )


LAYOUTS = {
    "as it starts": lambda: started()[0],
    "bare": lambda: (
        HEAD.replace("VERSION", plan_of().version) + "portions: [{name: plain, share: 50}, {name: clove, share: 50}]\n"
    ),
    "braces": lambda: (
        HEAD.replace("VERSION", plan_of().version)
        + "as_made: []   # nothing yet\nevents: []\nlots: {}\nconditions: {mould: tall-loaf}\nobservations: []\n"
        + "portions: [{name: plain, share: 50, events: []}, {name: clove, share: 50, events: []}]\nafter_pour: []"
    ),
}


@settings(max_examples=20)
@given(st.sampled_from(sorted(LAYOUTS)), st.integers(0, 2**32))
def test_any_sequence_of_entries_round_trips_in_any_order_of_entry(layout: str, seed: int) -> None:
    text = LAYOUTS[layout]()
    before = trial_of(text)
    made = entries(before)
    in_order = trial_of(write_entries(text, made))
    Random(seed).shuffle(made)
    mixed_text = text
    for entry in made:
        mixed_text = write_entries(mixed_text, [entry])
        trial_of(mixed_text)  # readable after each
    mixed = trial_of(mixed_text)
    assert content(mixed) == content(in_order)
    assert [event.what for event in mixed.events] == [
        "lye in",
        "blending",
        "emulsion",
        "temperature",
        "scent in",
        "light trace",
        "medium trace",
        "poured",
    ]
    assert mixed.lots["olive-oil"][0].lot == "00123"
    assert mixed.lots["clove-bud-oil"][0].lot == "no"


@pytest.mark.parametrize("portion", ["plain", "clove"])
@pytest.mark.parametrize("layout", sorted(LAYOUTS))
def test_an_event_of_a_portion_joins_that_portions_list(layout: str, portion: str) -> None:
    text = LAYOUTS[layout]()
    trial = trial_of(text)
    made = [trial.event(what, at, portion=portion) for what, at in reversed(EVENTS[1:])]
    after = trial_of(write_entries(text, made))
    found = after.part(portion)
    assert found is not None
    assert [event.what for event in found.events] == [what for what, _ in EVENTS[1:]]
    assert after.events == ()


def test_one_entry_adds_one_line_and_keeps_every_comment() -> None:
    text = TRIAL.replace("VERSION", plan_of().version)
    trial = trial_of(TRIAL)
    changed = write_entries(text, [trial.observe("gel", "90 %", age="1 d", portion="plain")])
    before, after = text.split("\n"), changed.split("\n")
    assert [line for line in after if line not in before] == [
        "  - {age: 1 d, outcome: gel, value: 90 %, portion: plain}"
    ]
    assert [line for line in before if line not in after] == []


def test_an_event_finds_its_place_in_time_among_the_persons_own() -> None:
    text = TRIAL.replace("VERSION", plan_of().version)
    changed = write_entries(text, [trial_of(TRIAL).event("emulsion", "1:30", portion="clove")])
    part = trial_of(changed).part("clove")
    assert part is not None
    assert [event.what for event in part.events][:4] == ["lye in", "blending", "emulsion", "scent in"]


def test_said_again_of_the_same_line_as_made_takes_the_earlier_ones_place() -> None:
    text, trial = started()
    once = write_entries(text, [record.as_made(trial, "water 283 g"), record.as_made(trial, "no rose-clay")])
    twice = write_entries(once, [record.as_made(trial, "water 280 g")])
    after = trial_of(twice)
    assert [(entry.line, entry.weighed_g) for entry in after.as_made] == [("water", 280), ("rose-clay", None)]


def test_what_takes_the_place_of_a_line_keeps_the_comment_beside_it() -> None:
    text = TRIAL.replace("VERSION", plan_of().version)
    changed = write_entries(text, [record.as_made(trial_of(TRIAL), "water 280 g")])
    before, after = text.split("\n"), changed.split("\n")
    assert [line for line in after if line not in before] == [
        "  - {line: water, weighed: 280 g}    # forgot to take the oat milk's water off"
    ]
    assert len(after) == len(before)


def test_a_line_left_out_is_written_as_the_format_shows_it() -> None:
    text, trial = started()
    assert "  - {line: rose-clay, left_out: true}\n" in write_entries(text, [record.as_made(trial, "no rose-clay")])


def test_a_correction_takes_the_place_of_the_same_observation_in_whatever_unit_its_age_was() -> None:
    text, trial = started()
    text = write_entries(text, [trial.observe("hardness", "3.1 mm", age="672 h")])
    text = write_entries(text, [trial.observe("hardness", "3.4 mm", age="28 d", corrects=True)])
    (observation,) = trial_of(text).observations
    assert [reading.text for reading in observation.readings] == ["3.4 mm"]


def test_the_forgotten_replacement_is_the_planned_water_and_what_the_milk_brought() -> None:
    text, trial = started()
    entry = record.forgot_to_replace(trial, "oat-milk")
    after = trial_of(write_entries(text, [entry]))
    planned = trial.plan.pot.grams("water")
    # 80 g of oat milk with 90 % of water bring 72 g.
    assert float(after.as_made[0].weighed_g or 0) == pytest.approx(planned + 72.0, abs=0.05)
    assert "oat-milk" in after.as_made[0].note
    with pytest.raises(InputError) as caught:
        record.forgot_to_replace(after, "oat-milk")
    assert caught.value.findings[0].code == "said-already"


def test_the_forgotten_replacement_is_of_the_water_in_the_jug_however_much_of_the_lye_went_on() -> None:
    text, trial = started()
    spilled = trial_of(write_entries(text, [record.as_made(trial, "lye 300 g")]))
    said = [record.forgot_to_replace(each, "oat-milk").value["weighed"] for each in (trial, spilled)]  # type: ignore[call-overload, index]
    assert said[0] == said[1]


def test_a_weight_of_the_water_that_was_recorded_is_not_added_to() -> None:
    text, trial = started()
    after = trial_of(write_entries(text, [record.as_made(trial, "water 283 g")]))
    with pytest.raises(InputError) as caught:
        record.forgot_to_replace(after, "oat-milk")
    assert "283 g" in caught.value.findings[0].what


def test_two_forgotten_replacements_add_up() -> None:
    recipe = WHOLE_BATTER.replace(
        "additions:\n", "additions:\n  - {material: goat-milk, rate: 5 % of oils, at: oils, water: replaces}\n"
    )
    text, trial = started(recipe)
    milk = trial.plan.materials["goat-milk"].water_percent
    assert milk is not None
    for material in ("oat-milk", "goat-milk"):
        text = write_entries(text, [record.forgot_to_replace(trial, material)])
        trial = trial_of(text, trial.plan)
    assert float(trial.as_made[0].weighed_g or 0) == pytest.approx(
        trial.plan.pot.grams("water") + 72.0 + 50.0 * milk / 100.0, abs=0.1
    )
    assert len(trial.as_made) == 1


def test_only_an_addition_that_was_to_replace_water_can_be_forgotten() -> None:
    _, trial = started()
    with pytest.raises(InputError) as caught:
        record.forgot_to_replace(trial, "oat-milch")
    assert "oat-milk" in caught.value.findings[0].do


@pytest.mark.parametrize("sentence", ["283 g water", "water", "", "honey instead castor-oil", "extra honey"])
def test_a_sentence_of_another_shape_says_which_shapes_there_are(sentence: str) -> None:
    _, trial = started()
    with pytest.raises(InputError) as caught:
        record.as_made(trial, sentence)
    assert "water 283 g" in caught.value.findings[0].do


def test_notes_are_added_below_those_that_are_there() -> None:
    text, trial = started()
    for note in ("Smells of clove: strong", "second # note", "third"):
        text = write_entries(text, [record.note(trial, note)])
    assert trial_of(text).notes.split("\n") == ["Smells of clove: strong", "second # note", "third"]


def test_time_by_the_clock_counts_from_when_the_lye_went_in() -> None:
    from datetime import UTC, datetime

    text, trial = started()
    start = datetime(2026, 10, 3, 14, 5, 0, tzinfo=UTC)
    trial = trial_of(write_entries(text, [record.lye_in(trial, start)]))
    assert record.elapsed_now(trial, start.replace(minute=9, second=10)) == "4:10"
    with pytest.raises(InputError):
        record.elapsed_now(trial, start.replace(day=5))
    with pytest.raises(InputError):
        record.elapsed_now(started()[1], start)


ONE_DECISION = {
    "as recorded": "release:\n  decision: sell\n  who: R\n  why: firm; mild\n  on: 2026-11-20\n",
    "with remarks": "release:   # by phone\n  # asked twice\n  decision: sell   # yes\n  who: R\n\n"
    "  why: |\n    firm; mild\n  on: 2026-11-20\n  despite:\n    - cure-short\n# below\n",
    "braces": 'release: {decision: sell, who: R, why: "firm; mild", on: 2026-11-20}   # yes\n',
    "over lines": 'release: {decision: sell, who: R,\n  why: "firm; mild", on: 2026-11-20}\n',
    "a list": "release:\n  - decision: sell\n    who: R\n    why: firm; mild\n    on: 2026-11-20\n",
    "the last line": "release:\n  decision: sell\n  who: R\n  why: firm; mild\n  on: 2026-11-20",
}


@pytest.mark.parametrize("layout", sorted(ONE_DECISION))
def test_every_decision_stays_in_the_record_and_the_last_one_holds(layout: str) -> None:
    text = f"bars: {{cut: 9}}\n{ONE_DECISION[layout]}"
    text = HEAD.replace("VERSION", plan_of().version) + text
    first = trial_of(text).release
    assert first is not None
    for number, decision in enumerate(("hold", "discard"), start=1):
        entry = record.release(trial_of(text), decision, who="R", why="recall: rancid", on="2026-12-01")
        assert "stays in the record" in entry.remark
        text = write_entries(text, [entry])
        trial = trial_of(text)
        assert trial.release is not None
        assert trial.release.decision == decision
        assert trial.decided_before[0] == first
        assert len(trial.decided_before) == number
        assert trial.sold == first
        assert trial.bars.cut == 9
    assert ONE_DECISION[layout].count("#") == text.count("#"), "remarks stay"


@pytest.mark.parametrize(("who", "why"), [("", "firm"), ("Orla", ""), (" ", "firm"), ("Orla", " \n ")])
def test_nothing_is_decided_without_a_name_and_a_reason(who: str, why: str) -> None:
    with pytest.raises(InputError) as caught:
        record.release(started()[1], "sell", who=who, why=why)
    assert caught.value.findings[0].code == "empty-entry"


def test_a_decision_has_its_day_and_is_not_recorded_twice(tmp_path: Path) -> None:
    folder = folder_with(tmp_path / "soap")
    bench = open_bench(folder)
    now = datetime(2026, 10, 3, 9, tzinfo=UTC)
    trial = bench.start("midwinter-clove", oils="1000g", now=now, draw_code=lambda: "k7wq")
    trial = bench.record(record.release(trial, "hold", who="R", why="soft"), now=now)
    assert trial.release is not None
    assert trial.release.on == now.date()
    with pytest.raises(InputError, match="recorded already"):
        bench.record(record.release(trial, "hold", who="R", why="soft"), now=now)
    trial = bench.record(record.release(trial, "hold", who="R", why="soft"), now=now.replace(day=9))
    assert [each.on for each in trial.decided_before] == [now.date()]
    folder.close()


def test_bars_are_counted() -> None:
    text, trial = started()
    after = trial_of(write_entries(text, record.bars(trial, cut="10", kept_back="1", lightest="98.5 g")))
    assert (after.bars.cut, after.bars.kept_back, after.bars.lightest_g) == (10, 1, pytest.approx(98.5))


def test_a_correction_of_one_blending_leaves_the_others() -> None:
    text, trial = started()
    for lasted, at in (("15 s", "0:20"), ("10 s", "1:00")):
        text = write_entries(text, [record.blending(trial, lasted, at)])
    text = write_entries(text, [trial.event("blending", "1:00", lasted="25 s", corrects=True)])
    assert [event.for_s for event in trial_of(text).events] == [15, 25]


@pytest.mark.parametrize(
    ("said", "written"),
    [
        ("4:10", '"4:10"'),
        ("250s", '"4:10"'),
        ("4min", '"4:00"'),
        ("~4 min", "~4 min"),
        ("3-5 min", "3-5 min"),
        ("unknown", "unknown"),
        ("4.55 s", "4.55 s"),
    ],
)
def test_a_time_is_written_as_exactly_as_it_was_known(said: str, written: str) -> None:
    text, trial = started()
    changed = write_entries(text, [trial.event("emulsion", said)])
    at = next(line for line in changed.split("\n") if "what: emulsion" in line).partition("{at: ")[2]
    assert at.partition(", what")[0].strip('"') == written.strip('"')
    assert trial_of(changed).events[0].at == parse_elapsed(said)


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("coconut oil 230 g", "coconut-oil 230 g"),
        ("no rose clay", "no rose-clay"),
        ("olive oil instead of castor oil 80 g", "olive-oil instead of castor-oil 80 g"),
    ],
)
def test_a_material_in_plain_words_is_told_with_hyphens(said: str, meant: str) -> None:
    _, trial = started()
    with pytest.raises(InputError) as fault:
        record.as_made(trial, said)
    assert fault.value.findings[0].do == f'write "{meant}"'
    assert record.as_made(trial, meant)
