"""Which files differ from the last save is found by their bytes; what looks unchanged need not be read again."""

from __future__ import annotations

import os
import random
import socket
from collections.abc import Mapping
from pathlib import Path

import pytest

from formulary.errors import InputError
from formulary.identity import blob_id
from formulary.store import Store, index_stats, open_store, suspects, working
from tests.hostile.canary import make_canary
from tests.store.conftest import RunGit, save_one

Pairs = Mapping[str, tuple[str | None, str | None]]


def by_reading(store: Store) -> Pairs:
    return working.find_changes(store.root, store.tip_blobs())


@pytest.fixture
def large(store: Store, monkeypatch: pytest.MonkeyPatch) -> Store:
    """A formulary that counts as large, with files at rest."""
    monkeypatch.setattr(suspects, "SMALL", 0)
    files = {f"recipes/r{number}.yaml": b"%d\n" % number for number in range(30)}
    files |= {f"trials/2026/t{number}/trial.yaml": b"%d\n" % number for number in range(30)}
    store.save({**files, "formulary.yaml": b"x\n"}, message="x", read_from=None, write_working=True)
    for path in store.working_paths():
        os.utime(store.root / path, (1_700_000_000, 1_700_000_000))
    return store


def remember(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patched:
        patched.setattr(index_stats, "SETTLED_S", 0.0)
        store.tidy()


def test_an_unchanged_folder_has_no_changes_and_no_file_is_read(large: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    assert large.working_changes() == {}
    remember(large, monkeypatch)

    def refuse(*_: object) -> bytes:
        raise AssertionError("a file was read")

    monkeypatch.setattr(working, "read_working", refuse)
    assert large.working_changes() == {}


def test_git_agrees_with_what_was_remembered(large: Store, run_git: RunGit, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run_git("diff-files", "--name-only").count("\n") == 61
    remember(large, monkeypatch)
    assert run_git("diff-files", "--name-only") == ""
    assert run_git("status", "--porcelain", "recipes", "trials", "formulary.yaml") == ""
    run_git("fsck", "--full", "--strict")
    (large.root / "recipes/r3.yaml").write_bytes(b"9\n")  # the same size
    assert run_git("diff-files", "--name-only").split() == ["recipes/r3.yaml"]


def test_every_kind_of_change_is_found(large: Store, run_git: RunGit, monkeypatch: pytest.MonkeyPatch) -> None:
    remember(large, monkeypatch)
    root = large.root
    (root / "recipes/r1.yaml").write_bytes(b"7\n")
    (root / "recipes/r2.yaml").unlink()
    (root / "recipes/new.yaml").write_bytes(b"new\n")
    (root / "recipes/.hidden.yaml").write_bytes(b"hidden\n")
    (root / "trials/2026/t99").mkdir()
    (root / "trials/2026/t99/trial.yaml").write_bytes(b"new\n")
    (root / "elsewhere").mkdir()
    (root / "elsewhere/x.yaml").write_bytes(b"x\n")
    (root / "recipes/r3.yaml").write_bytes(b"staged\n")
    run_git("add", "recipes/r3.yaml")
    (root / "recipes/r3.yaml").write_bytes(b"3\n")  # staged, and put back in the folder
    (root / "recipes/r4.yaml").write_bytes(b"staged\n")
    run_git("add", "recipes/r4.yaml")
    run_git("rm", "-q", "--cached", "recipes/r5.yaml")
    os.utime(root / "recipes/r6.yaml")  # only touched
    (root / ".gitignore").write_text("recipes/ignored.yaml\n")
    (root / "recipes/ignored.yaml").write_bytes(b"ignored\n")
    expected = by_reading(large)
    assert large.working_changes() == expected
    assert set(expected) == {
        *(f"recipes/{name}.yaml" for name in ("r1", "r2", "r4", "new", "ignored")),
        "trials/2026/t99/trial.yaml",
    }
    assert expected["recipes/r1.yaml"] == (blob_id(b"1\n"), blob_id(b"7\n"))
    assert expected["recipes/r2.yaml"] == (blob_id(b"2\n"), None)


@pytest.mark.parametrize("mark", ["--assume-unchanged", "--skip-worktree"])
def test_a_file_that_git_was_told_not_to_look_at_is_looked_at(
    large: Store, run_git: RunGit, monkeypatch: pytest.MonkeyPatch, mark: str
) -> None:
    remember(large, monkeypatch)
    run_git("update-index", mark, "recipes/r1.yaml")
    (large.root / "recipes/r1.yaml").write_bytes(b"changed\n")
    assert set(large.working_changes()) == {"recipes/r1.yaml"}


def test_random_edits_are_found_as_by_reading_everything(large: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    seeded = random.Random(5)
    remember(large, monkeypatch)
    for turn in range(25):
        path = seeded.choice(large.working_paths())
        choice = seeded.randrange(4)
        if choice == 0:
            (large.root / path).unlink()
        elif choice == 1:
            data = (large.root / path).read_bytes()
            large.save({path: data}, message="x", read_from=large.tip)
        else:
            (large.root / path).write_bytes(b"%d\n" % seeded.randrange(10))
        if turn % 8 == 7:
            large.tidy()
        assert large.working_changes() == by_reading(large)


@pytest.mark.parametrize("small", [0, 10**9])
def test_odd_new_files_stop_nothing_and_large_ones_are_hashed_piece_by_piece(
    large: Store, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, small: int
) -> None:
    monkeypatch.setattr(suspects, "SMALL", small)
    recipes = large.root / "recipes"
    (recipes / "link.yaml").symlink_to(tmp_path)
    os.mkfifo(recipes / "pipe.yaml")
    with socket.socket(socket.AF_UNIX) as server:
        monkeypatch.chdir(recipes)
        server.bind("s.yaml")
    (recipes / "bad?name.yaml").write_text("x")
    (large.root / "trials/2026/t1/film.mp4").write_bytes(b"film" * 20_000_000)
    assert dict(large.working_changes()) == {"trials/2026/t1/film.mp4": (None, blob_id(b"film" * 20_000_000))}
    with pytest.raises(InputError) as fault:
        large.read_working("trials/2026/t1/film.mp4")
    assert fault.value.findings[0].code == "file-too-large"
    (recipes / "r1.yaml").unlink()
    (recipes / "r1.yaml").symlink_to(tmp_path)  # a saved file must not look deleted
    with pytest.raises(InputError):
        large.working_changes()


def test_nothing_in_the_folder_changes_when_it_is_looked_over(large: Store) -> None:
    def picture() -> dict[str, tuple[int, int]]:
        return {str(place): (place.stat().st_mtime_ns, place.stat().st_ino) for place in large.root.rglob("*")}

    before = picture()
    large.working_changes()
    assert picture() == before


def test_a_strangers_filters_do_not_run_when_the_folder_is_looked_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(suspects, "SMALL", 0)
    canary = make_canary(tmp_path)
    (canary.root / ".gitattributes").write_text("* filter=trap diff=trap\n")
    for key in ("filter.trap.clean", "filter.trap.process", "diff.trap.textconv", "diff.external", "core.fsmonitor"):
        canary.set(key, str(canary.program))
    before = canary.picture()
    (canary.root / "recipes/a.yaml").write_text("changed\n")
    canary.demand_live("status")
    with open_store(canary.root) as store:
        assert set(store.working_changes()) == {"recipes/a.yaml"}
        save_one(store, "recipes/a.yaml", "changed\n")
        store.tidy()
        assert set(store.working_changes()) == set()
    canary.demand_untouched(before)
