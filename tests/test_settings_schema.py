"""The published schema of formulary.yaml says what the reader says."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from formulary.batch.settings_checks import check_settings
from formulary.finding import has_errors
from formulary.settings import parse_settings
from tests.schemas import read_as_editor, read_schema
from trials.due.due import read_follow_up
from trials.outcomes.known import read_outcomes
from trials.outcomes.outcome import DIRECTIONS, Scale

SCHEMA = read_schema("formulary")
VALIDATOR = Draft202012Validator(SCHEMA)
WHOLE: dict[str, Any] = {
    "format": 1,
    "name": "Harbour soap",
    "scale": {"step": "1 g", "alkali_step": "0.1 g"},
    "measures": {"tsp": "5 ml", "tbsp": "15 ml", "cup": "250 ml", "fl_oz": "29.5735 ml"},
    "moulds": {"tall-loaf": "25 x 8 x 7 cm"},
    "vessels": {"pot": "3 l", "jug": "800 ml"},
    "cure": {"days": 28, "water_lost": "60 %"},
    "currency": "EUR",
    "temperature": "°F",
    "outcomes": {"scent left": {"scale": "graded", "grades": ["none", "some", "much"], "ages": ["28 d", "90 d"]}},
    "events": {"sprinkled": "petals on top"},
    "follow_up": {"hardness": ["28 d"], "gel": []},
    "checks": {"off": ["castor-much"]},
}
# What both must refuse: key, value.
WRONG = [
    ("colour", "blue"),
    ("format", 2),
    ("temperature", "F"),
    ("scale", {"step": 1}),
    ("scale", {"steps": "1 g"}),
    ("scale", {"step": "1 cm"}),
    ("measures", {"spoon": "5 ml"}),
    ("measures", {"tsp": "5 g"}),
    ("vessels", {"pot": "3"}),
    ("cure", {"days": -1}),
    ("cure", {"water_lost": 160}),
    ("outcomes", {"scent left": {"unit": "mm"}}),
    ("outcomes", {"scent left": {"scale": "graded", "grades": ["none"]}}),
    ("outcomes", {"scent left": {"scale": "measured", "direction": "up"}}),
    ("checks", {"on": []}),
]


def is_read_without_an_error(tree: dict[str, Any]) -> bool:
    settings, findings = parse_settings(json.dumps(tree))
    outcomes, faults = read_outcomes(settings)
    return not has_errors([*findings, *faults, *read_follow_up(settings, outcomes)[1]])


def test_the_schema_is_one_and_knows_the_readers_words() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    outcome = SCHEMA["properties"]["outcomes"]["additionalProperties"]["properties"]
    assert set(outcome["scale"]["enum"]) == {scale.value for scale in Scale if scale is not Scale.COLOUR}
    assert tuple(outcome["direction"]["enum"]) == DIRECTIONS


def test_a_file_with_every_key_is_right_for_both() -> None:
    assert set(WHOLE) == set(SCHEMA["properties"])
    VALIDATOR.validate(WHOLE)
    assert is_read_without_an_error(WHOLE)


@pytest.mark.parametrize("key", [key for key in WHOLE if key != "format"])
def test_every_key_may_be_left_out_but_the_format(key: str) -> None:
    tree = {name: value for name, value in WHOLE.items() if name != key}
    VALIDATOR.validate(tree)
    assert is_read_without_an_error(tree)
    assert not VALIDATOR.is_valid({key: WHOLE[key]})
    assert not is_read_without_an_error({key: WHOLE[key]})


@pytest.mark.parametrize(("key", "value"), WRONG)
def test_what_the_reader_refuses_the_schema_refuses(key: str, value: object) -> None:
    tree = {**WHOLE, key: value}
    assert not is_read_without_an_error(tree)
    assert not VALIDATOR.is_valid(tree)


def test_the_files_that_we_write_fit(tmp_path: Path) -> None:
    from formulary.folder.starting import init_folder

    init_folder(tmp_path / "soap", name="no: 1 # of ours").close()
    text = (tmp_path / "soap/formulary.yaml").read_text(encoding="utf-8")
    VALIDATOR.validate(read_as_editor(text))


def test_every_key_stands_in_the_file_that_init_writes_and_can_be_taken_over(tmp_path: Path) -> None:
    from formulary.folder.starting import init_folder

    init_folder(tmp_path / "soap").close()
    text = (tmp_path / "soap/formulary.yaml").read_text(encoding="utf-8")
    shown = re.sub(r"^# ((?:  )*[a-z_]+.*:.*|  .*)$", r"\1", text, flags=re.MULTILINE)
    lines = [line for line in shown.splitlines() if not re.match(r"[A-Z]|percent, count", line)]
    tree = read_as_editor("\n".join(lines))
    assert set(tree) == set(SCHEMA["properties"])
    VALIDATOR.validate(tree)
    assert is_read_without_an_error(tree)
    assert check_settings(parse_settings(json.dumps(tree))[0]) == ()
