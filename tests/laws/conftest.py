"""The formulary in which whole seasons are lived."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from formulary import Folder, init_folder


@pytest.fixture(scope="module")
def folder() -> Iterator[Folder]:
    """A formulary in memory, in which each example has recipes of its own."""
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as place:
        yield init_folder(Path(place) / "soap")
