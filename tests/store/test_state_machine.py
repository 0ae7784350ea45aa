"""Whatever a person does in whatever order, nothing that was saved is gone, and what lies in the folder is theirs.

A plain dictionary is the model: every state that the tip ever had, in order.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from formulary.errors import ChangedError, InputError
from formulary.identity import blob_id
from formulary.store import branch as branch_module
from formulary.store import init_store, open_store

NAMES = [f"recipes/{name}.yaml" for name in ("base", "clove", "nettle")] + ["trials/2026/t1/trial.yaml"]
TEXTS = [b"one\n", b"two\n", b"three\r\n", b""]


class Formulary(RuleBasedStateMachine):
    """A formulary and its model, side by side."""

    @initialize()
    def begin(self) -> None:
        memory = Path("/dev/shm")
        self.place = Path(tempfile.mkdtemp(dir=memory if os.access(memory, os.W_OK) else None))
        init_store(self.place / "f").close()
        self.root = self.place / "f"
        self.saved: dict[str, bytes] = {}  # the tip
        self.folder: dict[str, bytes] = {}  # the working files
        self.states: list[dict[str, bytes]] = [{}]  # what each commit on the branch holds
        self.ever: set[bytes] = set()
        self.standing: list[dict[str, bytes]] = [{}]  # the states that an undo goes back through, the present one last
        self.undone: list[dict[str, bytes]] = []

    def teardown(self) -> None:
        if hasattr(self, "place"):
            shutil.rmtree(self.place)

    def commit(self, state: dict[str, bytes]) -> None:
        if state != self.saved:
            self.states.append(dict(state))
            self.standing.append(dict(state))
            self.undone.clear()
        self.saved = dict(state)
        self.ever |= set(state.values())

    @rule(path=st.sampled_from(NAMES), data=st.sampled_from(TEXTS))
    def edit_by_hand(self, path: str, data: bytes) -> None:
        (self.root / path).parent.mkdir(parents=True, exist_ok=True)
        (self.root / path).write_bytes(data)
        self.folder[path] = data

    @rule(path=st.sampled_from(NAMES))
    def delete_by_hand(self, path: str) -> None:
        (self.root / path).unlink(missing_ok=True)
        self.folder.pop(path, None)

    @rule()
    def save_all(self) -> None:
        """Every file that differs from the tip, as a bare `save` does."""
        changed = {
            path: self.folder.get(path)
            for path in {*self.folder, *self.saved}
            if self.folder.get(path) != self.saved.get(path)
        }
        with open_store(self.root) as store:
            if changed:
                store.save(changed, message="Save", read_from=store.tip)
        self.commit(self.folder)

    @rule(path=st.sampled_from(NAMES), data=st.sampled_from(TEXTS))
    def save_made_by_the_tool(self, path: str, data: bytes) -> None:
        is_free = self.folder.get(path) in (self.saved.get(path), data)
        with open_store(self.root) as store:
            try:
                store.save({path: data}, message="Made", read_from=store.tip, write_working=True)
                assert is_free
            except ChangedError:
                assert not is_free
                return
        self.folder[path] = data
        self.commit({**self.saved, path: data})

    @rule(old=st.sampled_from(NAMES), new=st.sampled_from(NAMES))
    def rename(self, old: str, new: str) -> None:
        if old not in self.saved or new in self.saved or new in self.folder or self.folder.get(old) != self.saved[old]:
            return
        data = self.saved[old]
        with open_store(self.root) as store:
            store.save({old: None, new: data}, message="Rename", read_from=store.tip, write_working=True)
        self.folder[new] = self.folder.pop(old)
        self.commit({**{path: text for path, text in self.saved.items() if path != old}, new: data})

    @rule(path=st.sampled_from(NAMES), data=st.sampled_from(TEXTS))
    def restore(self, path: str, data: bytes) -> None:
        is_free = self.folder.get(path) in (self.saved.get(path), data)
        with open_store(self.root) as store:
            try:
                store.restore({path: blob_id(data)}, message="Restore")
                assert is_free
                assert data in self.ever
            except ChangedError:
                assert not is_free
                return
            except InputError:
                assert data not in self.ever
                return
        self.folder[path] = data
        self.commit({**self.saved, path: data})

    @rule()
    def undo(self) -> None:
        before = self.standing[-2] if len(self.standing) > 1 else None
        with open_store(self.root) as store:
            try:
                store.undo()
            except ChangedError:
                assert before is not None
                assert not self.is_free(before)
                return
            except InputError:
                assert len(self.standing) <= 2
                return
        assert before is not None
        undone, standing = [*self.undone, self.saved], self.standing[:-1]
        self.go_to(before)
        self.standing, self.undone = standing, undone

    @rule()
    def redo(self) -> None:
        with open_store(self.root) as store:
            try:
                store.redo()
            except ChangedError:
                assert not self.is_free(self.undone[-1])
                return
            except InputError:
                assert not self.undone
                return
        after, undone, standing = self.undone[-1], self.undone[:-1], self.standing
        self.go_to(after)
        self.standing, self.undone = [*standing, after], undone

    def is_free(self, wanted: dict[str, bytes]) -> bool:
        """Whether no file that would change has changes of its own in the folder."""
        touched = [path for path in {*wanted, *self.saved} if wanted.get(path) != self.saved.get(path)]
        return all(self.folder.get(path) in (self.saved.get(path), wanted.get(path)) for path in touched)

    def go_to(self, wanted: dict[str, bytes]) -> None:
        for path in {*wanted, *self.saved}:
            if wanted.get(path) != self.saved.get(path):
                if path in wanted:
                    self.folder[path] = wanted[path]
                else:
                    self.folder.pop(path, None)
        self.commit(wanted)

    @rule(path=st.sampled_from(NAMES), data=st.sampled_from(TEXTS), after_the_branch_moved=st.booleans())
    def crash(self, path: str, data: bytes, after_the_branch_moved: bool) -> None:
        """The process dies in the middle of a save; the next one ends it."""
        if self.folder.get(path) != self.saved.get(path) or self.saved.get(path) == data:
            return
        child = os.fork()
        if child == 0:
            real = branch_module._move

            def die(*arguments: object) -> bool:
                if after_the_branch_moved:
                    real(*arguments)  # type: ignore[arg-type]
                os._exit(9)

            branch_module._move = die  # type: ignore[assignment]
            with open_store(self.root) as store:
                store.save({path: data}, message="Crash", read_from=store.tip, write_working=True)
            os._exit(1)
        _, status = os.waitpid(child, 0)
        assert os.waitstatus_to_exitcode(status) == 9
        # The file was in the folder when the process died, so the next save completes this one first.
        self.folder[path] = data
        self.commit({**self.saved, path: data})
        with open_store(self.root) as store:
            store.finish_interrupted()

    @rule()
    def pack(self) -> None:
        with open_store(self.root) as store:
            if store.tip is not None:
                store.tidy()

    @rule(path=st.sampled_from(NAMES))
    def read_from_an_old_state(self, path: str) -> None:
        """A save that was made from an older tip succeeds only where nobody else changed the file."""
        if len(self.states) < 3 or self.folder.get(path) != self.saved.get(path):
            return
        with open_store(self.root) as store:
            commits = list(dict.fromkeys(saved.commit for saved in store.history()))
            if len(commits) != len(self.states) - 1:
                return
            try:
                store.save({path: b"late\n"}, message="Late", read_from=commits[1])
                assert self.states[-2].get(path) == self.saved.get(path) or self.saved.get(path) == b"late\n"
            except ChangedError:
                assert self.states[-2].get(path) != self.saved.get(path)
                return
        self.commit({**self.saved, path: b"late\n"})

    @invariant()
    def everything_is_there(self) -> None:
        if not hasattr(self, "root"):
            return
        with open_store(self.root) as store:
            assert dict(store.tip_blobs()) == {path: blob_id(data) for path, data in self.saved.items()}
            assert {path: store.read_working(path) for path in store.working_paths()} == self.folder
            assert store.read_blobs(map(blob_id, self.ever)) == {blob_id(data): data for data in self.ever}
            assert len({saved.commit for saved in store.history()}) == len(self.states) - 1

    @rule()
    def git_agrees(self) -> None:
        def git(*arguments: str) -> str:
            done = subprocess.run(["git", *arguments], cwd=self.root, capture_output=True, text=True, check=True)
            return done.stdout

        git("fsck", "--full", "--strict")
        if self.saved:
            assert git("diff-index", "--cached", "HEAD") == ""


TestFormulary = Formulary.TestCase
TestFormulary.settings = settings(
    max_examples=12,
    stateful_step_count=14,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
