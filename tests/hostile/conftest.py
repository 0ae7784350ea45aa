"""A stranger's formulary for each test, away from the settings of whoever runs it."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from formulary.store import suspects
from tests.hostile.canary import Canary, make_canary
from tests.nobodys_settings import leave_own_settings


@pytest.fixture(autouse=True)
def _own_settings(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    leave_own_settings(monkeypatch, tmp_path_factory.mktemp("home"))
    monkeypatch.setattr(suspects, "SMALL", 0)  # so that git is asked about every folder, as about a large one


@pytest.fixture
def canary(tmp_path: Path) -> Iterator[Canary]:
    """In memory where the system can, to be quick."""
    memory = Path("/dev/shm")
    place = Path(tempfile.mkdtemp(dir=memory if os.access(memory, os.W_OK) else tmp_path))
    yield make_canary(place)
    shutil.rmtree(place)
