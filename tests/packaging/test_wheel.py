"""The wheel that people install works by itself: from inside a formulary, and beside files that are named like ours."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(place), str(SOURCE)]
    done = subprocess.run(command, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode()
    (built,) = place.glob("soap_formulary-*.whl")
    return built


@pytest.fixture(scope="module")
def program(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The `formulary` script in a new environment, with the wheel installed and the libraries of this one beside it."""
    place = tmp_path_factory.mktemp("environment")
    venv.create(place, with_pip=False)
    scripts = place / ("Scripts" if os.name == "nt" else "bin")
    python = scripts / "python"
    pip = [sys.executable, "-m", "pip", "--python", str(python), "install", "--quiet", "--no-deps", "--no-index"]
    done = subprocess.run([*pip, str(wheel)], capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode()
    # The libraries come from this environment, behind the new one's own packages, so that nothing is downloaded.
    paths = sysconfig.get_paths()
    (site,) = place.glob("lib/python*/site-packages")
    (site / "libraries.pth").write_text(f"{paths['purelib']}\n{paths['platlib']}\n", encoding="utf-8")
    return scripts / "formulary"


def run_program(program: Path, *arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME")}
    return subprocess.run(
        [str(program), *arguments],
        cwd=cwd,
        env={**environment, "HOME": str(cwd)},
        capture_output=True,
        encoding="utf-8",
        check=False,
    )


def test_the_wheel_holds_code_data_schemas_and_types_and_no_tests(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    source = {
        str(path.relative_to(SOURCE))
        for package in ("formulary", "trials", "cli")
        for path in (SOURCE / package).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert source <= names
    assert {f"{package}/py.typed" for package in ("formulary", "trials", "cli")} <= names
    assert {name.split("/")[0] for name in names if ".dist-info" not in name} == {"formulary", "trials", "cli"}


def test_the_program_works_from_inside_a_formulary_and_beside_stray_files(program: Path, tmp_path: Path) -> None:
    made = run_program(program, "init", "soap", cwd=tmp_path)
    assert made.returncode == 0, made.stderr
    root = tmp_path / "soap"
    for stray in ("cli.py", "trials.py", "formulary.py", "click.py"):
        (root / stray).write_text("raise SystemExit('the wrong file was imported')\n", encoding="utf-8")
    started = run_program(program, "trial", "start", "first-bar", "--oils", "500g", cwd=root)
    assert started.returncode == 0, started.stderr
    assert (root / "trials").is_dir()  # the formulary's own folder has the name of one of our packages
    for arguments in (["check"], ["batch", "first-bar", "--oils", "1000g"], ["trial", "list"], ["--version"]):
        ran = run_program(program, *arguments, cwd=root)
        assert ran.returncode == 0, ran.stderr
        assert "wrong file" not in ran.stdout + ran.stderr


def test_the_demonstration_runs_from_the_wheel(program: Path, tmp_path: Path) -> None:
    ran = run_program(program, "demo", "harbour", cwd=tmp_path)
    assert (ran.returncode, ran.stderr) == (0, "")
    told = run_program(program, "explain", "working time", cwd=tmp_path / "harbour")
    assert told.returncode == 0
    assert told.stdout.splitlines()[0] in ran.stdout


def test_the_installed_program_is_the_wheels_and_not_this_checkout(program: Path, tmp_path: Path) -> None:
    python = program.with_name("python")
    asked = "import formulary, trials, cli; print(formulary.__file__, trials.__file__, cli.__file__)"
    done = subprocess.run([str(python), "-c", asked], cwd=tmp_path, capture_output=True, encoding="utf-8", check=True)
    for place in done.stdout.split():
        assert Path(place).is_relative_to(program.parents[1])
