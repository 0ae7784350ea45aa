"""The settings say what holds for every batch; each fault is told with its place; the schema agrees."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import jsonschema
import pytest

from formulary.batch.settings_checks import check_settings
from formulary.document.write import render_document
from formulary.finding import MAX_FINDINGS
from formulary.settings import Settings, for_calculation, parse_settings, settings_tree
from tests.schemas import read_as_editor, read_schema

SCHEMA = read_schema("formulary")
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)

EVERYTHING = """\
format: 1
name: harbour soap
scale: {step: 1 g, alkali_step: 0.1 g}
measures: {tsp: 5 ml, tbsp: 15 ml, cup: 250 ml, fl_oz: 29.5735 ml}
cure: {days: 28, water_lost: 60 %}
currency: crowns
temperature: °F
moulds: {tall-loaf: 25 x 8 x 7 cm, pipe: cylinder 8 x 20 cm}
vessels: {pot: 5 l, jug: 1000 ml}
checks: {off: [castor-much, scent-much]}
outcomes: {stickiness: {scale: graded, grades: [none, some, much]}}
events: {swirled: colours drawn through one another}
follow_up: {hardness: [28 d, 90 d]}
"""


def test_every_key_is_read_and_passes_the_schema() -> None:
    settings, findings = parse_settings(EVERYTHING)
    assert findings == ()
    assert settings.scale_step_g == 1
    assert settings.alkali_step_g == Decimal("0.1")
    assert settings.measures_ml["fl_oz"] == Decimal("29.5735")
    assert (settings.cure_days, settings.water_lost_percent) == (28, 60)
    assert settings.moulds == {"tall-loaf": "25 x 8 x 7 cm", "pipe": "cylinder 8 x 20 cm"}
    assert settings.vessels_ml == {"pot": 5000, "jug": 1000}
    assert settings.temperature == "°F"
    assert settings.checks_off == ("castor-much", "scent-much")
    assert set(settings.free) == {"outcomes", "events", "follow_up"}
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    VALIDATOR.validate(read_as_editor(EVERYTHING))


def test_what_is_not_said_is_usual() -> None:
    assert parse_settings("format: 1\n") == (Settings(), ())


def test_settings_that_were_written_out_read_back_the_same() -> None:
    settings, _ = parse_settings(EVERYTHING)
    again, findings = parse_settings(render_document(settings_tree(settings)))
    assert findings == ()
    assert again == for_calculation(settings)
    # Neither prices nor what somebody reads are a part of a frozen plan.
    assert again == Settings(**{**_values(settings), "currency": "", "temperature": "°C"})


def _values(settings: Settings) -> dict[str, Any]:
    return {name: getattr(settings, name) for name in Settings.__dataclass_fields__}


def test_reader_and_schema_know_the_same_keys() -> None:
    _, findings = parse_settings("format: 1\nzzzzqqqq: 1\n")
    told = next(finding.do for finding in findings if finding.code == "unknown-key")
    assert set(told.removeprefix("keys here: ").split(", ")) == set(SCHEMA["properties"])


@pytest.mark.parametrize(
    ("before", "after", "code"),
    [
        ("format: 1\n", "", "missing-key"),
        ("format: 1\n", "format: 2\n", "format-newer"),
        ("step: 1 g,", "step: 1,", "bad-value"),
        ("step: 1 g,", "step: 1 ml,", "bad-value"),
        ("step: 1 g,", "step: -1 g,", "negative"),
        ("step: 1 g,", "steps: 1 g,", "unknown-key"),
        ("scale: {step: 1 g, alkali_step: 0.1 g}", "scale: 1 g", "wrong-shape"),
        ("tsp: 5 ml", "tsp: 5", "bad-value"),
        ("tsp: 5 ml", "tsp: 5 g", "bad-value"),
        ("tsp: 5 ml", "spoon: 5 ml", "unknown-key"),
        ("days: 28", "days: -1", "out-of-bounds"),
        ("days: 28", "days: 28 d", "bad-value"),
        ("60 %", "0.6", "fraction"),
        ("60 %", "160", "out-of-bounds"),
        ("[castor-much, scent-much]", "castor-much", "wrong-shape"),
        ("[castor-much, scent-much]", "[[castor-much]]", "wrong-shape"),
        ("pipe: cylinder 8 x 20 cm", "pipe: {across: 8 cm}", "wrong-shape"),
        ("pot: 5 l", "pot: 5 kg", "bad-value"),
        ("pot: 5 l", "pan: 5 l", "unknown-key"),
        ("outcomes: {stickiness: {scale: graded, grades: [none, some, much]}}", "outcomes: [a]", "wrong-shape"),
    ],
)
def test_what_the_reader_refuses_the_schema_refuses(before: str, after: str, code: str) -> None:
    assert before in EVERYTHING
    text = EVERYTHING.replace(before, after)
    _, findings = parse_settings(text)
    assert code in [finding.code for finding in findings]
    assert all(finding.place.line for finding in findings)
    assert not VALIDATOR.is_valid(read_as_editor(text))


@pytest.mark.parametrize(
    ("text", "code"), [("scale: {step: 0 g}", "out-of-bounds"), ("vessels: {jug: 0 ml}", "out-of-bounds")]
)
def test_a_scale_of_no_step_and_a_jug_that_holds_nothing_are_refused(text: str, code: str) -> None:
    _, findings = parse_settings(f"format: 1\n{text}\n")
    assert [finding.code for finding in findings] == [code]


def test_a_file_with_very_many_faults_tells_the_first_and_that_there_are_more() -> None:
    text = "format: 1\n" + "".join(f"unknown-{number}: 1\n" for number in range(5000))
    _, findings = parse_settings(text, "formulary.yaml")
    assert len(findings) == MAX_FINDINGS
    assert {finding.code for finding in findings[:-1]} == {"unknown-key"}
    assert findings[-1].code == "too-many-findings"
    assert findings[-1].place.line == findings[-2].place.line
    _, told = parse_settings("\n".join(text.splitlines()[:51]), "formulary.yaml")
    assert [finding.code for finding in told] == ["unknown-key"] * 50


def test_what_another_block_should_hold_is_told_by_an_example_of_its_own() -> None:
    for text, example in (("events: [swirled]", "swirled: "), ("outcomes: [a]", "scale: "), ("follow_up: a", "[28 d]")):
        (finding,) = parse_settings(f"format: 1\n{text}\n")[1]
        assert example in finding.do


def test_a_mould_that_is_no_size_and_a_check_that_is_none_are_told_where_they_stand() -> None:
    text = "format: 1\nmoulds:\n  tall: 25 x 8 x 7 cm\n  tube: 7 cm diameter x 20 cm\n"
    settings, findings = parse_settings(f"{text}checks: {{off: [castor-much, lye-excess]}}\n")
    assert findings == ()
    mould, check = check_settings(settings)
    assert (mould.severity.value, mould.place.path) == ("error", "formulary.yaml")
    assert (mould.place.line, mould.place.column) == (4, 9)
    assert "tube" in mould.what
    assert (check.severity.value, check.place.line, check.place.column) == ("warn", 5, 29)
    assert "lye-excess" in check.what
