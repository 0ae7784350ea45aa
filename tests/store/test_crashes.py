"""A save that is killed, or that the disk refuses, leaves the old state or the new one, and nothing in the way."""

from __future__ import annotations

import errno
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from formulary.errors import StorageError
from formulary.store import Store, blob_id, init_store, open_store

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")

TRIAL = "trials/2026/t/trial.yaml"
PLAN = "trials/2026/t/planned.yaml"
RECIPE = "recipes/a.yaml"
WRITING = {"os.rename", "os.link", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "os.utime", "fsync"}

Scenario = Callable[[Store], None]


def start_trial(store: Store) -> None:
    """A recipe edited by hand, and two files that the tool writes."""
    files = {TRIAL: b"new trial\n", PLAN: b"new plan\n", RECIPE: b"two\n"}
    known = {RECIPE: blob_id(b"two\n")}
    store.save(files, message="Start a trial", read_from=store.tip, write_working=True, working_read=known)


def change_both(store: Store) -> None:
    """Two files that exist are replaced by the tool."""
    store.save({RECIPE: b"three\n", "formulary.yaml": b"other\n"}, message="x", read_from=store.tip, write_working=True)


def save_edit(store: Store) -> None:
    """The ordinary save of a file edited by hand."""
    store.save({RECIPE: b"two\n"}, message="Edit", read_from=store.tip)


def delete(store: Store) -> None:
    """A file is deleted."""
    store.save({RECIPE: None}, message="Drop", read_from=store.tip, write_working=True)


SCENARIOS: dict[str, tuple[Scenario, dict[str, bytes]]] = {
    "start": (start_trial, {RECIPE: b"two\n"}),
    "change": (change_both, {}),
    "edit": (save_edit, {RECIPE: b"two\n"}),
    "delete": (delete, {}),
}


LASTING = ("formulary.lock", "formulary-tidying.lock")  # files that mean nothing by themselves
QUICK = ("start", "edit")


@pytest.fixture(params=[pytest.param(name, marks=() if name in QUICK else pytest.mark.slow) for name in SCENARIOS])
def scenario(request: pytest.FixtureRequest) -> tuple[Scenario, dict[str, bytes]]:
    return SCENARIOS[request.param]


@pytest.fixture(params=[pytest.param(name, marks=() if name == "edit" else pytest.mark.slow) for name in SCENARIOS])
def scenario_of_a_full_disk(request: pytest.FixtureRequest) -> tuple[Scenario, dict[str, bytes]]:
    return SCENARIOS[request.param]


@pytest.fixture
def pristine(tmp_path: Path) -> Iterator[Path]:
    """A formulary with one save, to be copied for each crash; in memory where the system can, to be quick."""
    memory = Path("/dev/shm")
    place = Path(tempfile.mkdtemp(dir=memory if os.access(memory, os.W_OK) else tmp_path))
    with init_store(place / "pristine") as store:
        store.save({RECIPE: b"one\n", "formulary.yaml": b"x\n"}, message="Start", read_from=None, write_working=True)
    yield place / "pristine"
    shutil.rmtree(place)


def copies(pristine: Path, edits: dict[str, bytes]) -> Iterator[Path]:
    """Fresh copies of the formulary, with a person's unsaved edits in it."""
    for number in range(400):
        place = pristine.parent / f"copy{number}"
        shutil.copytree(pristine, place)
        for path, data in edits.items():
            (place / path).write_bytes(data)
        yield place
        shutil.rmtree(place)


def run_until(root: Path, scenario: Scenario, stop: int, fault: Callable[[], None]) -> int:
    """Runs a save in a child process in which the writing step number `stop` meets `fault`; its exit status."""
    child = os.fork()
    if child:
        _, status = os.waitpid(child, 0)
        return status
    count = 0

    def watch(event: str, arguments: tuple[object, ...]) -> None:
        nonlocal count
        opens = event == "open" and not isinstance(arguments[0], int)
        writes = event in WRITING or (opens and int(str(arguments[2])) & (os.O_WRONLY | os.O_RDWR))
        if writes:
            count += 1
            if count == stop:
                fault()

    real_sync = os.fsync

    def watched_sync(descriptor: int) -> None:
        sys.audit("fsync")
        real_sync(descriptor)

    status = 70
    try:
        with open_store(root) as store:
            os.fsync = watched_sync
            sys.addaudithook(watch)
            scenario(store)
        status = 0
    except StorageError as told:
        status = 3 if all(finding.code == "disk-full" for finding in told.findings) else 4
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        os._exit(status)


def state(root: Path) -> tuple[int, dict[str, str]]:
    """How many commits there are, and what the last holds, as git sees it."""

    def git(*arguments: str) -> str:
        return subprocess.run(["git", *arguments], cwd=root, capture_output=True, text=True, check=True).stdout

    git("fsck", "--full", "--strict")
    lines = git("ls-tree", "-r", "HEAD").splitlines()
    return int(git("rev-list", "--count", "HEAD")), {line.split("\t")[1]: line.split()[2] for line in lines}


def final_state(pristine: Path, scenario: Scenario, edits: dict[str, bytes]) -> tuple[int, dict[str, str]]:
    root = next(copies(pristine, edits))
    with open_store(root) as store:
        scenario(store)
    found = state(root)
    shutil.rmtree(root)
    return found


