"""A formulary to run commands in, through the entry point that people run, away from their own settings."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import click
import pytest

from cli.main import COMMANDS, run
from cli.main import formulary as program
from formulary.folder.starting import init_folder
from tests.nobodys_settings import leave_own_settings

SOURCE = Path(__file__).parents[2]

BASE = """\
format: 1
name: Harbour base   # the one that always works
oils:
  olive-oil: 53
  coconut-oil: 25
  rice-bran-oil: 22
lye: {alkali: sodium-hydroxide, superfat: 5}
water: {lye_concentration: 33}
"""


@dataclass(frozen=True)
class Ran:
    """What a command line did."""

    status: int
    out: str
    err: str


Run = Callable[..., Ran]


def every_command() -> Iterator[tuple[str, click.Command]]:
    """Every command by its words, each before those within it."""
    for name in COMMANDS:
        command = program.get_command(click.Context(program), name)
        assert command is not None
        yield from _commands_within(name, command)


def _commands_within(words: str, command: click.Command) -> Iterator[tuple[str, click.Command]]:
    yield words, command
    if isinstance(command, click.Group):
        for inner, found in command.commands.items():
            yield from _commands_within(f"{words} {inner}", found)


@pytest.fixture(autouse=True)
def _own_settings(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    own = tmp_path_factory.mktemp("home")
    (own / ".gitconfig").write_text("[user]\n\tname = The maker\n\temail = maker@localhost\n", encoding="utf-8")
    leave_own_settings(monkeypatch, own)


@pytest.fixture(scope="session")
def _model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("model") / "harbour"
    with init_folder(root, name="Harbour soap") as folder:
        files = {"recipes/harbour-base.yaml": BASE.encode()}
        folder.store.save(files, message="The base", read_from=folder.store.tip, write_working=True)
    return root


@pytest.fixture
def home(tmp_path: Path, _model: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A formulary with one saved base recipe; the current folder is in it."""
    root = tmp_path / "harbour"
    shutil.copytree(_model, root)
    monkeypatch.chdir(root)
    return root


@pytest.fixture
def formulary(capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs a command line through the entry point, in this process."""

    def call(*arguments: str) -> Ran:
        capsys.readouterr()
        status = run(arguments)
        captured = capsys.readouterr()
        return Ran(status, captured.out, captured.err)

    return call


def run_apart(*arguments: str, cwd: Path, **environment: str) -> Ran:
    """Runs a command line in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "cli.main", *arguments],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(SOURCE), **environment},
        capture_output=True,
        check=False,
    )
    return Ran(done.returncode, done.stdout.decode(), done.stderr.decode())
