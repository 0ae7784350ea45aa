"""The README's own commands and code do what it says, in the order in which they stand there."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from cli.main import COMMANDS, run
from tests.nobodys_settings import leave_own_settings

SOURCE = Path(__file__).parents[1]
README = (SOURCE / "README.md").read_text(encoding="utf-8")
# The names that the README's text gives to the two trials of the walk; real ones are drawn when a trial starts.
EXAMPLE_CODES = ("k7wq", "m3hd")


def blocks(language: str) -> list[str]:
    """The README's fenced blocks of a language, in order."""
    return re.findall(rf"^```{language}\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    leave_own_settings(monkeypatch, tmp_path / "home")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def codes(formulary: Path) -> list[str]:
    """The four characters of each trial, the base recipe's first."""
    return [path.name[-4:] for path in sorted(formulary.glob("trials/*/*"))]


def write_down(formulary: Path, record: str) -> None:
    """Puts each heading's lines of the README's record under the same heading of every trial's file."""
    parts = re.findall(r"^(\w+):\n((?:  .*\n)+)", record, flags=re.MULTILINE)
    assert parts
    for path in formulary.glob("trials/*/*/trial.yaml"):
        text = path.read_text(encoding="utf-8")
        for heading, lines in parts:
            assert f"\n{heading}:\n" in text
            text = text.replace(f"\n{heading}:\n", f"\n{heading}:\n{lines}", 1)
        path.write_text(text, encoding="utf-8")


def walk(folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Path:
    here = folder
    for block in blocks("console"):
        for line in block.splitlines():
            assert line.startswith("$ "), line
            program, *arguments = shlex.split(line[2:])
            if program == "cd":
                here = here / arguments[0]
                monkeypatch.chdir(here)
                continue
            assert program == "formulary"
            known = dict(zip(EXAMPLE_CODES, codes(here), strict=False))
            status = run([known.get(word, word) for word in arguments])
            told = capsys.readouterr()
            assert status == 0, f"{line}\n{told.out}\n{told.err}"
            assert told.out
            is_entry = arguments[:1] == ["trial"] and arguments[1] not in ("start", "show", "list")
            assert not (is_entry and "note " in told.out), f"{line}\n{told.out}"
        if "trial start" in block:
            (record,) = blocks("yaml")
            write_down(here, record)
    return here


def test_the_walk_can_be_walked(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    formulary = walk(folder, monkeypatch, capsys)
    assert len(codes(formulary)) == 2
    for line in [line for block in blocks("console") for line in block.splitlines()]:
        for name in re.findall(r"-o (\S+)", line):
            assert (formulary / name).stat().st_size > 1000


def test_the_library_example_runs(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    walk(folder, monkeypatch, capsys)
    monkeypatch.chdir(folder)
    (example,) = blocks("python")
    names: dict[str, object] = {}
    exec(compile(example, "README.md", "exec"), names)
    assert {"variant", "batch", "version", "trial", "review", "answer"} <= set(names)


def test_two_lines_set_it_up_and_the_build_run_uses_the_second() -> None:
    first, second = blocks("sh")
    assert first.strip().endswith("formulary demo")
    assert second.strip().endswith("-m pytest")
    for line in (first, second):
        assert len(line.strip().splitlines()) == 1
        assert line.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    build_run = (SOURCE / ".ci" / "run").read_text(encoding="utf-8")
    (wanted,) = re.findall(r'grep -m1 -F "(.*)" README.md', build_run)
    found = [line for line in README.splitlines() if wanted in line]
    assert found[0] == second.strip()


def test_the_readme_names_no_command_that_is_not_there() -> None:
    named = set(re.findall(r"`?formulary ([a-z-]+)", "\n".join(re.findall(r"`[^`\n]*`|^\$ .*$", README, flags=re.M))))
    assert named
    assert named <= set(COMMANDS)
