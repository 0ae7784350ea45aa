"""A store works, or refuses in plain words, in the odd places where a person's folder can be."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from formulary.errors import StorageError
from formulary.store import Store, blob_id, init_store, open_store
from tests.store.conftest import RunGit, save_one

NOBODY = 65534


@pytest.fixture
def reachable() -> Iterator[Store]:
    """A formulary in a folder that every user can reach, owned by a user without rights."""
    if os.geteuid() != 0:
        pytest.skip("only root can become another user")
    place = Path(tempfile.mkdtemp())
    place.chmod(0o755)
    with init_store(place / "formulary") as store:
        store.save({"recipes/a.yaml": b"one\n"}, message="x", read_from=None, write_working=True)
        give_away(store.root, folders=0o755, files=0o644)
        yield store
    shutil.rmtree(place)


def give_away(root: Path, *, folders: int, files: int) -> None:
    for place in (root, *root.rglob("*")):
        os.chown(place, NOBODY, NOBODY)
        place.chmod(folders if place.is_dir() else files)


def try_as_nobody(root: Path, *, write_working: bool) -> str:
    """What comes of reading and saving there, as a user without rights: a word, and the code of a refusal."""
    answer, told = os.pipe()
    child = os.fork()
    if child == 0:
        said = "broken"
        try:
            os.setgroups([])
            os.setgid(NOBODY)
            os.setuid(NOBODY)
            with open_store(root) as store:
                said = f"read {len(store.history())}, "
                store.save({"recipes/a.yaml": b"mine"}, message="x", read_from=store.tip, write_working=write_working)
                said += "saved"
        except StorageError as fault:
            said += fault.findings[0].code
        except BaseException as fault:
            said += repr(fault)
        finally:
            os.write(told, said.encode())
            os._exit(0)
    os.close(told)
    os.waitpid(child, 0)
    with os.fdopen(answer) as file:
        return file.read()


def test_a_repository_of_another_user_is_refused_with_the_exact_command(store: Store) -> None:
    if os.geteuid() != 0:
        pytest.skip("only root can give a folder to another user")
    save_one(store, "recipes/a.yaml", "one\n")
    for place in (store.root, *store.root.rglob("*")):
        os.chown(place, 12345, 12345)
    with pytest.raises(StorageError) as fault:
        open_store(store.root)
    finding = fault.value.findings[0]
    assert finding.code == "git-foreign-owner"
    assert f"git config --global --add safe.directory {store.root}" in finding.do
    subprocess.run(["git", "config", "--global", "--add", "safe.directory", str(store.root)], check=True)
    with open_store(store.root) as opened:
        assert len(opened.history()) == 1


@pytest.mark.parametrize("write_working", [True, False])
def test_a_folder_that_may_not_be_written_is_read_and_a_save_is_refused(reachable: Store, write_working: bool) -> None:
    give_away(reachable.root, folders=0o555, files=0o444)
    assert try_as_nobody(reachable.root, write_working=write_working) == "read 1, folder-read-only"
    assert (reachable.root / "recipes/a.yaml").read_bytes() == b"one\n"


@pytest.mark.parametrize("name", [".git", ".git/objects", ".git/refs/heads", "recipes"])
def test_a_detail_that_may_not_be_written_is_a_refusal_and_nothing_is_half_done(reachable: Store, name: str) -> None:
    (reachable.root / name).chmod(0o555)
    assert try_as_nobody(reachable.root, write_working=True) == "read 1, folder-read-only"
    assert (reachable.root / "recipes/a.yaml").read_bytes() == b"one\n"
    (reachable.root / name).chmod(0o755)
    assert try_as_nobody(reachable.root, write_working=True) == "read 1, saved"
    assert (reachable.root / "recipes/a.yaml").read_bytes() == b"mine"


def test_a_linked_work_tree_is_a_formulary_of_its_own_branch(store: Store, run_git: RunGit, tmp_path: Path) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    run_git("worktree", "add", "-q", "-b", "winter", str(tmp_path / "winter"))
    with open_store(tmp_path / "winter") as winter:
        save_one(winter, "recipes/b.yaml", "winter\n")
        assert set(winter.tip_blobs()) == {"recipes/a.yaml", "recipes/b.yaml"}
    assert run_git("status", "--porcelain", folder=tmp_path / "winter") == ""
    assert run_git("rev-list", "--count", "winter").strip() == "2"
    store.refresh()
    assert set(store.tip_blobs()) == {"recipes/a.yaml"}
    save_one(store, "recipes/a.yaml", "two\n")
    run_git("fsck", "--full", "--strict")


def test_a_shallow_clone_reads_what_it_has_and_saves(store: Store, run_git: RunGit, tmp_path: Path) -> None:
    for number in range(5):
        save_one(store, "recipes/a.yaml", f"{number}\n")
    run_git("clone", "-q", "--depth", "2", f"file://{store.root}", str(tmp_path / "shallow"), folder=tmp_path)
    with open_store(tmp_path / "shallow") as shallow:
        blobs = [saved.blob for saved in shallow.history(["recipes/a.yaml"])]
        assert blobs == [blob_id(b"4\n"), blob_id(b"3\n")]
        assert shallow.read_blobs([blob_id(b"0\n")]) == {}
        save_one(shallow, "recipes/a.yaml", "5\n")
        assert shallow.history(["recipes/a.yaml"])[0].blob == blob_id(b"5\n")
    run_git("fsck", "--full", "--strict", folder=tmp_path / "shallow")
    run_git("pull", "-q", str(tmp_path / "shallow"), "main")
    store.refresh()
    assert len(store.history(["recipes/a.yaml"])) == 6


def test_a_mirror_without_some_objects_is_told_by_name(store: Store, run_git: RunGit) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    save_one(store, "recipes/b.yaml", "two\n")
    tree = run_git("rev-parse", "HEAD:recipes").strip()
    (store.root / ".git/objects" / tree[:2] / tree[2:]).unlink()
    with pytest.raises(StorageError):
        store.save({"recipes/c.yaml": b"x"}, message="x", read_from=store.tip)
    assert int(run_git("rev-list", "--count", "--first-parent", "HEAD")) == 2


@pytest.mark.parametrize("setting", ["true", "input"])
def test_line_endings_are_saved_as_they_are_whatever_git_is_set_to(store: Store, run_git: RunGit, setting: str) -> None:
    run_git("config", "core.autocrlf", setting)
    run_git("config", "core.eol", "crlf")
    for number, data in enumerate((b"a\r\nb\r\n", b"a\nb\n", b"a\rb", b"\xef\xbb\xbfa\r\n", b"")):
        store.save({f"recipes/r{number}.yaml": data}, message="x", read_from=store.tip, write_working=True)
        assert run_git("rev-parse", f"HEAD:recipes/r{number}.yaml").strip() == blob_id(data)
        assert store.read_blobs([blob_id(data)]) == {blob_id(data): data}
        assert (store.root / f"recipes/r{number}.yaml").read_bytes() == data


@pytest.mark.parametrize("setting", ["true", "input", "false"])
@pytest.mark.parametrize("data", [b"a\nb\n", b"a\r\nb\r\n", b"\xef\xbb\xbfa\r\nb\n"])
def test_a_clone_with_the_formularys_attributes_keeps_the_ids_and_has_nothing_to_save(
    store: Store, run_git: RunGit, tmp_path: Path, data: bytes, setting: str
) -> None:
    attributes = (store.root / ".gitattributes").read_bytes()
    files = {".gitattributes": attributes, "recipes/a.yaml": data}
    store.save(files, message="x", read_from=store.tip, write_working=True)
    copy_root = tmp_path / "copy"
    run_git("clone", "-q", "-c", f"core.autocrlf={setting}", str(store.root), str(copy_root), folder=tmp_path)
    for root in (store.root, copy_root):
        assert run_git("status", "--porcelain", "--", "recipes", folder=root) == ""
    with open_store(copy_root) as copy:
        assert copy.read_working("recipes/a.yaml") == data
        assert blob_id(data) == copy.tip_blobs()["recipes/a.yaml"]


@pytest.mark.parametrize("how", ["rebase", "squash", "amend"])
def test_ids_of_versions_stay_when_the_history_is_rewritten(store: Store, run_git: RunGit, how: str) -> None:
    for number in range(4):
        save_one(store, "recipes/a.yaml", f"{number}\n")
    before = {saved.blob for saved in store.history(["recipes/a.yaml"])}
    if how == "rebase":
        run_git("rebase", "-q", "HEAD~3", "--force-rebase", "--signoff")
    elif how == "squash":
        run_git("reset", "-q", "--soft", "HEAD~2")
        run_git("commit", "-q", "-m", "squashed")
    else:
        run_git("commit", "-q", "--amend", "-m", "rewritten")
    with open_store(store.root) as opened:
        after = [saved.blob for saved in opened.history(["recipes/a.yaml"])]
        assert after[0] == blob_id(b"3\n")
        assert set(after) == before if how != "squash" else set(after) < before
        found = opened.read_blobs([blob for blob in before if blob])
        assert set(found) == before  # a squashed version is still found by its id
        save_one(opened, "recipes/a.yaml", "next\n")
    run_git("fsck", "--full", "--strict")


def test_a_branch_with_a_slash_and_spaces_and_umlauts_in_the_path_work(
    store: Store, run_git: RunGit, tmp_path: Path
) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    run_git("checkout", "-q", "-b", "winter/2026")
    moved = tmp_path / "Küche & Söhne 'x'"
    shutil.move(store.root, moved)
    with open_store(moved) as opened:
        save_one(opened, "recipes/ä ö.yaml", "two\n")
        assert set(opened.tip_blobs()) == {"recipes/a.yaml", "recipes/ä ö.yaml"}
        assert [saved.path for saved in opened.history(["recipes/ä ö.yaml"])] == ["recipes/ä ö.yaml"]
    assert run_git("log", "--format=%s", "winter/2026", folder=moved).count("\n") == 2


def test_a_sha256_repository_is_refused_in_plain_words(tmp_path: Path) -> None:
    subprocess.run(["git", "init", "-q", "--object-format=sha256", str(tmp_path / "x")], check=True)
    with pytest.raises(StorageError) as fault:
        open_store(tmp_path / "x")
    assert fault.value.findings[0].code == "git-sha256"


def test_a_file_executable_stays_so(store: Store, run_git: RunGit) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    run_git("update-index", "--chmod=+x", "recipes/a.yaml")
    run_git("commit", "-q", "-m", "x")
    store.refresh()
    save_one(store, "recipes/a.yaml", "two\n")
    assert run_git("ls-tree", "HEAD", "recipes/a.yaml").startswith("100755")
