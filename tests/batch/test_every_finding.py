"""Every finding that a batch can raise: the smallest kitchen that raises it, its nearest neighbour, and its `do` done.

A finding whose `do` was followed to the letter is gone, and nothing as urgent has come in its place; what stands always
says why in the table.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import pytest

from formulary.batch import checks
from formulary.batch.common_practice import read_common_practice
from formulary.batch.vessel_checks import FULLEST
from formulary.finding import Finding
from formulary.materials import read_values
from tests.batch.finding_cases import CASES, Case

SEVERITIES = ("error", "stop", "warn", "note")
# What a name that is called may stand for where the severity is chosen by the amount.
CHOSEN = {"make": ("warn", "note"), "tell": ("warn", "note")}
MENDED = [case for case in CASES if case.mended is not None]


def finding_of(case: Case) -> Finding:
    found = [each for each in case.triggers.find() if f"{each.severity.value} {each.code}" == case.finding]
    assert found, case.triggers.said()
    return next((each for each in found if case.do in each.do), found[0])


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.finding)
def test_the_smallest_kitchen_raises_it_and_its_neighbour_does_not(case: Case) -> None:
    assert case.finding in case.triggers.said()
    assert case.finding not in case.neighbour.said()


@pytest.mark.parametrize("case", MENDED, ids=lambda case: case.finding)
def test_it_vanishes_when_its_do_is_done_and_nothing_as_urgent_comes(case: Case) -> None:
    assert case.mended is not None
    assert case.do in finding_of(case).do
    before, after = case.triggers.said(), case.mended.said()
    severity, code = case.finding.split()
    assert code not in {said.split()[1] for said in after}
    as_urgent = SEVERITIES[: SEVERITIES.index(severity) + 1]
    assert {said for said in after - before if said.split()[0] in as_urgent} == set()


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.finding)
def test_what_stands_says_why_and_still_says_what_to_do(case: Case) -> None:
    assert (case.mended is None) == bool(case.stands)
    assert case.do in finding_of(case).do


def raised_in(path: Path) -> Iterator[str]:
    """`severity code` of every finding that a module makes, read from its source."""
    for function in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(function, ast.FunctionDef):
            continue
        texts = {
            target.id: [leaf.value for leaf in ast.walk(node.value) if isinstance(leaf, ast.Constant)]
            for node in ast.walk(function)
            if isinstance(node, ast.Assign)
            for target in node.targets
            if isinstance(target, ast.Name)
        }
        for call in ast.walk(function):
            if not (isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.args):
                continue
            for severity in CHOSEN.get(call.func.id, (call.func.id,)):
                if severity not in SEVERITIES:
                    continue
                yield from (f"{severity} {code}" for code in codes_of(call.args[0], texts))


def codes_of(argument: ast.expr, texts: Mapping[str, Sequence[object]]) -> Iterator[str]:
    if isinstance(argument, ast.Constant):
        yield str(argument.value)
    elif isinstance(argument, ast.JoinedStr):
        yield from (f"{vessel}-small" for vessel in FULLEST)
    elif isinstance(argument, ast.Name):
        yield from (str(code) for code in texts[argument.id] if "-" in str(code) and " " not in str(code))
    else:
        assert ast.unparse(argument) == "row.code", "a code that this test cannot read"


def in_the_table() -> Iterator[str]:
    for row in read_common_practice():
        if row.note_below is not None or row.note_above is not None:
            yield f"note {row.code}"
        if row.warn_below is not None or row.warn_above is not None:
            yield f"warn {row.code}"


def test_every_finding_in_the_source_has_its_row() -> None:
    modules = [*Path(checks.__file__).parent.glob("*.py"), Path(read_values.__file__)]
    raised = {said for path in modules for said in raised_in(path)} | set(in_the_table())
    # A value that no fat has is an error of the file, which tests/materials holds.
    raised -= {"error saponification-impossible"}
    assert raised == {case.finding for case in CASES}
    assert len(raised) > 60
