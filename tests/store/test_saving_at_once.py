"""Several processes save at once: every save is there, none is empty, nobody overwrites anybody."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from formulary.errors import ChangedError
from formulary.store import Store, blob_id, saving
from tests.store.conftest import RunGit

HERE = str(Path(__file__).parents[2])

DIFFERENT = """
import sys
sys.path.insert(0, sys.argv[3])
from formulary.store import open_store
with open_store(sys.argv[1]) as store:
    for number in range(int(sys.argv[4])):
        files = {f"recipes/{sys.argv[2]}.yaml": f"{sys.argv[2]} {number}".encode()}
        store.save(files, message=f"{sys.argv[2]} {number}", read_from=store.tip, write_working=True)
"""

SAME = """
import sys
sys.path.insert(0, sys.argv[3])
from formulary.errors import ChangedError
from formulary.store import open_store
saved = told = 0
with open_store(sys.argv[1]) as store:
    for number in range(int(sys.argv[4])):
        store.refresh()
        text = store.read_blobs([store.tip_blobs()["recipes/shared.yaml"]]).popitem()[1]
        mine = text + f"{sys.argv[2]} {number}\\n".encode()
        try:
            store.save({"recipes/shared.yaml": mine}, message="x", read_from=store.tip)
            saved += 1
        except ChangedError as fault:
            assert [finding.place.path for finding in fault.findings] == ["recipes/shared.yaml"]
            told += 1
print(saved, told)
"""


def run_together(code: str, root: Path, processes: int, count: int) -> list[str]:
    running = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(root), f"p{number}", HERE, str(count)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for number in range(processes)
    ]
    answers = []
    for process in running:
        output, complaint = process.communicate(timeout=600)
        assert process.returncode == 0, complaint
        answers.append(output)
    return answers


def save_different(store: Store, run_git: RunGit, processes: int, count: int) -> None:
    run_together(DIFFERENT, store.root, processes, count)
    store.refresh()
    history = store.history()
    assert len({saved.commit for saved in history}) == len(history) == processes * count
    assert sorted(saved.subject for saved in history) == sorted(
        f"p{number} {turn}" for number in range(processes) for turn in range(count)
    )
    assert int(run_git("rev-list", "--count", "HEAD")) == processes * count
    assert dict(store.tip_blobs()) == {
        f"recipes/p{number}.yaml": blob_id(f"p{number} {count - 1}".encode()) for number in range(processes)
    }
    assert run_git("status", "--porcelain", "recipes") == ""
    run_git("fsck", "--full", "--strict")


def save_same(store: Store, run_git: RunGit, processes: int, count: int) -> None:
    store.save({"recipes/shared.yaml": b""}, message="Start", read_from=None)
    answers = [answer.split() for answer in run_together(SAME, store.root, processes, count)]
    saved = sum(int(answer[0]) for answer in answers)
    assert saved + sum(int(answer[1]) for answer in answers) == processes * count
    store.refresh()
    (text,) = store.read_blobs([store.tip_blobs()["recipes/shared.yaml"]]).values()
    assert len(text.splitlines()) == len(set(text.splitlines())) == saved  # nobody's line was lost
    assert int(run_git("rev-list", "--count", "HEAD")) == saved + 1
    run_git("fsck", "--full", "--strict")


def test_saves_of_different_files_at_once_are_all_there(store: Store, run_git: RunGit) -> None:
    save_different(store, run_git, processes=4, count=6)


def test_saves_of_one_file_at_once_never_overwrite_one_another(store: Store, run_git: RunGit) -> None:
    save_same(store, run_git, processes=3, count=6)


@pytest.mark.slow
def test_four_hundred_saves_of_different_files_at_once_are_all_there(store: Store, run_git: RunGit) -> None:
    save_different(store, run_git, processes=4, count=100)


@pytest.mark.slow
def test_four_hundred_saves_of_one_file_at_once_never_overwrite_one_another(store: Store, run_git: RunGit) -> None:
    save_same(store, run_git, processes=4, count=100)


BY_HAND = """
import subprocess, sys, time
for number in range(int(sys.argv[4])):
    name = f"recipes/{sys.argv[2]}.yaml"
    open(f"{sys.argv[1]}/{name}", "w").write(f"{sys.argv[2]} {number}")
    for attempt in range(400):  # git itself does not wait for a lock
        done = subprocess.run(["git", "add", name], cwd=sys.argv[1], capture_output=True)
        if done.returncode == 0:
            done = subprocess.run(
                ["git", "-c", "user.name=x", "-c", "user.email=x@example.org", "commit", "-q", "--only",
                 "-m", f"{sys.argv[2]} {number}", "--", name], cwd=sys.argv[1], capture_output=True
            )
        if done.returncode == 0:
            break
        time.sleep(0.005)
    else:
        raise SystemExit(done.stderr.decode())
