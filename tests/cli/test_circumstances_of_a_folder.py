"""However git stands in a maker's folder, commands work there or refuse in words (exit 3), and touch nothing."""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from formulary.identity import blob_id
from tests.cli.conftest import Run

BASE = "recipes/harbour-base.yaml"
SAVING = (
    ("save", "-m", "softer"),
    ("save", "harbour-base", "-m", "softer"),
    ("restore", "harbour-base@1", "--discard"),
    ("undo",),
    ("rename", "winter-bar", "summer-bar"),
    ("trial", "start", "harbour-base", "--oils", "1000g"),
)


def git(folder: Path, *arguments: str, allowed: tuple[int, ...] = (0,)) -> str:
    done = subprocess.run(["git", *arguments], cwd=folder, capture_output=True, check=False)
    assert done.returncode in allowed, (arguments, done.stderr)
    return done.stdout.decode()


def edit(folder: Path, superfat: int) -> bytes:
    path = folder / BASE
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    changed = [
        f"lye: {{alkali: sodium-hydroxide, superfat: {superfat}}}\n" if "lye:" in line else line for line in lines
    ]
    path.write_text("".join(changed), encoding="utf-8")
    return path.read_bytes()


def everything(folder: Path) -> dict[str, bytes]:
    """All files, git's own with them, but for what git rewrites when it only looks."""
    lasting = {"index", "formulary.lock"}
    files = (path for path in folder.rglob("*") if path.is_file() and path.name not in lasting)
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


@pytest.fixture
def two(formulary: Run, home: Path) -> Path:
    """The formulary with a variant, and a second save of its base."""
    assert formulary("branch", "harbour-base", "winter-bar", "--set", "superfat=6").status == 0
    edit(home, 7)
    assert formulary("save", "-m", "winter").status == 0
    return home


def detach(folder: Path) -> str:
    git(folder, "checkout", "-q", "--detach")
    return "git switch main"


def begin_merge(folder: Path) -> str:
    diverge(folder)
    git(folder, "merge", "other", allowed=(1,))
    return "git merge --abort"


def begin_rebase(folder: Path) -> str:
    diverge(folder)
    git(folder, "rebase", "other", allowed=(1,))
    return "git rebase --abort"


def begin_cherry_pick(folder: Path) -> str:
    diverge(folder)
    git(folder, "cherry-pick", "other", allowed=(1,))
    return "git cherry-pick --abort"


def begin_revert(folder: Path) -> str:
    diverge(folder)
    edit(folder, 10)
    git(folder, "commit", "-qam", "ten")
    git(folder, "revert", "--no-edit", "HEAD~1", allowed=(1,))
    return "git revert --abort"


def diverge(folder: Path) -> None:
    """Two branches that changed the same line."""
    git(folder, "switch", "-q", "-c", "other")
    edit(folder, 8)
    git(folder, "commit", "-qam", "eight")
    git(folder, "switch", "-q", "main")
    edit(folder, 9)
    git(folder, "commit", "-qam", "nine")


@pytest.mark.parametrize("begin", [detach, begin_merge, begin_rebase, begin_cherry_pick, begin_revert])
def test_what_is_under_way_in_git_is_left_alone_and_the_way_out_is_told(
    formulary: Run, two: Path, begin: Callable[[Path], str]
) -> None:
    way_out = begin(two)
    if begin is detach:
        edit(two, 5)
    before = everything(two)
    assert formulary("history", "winter-bar").status == 0
    for command in SAVING:
        if begin is not detach and command[0] in ("save", "trial"):
            continue  # the file holds the marks of the conflict, which is told first
        refused = formulary(*command)
        assert refused.status == 3, (command, refused)
        assert way_out in " ".join(refused.err.split())
        assert "Traceback" not in refused.err
    assert everything(two) == before
    assert formulary("show", "winter-bar").status == 0


def test_a_conflict_that_git_left_in_a_file_is_told_and_never_saved(formulary: Run, two: Path) -> None:
    begin_merge(two)
    before = everything(two)
    for command in (("save", "-m", "x"), ("trial", "start", "harbour-base", "--oils", "1000g")):
        refused = formulary(*command)
        assert refused.status in (2, 3)
        assert f"{BASE}:" in refused.err or "git merge --abort" in " ".join(refused.err.split())
    assert everything(two) == before


def test_a_merge_that_was_settled_to_ones_own_lines_is_still_under_way_to_a_save_and_a_status(
    formulary: Run, two: Path
) -> None:
    begin_merge(two)
    git(two, "checkout", "-q", "--ours", BASE)
    told, refused, named = (
        formulary("status"),
        formulary("save", "-m", "merged"),
        formulary("save", "harbour-base", "-m", "it"),
    )
    assert "Everything is saved" not in told.out
    for words in (told.out, refused.err, named.err):
        assert "then `git add -u` and `git merge --continue`" in " ".join(words.split())
    assert (refused.status, named.status) == (3, 3)
    assert "nothing has changed" not in refused.err


