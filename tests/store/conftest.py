"""Real repositories for the tests of the store, away from the settings of whoever runs them."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from formulary.store import Store, init_store
from tests.nobodys_settings import leave_own_settings

RunGit = Callable[..., str]


@pytest.fixture(autouse=True)
def _own_settings(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    leave_own_settings(monkeypatch, tmp_path_factory.mktemp("home"))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with init_store(tmp_path / "formulary") as opened:
        yield opened


@pytest.fixture
def run_git(tmp_path: Path) -> RunGit:
    """Git as a person runs it, in the formulary unless another folder is given."""

    def run(*arguments: str, folder: Path | None = None, stdin: str = "") -> str:
        done = subprocess.run(
            ["git", "-c", "user.name=Ann Example", "-c", "user.email=ann@example.org", *arguments],
            cwd=folder or tmp_path / "formulary",
            input=stdin.encode(),
            capture_output=True,
            check=False,
        )
        assert done.returncode == 0, (arguments, done.stdout, done.stderr)
        return done.stdout.decode()

    return run


def save_one(store: Store, path: str, text: str, message: str = "Change it") -> str:
    """Writes a file, as an editor would, and saves it."""
    data = text.encode()
    place = store.root / path
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(data)
    store.refresh()
    return store.save({path: data}, message=message, read_from=store.tip).commit
