"""The store keeps its repository quick by itself, behind a save's back, and throws nothing away."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

import pytest

from formulary.store import Store, blob_id, objects, open_store, tidying
from formulary.store.working import Draft
from tests.store.conftest import RunGit, save_one


def wait_for_tidying(store: Store) -> None:
    if store._tidying is not None:
        assert store._tidying.wait(timeout=60) == 0


def test_tidying_packs_and_writes_filters_and_keeps_what_no_branch_reaches(store: Store, run_git: RunGit) -> None:
    for number in range(5):
        save_one(store, "recipes/a.yaml", f"{number}\n")
    run_git("reset", "-q", "--hard", "HEAD~2")
    run_git("reflog", "expire", "--expire=now", "--all")
    with open_store(store.root) as opened:
        before = opened.history()
        assert opened.tidy()
        assert (store.root / ".git/objects/info/commit-graph").exists()
        assert opened.history() == before
        everything = [blob_id(f"{number}\n".encode()) for number in range(5)]
        assert set(opened.read_blobs(everything)) == set(everything)
        save_one(opened, "recipes/a.yaml", "next\n")
        assert opened.history(["recipes/a.yaml"])[1:] == before
    run_git("commit-graph", "verify")
    run_git("fsck", "--full", "--strict")


def test_many_packs_become_one_and_still_nothing_is_thrown_away(
    store: Store, run_git: RunGit, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tidying, "MANY_PACKS", 2)
    lost = run_git("hash-object", "-w", "--stdin", stdin="reached by nothing\n").strip()
    for number in range(5):
        save_one(store, "recipes/a.yaml", f"{number}\n")
        run_git("repack", "-d", "-q")
    wait_for_tidying(store)
    for number in range(5, 8):
        save_one(store, "recipes/b.yaml", f"{number}\n")
        run_git("repack", "-d", "-q")
        wait_for_tidying(store)
    monkeypatch.setattr(tidying, "MANY_PACKS", 0)
    assert store.is_untidy
    assert store.tidy()
    assert len(list((store.root / ".git/objects/pack").glob("*.pack"))) == 1
    assert store.read_blobs([lost]) == {lost: b"reached by nothing\n"}
    assert len(store.history()) == 8


def test_only_one_process_tidies(store: Store) -> None:
    from formulary.store.lock import tidying_lock

    save_one(store, "recipes/a.yaml", "x\n")
    with tidying_lock(store.root / ".git") as held:
        assert held
        assert not store.tidy()


@pytest.mark.parametrize("times", [1, 3])
def test_a_folder_that_the_tidying_removes_under_a_save_is_made_again(
    store: Store, run_git: RunGit, monkeypatch: pytest.MonkeyPatch, times: int
) -> None:
    real = objects.write_drafts
    removed: list[Path] = []

    def remove_first(drafts: Sequence[Draft], folders: Iterable[Path] = ()) -> None:
        if len(removed) < times:
            removed.append(next(each.passing.parent for each in drafts if not any(each.passing.parent.iterdir())))
            removed[-1].rmdir()  # as `git prune-packed` does with a folder that it finds empty
        real(drafts, folders)

    monkeypatch.setattr(objects, "write_drafts", remove_first)
    save_one(store, "recipes/a.yaml", "x\n")
    assert len(removed) == times
    run_git("fsck", "--full", "--strict")
    assert not list((store.root / ".git/objects").rglob("tmp_obj_*"))


def test_a_save_starts_the_tidying_when_it_is_due_and_does_not_wait(
    store: Store, run_git: RunGit, monkeypatch: pytest.MonkeyPatch
) -> None:
    save_one(store, "recipes/a.yaml", "0\n")
    monkeypatch.setattr(tidying, "MANY_LOOSE", 0)
    (store.root / "formulary.py").write_text("raise SystemExit(9)\n")  # must not be taken for ours
    (store.root / ".git/formulary.py").write_text("raise SystemExit(9)\n")
    monkeypatch.chdir(store.root)
    save_one(store, "recipes/a.yaml", "1\n")
    assert store._tidying is not None
    for number in range(2, 8):
        save_one(store, "recipes/a.yaml", f"{number}\n")  # while it runs
    wait_for_tidying(store)
    assert list((store.root / ".git/objects/pack").glob("*.pack"))
    assert len(store.history()) == 8
    run_git("fsck", "--full", "--strict")
