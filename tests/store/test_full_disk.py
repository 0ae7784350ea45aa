"""On a disk that is really full a save is refused and nothing has changed, or it stands."""

from __future__ import annotations

import os
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from formulary.errors import StorageError
from formulary.store import init_store

pytestmark = pytest.mark.slow


@pytest.fixture
def small_disk() -> Iterator[Path]:
    place = Path(tempfile.mkdtemp())
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(place)], capture_output=True, check=False
    )
    if made.returncode != 0:
        pytest.skip("this system lets the test make no small disk")
    yield place
    subprocess.run(["umount", str(place)], check=True)
    place.rmdir()


def test_a_save_on_a_full_disk_is_refused_or_stands(small_disk: Path) -> None:
    refused = saved = 0
    told: set[str] = set()
    with init_store(small_disk / "f") as store:
        store.save({"recipes/a.yaml": b"one", "formulary.yaml": b"x"}, message="x", read_from=None, write_working=True)
        for free_kb in range(0, 160, 4):
            filler = small_disk / "filler"
            filler.unlink(missing_ok=True)
            free = os.statvfs(small_disk).f_bavail * os.statvfs(small_disk).f_bsize
            filler.write_bytes(bytes(max(0, free - free_kb * 1024)))
            before = store.tip
            files = {
                "recipes/a.yaml": b"%d" % free_kb * 300,
                f"trials/2026/t{free_kb}/trial.yaml": b"%d" % free_kb * 900,
            }
            try:
                store.save(files, message="x", read_from=store.tip, write_working=True)
                saved += 1
            except StorageError as fault:
                told.update(finding.code for finding in fault.findings)
                store.refresh()
                refused += store.tip == before
            assert store.working_changes() == {}
            subprocess.run(["git", "fsck", "--full", "--strict"], cwd=store.root, check=True, capture_output=True)
        filler.unlink()
        store.save({"recipes/b.yaml": b"fine"}, message="x", read_from=store.tip, write_working=True)
        status = ["git", "status", "--porcelain", "recipes", "trials", "formulary.yaml"]
        assert subprocess.run(status, cwd=store.root, check=True, capture_output=True).stdout == b""
    assert told == {"disk-full"}
    assert refused > 5
    assert saved > 5
    assert refused + saved == 40
