"""A trial's file is read as meant, and everything wrong with it is said at once, with its place."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest

from tests.trials.examples import HEAD, TRIAL, faults, plan_of, read, trial_of
from trials.trial.elapsed import Elapsed
from trials.trial.model import LotUse


def test_the_example_of_the_format_reads_as_it_says() -> None:
    trial = trial_of(TRIAL)
    assert trial.sitting == "2026-10-03"
    assert trial.size == ("oils", "1000 g")
    assert [entry.material for entry in trial.as_made] == [
        "water",
        "olive-oil",
        "castor-oil",
        "rose-clay",
        "honey",
        "clove-bud-oil",
    ]
    assert trial.lots["clove-bud-oil"] == (LotUse("CB-2291"),)
    assert trial.lots["olive-oil"] == (LotUse("OL-7", Decimal(300)), LotUse("OL-8", Decimal(155)))
    assert (trial.conditions.room_c, trial.conditions.humidity_percent) == (Decimal(19), Decimal(55))
    plain, clove = trial.portions
    assert (plain.share, plain.by_eye) == (Decimal(50), Decimal(10))
    assert [(event.what, event.at.low_s) for event in clove.events] == [
        ("lye in", 0),
        ("blending", 20),
        ("scent in", 160),
        ("light trace", 250),
        ("poured", 570),
    ]
    assert clove.events[1].for_s == 15
    assert [(step.what, step.at_h) for step in trial.after_pour] == [
        ("covered", 0),
        ("sides loosened", 3),
        ("unmoulded", 20),
    ]
    gel, hardness = trial.observations
    assert (gel.age_days, gel.portion, gel.readings[0].value) == (1, "clove", 100)
    assert [reading.text for reading in hardness.readings] == ["3.1 mm", "3.3 mm", "3.0 mm"]
    assert [reading.value for reading in hardness.readings] == [Decimal("3.1"), Decimal("3.3"), Decimal("3.0")]


def test_a_file_as_it_starts_out_with_empty_keys_is_complete() -> None:
    trial = trial_of(
        "as_made:\nlots:\n  olive-oil:\nconditions:\n  room:\nevents:\nafter_pour:\nobservations:\nnotes:\nbars:\n"
    )
    assert trial.events == ()
    assert trial.lots == {}
    assert trial.conditions.room_c is None


@pytest.mark.parametrize(
    ("text", "elapsed"),
    [
        ("4:10", Elapsed(Decimal(250), Decimal(250))),
        ("1:02:00", Elapsed(Decimal(3720), Decimal(3720))),
        ("250 s", Elapsed(Decimal(250), Decimal(250))),
        ("~4 min", Elapsed(Decimal(240), Decimal(240), True)),
        ("3-5 min", Elapsed(Decimal(180), Decimal(300))),
        ("unknown", Elapsed(None, None)),
    ],
)
def test_times_are_kept_as_well_as_they_were_known(text: str, elapsed: Elapsed) -> None:
    trial = trial_of(f'events:\n  - {{at: "{text}", what: light trace}}\n')
    assert trial.events[0].at == elapsed


@pytest.mark.parametrize(
    ("word", "told"),
    [
        ("seized", "formulary trial observe TRIAL seized lost --age 0d"),
        ("Seizing", "its time is that of `too thick to pour`"),
        ("false trace", "formulary trial observe TRIAL 'false trace' lost --age 0d"),
        ("cracked", "formulary trial observe TRIAL cracked yes --age 0d"),
        ("light trase", "did you mean light trace?"),
    ],
)
def test_what_is_observed_and_no_event_is_told_how_to_record(word: str, told: str) -> None:
    _, findings = read(f'events: [{{at: "0:30", what: {word}}}]\n')
    (found,) = [finding for finding in findings if finding.code == "unknown-event"]
    assert told in found.do


WRONG = {
    "time-backwards": 'events: [{at: "4:10", what: light trace}, {at: "2:00", what: scent in}]',
    "event-before-lye": 'events: [{at: "-2:00", what: scent in}]',
    "lye-in-zero": 'events: [{at: "0:30", what: lye in}]',
    "unknown-event": 'events: [{at: "0:30", what: light trase}]',
    "stages-backwards": 'events: [{at: "3:00", what: thick trace}, {at: "4:00", what: light trace}]',
    "unknown-outcome": "observations: [{age: 28 d, outcome: hardnes, value: 3 mm}]",
    "off-scale": "observations: [{age: 1 d, outcome: riced, value: a bit}]",
    "bad-value": "observations: [{age: 28 d, outcome: hardness, value: 3 g}]",
    "portions-total": "portions: [{name: plain, share: 50}, {name: clove, share: 45}]",
    "portions-gets": (
        "portions: [{name: plain, share: 50, gets: {clove-bud-oil: 10}},"
        " {name: clove, share: 50, gets: {clove-bud-oil: 80}}]"
    ),
    "portion-missing": "portions: [{name: plain, share: 100}]",
    "reserved-name": "portions: [{name: whole, share: 50, instead_of: plain}, {name: clove, share: 50}]",
    "unknown-portion": "observations: [{age: 1 d, outcome: gel, value: 100 %, portion: clov}]",
    "unknown-line": "as_made: [{line: oliv-oil, weighed: 450 g}]",
    "unknown-material": "as_made: [{line: castor-oil, instead: sunflowr-oil}]",
    "as-made-shape": "as_made: [{line: rose-clay, left_out: true, weighed: 3 g}]",
    "as-made-stage": "as_made: [{line: rose-clay, weighed: 3 g, at: trace}]",
    "as-made-twice": "as_made: [{line: rose-clay, weighed: 3 g}, {line: rose-clay, left_out: true}]",
    "missing-key": "as_made: [{extra: honey, weighed: 3 g}]",
    "plan-differs": "size: {oils: 900 g}",
    "lot-not-in-pot": 'lots: {honey: "H-1"}',
    "unknown-key": "colour: blue",
    "bars-total": "bars: {cut: 10, scrapped: 11}",
    "not-a-choice": "release: {decision: sel, who: R, why: fine}",
}


@pytest.mark.parametrize("code", WRONG)
def test_each_fault_is_found_with_its_place_and_what_to_do(code: str) -> None:
    trial, findings = read(HEAD + WRONG[code] + "\n")
    assert trial is None
    assert [finding.code for finding in findings] == [code]
    assert all(finding.place.line is not None and finding.do for finding in findings)


def test_names_that_were_nearly_right_come_back_with_the_nearest() -> None:
    text = (
        HEAD + "observations: [{age: 28 d, outcome: hardnes, value: 3 mm}]\nas_made: [{line: oliv-oil, weighed: 1 g}]\n"
    )
    said = " ".join(finding.do for finding in read(text)[1])
    assert "hardness" in said
    assert "olive-oil" in said


@pytest.mark.parametrize(
    "lacking",
    [
        "events: [{what: light trace, %s}]\n",
        "portions: [{name: plain, share: 50, events: [{what: light trace, %s}]}, {name: clove, share: 50}]\n",
        "after_pour: [{what: cut, %s}]\n",
        "observations: [{outcome: gel, value: 100 %%, %s}]\n",
    ],
)
def test_a_time_that_is_lacking_can_be_written_as_it_is_told(lacking: str) -> None:
    (fault,) = read(HEAD + lacking % "note: x")[1]
    assert fault.code == "missing-key"
    told = re.search(r"`(\w+: .+)`", fault.do)
    assert told is not None
    assert read(HEAD + lacking % told[1])[1] == ()


def test_all_faults_of_a_file_are_told_together() -> None:
    text = "\n".join(WRONG[code] for code in ("time-backwards", "unknown-outcome", "unknown-line", "plan-differs"))
    assert sorted(faults(text + "\n")) == ["plan-differs", "time-backwards", "unknown-line", "unknown-outcome"]


def test_preparations_may_stand_before_lye_in() -> None:
    trial = trial_of('events: [{at: "-40:00", what: lye mixed}, {at: "-15:00", what: oils melted}]\n')
    assert [event.at.low_s for event in trial.events] == [-2400, -900]


def test_a_bare_number_where_a_unit_is_due_says_which_units_there_are() -> None:
    trial, findings = read(HEAD + "observations: [{age: 28, outcome: hardness, value: 3.1}]\n")
    assert trial is None
    assert [finding.code for finding in findings] == ["bad-value", "bad-value"]
    assert "3.1 mm" in findings[1].do


def test_an_age_before_the_soap_was_made_is_refused() -> None:
    assert faults("observations: [{age: -2 d, outcome: gel, value: 100 %}]\n") == ["bad-value"]


def test_a_lot_of_another_material_is_named() -> None:
    from dataclasses import replace

    from formulary.materials.model import Lot
    from formulary.materials.register import read_builtin_register
    from tests.trials.examples import PATH, TRIAL_ID, outcomes
    from trials.read.trial import parse_trial

    register = dict(read_builtin_register())
    register["castor-oil"] = replace(register["castor-oil"], lots={"CA-1": Lot("CA-1")})
    text = HEAD.replace("VERSION", plan_of().version) + 'lots: {olive-oil: "CA-1"}\n'
    _, findings = parse_trial(text, TRIAL_ID, PATH, plan=plan_of(), outcomes=outcomes(), materials=register)
    assert [finding.code for finding in findings] == ["lot-of-another"]
    assert "castor-oil" in findings[0].what


def test_the_version_must_be_the_one_that_was_planned() -> None:
    trial, findings = read(HEAD.replace("VERSION", "0" * 40))
    assert trial is None
    assert [finding.code for finding in findings] == ["plan-differs"]


def test_an_own_event_word_is_known() -> None:
    from formulary.materials.register import read_builtin_register
    from tests.trials.examples import PATH, TRIAL_ID, outcomes
    from trials.read.trial import parse_trial

    text = HEAD.replace("VERSION", plan_of().version) + 'events: [{at: "3:00", what: swirled}]\n'
    trial, findings = parse_trial(
        text,
        TRIAL_ID,
        PATH,
        plan=plan_of(),
        outcomes=outcomes(),
        own_events=("swirled",),
        materials=read_builtin_register(),
    )
    assert findings == ()
    assert trial is not None
    assert trial.events[0].what == "swirled"


def test_any_bytes_give_findings_and_never_an_exception() -> None:
    from hypothesis import given
    from hypothesis import strategies as st

    from tests.trials.examples import TRIAL_ID, outcomes
    from trials.read.trial import parse_trial

    @given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: ("format: 1\n" + text).encode()))
    def check(data: bytes) -> None:
        trial, findings = parse_trial(data, TRIAL_ID, "trial.yaml", plan=plan_of(), outcomes=outcomes())
        assert trial is None
        assert findings

    check()


def test_a_file_is_read_without_the_register_whatever_is_in_the_jug() -> None:
    from tests.trials.examples import PATH, TRIAL_ID, outcomes
    from trials.read.trial import parse_trial

    entries = "{extra: honey, at: lye water, weighed: 5 g}, {line: water, weighed: 200-220 g}"
    text = f"{HEAD.replace('VERSION', plan_of().version)}as_made: [{entries}, {{line: lye, weighed: 300 g}}]\n"
    trial, findings = parse_trial(text, TRIAL_ID, PATH, plan=plan_of(), outcomes=outcomes())
    assert trial is not None
    assert findings == ()


def test_a_line_at_two_stages_must_say_which_but_water_is_the_lyes_unless_said() -> None:
    from formulary.batch.model import PotLine
    from tests.trials.examples import round_plan

    plan = round_plan(
        PotLine("olive-oil", "oil", "oils", 500.0),
        PotLine("olive-oil", "oil", "trace", 50.0),
        PotLine("water", "addition", "trace", 20.0, water="extra"),
        PotLine("water", "water", "lye water", 150.0),
    )
    assert faults("as_made: [{line: olive-oil, weighed: 400 g}]\n", plan) == ["as-made-stage"]
    assert faults("as_made: [{line: olive-oil, weighed: 40 g, at: trace}]\n", plan) == []
    assert faults("as_made: [{line: water, weighed: 30 g, at: top}]\n", plan) == ["as-made-stage"]
    assert faults("as_made: [{line: water, weighed: 140 g}, {line: water, weighed: 30 g, at: trace}]\n", plan) == []
    both = "as_made: [{line: water, weighed: 140 g}, {line: water, weighed: 150 g, at: lye water}]\n"
    assert faults(both, plan) == ["as-made-twice"]