@pytest.mark.parametrize(
    ("begin", "called"), [(begin_merge, "merge"), (begin_rebase, "rebase"), (begin_cherry_pick, "cherry-pick")]
)
def test_status_says_what_git_is_in_the_middle_of_and_that_both_versions_are_in_the_file(
    formulary: Run, two: Path, begin: Callable[[Path], str], called: str
) -> None:
    way_out = begin(two)
    told = formulary("status")
    assert told.status == 2
    words = " ".join(told.out.split())
    assert f"A {called} is under way in git" in words
    assert way_out in words
    assert "formulary save" not in words
    marks = [line for line in told.out.splitlines() if "left both versions in this file" in line]
    first = (two / BASE).read_text(encoding="utf-8").splitlines().index("<<<<<<< HEAD") + 1
    assert [line.split(" ")[0] for line in marks] == [f"{BASE}:{first}:1:"]
    for command in (("batch", "harbour-base", "--oils", "1000g"), ("show", "harbour-base"), ("check",)):
        refused = formulary(*command)
        assert refused.status == 2
        assert f"{BASE}:{first}:1: error" in refused.out + refused.err
        assert "brackets" not in refused.out + refused.err


def test_a_folder_on_no_branch_is_told_by_status_and_is_no_fault(formulary: Run, two: Path) -> None:
    detach(two)
    told = formulary("status")
    assert told.status == 0
    assert "git switch main" in " ".join(told.out.split())


def test_a_clone_with_autocrlf_keeps_the_ids_and_its_saves_are_byte_for_byte(
    formulary: Run, two: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    git(tmp_path, "clone", "-q", "-c", "core.autocrlf=true", str(two), "clone")
    clone = tmp_path / "clone"
    monkeypatch.chdir(clone)
    assert formulary("status").out.startswith("Everything is saved.")
    saved = edit(clone, 8)
    assert formulary("save", "-m", "eight").status == 0
    assert git(clone, "rev-parse", f"HEAD:{BASE}").strip() == blob_id(saved)
    windows = saved.replace(b"\n", b"\r\n")
    (clone / BASE).write_bytes(windows)  # an editor that ends lines so
    assert formulary("save", "-m", "the same with other ends of lines").status == 0
    assert git(clone, "rev-parse", f"HEAD:{BASE}").strip() == blob_id(windows)
    assert (clone / BASE).read_bytes() == windows
    assert formulary("status").out.startswith("Everything is saved.")


def test_a_shallow_clone_says_what_it_lacks_and_saves_what_it_has(
    formulary: Run, two: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    edit(two, 8)
    assert formulary("save", "-m", "eight").status == 0
    git(tmp_path, "clone", "-q", "--depth", "1", two.as_uri(), "clone")
    monkeypatch.chdir(tmp_path / "clone")
    told = " ".join(formulary("history", "harbour-base").out.split())
    assert "was saved once here" in told
    assert "git fetch --unshallow" in told
    assert "what came before it is not in this copy" in told
    assert json.loads(formulary("history", "harbour-base", "--json").out)["is_cut_short"] is True
    assert "the 1st saved in this copy" in formulary("show", "harbour-base@1").out
    told = formulary("check")
    assert told.status == 0
    assert "fetch the full history" in " ".join((told.out + told.err).split())  # the variant's parent is not here
    for command in (("restore", "winter-bar@9"), ("undo",)):
        assert formulary(*command).status in (2, 3)
    edit(tmp_path / "clone", 9)
    assert formulary("save", "-m", "nine").status == 0
    (tmp_path / "clone/recipes/new-bar.yaml").write_bytes((tmp_path / "clone" / BASE).read_bytes())
    assert formulary("save", "-m", "begun in the clone, so that all of it is here").status == 0
    assert "this copy" not in formulary("history", "new-bar").out
    git(tmp_path / "clone", "fsck", "--strict")


def test_a_linked_work_tree_saves_on_its_own_branch(
    formulary: Run, two: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    git(two, "worktree", "add", "-q", "-b", "bench", str(tmp_path / "bench"))
    tip = git(two, "rev-parse", "main")
    monkeypatch.chdir(tmp_path / "bench")
    edit(tmp_path / "bench", 8)
    assert formulary("save", "-m", "at the bench").status == 0
    assert "at the bench" in formulary("history", "harbour-base").out
    assert git(two, "rev-parse", "main") == tip
    assert git(two, "log", "-1", "--format=%s", "bench").strip() == "at the bench"
    assert formulary("undo").status == 0


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can give a folder away")
def test_a_folder_of_another_user_is_refused_with_the_command_that_trusts_it(formulary: Run, two: Path) -> None:
    for path in (two, *two.rglob("*")):
        os.chown(path, 12345, 12345)
    before = everything(two)
    for command in (("show", "harbour-base"), ("status",), ("check",), *SAVING):
        refused = formulary(*command)
        assert refused.status == 3, (command, refused)
        assert f"git config --global --add safe.directory {two}" in " ".join(refused.err.split())
    assert everything(two) == before


def test_names_that_differ_only_in_case_are_refused_before_a_save(formulary: Run, two: Path) -> None:
    (two / "recipes/Harbour-Base.yaml").write_bytes((two / BASE).read_bytes())
    tip = git(two, "rev-parse", "HEAD")
    refused = formulary("save", "-m", "x")
    assert refused.status in (2, 3)
    assert "Harbour-Base" in refused.err
    assert git(two, "rev-parse", "HEAD") == tip
    told = formulary("check")
    assert told.status == 2
    assert "Harbour-Base" in told.out + told.err


def test_a_git_command_that_holds_the_lock_is_waited_for_and_then_told(
    formulary: Run, two: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from formulary.store import branch

    monkeypatch.setattr(branch, "_PATIENCE_S", 0.05)
    lock = two / ".git/refs/heads/main.lock"
    lock.write_bytes(b"")
    saved = edit(two, 8)
    refused = formulary("save", "-m", "eight")
    assert refused.status == 3
    assert lock.exists()
    assert (two / BASE).read_bytes() == saved
    lock.unlink()
    assert formulary("save", "-m", "eight").status == 0
