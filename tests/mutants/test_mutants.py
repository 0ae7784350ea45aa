"""Mutation testing of lye and water chemistry and of scent limits: every small change is noticed, or listed with why.

Run by hand: `pytest -m slow tests/mutants` (some twenty minutes). Mutants are made by the general tool Cosmic Ray, one
change at a time, in a copy of the packages; the quick tests of chemistry and batches then run against the copy.
`survivors.csv` lists the changes that no test can notice, each with the reason.
"""

from __future__ import annotations

import csv
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
CHEMISTRY = (
    "tests/chemistry/test_figures_by_hand.py",
    "tests/chemistry/test_laws_of_the_formulas.py",
    "tests/outside/test_alkali_tables.py",
)
EXAMPLES = ("tests/outside/test_worked_examples.py",)
BATCHES = (
    "tests/batch/test_limits_and_lye.py",
    "tests/batch/test_stops.py",
    "tests/batch/test_alkali_as_bought.py",
    "tests/batch/test_fat_and_acid_in_additions.py",
    "tests/batch/test_balance_with_everything.py",
)
# module -> the tests that must notice a change of it, the quickest first
MODULES = {
    "formulary/chemistry/alkali.py": (*CHEMISTRY, *EXAMPLES, "tests/chemistry/test_examples_in_docstrings.py"),
    "formulary/chemistry/acids.py": (*CHEMISTRY, "tests/chemistry/test_examples_in_docstrings.py"),
    "formulary/chemistry/water.py": (*CHEMISTRY, *EXAMPLES),
    "formulary/chemistry/solubility.py": CHEMISTRY,
    "formulary/chemistry/superfat_band.py": CHEMISTRY,
    "formulary/chemistry/constituents.py": (
        "tests/chemistry/test_figures_by_hand.py",
        "tests/chemistry/test_examples_in_docstrings.py",
        "tests/outside/test_register_tables.py",
    ),
    "formulary/batch/scent_checks.py": BATCHES,
}
_SIGNS = [("Add", "Sub"), ("Sub", "Add"), ("Mul", "Div"), ("Div", "Mul")]
_ORDERS = [("Lt", "LtE"), ("LtE", "Lt"), ("Gt", "GtE"), ("GtE", "Gt"), ("Lt", "Gt"), ("Gt", "Lt"), ("LtE", "GtE")]
_ORDERS += [("GtE", "LtE"), ("Eq", "NotEq"), ("NotEq", "Eq"), ("Is", "IsNot"), ("IsNot", "Is")]
OPERATORS = [
    *(f"core/ReplaceBinaryOperator_{before}_{after}" for before, after in _SIGNS),
    *(f"core/ReplaceComparisonOperator_{before}_{after}" for before, after in _ORDERS),
    "core/ReplaceAndWithOr",
    "core/ReplaceOrWithAnd",
    "core/ReplaceUnaryOperator_Delete_Not",
    "core/ReplaceUnaryOperator_Delete_USub",
    "core/NumberReplacer",
    "core/ZeroIterationForLoop",
]


@dataclass(frozen=True)
class Mutant:
    """One change of one line of a module."""

    module: str
    line: str
    changed: str
    code: str

    @property
    def key(self) -> tuple[str, str, str]:
        return (self.module, self.line, self.changed)


def make_mutants(module: str) -> Iterator[Mutant]:
    """Every change of a module that the operators make, but those inside its docstrings and comments."""
    plugins = pytest.importorskip("cosmic_ray.plugins")
    mutating = pytest.importorskip("cosmic_ray.mutating")
    source = (ROOT / module).read_text(encoding="utf-8")
    lines = source.splitlines()
    for name in OPERATORS:
        operator, occurrence = plugins.get_operator(name)(), 0
        while (code := mutating.mutate_code(source, operator, occurrence)) is not None:
            occurrence += 1
            for line, changed in zip(lines, code.splitlines(), strict=False):
                if line != changed:
                    yield Mutant(module, line.strip(), changed.strip(), code)
                    break


def is_noticed(copy: Path, mutant: Mutant) -> bool:
    """Whether a test fails when the mutant stands in the copy."""
    target = copy / mutant.module
    source = target.read_text(encoding="utf-8")
    try:
        target.write_text(mutant.code, encoding="utf-8")
        # a stale compiled file of the same size and second would hide the change; drawn examples are the same each time
        environment = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "HYPOTHESIS_PROFILE": "ci"}
        command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *MODULES[mutant.module]]
        try:
            return (
                subprocess.run(
                    command, cwd=copy, env=environment, capture_output=True, timeout=120, check=False
                ).returncode
                != 0
            )
        except subprocess.TimeoutExpired:
            return True
    finally:
        target.write_text(source, encoding="utf-8")


def read_survivors() -> dict[tuple[str, str, str], str]:
    """The changes that are known not to be noticed, with why."""
    with Path(__file__).with_name("survivors.csv").open(encoding="utf-8", newline="") as file:
        return {(row["module"], row["line"], row["changed"]): row["why"] for row in csv.DictReader(file)}


@pytest.mark.slow
@pytest.mark.parametrize("module", MODULES)
def test_every_mutant_is_noticed_or_listed(module: str, tmp_path: Path) -> None:
    for part in ("formulary", "trials", "cli", "tests", "pyproject.toml"):
        whole = ROOT / part
        (shutil.copytree if whole.is_dir() else shutil.copy)(whole, tmp_path / part)
    survivors = {mutant.key for mutant in make_mutants(module) if not is_noticed(tmp_path, mutant)}
    listed = {key for key in read_survivors() if key[0] == module}
    assert survivors - listed == set(), "a change that no test notices"
    assert listed - survivors == set(), "listed as surviving, but noticed"


def test_every_survivor_stands_in_the_code_with_a_reason() -> None:
    for (module, line, _), why in read_survivors().items():
        assert line in [text.strip() for text in (ROOT / module).read_text(encoding="utf-8").splitlines()]
        assert len(why) > 10
