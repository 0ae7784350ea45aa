"""Tries every small change of a module: which of them does no test notice?

`python -m tests.mutants.one_change formulary/batch/lye_checks.py` prints what survives. A change stands in memory only:
this process imports what does not depend on the module, and each change gets a child of it, in which the changed module
takes its place before the tests are imported. So nothing is written, and two changes can be tried at once.
"""

from __future__ import annotations

import ast
import importlib
import importlib.abc
import importlib.machinery
import json
import os
import resource
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).parents[2]
AT_ONCE = 2
# A change that makes a loop endless is noticed, too: by the processor's time, since a busy machine makes others slow.
LONGEST_S = 60

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
    from cosmic_ray import mutating, plugins

    source = (ROOT / module).read_text(encoding="utf-8")
    lines = source.splitlines()
    for name in OPERATORS:
        operator, occurrence = plugins.get_operator(name)(), 0
        while (code := mutating.mutate_code(source, operator, occurrence)) is not None:
            occurrence += 1
            for line, changed in zip(lines, code.splitlines(), strict=False):
                if line != changed:
                    # the star before keyword-only parameters is no sign of multiplication
                    if line.strip() != "*," and " *, " not in line and not line.lstrip().startswith("def "):
                        yield Mutant(module, line.strip(), changed.strip(), code)
                    break


def find_survivors(module: str, tests: Sequence[str]) -> tuple[int, list[Mutant]]:
    """How many changes of a module were tried, and those that none of the tests noticed."""
    _import_what_does_not_depend_on(module)
    _demand_that_tests_pass(module, tests)
    waiting, running, tried, survivors = list(make_mutants(module))[::-1], {}, 0, []
    while waiting or running:
        while waiting and len(running) < AT_ONCE:
            mutant = waiting.pop()
            child = os.fork()
            if child == 0:
                _run_tests(mutant, tests)
            running[child] = mutant
        for child, mutant in list(running.items()):
            ended, status = os.waitpid(child, os.WNOHANG)
            if ended:
                del running[child]
                tried += 1
                if status == 0:
                    survivors.append(mutant)
                    print(f"{tried}: not noticed: {mutant.changed}", file=sys.stderr, flush=True)
        time.sleep(0.005)
    return tried, survivors


def _demand_that_tests_pass(module: str, tests: Sequence[str]) -> None:
    """Tests that fail anyway would seem to notice every change."""
    as_it_is = Mutant(module, "", "", (ROOT / module).read_text(encoding="utf-8"))
    child = os.fork()
    if child == 0:
        _run_tests(as_it_is, tests)
    if os.waitpid(child, 0)[1]:
        raise RuntimeError(f"the tests of {module} fail without any change")


def _run_tests(mutant: Mutant, tests: Sequence[str]) -> None:
    """In a child, which ends here: status 0 when no test notices the change."""
    status = 1
    resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_S, LONGEST_S))
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os.dup2(1, 2)
        sys.meta_path.insert(0, _Changed(mutant))
        import pytest

        options = ["-q", "-x", "-p", "no:cacheprovider", "-p", "no:xdist", "--assert=plain"]
        status = int(pytest.main([*options, "-o", "addopts=", "-m", "not slow", "--import-mode=importlib", *tests]))
    finally:
        os._exit(status)


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Finds the changed module in place of the one on the disk."""

    def __init__(self, mutant: Mutant) -> None:
        self.name, self.code = _dotted(mutant.module), mutant.code
        self.path = str(ROOT / mutant.module)

    def find_spec(self, fullname: str, *_: object) -> importlib.machinery.ModuleSpec | None:
        if fullname != self.name:
            return None
        spec = importlib.machinery.ModuleSpec(fullname, self, origin=self.path)
        spec.has_location = True
        return spec

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self.code, self.path, "exec"), module.__dict__)


def _dotted(path: str) -> str:
    return path.removesuffix(".py").replace("/", ".").removesuffix(".__init__")


def _import_what_does_not_depend_on(module: str) -> None:
    """Every file of the package that neither is the module nor imports it, however far down.

    What a function imports when it is called is found then, in the child.
    """
    imports = {_dotted(str(path.relative_to(ROOT))): path for path in (ROOT / "formulary").rglob("*.py")}
    reached = {name: set(_imported(path)) & imports.keys() for name, path in imports.items()}
    depend = {_dotted(module)}
    while more := {name for name, others in reached.items() if others & depend and name not in depend}:
        depend |= more
    for name in imports.keys() - depend:
        # a package's own file is run when anything in it is imported
        if not any(other in depend for other in _above(name)):
            importlib.import_module(name)
    import hypothesis
    import pytest

    assert hypothesis is not None
    assert pytest is not None
    if (register := sys.modules.get("formulary.materials.register")) is not None:
        register.read_builtin_register()


def _above(name: str) -> Iterator[str]:
    while "." in name:
        name = name.rpartition(".")[0]
        yield name


def _imported(path: Path) -> Iterator[str]:
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.ImportFrom) and node.module is not None and node.level == 0:
            yield node.module
            yield from (f"{node.module}.{name.name}" for name in node.names)
        elif isinstance(node, ast.Import):
            yield from (name.name for name in node.names)


if __name__ == "__main__":
    from tests.mutants.tests_of import MODULES

    os.chdir(ROOT)
    os.environ["HYPOTHESIS_PROFILE"] = "ci"
    changed = sys.argv[1]
    started = time.monotonic()
    count, left = find_survivors(changed, sys.argv[2:] or MODULES[changed])
    keys = [mutant.key for mutant in left]
    print(json.dumps({"tried": count, "seconds": round(time.monotonic() - started), "survivors": keys}))