"""


def test_commits_that_a_person_makes_with_git_at_the_same_time_are_kept(store: Store, run_git: RunGit) -> None:
    store.save(
        {"recipes/p0.yaml": b"x", "recipes/hand.yaml": b"x"}, message="Start", read_from=None, write_working=True
    )
    arguments = [str(store.root), "hand", HERE, "12"]
    by_hand = subprocess.Popen([sys.executable, "-c", BY_HAND, *arguments], stderr=subprocess.PIPE, text=True)
    run_together(DIFFERENT, store.root, 1, 12)
    _, complaint = by_hand.communicate(timeout=120)
    assert by_hand.returncode == 0, complaint
    store.refresh()
    subjects = run_git("log", "--format=%s").split("\n")
    assert sorted(subjects) == sorted(
        ["", "Start", *(f"{name} {turn}" for name in ("p0", "hand") for turn in range(12))]
    )
    contents = store.read_blobs(store.tip_blobs().values())
    assert {contents[blob] for blob in store.tip_blobs().values()} == {b"p0 11", b"hand 11"}
    assert store.working_changes() == {}
    run_git("fsck", "--full", "--strict")


@pytest.mark.parametrize("path", ["recipes/a.yaml", "recipes/b.yaml"])
def test_a_commit_at_the_very_last_moment_is_kept_and_the_folder_is_put_back(
    store: Store, run_git: RunGit, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    start = {"recipes/a.yaml": b"one\n", "recipes/b.yaml": b"one\n"}
    store.save(start, message="Start", read_from=None, write_working=True)
    real = saving.move_branch
    calls: list[bool] = []

    def late(*arguments: Any, **named: Any) -> bool:
        if not calls:
            blob = run_git("hash-object", "-w", "--stdin", stdin="theirs\n").strip()
            run_git("update-index", "--cacheinfo", f"100644,{blob},{path}")
            run_git("commit", "-q", "-m", "theirs")
        calls.append(real(*arguments, **named))
        return calls[-1]

    monkeypatch.setattr(saving, "move_branch", late)
    mine: dict[str, bytes | None] = {"recipes/a.yaml": b"mine\n", "trials/2026/t/trial.yaml": b"mine\n"}
    if path == "recipes/a.yaml":
        with pytest.raises(ChangedError):
            store.save(mine, message="mine", read_from=store.tip, write_working=True)
        assert (store.root / "recipes/a.yaml").read_bytes() == b"one\n"
        assert store.working_paths() == tuple(start)
        assert run_git("log", "--format=%s").split() == ["theirs", "Start"]
    else:
        store.save(mine, message="mine", read_from=store.tip, write_working=True)
        assert (store.root / "recipes/a.yaml").read_bytes() == b"mine\n"
        assert run_git("log", "--format=%s").split() == ["mine", "theirs", "Start"]
        assert run_git("show", f"HEAD:{path}") == "theirs\n"
    assert calls[0] is False
    assert not store.has_interrupted_save
    run_git("fsck", "--full", "--strict")
