"""A program that must not run, a folder that must not change, and everything that the store can do."""

from __future__ import annotations

import hashlib
import os
import subprocess
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from formulary.errors import FormularyError
from formulary.store import Store, blob_id, open_store

RECIPE = "recipes/a.yaml"


@dataclass(frozen=True)
class Canary:
    """A stranger's formulary beside things of the person's own that it tries to reach."""

    root: Path  # the stranger's formulary
    outside: Path  # a folder of the person's own, with a repository in it
    program: Path  # leaves a mark when it is run
    mark: Path

    def git(self, *arguments: str, folder: Path | None = None, check: bool = True) -> str:
        """Git as it would run if the person typed it, with all that the folder's settings ask for."""
        environment = {key: value for key, value in os.environ.items() if not key.startswith("GIT_")}
        environment.update(GIT_TERMINAL_PROMPT="0", GIT_AUTHOR_NAME="x", GIT_AUTHOR_EMAIL="x@example.org")
        environment.update(GIT_COMMITTER_NAME="x", GIT_COMMITTER_EMAIL="x@example.org")
        done = subprocess.run(
            ["git", *arguments],
            cwd=folder or self.root,
            env=environment,
            input=b"protocol=https\nhost=localhost\n\n",
            capture_output=True,
            check=check,
            timeout=20,
        )
        return done.stdout.decode("utf-8", "replace")

    def set(self, key: str, value: str) -> None:
        """Puts a setting into the stranger's repository."""
        self.git("config", "--add", key, value)

    def demand_live(self, *arguments: str) -> None:
        """The trap works: the git command that a careless program would run springs it. Sets it again."""
        self.git(*arguments, check=False)
        assert self.mark.exists(), "the trap does not work, so the test proves nothing"
        self.mark.unlink()

    def demand_untouched(self, before: str) -> None:
        """The program did not run and nothing of the person's own changed."""
        assert not self.mark.exists()
        assert self.picture() == before

    def picture(self) -> str:
        """A digest of every name and byte in the person's own folder."""
        digest = hashlib.sha256()
        for place in sorted(self.outside.rglob("*")):
            digest.update(str(place).encode())
            digest.update(place.read_bytes() if place.is_file() else b"folder")
        return digest.hexdigest()


def make_canary(place: Path) -> Canary:
    """A stranger's formulary with two saves, made by git itself."""
    canary = Canary(place / "stranger", place / "outside", place / "canary", place / "mark")
    canary.program.write_text(f"#!/bin/sh\necho ran > '{canary.mark}'\n")
    canary.program.chmod(0o755)
    for folder in (canary.root, canary.outside):
        (folder / "recipes").mkdir(parents=True)
        canary.git("init", "-q", "-b", "main", "--template=", folder=folder)
        for text in ("one\n", "two\n"):
            (folder / RECIPE).write_text(text)
            (folder / "formulary.yaml").write_text("format: 1\n")
            # As if edited at this very instant: git must look into such a file whenever it writes its index.
            os.utime(folder / "formulary.yaml", (2_000_000_000, 2_000_000_000))
            canary.git("add", "-A", folder=folder)
            canary.git("commit", "-q", "-m", text.strip(), folder=folder)
    (canary.outside / "secret.yaml").write_text("secret\n")
    return canary


def exercise(root: Path) -> list[str]:
    """Does everything that a store can do in the folder; the codes of what it refused."""
    refused: list[str] = []
    try:
        store = open_store(root)
    except FormularyError as fault:
        return [finding.code for finding in fault.findings]
    with store:
        for part in (_read, _save_edit, _save_made, _delete, _go_back, _look_over):
            try:
                part(store)
            except FormularyError as fault:
                refused += [finding.code for finding in fault.findings]
    return refused


def _read(store: Store) -> None:
    for path in store.working_paths():
        with suppress(FormularyError):
            store.read_working(path)
    blobs = store.tip_blobs()
    store.read_blobs([*blobs.values(), "0123456789" * 4])
    for saved in (*store.history(), *store.history([RECIPE, "recipes/b.yaml"])):
        store.blob_at(saved.commit, saved.path)
    for text in ("main", "HEAD~1", "nothing", "--output=x"):
        store.resolve_revision(text)


def _save_edit(store: Store) -> None:
    (store.root / RECIPE).write_bytes(b"edited\n")
    store.save({RECIPE: b"edited\n"}, message="-m --amend", read_from=store.tip)


def _save_made(store: Store) -> None:
    files = {"trials/2026/t/trial.yaml": b"t\n", "trials/2026/t/planned.yaml": b"p\n", "recipes/b.yaml": b"b\n"}
    store.save(files, message="Made", read_from=store.tip, write_working=True)


def _delete(store: Store) -> None:
    store.save({"recipes/b.yaml": None}, message="Drop", read_from=store.tip, write_working=True)


def _go_back(store: Store) -> None:
    store.undo()
    store.restore({RECIPE: blob_id(b"two\n")}, message="Back")
    store.name_commit(f"name-{len(store.names())}", store.tip or "", message="--exec")


def _look_over(store: Store) -> None:
    store.working_changes()
    store.examine(deep=True)
    store.stale_paths()
    store.refresh_index()
    store.tidy()
    store.working_changes()
    store.finish_interrupted()
    _read(store)
