"""A stranger's folder is used only within itself: links, pointers and borrowed objects are refused."""

from __future__ import annotations

import json
import os
import shutil
import zlib
from pathlib import Path

import pytest

from formulary.errors import InputError, StorageError
from formulary.store import blob_id, open_store
from tests.hostile.canary import RECIPE, Canary, exercise


@pytest.mark.parametrize(
    "name",
    [
        ".git",
        ".git/HEAD",
        ".git/config",
        ".git/index",
        ".git/objects",
        ".git/refs",
        ".git/refs/heads",
        ".git/refs/heads/main",
        ".git/logs",
        ".git/logs/HEAD",
        ".git/logs/refs/heads/main",
    ],
)
def test_a_part_of_git_that_is_a_link_is_refused(canary: Canary, name: str) -> None:
    part = canary.root / name
    target = canary.outside / name
    if part.is_dir():
        shutil.rmtree(part)
    else:
        part.unlink()
    part.symlink_to(target)
    before = canary.picture()
    assert exercise(canary.root) == ["git-leads-out"]
    canary.demand_untouched(before)


@pytest.mark.parametrize(
    "name",
    ["formulary.lock", "formulary-save.json", "formulary-branch", "formulary-index", "index.lock", "packed-refs"],
)
@pytest.mark.parametrize("target", ["secret.yaml", "new-file"])
def test_a_link_where_a_save_writes_is_refused(canary: Canary, name: str, target: str) -> None:
    (canary.root / ".git" / name).symlink_to(canary.outside / target)
    before = canary.picture()
    assert exercise(canary.root) == ["git-leads-out"]
    canary.demand_untouched(before)


def test_a_folder_of_objects_that_is_a_link_is_refused(canary: Canary) -> None:
    (canary.outside / "objects").mkdir()
    name = blob_id(b"edited\n")[:2]
    shutil.rmtree(canary.root / ".git/objects" / name, ignore_errors=True)
    (canary.root / ".git/objects" / name).symlink_to(canary.outside / "objects")
    before = canary.picture()
    assert exercise(canary.root) == ["git-leads-out"]
    canary.demand_untouched(before)


@pytest.mark.parametrize("name", ["HEAD", "config", "formulary.lock", "refs/heads/main"])
def test_a_pipe_in_gits_folder_does_not_make_us_wait(canary: Canary, name: str) -> None:
    (canary.root / ".git" / name).unlink(missing_ok=True)
    os.mkfifo(canary.root / ".git" / name)
    assert exercise(canary.root) == ["git-leads-out"]


@pytest.mark.parametrize("name", ["alternates", "http-alternates"])
def test_borrowed_objects_are_refused(canary: Canary, name: str) -> None:
    info = canary.root / ".git" / "objects" / "info"
    info.mkdir(exist_ok=True)
    (info / name).write_text(f"{canary.outside}/.git/objects\n")
    before = canary.picture()
    assert exercise(canary.root) == ["git-borrowed-objects"]
    canary.demand_untouched(before)


def test_a_git_file_that_names_somebody_elses_repository_is_refused(canary: Canary) -> None:
    shutil.rmtree(canary.root / ".git")
    (canary.root / ".git").write_text(f"gitdir: {canary.outside}/.git\n")
    before = canary.picture()
    assert exercise(canary.root) == ["git-leads-out"]
    canary.demand_untouched(before)


def test_a_git_file_that_names_somebody_elses_work_tree_is_refused(canary: Canary) -> None:
    canary.git("worktree", "add", "-q", str(canary.outside / "tree"), folder=canary.outside)
    shutil.rmtree(canary.root / ".git")
    shutil.copy(canary.outside / "tree" / ".git", canary.root / ".git")
    before = canary.picture()
    assert exercise(canary.root) == ["git-leads-out"]
    canary.demand_untouched(before)


def test_a_common_folder_elsewhere_is_refused(canary: Canary) -> None:
    (canary.root / ".git" / "commondir").write_text(f"{canary.outside}/.git\n")
    before = canary.picture()
    assert exercise(canary.root) == ["git-leads-out"]
    canary.demand_untouched(before)


def test_a_work_tree_elsewhere_is_ignored(canary: Canary) -> None:
    canary.set("core.worktree", str(canary.outside))
    assert "outside" in canary.git("rev-parse", "--show-toplevel")
    before = canary.picture()
    assert exercise(canary.root) == []
    canary.demand_untouched(before)
    assert (canary.root / "trials/2026/t/trial.yaml").read_bytes() == b"t\n"


def test_a_bare_setting_is_ignored(canary: Canary) -> None:
    canary.set("core.bare", "true")
    assert exercise(canary.root) == []


@pytest.mark.parametrize(
    "name", ["recipes", "trials", "trials/2026", RECIPE, "trials/2026/t/trial.yaml", "recipes/b.yaml"]
)
def test_working_files_and_folders_that_are_links_are_not_followed(canary: Canary, name: str) -> None:
    place = canary.root / name
    if place.is_dir():
        shutil.rmtree(place)
    place.unlink(missing_ok=True)
    place.parent.mkdir(parents=True, exist_ok=True)
    target = canary.outside / "secret.yaml" if name.endswith(".yaml") else canary.outside / "recipes"
    place.symlink_to(target)
    before = canary.picture()
    with open_store(canary.root) as store:
        assert [path for path in store.working_paths() if path.startswith(f"{name}/")] == []
        with pytest.raises(InputError):
            store.read_working(name if name.endswith(".yaml") else f"{name}/a.yaml")
        files = {name if name.endswith(".yaml") else f"{name}/a.yaml": b"mine\n"}
        with pytest.raises(InputError):
            store.save(files, message="x", read_from=store.tip, write_working=True)
    canary.demand_untouched(before)


