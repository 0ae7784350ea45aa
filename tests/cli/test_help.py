"""Every command is found, explains itself and fits a terminal."""

from __future__ import annotations

from importlib import import_module

import click
import pytest

from cli.main import COMMANDS, GROUPS
from tests.cli.conftest import Run, every_command

EVERY = [tuple(words.split()) for words, _ in every_command()]


def test_each_command_stands_in_one_group() -> None:
    grouped = [name for _, names in GROUPS for name in names]
    assert sorted(grouped) == sorted(COMMANDS)


@pytest.mark.parametrize("words", EVERY, ids=" ".join)
def test_each_command_explains_itself_within_80_columns(words: tuple[str, ...], formulary: Run) -> None:
    ran = formulary(*words, "--help")
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith(f"Usage: formulary {' '.join(words)}")
    assert len(ran.out.splitlines()) > 3
    assert max(map(len, ran.out.splitlines())) <= 80


@pytest.mark.parametrize("words", EVERY, ids=" ".join)
def test_each_option_says_what_it_is_for(words: tuple[str, ...]) -> None:
    module, _ = COMMANDS[words[0]]
    command: click.Command = getattr(import_module(module), words[0].replace("-", "_"))
    for word in words[1:]:
        assert isinstance(command, click.Group)
        command = command.commands[word]
    assert command.help
    for option in command.params:
        assert not isinstance(option, click.Option) or option.help, option.name


def test_the_whole_help_fits_and_tells_the_exit_statuses(formulary: Run) -> None:
    ran = formulary("--help")
    assert ran.status == 0
    assert max(map(len, ran.out.splitlines())) <= 80
    for status in ("0", "1", "2", "3", "70", "130"):
        assert f"\n  {status} " in ran.out


def test_a_call_without_a_command_shows_the_help_as_wrong_input(formulary: Run) -> None:
    for words in ([], ["trial"], ["chart"]):
        ran = formulary(*words)
        assert (ran.status, ran.out) == (2, "")
        assert ran.err.startswith("Usage: formulary")
        assert "error" not in ran.err.splitlines()[0]


def test_the_version_is_told_whether_installed_or_not(formulary: Run) -> None:
    ran = formulary("--version")
    assert ran.status == 0
    assert ran.out.startswith("formulary")