def demand_usable(root: Path, edits: dict[str, bytes]) -> None:
    """Another save works at once, after which git's index and the folder agree with what was saved."""
    began = time.monotonic()
    with open_store(root) as store:
        store.tip_blobs()
        store.history()
        result = store.save({"recipes/next.yaml": b"next\n"}, message="Next", read_from=store.tip, write_working=True)
        assert not [finding for finding in result.warnings if finding.code == "index-stale"]
        for path, blob in store.tip_blobs().items():
            if path not in edits:
                assert blob_id(store.read_working(path)) == blob
        assert {path for path in store.working_paths() if path not in edits} <= set(store.tip_blobs())
    assert time.monotonic() - began < 4
    staged = subprocess.run(
        ["git", "diff-index", "--cached", "HEAD"], cwd=root, capture_output=True, text=True, check=True
    ).stdout
    assert staged == ""
    # A walk that minds no folder that goes meanwhile: tidying that a killed save had begun takes empty ones away.
    names = [name for _, folders, files in os.walk(root) for name in (*folders, *files)]
    left = [name for name in names if name.endswith((".lock", ".formulary-new")) or "formulary-" in name]
    assert [name for name in left if name not in LASTING] == []


def kill() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def test_a_save_killed_at_any_step_leaves_the_old_state_or_the_new(
    pristine: Path, scenario: tuple[Scenario, dict[str, bytes]]
) -> None:
    run, edits = scenario
    before, after = state(pristine), final_state(pristine, run, edits)
    seen = []
    for step, root in enumerate(copies(pristine, edits), start=1):
        status = run_until(root, run, step, kill)
        found = state(root)
        assert found in (before, after), step
        seen.append(found == after)
        demand_usable(root, edits)
        if os.WIFEXITED(status):
            assert os.WEXITSTATUS(status) == 0
            break
    assert seen.count(False) >= 8
    assert seen.count(True) >= 3
    assert seen == sorted(seen)


def test_a_full_disk_at_any_step_is_told_in_plain_words_and_changes_nothing(
    pristine: Path, scenario_of_a_full_disk: tuple[Scenario, dict[str, bytes]]
) -> None:
    run, edits = scenario_of_a_full_disk

    met = pristine.parent / "met"

    def fault() -> None:
        os.mkdir(met)
        raise OSError(errno.ENOSPC, "No space left on device")

    before, after = state(pristine), final_state(pristine, run, edits)
    for step, root in enumerate(copies(pristine, edits), start=1):
        status = os.WEXITSTATUS(run_until(root, run, step, fault))
        found = state(root)
        assert found in (before, after), step
        assert status in (0, 3), step
        assert status == 3 or found == after, step  # a save that returned is there
        if found == before:
            for path, data in edits.items():
                assert (root / path).read_bytes() == data
        demand_usable(root, edits)
        if status == 0 and not met.exists():
            break
        met.rmdir()


def test_a_git_command_that_holds_the_lock_is_waited_for_and_its_lock_is_never_taken(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    from formulary.store import branch

    store.save({RECIPE: b"one\n"}, message="x", read_from=None)
    lock = store.root / ".git/refs/heads/main.lock"
    lock.write_bytes(b"")
    monkeypatch.setattr(branch, "_PATIENCE_S", 0.05)
    with pytest.raises(StorageError) as fault:
        store.save({RECIPE: b"two\n"}, message="x", read_from=store.tip)
    assert fault.value.findings[0].code == "git-locked"
    assert lock.exists()
    lock.unlink()
    store.save({RECIPE: b"two\n"}, message="x", read_from=store.tip)


def test_a_held_index_is_a_warning_and_the_save_stands(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    from formulary.store import index

    store.save({RECIPE: b"one\n"}, message="x", read_from=None)
    lock = store.root / ".git/index.lock"
    lock.write_bytes(b"")
    monkeypatch.setattr(index, "_PATIENCE_S", 0.05)
    result = store.save({RECIPE: b"two\n"}, message="x", read_from=store.tip)
    assert "index-stale" in [finding.code for finding in result.warnings]
    assert lock.exists()
    assert store.tip_blobs()[RECIPE] == blob_id(b"two\n")


LOOP = """
import sys
from formulary.store import open_store
with open_store(sys.argv[1]) as store:
    for number in range(int(sys.argv[2]), 10**6):
        files = {f"recipes/r{number % 5}.yaml": b"%d" % number, f"trials/2026/t{number % 3}/trial.yaml": b"%d" % number}
        store.save(files, message=str(number), read_from=store.tip, write_working=True)
        print(number, flush=True)
"""


def kill_at_random(pristine: Path, times: int) -> None:
    """Kills a process that saves and saves, at random moments; what it said was saved must be there."""
    seeded = random.Random(7)
    told: list[int] = []
    for _ in range(times):
        arguments = [sys.executable, "-c", LOOP, str(pristine), str(max(told, default=0) + 2)]
        with subprocess.Popen(arguments, stdout=subprocess.PIPE, text=True) as child:
            assert child.stdout is not None
            told.append(int(child.stdout.readline()))
            time.sleep(seeded.uniform(0.0, 0.05))
            child.kill()
            told += map(int, child.stdout.read().split())
        demand_usable(pristine, {})
        with open_store(pristine) as store:
            store.save({"recipes/next.yaml": None}, message="Drop", read_from=store.tip, write_working=True)
            subjects = [saved.subject for saved in store.history() if saved.subject.isdigit()]
            assert set(told) <= set(map(int, subjects))
    state(pristine)


def test_saves_killed_at_random_moments_lose_nothing(pristine: Path) -> None:
    kill_at_random(pristine, 5)


@pytest.mark.slow
def test_saves_killed_at_two_hundred_random_moments_lose_nothing(pristine: Path) -> None:
    kill_at_random(pristine, 200)
