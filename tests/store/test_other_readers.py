"""What we wrote is read by others: a second, independent reader of repositories finds exactly the same versions."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import pytest

from formulary.store import Store
from tests.store.conftest import RunGit

dulwich_repo = pytest.importorskip("dulwich.repo")


def walk(store: Store) -> list[tuple[str, str, str | None, bytes | None, datetime, str]]:
    """Every version of every file, as dulwich tells them: commit, path, blob, bytes, time, message."""
    versions = []
    with dulwich_repo.Repo(str(store.root)) as repository:
        for entry in repository.get_walker():
            commit = entry.commit
            for change in entry.changes():
                there = change.new is not None and change.new.sha is not None
                path = (change.new if there else change.old).path.decode()
                blob = change.new.sha.decode() if there else None
                data = repository[change.new.sha].data if there else None
                when = datetime.fromtimestamp(commit.author_time, UTC)
                versions.append((commit.id.decode(), path, blob, data, when, commit.message.decode().split("\n")[0]))
    return versions


def test_dulwich_finds_exactly_the_versions_that_we_list(store: Store, run_git: RunGit) -> None:
    seeded = random.Random(11)
    names = [f"recipes/r{number}.yaml" for number in range(6)] + [f"trials/2026/t{n}/trial.yaml" for n in range(3)]
    when = datetime(2026, 1, 1, tzinfo=UTC)
    for turn in range(60):
        held = dict(store.tip_blobs())
        files: dict[str, bytes | None] = {}
        for path in seeded.sample(names, seeded.randint(1, 3)):
            files[path] = None if path in held and seeded.random() < 0.2 else f"{seeded.random()}\n".encode()
        store.save(files, message=f"Turn {turn}", read_from=store.tip, now=when + timedelta(hours=turn))
        if turn == 30:
            run_git("gc", "-q")
    ours = store.history()
    contents = store.read_blobs(saved.blob for saved in ours if saved.blob)
    listed = [
        (saved.commit, saved.path, saved.blob, contents[saved.blob] if saved.blob else None, saved.when, saved.subject)
        for saved in ours
    ]
    assert sorted(listed, key=repr) == sorted(walk(store), key=repr)
    assert len(listed) > 100
    with dulwich_repo.Repo(str(store.root)) as repository:
        index = {path.decode(): entry.sha.decode() for path, entry in repository.open_index().items()}
        assert index == dict(store.tip_blobs())
        assert repository.head().decode() == store.tip
