"""The same promise as in test_crashes, with the process killed at each system call that writes, git's own included."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from formulary.store import init_store
from tests.store.test_crashes import PLAN, RECIPE, TRIAL, demand_usable, state

pytestmark = [pytest.mark.slow, pytest.mark.skipif(shutil.which("strace") is None, reason="needs strace")]

CODE = f"""
import sys
sys.path.insert(0, sys.argv[2])
sys.dont_write_bytecode = True
from formulary.store import open_store
with open_store(sys.argv[1]) as store:
    files = {{{TRIAL!r}: b"new trial\\n", {PLAN!r}: b"new plan\\n", {RECIPE!r}: b"two\\n"}}
    store.save(files, message="Start", read_from=store.tip, write_working=True)
print("saved")
"""
CALLS = (
    "write,pwrite64,fsync,fdatasync,rename,renameat,renameat2,link,linkat,unlink,unlinkat,mkdir,mkdirat,rmdir,"
    "chmod,fchmod,fchmodat,utimensat,ftruncate,sendfile,copy_file_range"
)


@pytest.fixture
def place() -> Iterator[Path]:
    folder = Path(tempfile.mkdtemp(dir="/dev/shm"))
    with init_store(folder / "pristine") as store:
        files = {RECIPE: b"one\n", "formulary.yaml": b"x\n"}
        store.save(files, message="Start", read_from=None, write_working=True)
    yield folder
    shutil.rmtree(folder)


@pytest.mark.parametrize("call", CALLS.split(","))
def test_killed_at_any_writing_call_the_old_state_or_the_new_is_left(place: Path, call: str) -> None:
    here = str(Path(__file__).parents[2])
    before = state(place / "pristine")
    after = None
    for turn in range(1, 60):
        root = place / "copy"
        shutil.copytree(place / "pristine", root)
        inject = f"inject={call}:signal=KILL:when={turn}"
        command = ["strace", "-f", "-qq", "-o", str(place / "trace"), "-e", f"trace={call}", "-e", inject]
        done = subprocess.run(
            [*command, sys.executable, "-c", CODE, str(root), here], capture_output=True, text=True, check=False
        )
        found = state(root)
        if done.returncode == 0 and "saved" in done.stdout:
            after = found
            assert found[0] == before[0] + 1
        assert found[0] in (before[0], before[0] + 1), (call, turn)
        assert found == before or len(found[1]) == 4, (call, turn)
        demand_usable(root, {})
        shutil.rmtree(root)
        if after is not None and "KILL" not in (place / "trace").read_text():
            break
    assert after is not None