def test_a_head_that_points_out_is_refused(canary: Canary) -> None:
    for text in ("ref: refs/heads/../../../../outside/secret.yaml", "ref: ../x", "ref: refs/formulary/x", "ref: HEAD"):
        (canary.root / ".git" / "HEAD").write_text(text + "\n")
        before = canary.picture()
        assert exercise(canary.root) == ["git-head-odd"]
        canary.demand_untouched(before)


def test_an_invented_unfinished_save_writes_nothing_outside(canary: Canary) -> None:
    tip = canary.git("rev-parse", "HEAD").strip()
    before = canary.picture()
    invented = [("../outside/secret.yaml", "refs/heads/main"), (".git/hooks/pre-commit", "refs/heads/main")]
    invented += [("/etc/x", "refs/heads/main"), ("recipes/../../outside/x", "refs/heads/main")]
    invented += [("recipes/c.yaml", name) for name in ("refs/heads/../../../outside/x", "refs/heads/x y", "HEAD")]
    for path, branch in invented:
        facts = {
            "branch": branch,
            "before": tip,
            "commit": tip,
            "blobs": {path: blob_id(b"two\n")},
            "working_before": {path: None},
        }
        (canary.root / ".git" / "formulary-save.json").write_text(json.dumps(facts))
        assert exercise(canary.root) == []
        canary.demand_untouched(before)
    for text in ("", "[" * 100_000, "null", "{}", '{"branch": 1}', "\ud800".encode("utf-8", "surrogatepass")):
        data = text if isinstance(text, bytes) else text.encode()
        (canary.root / ".git" / "formulary-save.json").write_bytes(data)
        assert exercise(canary.root) == []
    assert not (canary.root / ".git/hooks/pre-commit").exists()


def write_object(canary: Canary, identifier: str, data: bytes) -> None:
    place = canary.root / ".git/objects" / identifier[:2] / identifier[2:]
    place.parent.mkdir(exist_ok=True)
    place.unlink(missing_ok=True)
    place.write_bytes(data)


def test_a_saved_file_whose_bytes_are_not_those_of_its_id_is_refused(canary: Canary) -> None:
    identifier = blob_id(b"two\n")
    write_object(canary, identifier, zlib.compress(b"blob 4\0bad\n"))
    with open_store(canary.root) as store, pytest.raises(StorageError) as fault:
        store.read_blobs([identifier])
    assert identifier in str(fault.value)


@pytest.mark.parametrize("damage", [b"", b"\0\0\0", zlib.compress(b"blob 999\0short"), zlib.compress(b"nonsense")])
def test_damaged_objects_are_named_and_never_a_traceback(canary: Canary, damage: bytes) -> None:
    for identifier in (blob_id(b"two\n"), canary.git("rev-parse", "HEAD^{tree}").strip()):
        write_object(canary, identifier, damage)
        refused = set(exercise(canary.root))
        assert refused <= {
            *("git-object-corrupt", "git-object-missing", "git-object-unreadable", "git-failed", "changed-meanwhile"),
            "version-missing",
        }


def test_a_small_file_that_unpacks_to_a_giant_is_not_read(canary: Canary) -> None:
    squeezer = zlib.compressobj(9)
    size = 300_000_000
    data = squeezer.compress(b"blob %d\0" % size) + b"".join(squeezer.compress(bytes(10_000_000)) for _ in range(30))
    identifier = "ab" * 20
    write_object(canary, identifier, data + squeezer.flush())
    with open_store(canary.root) as store, pytest.raises(StorageError) as fault:
        store.read_blobs([identifier])
    assert fault.value.findings[0].code == "git-object-too-large"


def test_names_in_a_strangers_commit_that_lead_out_are_left_out(canary: Canary, tmp_path: Path) -> None:
    blob = canary.git("rev-parse", f"HEAD:{RECIPE}").strip()
    names = [b"..", b".git", b"a\nb", b"\xff\xfe", b"-x", b"con", b"fine.yaml"]
    tree = b"".join(b"100644 %s\0%s" % (name, bytes.fromhex(blob)) for name in sorted(names))
    (tmp_path / "tree").write_bytes(tree)
    top = canary.git("hash-object", "-w", "-t", "tree", "--literally", str(tmp_path / "tree")).strip()
    commit = canary.git("commit-tree", "-m", "odd", "-p", "HEAD", top).strip()
    canary.git("update-ref", "refs/heads/main", commit)
    before = canary.picture()
    with open_store(canary.root) as store:
        assert list(store.tip_blobs()) == ["fine.yaml"]
        assert {saved.path for saved in store.history()} <= {"fine.yaml", RECIPE, "formulary.yaml"}
    exercise(canary.root)
    canary.demand_untouched(before)
