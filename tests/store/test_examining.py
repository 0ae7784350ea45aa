"""The store says what is wrong with a repository."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from formulary.identity import blob_id
from formulary.store import Store, open_store
from tests.hostile.canary import Canary, make_canary
from tests.store.conftest import RunGit, save_one


def codes(store: Store, *, deep: bool = False) -> list[str]:
    return [finding.code for finding in store.examine(deep=deep)]


def test_a_sound_repository_has_nothing_to_tell(store: Store) -> None:
    assert codes(store, deep=True) == []
    save_one(store, "recipes/a.yaml", "one\n")
    save_one(store, "trials/2026/t/trial.yaml", "one\n")
    assert codes(store, deep=True) == []


def test_damaged_and_missing_objects_are_named_with_the_files_they_were(store: Store) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    save_one(store, "recipes/a.yaml", "two\n")
    save_one(store, "recipes/b.yaml", "b\n")
    for data, damage in ((b"one\n", None), (b"b\n", b"\0\0")):
        identifier = blob_id(data)
        place = store.root / ".git/objects" / identifier[:2] / identifier[2:]
        place.chmod(0o644)
        if damage is None:
            place.unlink()
        else:
            place.write_bytes(damage)
    told = [finding.what for finding in store.examine(deep=True) if finding.code == "git-damaged"]
    assert any(blob_id(b"one\n") in what and "recipes/a.yaml" in what for what in told)
    assert any(blob_id(b"b\n") in what and "recipes/b.yaml" in what for what in told)
    assert not any(blob_id(b"two\n") in what for what in told)


def test_locks_that_git_left_are_named_and_left_alone(store: Store) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    for name in ("index.lock", "refs/heads/main.lock", "HEAD.lock"):
        place = store.root / ".git" / name
        place.touch()
        os.utime(place, (1_000_000_000, 1_000_000_000))
    assert codes(store) == ["git-lock-left"] * 3
    assert (store.root / ".git/index.lock").exists()


def test_what_is_half_done_is_told(store: Store, run_git: RunGit) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    run_git("checkout", "-q", "--detach")
    assert codes(store) == ["head-detached"]
    run_git("checkout", "-q", "main")
    run_git("checkout", "-q", "-b", "side")
    save_one(store, "recipes/a.yaml", "two\n")
    run_git("checkout", "-q", "main")
    save_one(store, "recipes/a.yaml", "three\n")
    with pytest.raises(AssertionError):
        run_git("merge", "side")
    assert codes(store) == ["git-in-progress", "git-unmerged"]
    run_git("merge", "--abort")
    assert codes(store) == []


def test_a_shallow_copy_says_so(store: Store, run_git: RunGit, tmp_path: Path) -> None:
    attributes = (store.root / ".gitattributes").read_bytes()
    store.save({".gitattributes": attributes}, message="x", read_from=None)
    save_one(store, "recipes/a.yaml", "one\n")
    run_git("clone", "-q", "--depth", "1", f"file://{store.root}", str(tmp_path / "copy"), folder=tmp_path)
    with open_store(tmp_path / "copy") as copy:
        assert codes(copy, deep=True) == ["git-shallow"]


def test_saved_names_that_are_left_out_are_told(store: Store, run_git: RunGit) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    run_git("update-index", "--add", "--cacheinfo", f"100644,{blob_id(b'one' + bytes([10]))},recipes/con.yaml")
    run_git("commit", "-q", "-m", "odd")
    store.refresh()
    assert codes(store) == ["path-name"]


@pytest.fixture
def canary(tmp_path: Path) -> Canary:
    return make_canary(tmp_path)


def test_programs_that_a_strangers_folder_names_are_told_and_not_run(
    canary: Canary, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = canary.picture()
    canary.set("core.fsmonitor", str(canary.program))
    canary.set("filter.trap.clean", str(canary.program))
    canary.set("alias.st", f"!{canary.program}")
    canary.set("include.path", str(canary.outside / "secret.yaml"))
    canary.set("core.worktree", str(canary.outside))
    (canary.root / ".gitattributes").write_text("* filter=trap\n*.yaml -text\n")
    (canary.root / ".git/hooks").mkdir()
    (canary.root / ".git/hooks/pre-commit").write_bytes(canary.program.read_bytes())
    for name in ("GIT_PYTHON_GIT_EXECUTABLE", "GIT_EXTERNAL_DIFF"):
        monkeypatch.setenv(name, str(canary.program))
    monkeypatch.setenv("GIT_TRACE", str(canary.outside / "trace"))
    with open_store(canary.root) as store:
        first, second = store.examine(deep=True)
    assert (first.code, second.code) == ("git-runs-program", "git-hooks")
    for name in ("core.fsmonitor", "filter.trap.clean", "alias.st", "include.path"):
        assert name in first.what
    assert "pre-commit" in second.what
    canary.demand_untouched(before)
    assert os.environ["GIT_PYTHON_GIT_EXECUTABLE"] == str(canary.program)


def test_importing_gitpython_runs_no_program_that_the_environment_names(canary: Canary) -> None:
    before = canary.picture()
    code = (
        "import sys\n"
        "from formulary.store import open_store\n"
        "with open_store(sys.argv[1]) as store:\n"
        "    store.examine()\n"
        "import git\n"
        "assert 'canary' not in git.Git.GIT_PYTHON_GIT_EXECUTABLE\n"
    )
    environment = {
        "PATH": os.environ["PATH"],
        "PYTHONPATH": str(Path(__file__).parents[2]),
        "GIT_PYTHON_GIT_EXECUTABLE": str(canary.program),
        "GIT_PYTHON_TRACE": "full",
        "GIT_TRACE": str(canary.outside / "trace"),
        "GIT_EXEC_PATH": str(canary.outside),
    }
    subprocess.run([sys.executable, "-c", code, str(canary.root)], env=environment, check=True, capture_output=True)
    canary.demand_untouched(before)
