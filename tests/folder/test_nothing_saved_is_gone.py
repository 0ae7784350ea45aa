"""Whatever a maker does in whatever order, every recipe that was ever saved can be brought back, under its own recipe.

Plain dictionaries and lists are the model: the files, the last save, and every save with the recipe that it belongs to.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from unittest import mock

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from formulary import Folder, InputError, init_folder, open_folder, set_field
from formulary.errors import ChangedError, StopError
from formulary.folder.returning import redo_last_undo, rename_recipe, restore_version, undo_last_save
from formulary.folder.status import find_status
from formulary.identity import blob_id
from formulary.store import branch as branch_module
from formulary.store import store as store_module
from formulary.variants.sending_back import apply_send_back, find_send_back
from formulary.variants.updating import apply_update, find_update

NAMES = ("first-bar", "harbour-bar", "winter-bar", "nettle-bar")
SUPERFATS = ("5", "6", "7", "six")
BASED_ON = rb'based_on: {recipe: ([\w-]+), version: "(\w+)"}'
names = st.sampled_from(NAMES)


class Clock(datetime):
    """A clock that goes on by a second whenever it is looked at, so that no two saves are of one second."""

    moment = datetime(2026, 3, 1, tzinfo=UTC)

    @classmethod
    def now(cls, tz: object = None) -> datetime:  # type: ignore[override] # noqa: ARG003
        Clock.moment += timedelta(seconds=1)
        return Clock.moment


@dataclass
class Save:
    """One save of one recipe: its text, the name that it was saved under, and the recipe whose version it is.

    came_back: whether the recipe had been deleted before it, and no other gave its name up in that save.
    """

    text: bytes
    name: str
    owner: str
    came_back: bool = False


@dataclass
class State:
    """What an undo returns to: the files; and the rename that led there, with the saves that went along."""

    files: dict[str, bytes]
    renamed: tuple[str, str] | None = None
    moved: tuple[Save, ...] = ()


class MakersFormulary(RuleBasedStateMachine):
    """A formulary and its model, side by side."""

    @initialize()
    def begin(self) -> None:
        memory = Path("/dev/shm")
        self.place = Path(tempfile.mkdtemp(dir=memory if os.access(memory, os.W_OK) else None))
        self.clock = mock.patch.object(store_module, "datetime", Clock)
        self.clock.start()
        self.root = self.place / "soap"
        with init_folder(self.root, now=Clock.now()) as folder:
            text = folder.store.read_working("recipes/first-bar.yaml")
        self.files = {"first-bar": text}
        self.saved: dict[str, bytes] = {}
        self.saves: list[Save] = []
        self.begun: dict[str, int] = {}  # when a recipe that there is began, counted in saves
        self.standing = [State({})]
        self.undone: list[State] = []
        self.note(self.files)
        self.branch("first-bar", "winter-bar", "6")

    def teardown(self) -> None:
        if not hasattr(self, "place"):
            return
        try:
            if hasattr(self, "saves"):
                self.all_can_be_brought_back()
                for line in (["fsck", "--full", "--strict"], ["diff-index", "--cached", "--exit-code", "HEAD"]):
                    subprocess.run(["git", *line], cwd=self.root, capture_output=True, check=True)
        finally:
            self.clock.stop()
            shutil.rmtree(self.place)

    # -- the model -------------------------------------------------------------------------------

    def note(self, after: dict[str, bytes], *, renamed: tuple[str, str] | None = None, forth: bool = True) -> None:
        """A save has made the tip hold `after`."""
        moved = tuple(save for save in self.saves if renamed is not None and save.owner == renamed[0])
        for save in moved:
            assert renamed is not None
            save.owner = renamed[1]
        are_gone = self.saved.keys() - after.keys()
        for name, text in after.items():
            if self.saved.get(name) != text:
                had_saves = any(save.owner == name for save in self.saves)
                came_back = name not in self.saved and had_saves and not are_gone
                self.saves.append(Save(text, name, name, came_back))
            if name not in self.saved:
                self.begun[name] = len(self.saves)
        self.saved = dict(after)
        if forth:
            self.undone.clear()
            self.standing.append(State(dict(after), renamed, moved))

    def lines(self) -> dict[str, list[bytes]]:
        """Recipe -> the texts of its versions in order, none twice in a row unless it was gone in between."""
        owned: dict[str, list[bytes]] = {name: [] for name in self.files}
        for save in self.saves:
            texts = owned.setdefault(self.owner(save), [])
            if save.came_back or texts[-1:] != [save.text]:
                texts.append(save.text)
        return owned

    def owner(self, save: Save) -> str:
        """Whose version it is now: when its recipe is deleted, the oldest's that says that it was called so."""
        live = {*self.files, *self.saved}
        if save.owner in live:
            return save.owner
        claimers = [name for name in self.files if save.owner in self.stated(name)]  # of those whose files there are
        return min(claimers, key=lambda name: (name not in self.saved, self.begun.get(name, 0)), default=save.owner)

    def stated(self, name: str) -> list[str]:
        """The earlier names that a recipe's file states, or its last save where the file states none."""
        for text in (self.files.get(name, b""), self.saved.get(name, b"")):
            found = re.search(rb"(?m)^formerly: \[(.*)\]$", text)
            if found:
                return found.group(1).decode().split(", ")
        return []

    def is_free(self, wanted: dict[str, bytes]) -> bool:
        touched = [name for name in {*wanted, *self.saved} if wanted.get(name) != self.saved.get(name)]
        return all(self.files.get(name) in (self.saved.get(name), wanted.get(name)) for name in touched)

    def is_clean(self, name: str) -> bool:
        return name in self.saved and self.files.get(name) == self.saved[name]

    def is_unused(self, name: str) -> bool:
        return name not in self.saved and name not in self.files

    def put(self, wanted: dict[str, bytes]) -> None:
        """What a save that writes files has done to those that it changed."""
        for name in {*wanted, *self.saved}:
            if wanted.get(name) != self.saved.get(name):
                if name in wanted:
                    self.files[name] = wanted[name]
                else:
                    self.files.pop(name, None)

    def path(self, name: str) -> Path:
        return self.root / f"recipes/{name}.yaml"

    # -- by hand ---------------------------------------------------------------------------------

    @rule(name=names, superfat=st.sampled_from(SUPERFATS))
    def edit_by_hand(self, name: str, superfat: str) -> None:
        if name not in self.files:
            return
        text = re.sub(rb"superfat: \w+", b"superfat: " + superfat.encode(), self.files[name], count=1)
        self.path(name).write_bytes(text)
        self.files[name] = text

    @rule(name=names)
    def delete_by_hand(self, name: str) -> None:
        self.path(name).unlink(missing_ok=True)
        self.files.pop(name, None)

    @rule(old=names, new=names)
    def copy_by_hand(self, old: str, new: str) -> None:
        if old not in self.files or new in self.files:
            return
        text = re.sub(rb"(?m)^formerly:.*\n", b"", self.files[old])
        self.path(new).parent.mkdir(exist_ok=True)
        self.path(new).write_bytes(text)
        self.files[new] = text

    # -- with the tool ---------------------------------------------------------------------------

    @rule()
    def save_everything(self) -> None:
        with open_folder(self.root) as folder:
            self.save(folder, (), self.files)

    @rule(name=names)
    def save_one(self, name: str) -> None:
        if self.files.get(name) == self.saved.get(name):
            return
        after = {each: text for each, text in self.saved.items() if each != name}
        after |= {name: self.files[name]} if name in self.files else {}
        with open_folder(self.root) as folder:
            self.save(folder, (name,), after)

    def save(self, folder: Folder, which: tuple[str, ...], after: dict[str, bytes]) -> None:
        broken = any(b"superfat: six" in text for name, text in after.items() if self.saved.get(name) != text)
        try:
            folder.save_changed(which, why="Save")
        except InputError:
            assert broken or after == self.saved
            return
        assert not broken
        self.note(after)

    @rule(parent=names, new=names, superfat=st.sampled_from(SUPERFATS[:3]))
    def branch(self, parent: str, new: str, superfat: str) -> None:
        if parent not in self.saved or parent == new:
            return
        is_possible = self.is_unused(new)
        with open_folder(self.root) as folder:
            try:
                made = folder.branch(f"{parent}@latest", new, set_field("superfat", superfat))
                folder.save(made, why="Branch")
            except InputError:
                assert not is_possible
                return
            assert is_possible
            assert made.recipe.based_on is not None
            assert made.recipe.based_on.version == blob_id(self.saved[parent])
        text = self.path(new).read_bytes()
        self.files[new] = text
        self.note({**self.saved, new: text})

    @rule(old=names, new=names)
    def rename(self, old: str, new: str) -> None:
        is_possible = self.is_clean(old) and self.is_unused(new) and old != new
        with open_folder(self.root) as folder:
            try:
                rename_recipe(folder, old, new)
            except (InputError, ChangedError):
                assert not is_possible
                return
        assert is_possible
        self.put_renamed(old, new)

    def put_renamed(self, old: str, new: str) -> None:
        text = self.path(new).read_bytes()
        assert old.encode() in text.partition(b"formerly:")[2].partition(b"\n")[0]
        after = {name: held for name, held in self.saved.items() if name != old} | {new: text}
        self.put(after)
        self.note(after, renamed=(old, new))

    @rule(data=st.data(), discard=st.booleans())
    def restore(self, data: st.DataObject, discard: bool) -> None:
        save = data.draw(st.sampled_from(self.saves))
        self.bring_back(save, discard=discard)

    def bring_back(self, save: Save, *, discard: bool) -> None:
        name, wanted = self.owner(save), save.text
        held, saved = self.files.get(name), self.saved.get(name)
        with open_folder(self.root) as folder:
            try:
                restore_version(folder, f"{name}@{blob_id(wanted)}", discard=discard)
            except ChangedError:
                assert held not in (None, saved)
                assert not discard
                return
            except InputError:
                assert held == saved == wanted
                return
        assert held in (None, saved) or discard
        self.files[name] = wanted
        if saved != wanted:
            self.note({**self.saved, name: wanted})

    @rule()
    def undo(self) -> None:
        before = self.standing[-2].files
        with open_folder(self.root) as folder:
            try:
                undo_last_save(folder)
            except ChangedError:
                assert not self.is_free(before)
                return
            except InputError:
                assert len(self.standing) <= 2
                return
        undone = self.standing.pop()
        self.undone.append(undone)
        for save in undone.moved:
            assert undone.renamed is not None
            save.owner = undone.renamed[0]
        self.put(before)
        self.note(before, forth=False)

    @rule()
    def redo(self) -> None:
        with open_folder(self.root) as folder:
            try:
                redo_last_undo(folder)
            except ChangedError:
                assert not self.is_free(self.undone[-1].files)
                return
            except InputError:
                assert not self.undone
                return
        again = self.undone.pop()
        left = self.undone[:]
        self.put(again.files)
        self.note(again.files, renamed=again.renamed)
        self.undone = left

    @rule(data=st.data(), superfat=st.none() | st.sampled_from(SUPERFATS[:3]), word=st.sampled_from(["mine", "base"]))
    def update(self, data: st.DataObject, superfat: str | None, word: str) -> None:
        """A variant is brought up to its base, of which something may have been saved just before."""
        variants = sorted(name for name, text in self.files.items() if re.search(BASED_ON, text))
        name = data.draw(st.sampled_from(variants)) if variants else "first-bar"
        recorded = re.search(BASED_ON, self.files.get(name, b""))
        if recorded is None or b"superfat: six" in self.files[name]:
            return
        base, version = (part.decode() for part in recorded.groups())
        if superfat is not None:
            self.edit_by_hand(base, superfat)
            self.save_everything()
        named = {self.owner(save) for save in self.saves if (save.name, blob_id(save.text)) == (base, version)}
        under_it = {self.owner(save) for save in self.saves if blob_id(save.text) == version} & {base}
        owners = named or under_it
        with open_folder(self.root) as folder:
            try:
                found = find_update(folder, name)
                if found.conflicts:
                    found = find_update(folder, name, settle={each.field: word for each in found.conflicts})
            except InputError:
                assert len(owners) != 1 or name in owners  # nothing is guessed
                return
            assert {found.parent.slug} == owners
            texts = self.lines()[found.parent.slug]
            assert found.parent.now.text.encode() == texts[-1]
            assert found.parent.before.id == version
            assert bool(found.saves) == (blob_id(texts[-1]) != version)
            try:
                apply_update(folder, found)
            except ChangedError:
                assert not self.is_clean(name)
                return
            text = folder.store.read_working(f"recipes/{name}.yaml")
        assert self.is_clean(name) or text == self.files[name]
        assert (blob_id(texts[-1]).encode() in text) or not found.saves
        self.files[name] = text

    @rule(data=st.data(), superfat=st.none() | st.sampled_from(SUPERFATS[:3]))
    def send_back(self, data: st.DataObject, superfat: str | None) -> None:
        """What a variant was saved as last goes back to its base, after a change of it as a rule."""
        variants = sorted(name for name, text in self.files.items() if re.search(BASED_ON, text))
        name = data.draw(st.sampled_from(variants)) if variants else "first-bar"
        if superfat is not None:
            self.edit_by_hand(name, superfat)
            self.save_everything()
        with open_folder(self.root) as folder:
            try:
                found = find_send_back(folder, name, "all")
            except (InputError, StopError):
                return
            base = found.base.slug
            owners = {self.owner(save) for save in self.saves if blob_id(save.text) == found.parent.before.id}
            assert base in owners
            assert found.variant.text.encode() == self.lines()[name][-1]
            try:
                apply_send_back(folder, found)
            except ChangedError:
                assert not self.is_clean(base)
                return
            text = folder.store.read_working(f"recipes/{base}.yaml")
        assert self.is_clean(base) or text == self.files[base]
        self.files[base] = text

    # -- two at once, and none to its end --------------------------------------------------------

    @rule(name=names, theirs=st.sampled_from(SUPERFATS[:3]), mine=st.sampled_from(SUPERFATS[:3]))
    def edit_while_another_process_saves(self, name: str, theirs: str, mine: str) -> None:
        if not self.is_clean(name) or self.files != self.saved:
            return
        with open_folder(self.root) as folder:
            folder.find_version(name)
            folder.changed_paths()
            self.edit_by_hand(name, theirs)
            self.save_everything()
            self.edit_by_hand(name, mine)
            try:  # an open folder goes by what is saved and what its files say now
                folder.save_changed(why="Save")
            except InputError:
                assert self.files == self.saved
        if self.files != self.saved:
            self.note(self.files)

    @precondition(lambda _: hasattr(os, "fork"))
    @rule(old=names, new=names, moved=st.booleans(), saving=st.booleans())
    def die_in_the_middle(self, old: str, new: str, moved: bool, saving: bool) -> None:
        """The process is gone when the branch is about to move, or has just moved; the next save ends it."""
        if saving:
            if self.files == self.saved or any(b"superfat: six" in text for text in self.files.values()):
                return
            self.die(lambda folder: folder.save_changed(why="Save"), moved=moved)
            if moved:
                self.note(self.files)
        elif self.is_clean(old) and self.is_unused(new):
            self.die(lambda folder: rename_recipe(folder, old, new), moved=moved)
            # Its files were in the folder, so that the next save brings it to its end, whether or not the branch moved.
            self.put_renamed(old, new)

    def die(self, doing: Callable[[Folder], object], *, moved: bool) -> None:
        Clock.now()
        child = os.fork()
        if child == 0:
            real = branch_module._move

            def die(*arguments: object) -> bool:
                if moved:
                    real(*arguments)  # type: ignore[arg-type]
                os._exit(9)

            branch_module._move = die  # type: ignore[assignment]
            try:
                with open_folder(self.root) as folder:
                    doing(folder)
            finally:
                os._exit(1)
        _, status = os.waitpid(child, 0)
        assert os.waitstatus_to_exitcode(status) == 9
        Clock.moment += timedelta(seconds=9)  # the child's clock is not ours
        with open_folder(self.root) as folder:
            folder.store.finish_interrupted()

    # -- what always holds -----------------------------------------------------------------------

    @invariant()
    def everything_is_there(self) -> None:
        if not hasattr(self, "saves"):
            return
        with open_folder(self.root) as folder:
            assert folder.recipes() == tuple(sorted(self.files))
            tip = {path.split("/")[1][:-5]: blob for path, blob in folder.store.tip_blobs("recipes/").items()}
            assert tip == {name: blob_id(text) for name, text in self.saved.items()}
            assert {name: folder.store.read_working(f"recipes/{name}.yaml") for name in self.files} == self.files
            unsaved = {file.path for file in find_status(folder).unsaved}
            differs = {name for name in {*self.files, *self.saved} if self.files.get(name) != self.saved.get(name)}
            assert unsaved == {f"recipes/{name}.yaml" for name in differs}
            told = {finding.place.path for finding in folder.check() if "formerly" in finding.code}
            assert told <= {f"recipes/{name}.yaml" for name in self.files if self.claims(name)}
            lines = self.lines()
            together = {name: [save.id for save in saves] for name, saves in folder.histories().items()}
            assert together == {name: [blob_id(text) for text in lines[name]] for name in self.files}
            for name, texts in lines.items():
                self.demand_line(folder, name, texts)

    def claims(self, name: str) -> bool:
        """Whether a recipe says that it was called as another whose saves are not its own: its rename was undone."""
        own = {save.name for save in self.saves if self.owner(save) == name}
        return b"superfat: six" not in self.files[name] and any(each not in own for each in self.stated(name))

    def demand_line(self, folder: Folder, name: str, texts: list[bytes]) -> None:
        if not texts and name not in self.files:
            return
        history = folder.history(name)
        assert [save.id for save in history] == [blob_id(text) for text in texts], name
        assert [save.number for save in history] == list(range(1, len(texts) + 1))
        for save in history:
            earlier = [each.number for each in history[: save.number - 1] if each.id == save.id]
            assert save.returns_to == (earlier[0] if earlier else None)
        if texts:
            assert folder.find_version(f"{name}@{len(texts)}").text.encode() == texts[-1]
            assert folder.find_version(f"{name}@{history[0].id[:12]}").text.encode() == texts[0]

    def all_can_be_brought_back(self) -> None:
        """Each text that was ever saved, through `restore`."""
        for save in list(self.saves):
            name = self.owner(save)
            self.bring_back(save, discard=True)
            assert self.path(name).read_bytes() == save.text
        self.everything_is_there()


_SETTINGS = settings(
    max_examples=5,
    stateful_step_count=14,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def test_nothing_that_was_saved_is_gone_whatever_is_done() -> None:
    run_state_machine_as_test(MakersFormulary, settings=_SETTINGS)


@pytest.mark.slow
def test_nothing_that_was_saved_is_gone_in_long_lives() -> None:
    long = settings(_SETTINGS, max_examples=60, stateful_step_count=40, derandomize=False, print_blob=True)
    run_state_machine_as_test(MakersFormulary, settings=long)
