"""The published schemas of a trial's two files say what their readers say, so that editors complete and check alike."""

from __future__ import annotations

from typing import Any

import jsonschema
import pytest

from formulary.batch.model import ROLES
from formulary.recipes.model import COVERS, STAGES
from tests.schemas import read_as_editor, read_schema
from tests.trials.examples import HEAD, TRIAL, plan_of, read
from tests.trials.record.test_recording import entries, started
from tests.trials.test_reading_a_trial import WRONG
from trials.outcomes.built_in import BUILT_IN
from trials.read.trial import SIZES
from trials.trial.model import DECISIONS, EVENT_WORDS, HANDLING_WORDS
from trials.trial.plan import parse_plan, render_plan

# What a schema cannot say of a file: sums, order, other files, the maker's own words.
BEYOND_A_SCHEMA = {
    "as-made-shape",
    "as-made-stage",
    "as-made-twice",
    "bad-value",
    "bars-total",
    "event-before-lye",
    "lot-not-in-pot",
    "lye-in-zero",
    "off-scale",
    "plan-differs",
    "portion-missing",
    "portions-gets",
    "portions-total",
    "stages-backwards",
    "time-backwards",
    "unknown-event",
    "unknown-line",
    "unknown-material",
    "unknown-outcome",
    "unknown-portion",
}

EVERYTHING = (
    TRIAL
    + """\
who: R
bars: {cut: 10, kept_back: 1, scrapped: 1, lightest: 98.5 g}
release: {decision: hold, who: R, why: too soft, on: 2026-11-01}
despite: [scent-limit]
notes: none
"""
)


def validator(name: str) -> jsonschema.Draft202012Validator:
    schema = read_schema(name)
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


TRIAL_SCHEMA, PLANNED_SCHEMA = validator("trial"), validator("planned")


def data(text: str) -> Any:
    return read_as_editor(text.replace("VERSION", plan_of().version))


def known_keys(text: str, within: str) -> set[str]:
    """The keys that the reader knows, as it tells them of an unknown one."""
    _, findings = read(text)
    told = next(
        finding
        for finding in findings
        if finding.code == "unknown-key" and (finding.place.field or "").startswith(within)
    )
    return set(told.do.removeprefix("keys here: ").split(", "))


@pytest.mark.parametrize("text", [TRIAL, EVERYTHING, HEAD, started()[0]])
def test_what_the_reader_takes_passes(text: str) -> None:
    assert read(text)[0] is not None
    TRIAL_SCHEMA.validate(data(text))


def test_what_is_recorded_passes() -> None:
    from trials.record.file_text import write_entries

    text, trial = started()
    TRIAL_SCHEMA.validate(data(write_entries(text, entries(trial))))


@pytest.mark.parametrize("code", sorted(set(WRONG) - BEYOND_A_SCHEMA))
def test_what_the_reader_refuses_the_schema_refuses_where_it_can(code: str) -> None:
    assert not TRIAL_SCHEMA.is_valid(data(HEAD + WRONG[code] + "\n"))


@pytest.mark.parametrize(
    ("snippet", "within", "path"),
    [
        ("zzzzqqqq: 1", "zzzzqqqq", ()),
        ("conditions: {zzzzqqqq: 1}", "conditions", ("conditions",)),
        ("bars: {zzzzqqqq: 1}", "bars", ("bars",)),
        ("release: {decision: sell, who: R, why: x, zzzzqqqq: 1}", "release", ("$defs", "decision")),
        ("release: [{decision: sell, who: R, why: x, zzzzqqqq: 1}]", "release", ("$defs", "decision")),
        ("events: [{at: '0:00', what: lye in, zzzzqqqq: 1}]", "events", ("$defs", "event")),
        ("as_made: [{line: water, weighed: 3 g, zzzzqqqq: 1}]", "as_made", ("$defs", "as_made")),
        ("portions: [{name: plain, share: 100, zzzzqqqq: 1}]", "portions", ("$defs", "portion")),
        ("after_pour: [{at: 0 h, what: covered, zzzzqqqq: 1}]", "after_pour", ("$defs", "handling")),
        ("observations: [{age: 1 d, outcome: gel, value: 1 %, zzzzqqqq: 1}]", "observations", ("$defs", "observation")),
    ],
)
def test_reader_and_schema_know_the_same_keys(snippet: str, within: str, path: tuple[str, ...]) -> None:
    node: Any = TRIAL_SCHEMA.schema
    for part in path:
        node = node[part] if part in node else node["properties"][part]
    assert known_keys(f"{HEAD}{snippet}\n", within) - {"zzzzqqqq"} == set(node["properties"])


def test_reader_and_schema_know_the_same_words() -> None:
    schema: Any = TRIAL_SCHEMA.schema
    assert tuple(schema["properties"]["size"]["properties"]) == SIZES
    assert schema["properties"]["conditions"]["properties"]["cover"]["enum"] == [*COVERS, None]
    assert schema["$defs"]["decision"]["properties"]["decision"]["enum"] == list(DECISIONS)
    assert schema["$defs"]["as_made"]["properties"]["at"]["enum"] == list(STAGES)
    assert schema["$defs"]["event"]["properties"]["what"]["examples"] == list(EVENT_WORDS)
    assert schema["$defs"]["handling"]["properties"]["what"]["examples"] == list(HANDLING_WORDS)
    named = schema["$defs"]["observation"]["properties"]["outcome"]["examples"]
    assert named == [outcome.name for outcome in BUILT_IN]


def test_a_frozen_plan_passes_and_its_lines_have_the_roles_and_stages_that_there_are() -> None:
    PLANNED_SCHEMA.validate(data(render_plan(plan_of())))
    schema: Any = PLANNED_SCHEMA.schema
    line = schema["properties"]["pot"]["items"]["properties"]
    assert line["role"]["enum"] == list(ROLES)
    assert line["at"]["enum"] == list(STAGES)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("edition:", "editions:"),
        ("role: oil,", "role: butter,"),
        ("weigh: 450 g", "weigh: 450 ml"),
        ("format: 1\n", "format: 2\n"),
    ],
)
def test_a_plan_that_its_reader_refuses_the_schema_refuses(before: str, after: str) -> None:
    text = render_plan(plan_of()).replace(before, after, 1)
    assert parse_plan(text)[0] is None
    assert not PLANNED_SCHEMA.is_valid(data(text))
