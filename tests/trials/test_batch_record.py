"""`trial show` is the batch record: every lot, weight, deviation, condition, event, result and decision is on it."""

from __future__ import annotations

import json

from trials.checks import check_trial
from trials.trial_text import render_trial, trial_json

from .examples import TRIAL, outcomes, trial_of

FULL = (
    TRIAL
    + """\
who: Robin
bars: {cut: 10, kept_back: 1, scrapped: 2, lightest: 98.5 g}
release: {decision: hold, who: Robin, why: too soft yet, on: 2026-11-01}
notes: smells of clove
"""
)
# Stable keys: more may come, none may go.
KEYS = {
    "trial",
    "recipe",
    "version",
    "made",
    "sitting",
    "who",
    "size",
    "planned",
    "in_the_pot",
    "as_made",
    "superfat",
    "lots",
    "conditions",
    "portions",
    "events",
    "outcomes",
    "missing",
    "bars",
    "release",
    "not_fit_to_sell",
    "notes",
    "findings",
}


def said(text: str) -> str:
    """A text as one line, however it was wrapped."""
    return " ".join(text.split())


def test_everything_that_a_batch_record_needs_is_on_it_in_80_columns() -> None:
    trial = trial_of(FULL)
    text = render_trial(trial, check_trial(trial), outcomes(), show_all=True)
    assert max(len(line) for line in text.split("\n")) <= 80
    for needed in (
        trial.id,
        trial.version[:8],
        "made 2026-10-03 by Robin",
        "castor oil, at trace 80.0 0.0",
        "sunflower oil, at trace 0.0 80.0",
        "olive oil 450.0 455.0",
        "no rose clay",
        "extra honey 12 g in the clove portion",
        "plain 50 % (give or take 10)",
        "olive oil OL-7 + OL-8",
        "room 19 °C, humidity 55 %, lye 37 °C, oils 41 °C, mould tall-loaf",
        "blending 0:20 clove, for 15 s",
        "scent in 2:40 clove",
        "unmoulded 20 h after pouring",
        "hardness at 28 d 3.1 mm, n 3",
        "gel 100 %, clove portion",
        "10 cut, 1 kept back, 2 scrapped, the lightest 98.5 g",
        "decision: hold, by Robin on 2026-11-01: too soft yet",
        "not fit to sell:",
        "smells of clove",
    ):
        assert needed in said(text), needed


def test_the_same_as_json_keeps_its_keys_and_plain_values() -> None:
    trial = trial_of(FULL)
    tree = json.loads(json.dumps(trial_json(trial, check_trial(trial), outcomes())))
    assert set(tree) >= KEYS
    assert tree["conditions"]["room_c"] == 19.0
    assert tree["bars"] == {"cut": 10, "kept_back": 1, "scrapped": 2, "lightest_grams": 98.5}
    assert tree["release"]["decision"] == "hold"
    assert {line["material"]: line["grams"] for line in tree["in_the_pot"]}["sunflower-oil"] == 80.0
    assert tree["lots"]["olive-oil"] == ["OL-7", "OL-8"]


def test_a_trial_with_nothing_recorded_yet_says_so() -> None:
    trial = trial_of("notes:\n")
    text = said(render_trial(trial, (), outcomes()))
    assert "nothing observed yet" in text
    assert "weights as planned" in text
