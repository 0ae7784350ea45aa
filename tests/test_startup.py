"""Starting is quick because nothing is imported that a command does not need."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[1]
HEAVY = {"git", "gitdb", "numpy", "deepdiff", "matplotlib", "filelock", "platformdirs"}
# Loads the entry point, runs a command line, and prints which packages it took.
PROGRAM = """
import io, sys, contextlib
sys.path.insert(0, {source!r})
from cli.main import run
with contextlib.redirect_stdout(io.StringIO()):
    status = run({arguments!r})
print(status, *sorted({{name.split(".")[0] for name in sys.modules}}))
"""


def packages_loaded_by(program: str, cwd: Path) -> tuple[str, set[str]]:
    done = subprocess.run([sys.executable, "-I", "-c", program], cwd=cwd, capture_output=True, check=True)
    status, *packages = done.stdout.decode().split()
    return status, set(packages)


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from formulary.folder.starting import init_folder

    folder = tmp_path_factory.mktemp("startup") / "soap"
    init_folder(folder).close()
    return folder


@pytest.mark.parametrize(
    "arguments",
    [
        ["--help"],
        ["batch", "--help"],
        ["batch", "first-bar", "--oils", "1000g"],
        ["batch", "first-bar", "--oils", "1000g", "--json"],
        ["show", "first-bar"],
        ["check"],
    ],
)
def test_help_batch_show_and_check_import_nothing_heavy(arguments: list[str], root: Path) -> None:
    status, packages = packages_loaded_by(PROGRAM.format(source=str(SOURCE), arguments=arguments), root)
    assert status == "0"
    assert packages & HEAVY == set()


def test_a_weigh_out_loads_nothing_that_only_saves_or_looks_back(root: Path) -> None:
    program = PROGRAM.replace('name.split(".")[0]', "name")
    arguments = ["batch", "first-bar", "--oils", "1000g"]
    status, modules = packages_loaded_by(program.format(source=str(SOURCE), arguments=arguments), root)
    saving = {"saving", "index", "journal", "names", "person", "trees", "undoing", "tidying"}
    looking_back = {
        "formulary.history.lineage",
        "formulary.changes.compare",
        "formulary.folder.saving",
        "formulary.document.edit",
    }
    assert status == "0"
    assert modules & ({f"formulary.store.{name}" for name in saving} | looking_back) == set()


def test_a_status_of_saved_files_loads_no_trial_and_nothing_that_compares(root: Path) -> None:
    program = PROGRAM.replace('name.split(".")[0]', "name")
    status, modules = packages_loaded_by(program.format(source=str(SOURCE), arguments=["status"]), root)
    assert status == "0"
    assert (
        modules & {"trials.checks", "trials.files", "formulary.changes.compare", "formulary.changes.message"} == set()
    )


def test_help_reads_no_yaml_and_loads_no_recipes(root: Path) -> None:
    _, packages = packages_loaded_by(PROGRAM.format(source=str(SOURCE), arguments=["--help"]), root)
    assert packages & (HEAVY | {"ruamel", "_ruamel_yaml", "trials"}) == set()


@pytest.mark.parametrize("package", ["formulary", "trials"])
def test_importing_the_library_loads_nothing_yet(package: str, tmp_path: Path) -> None:
    program = f"import sys; sys.path.insert(0, {str(SOURCE)!r}); import {package}; print(0, *sys.modules)"
    _, modules = packages_loaded_by(program, tmp_path)
    assert modules & (HEAVY | {"ruamel", "ruamel.yaml", "_ruamel_yaml"}) == set()


THREADS = """
import os, sys
sys.path.insert(0, {source!r})
from cli.main import main
try:
    main(["--version"])
except SystemExit:
    pass
print(os.environ["OPENBLAS_NUM_THREADS"], os.environ["OMP_NUM_THREADS"])
"""


def test_small_matrices_are_not_divided_over_threads_unless_the_person_says_so(tmp_path: Path) -> None:
    program = [sys.executable, "-c", THREADS.format(source=str(SOURCE))]
    environment = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    environment["OMP_NUM_THREADS"] = "3"
    done = subprocess.run(program, cwd=tmp_path, env=environment, capture_output=True, check=True)
    assert done.stdout.decode().split()[-2:] == ["1", "3"]
