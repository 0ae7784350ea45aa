"""One demonstration, built once for all tests of it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from trials.bench import open_bench
from trials.demo.build import SEED, Demonstration, build_demonstration

TODAY = date(2026, 11, 25)


@pytest.fixture(scope="session")
def demonstration(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demonstration]:
    """Never to be written to. Another seed than the shipped one, so that nothing can be tuned to that one's answer."""
    root = tmp_path_factory.mktemp("demo") / "harbour soap"
    with pytest.MonkeyPatch.context() as patch:
        for name in [name for name in os.environ if name.startswith("GIT_")]:
            patch.delenv(name)
        patch.setenv("HOME", str(tmp_path_factory.mktemp("home")))
        yield build_demonstration(root, today=TODAY, seed=SEED + 1)


@pytest.fixture
def copy_of_it(demonstration: Demonstration, tmp_path: Path) -> Demonstration:
    """The same in a folder of its own, to be written to."""
    root = tmp_path / "harbour soap"
    shutil.copytree(demonstration.folder.root, root)
    return replace(demonstration, bench=open_bench(root))
