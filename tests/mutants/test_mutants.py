"""Mutation testing of lye, water and limits: every small change is noticed, or listed with why it cannot be.

Run by hand: `pytest -m slow -n 0 tests/mutants` (half an hour of two processors). Changes are made by the general tool
Cosmic Ray and tried by `one_change`, one module a process. `survivors.csv` lists the changes that no test can notice,
each with the reason.
"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.mutants.one_change import ROOT
from tests.mutants.tests_of import MODULES

# Reasons that hold for every change of their kind are named once.
REASONS = {
    "digits": "only how many digits a finding tells",
    "billionth": "differs only for amounts within a billionth of the bound",
}


def read_survivors() -> dict[tuple[str, str, str], str]:
    """The changes that are known not to be noticed, with why."""
    with Path(__file__).with_name("survivors.csv").open(encoding="utf-8", newline="") as file:
        return {
            (row["module"], row["line"], row["changed"]): REASONS.get(row["why"], row["why"])
            for row in csv.DictReader(file)
        }


@pytest.mark.slow
@pytest.mark.parametrize("module", MODULES)
def test_every_mutant_is_noticed_or_listed(module: str) -> None:
    pytest.importorskip("cosmic_ray")
    command = [sys.executable, "-m", "tests.mutants.one_change", module]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    report = json.loads(done.stdout)
    print(f"{module}: {report['tried']} changes, {len(report['survivors'])} not noticed, {report['seconds']} s")
    survivors = {tuple(key) for key in report["survivors"]}
    listed = {key for key in read_survivors() if key[0] == module}
    assert report["tried"] > len(survivors)
    assert survivors - listed == set(), "a change that no test notices"
    assert listed - survivors == set(), "listed as surviving, but noticed"


def test_every_survivor_stands_in_the_code_with_a_reason() -> None:
    for (module, line, _), why in read_survivors().items():
        assert module in MODULES
        assert line in [text.strip() for text in (ROOT / module).read_text(encoding="utf-8").splitlines()]
        assert len(why) > 10


def test_the_tests_that_must_notice_are_there() -> None:
    for module, tests in MODULES.items():
        assert (ROOT / module).is_file()
        assert [name for name in tests if not (ROOT / name).is_file()] == []
