"""What was saved is found again: files, blobs, prefixes, revisions, histories."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from formulary.errors import InputError, StorageError
from formulary.store import Store, blob_id, init_store, open_store
from tests.store.conftest import RunGit, save_one


def test_one_file_at_the_tip_is_found_alone_and_among_all(store: Store) -> None:
    assert store.tip_blob("recipes/a.yaml") is None
    for name, text in (("a", "one\n"), ("b", "two\n")):
        save_one(store, f"recipes/{name}.yaml", text)
    with open_store(store.root) as fresh:
        alone = fresh.tip_blob("recipes/a.yaml")
        assert [alone, fresh.tip_blob("recipes/a.yaml")] == [blob_id(b"one\n")] * 2
        assert fresh.tip_blob("recipes/b.yaml") == blob_id(b"two\n")
        assert fresh.tip_blob("recipes/c.yaml") is None
        save_one(store, "recipes/a.yaml", "three\n")
        fresh.refresh()
        assert fresh.tip_blob("recipes/a.yaml") == blob_id(b"three\n")


def test_working_files_are_those_of_a_formulary_only(store: Store) -> None:
    for path in (
        "formulary.yaml",
        "recipes/a.yaml",
        "materials/b.yaml",
        "trials/2026/t/trial.yaml",
        "other/c.yaml",
    ):
        (store.root / path).parent.mkdir(parents=True, exist_ok=True)
        (store.root / path).write_text(path)
    (store.root / "recipes/.hidden.yaml").write_text("x")
    assert store.working_paths() == (
        "formulary.yaml",
        "materials/b.yaml",
        "recipes/a.yaml",
        "trials/2026/t/trial.yaml",
    )
    assert store.working_paths("recipes/") == ("recipes/a.yaml",)
    assert store.working_paths("trials/2026/t") == ("trials/2026/t/trial.yaml",)
    assert store.read_working("recipes/a.yaml") == b"recipes/a.yaml"
    with pytest.raises(InputError):
        store.read_working("recipes/missing.yaml")
    with pytest.raises(InputError):
        store.read_working("recipes")
    with pytest.raises(InputError):
        store.read_working("../formulary/recipes/a.yaml")


def test_links_are_not_followed(store: Store, tmp_path: Path) -> None:
    (tmp_path / "secret.yaml").write_text("secret")
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside" / "x.yaml").write_text("secret")
    (store.root / "recipes").mkdir()
    (store.root / "recipes/a.yaml").symlink_to(tmp_path / "secret.yaml")
    (store.root / "trials").symlink_to(tmp_path / "outside")
    (store.root / "recipes/sub").symlink_to(tmp_path / "outside")
    os.mkfifo(store.root / "recipes/pipe.yaml")
    assert "trials/x.yaml" not in store.working_paths()
    for path in ("recipes/a.yaml", "trials/x.yaml", "recipes/sub/x.yaml", "recipes/pipe.yaml"):
        with pytest.raises(InputError) as fault:
            store.read_working(path)
        assert fault.value.findings[0].code in ("file-linked", "file-odd")
        with pytest.raises((InputError, StorageError)):
            store.save({path: b"mine"}, message="x", read_from=None, write_working=True)
    assert (tmp_path / "secret.yaml").read_text() == "secret"
    assert (tmp_path / "outside" / "x.yaml").read_text() == "secret"


def test_missing_blobs_are_absent_and_many_are_read_at_once(store: Store, run_git: RunGit) -> None:
    files = {f"recipes/r{number}.yaml": f"{number}\n".encode() * 50 for number in range(3000)}
    store.save(files, message="many", read_from=None)
    ids = [blob_id(data) for data in files.values()]
    found = store.read_blobs(["0" * 40, *ids, "nonsense", "--help", ids[0]])
    assert found == {blob_id(data): data for data in files.values()}
    assert store.read_blobs([store.tip or ""]) == {}
    run_git("fsck", "--full", "--strict")


def test_a_large_blob_is_refused_without_being_read(store: Store, run_git: RunGit) -> None:
    (store.root / "large").write_bytes(b"\0" * 40_000_000)
    large = run_git("hash-object", "-w", "--no-filters", "large").strip()
    save_one(store, "recipes/a.yaml", "x")
    with pytest.raises(StorageError) as fault:
        store.read_blobs([large, blob_id(b"x")])
    assert fault.value.findings[0].code == "git-object-too-large"


def test_revisions_are_found_and_options_are_not(store: Store, run_git: RunGit) -> None:
    first = save_one(store, "recipes/a.yaml", "one\n")
    second = save_one(store, "recipes/a.yaml", "two\n")
    run_git("tag", "shop-2026", first)
    run_git("tag", "-a", "-m", "lasting", "kept/v1", first)
    run_git("branch", "midwinter", first)
    for text in (
        first,
        first[:8],
        "shop-2026",
        "kept/v1",
        "midwinter",
        "HEAD~1",
        "main^",
        "refs/tags/shop-2026",
    ):
        assert store.resolve_revision(text) == first
    assert store.resolve_revision("main") == second
    refused = [
        "",
        "-h",
        "--all",
        "--output=/tmp/x",
        "nothing",
        "main..midwinter",
        "main@{1}",
        ":/two",
        "a b",
        "main\n",
    ]
    refused += ["main:recipes/a.yaml", "../../x", "HEAD~99", "^main", "main~99999999999"]
    for text in refused:
        assert store.resolve_revision(text) is None
    assert store.blob_at(first, "recipes/a.yaml") == blob_id(b"one\n")
    assert store.blob_at(second, "recipes/a.yaml") == blob_id(b"two\n")
    assert store.blob_at(second, "recipes/b.yaml") is None
    with pytest.raises(InputError):
        store.blob_at("main", "recipes/a.yaml")
    with pytest.raises(InputError):
        store.blob_at(second, "--all")


def test_history_lists_every_version_newest_first(store: Store) -> None:
    commits = [
        save_one(store, "recipes/a.yaml", f"{number}\n", f"Version {number}\n\nbody\n\n:x\x01") for number in range(4)
    ]
    save_one(store, "recipes/b.yaml", "b\n")
    store.save({"recipes/a.yaml": None}, message="Delete", read_from=store.tip)
    history = store.history(["recipes/a.yaml"])
    assert [saved.commit for saved in history[1:]] == commits[::-1]
    assert [saved.blob for saved in history] == [
        None,
        *(blob_id(f"{number}\n".encode()) for number in (3, 2, 1, 0)),
    ]
    assert history[1].subject == "Version 3"
    assert history[1].body == "body\n\n:x\x01"
    assert len(store.history()) == 6
    assert len(store.history(["recipes/a.yaml", "recipes/b.yaml"])) == 6
    assert [saved.path for saved in store.history(["recipes/b.yaml"])] == ["recipes/b.yaml"]
    assert store.history(["recipes/none.yaml"]) == ()
    with pytest.raises(InputError):
        store.history(["--all"])


def test_similar_files_are_never_taken_for_one_another(store: Store) -> None:
    save_one(store, "recipes/a.yaml", "same\n" * 50)
    save_one(store, "recipes/b.yaml", "same\n" * 50)
    store.save({"recipes/a.yaml": None, "recipes/c.yaml": b"same\n" * 50}, message="Move", read_from=store.tip)
    assert len(store.history(["recipes/b.yaml"])) == 1
    assert len(store.history(["recipes/c.yaml"])) == 1


def test_versions_from_both_sides_of_a_merge_and_the_merge_itself_are_listed(store: Store, run_git: RunGit) -> None:
    save_one(store, "recipes/a.yaml", "base\n")
    run_git("checkout", "-q", "-b", "side")
    (store.root / "recipes/a.yaml").write_text("side\n")
    run_git("commit", "-qam", "side")
    run_git("checkout", "-q", "main")
    save_one(store, "recipes/a.yaml", "main\n")
    with pytest.raises(AssertionError):
        run_git("merge", "side")
    (store.root / "recipes/a.yaml").write_text("both\n")
    run_git("commit", "-qam", "merged")
    with open_store(store.root) as opened:
        blobs = {saved.blob for saved in opened.history(["recipes/a.yaml"])}
        everything = {saved.blob for saved in opened.history()}
    assert blobs == everything == {blob_id(text) for text in (b"base\n", b"side\n", b"main\n", b"both\n")}


def test_what_was_deleted_is_found_as_it_was_last_also_where_a_merge_left_it_out(store: Store, run_git: RunGit) -> None:
    assert store.deleted("trials") == {}
    for text in ("one\n", "two\n"):
        save_one(store, "trials/a.yaml", text)
    save_one(store, "recipes/r.yaml", "r\n")
    run_git("checkout", "-q", "-b", "side")
    (store.root / "trials/side.yaml").write_text("side\n")
    run_git("add", ".")
    run_git("commit", "-qm", "side")
    run_git("checkout", "-q", "main")
    store.refresh()
    store.save({"trials/a.yaml": None, "recipes/r.yaml": None}, message="Delete", read_from=store.tip)
    assert store.deleted("trials") == {"trials/a.yaml": blob_id(b"two\n")}
    run_git("reset", "-q", "--hard")
    run_git("merge", "-q", "-s", "ours", "-m", "leave it out", "side")
    (store.root / "trials").mkdir(exist_ok=True)
    with open_store(store.root) as opened:
        left_out = {"trials/a.yaml": blob_id(b"two\n"), "trials/side.yaml": blob_id(b"side\n")}
        assert opened.deleted("trials") == left_out
        save_one(opened, "trials/a.yaml", "three\n")
        assert opened.deleted("trials") == left_out
        opened.save({"trials/a.yaml": None}, message="Delete", read_from=opened.tip)
        assert opened.deleted("trials")["trials/a.yaml"] == blob_id(b"three\n")
        with pytest.raises(InputError):
            opened.deleted("--all")


def test_packed_repositories_read_and_save_the_same(store: Store, run_git: RunGit) -> None:
    for number in range(5):
        save_one(store, "recipes/a.yaml", f"{number}\n")
    before = store.history()
    run_git("gc", "-q")
    run_git("pack-refs", "--all")
    with open_store(store.root) as opened:
        assert opened.tip == store.tip
        assert opened.history() == before
        save_one(opened, "recipes/b.yaml", "b\n")
        assert opened.history()[1:] == before
    run_git("fsck", "--full", "--strict")


def test_links_and_submodules_in_a_commit_are_no_files(store: Store, run_git: RunGit) -> None:
    commit = save_one(store, "recipes/a.yaml", "x\n")
    link = run_git("hash-object", "-w", "--stdin", stdin="/etc/passwd").strip()
    for entry in (f"120000,{link},recipes/link.yaml", f"160000,{commit},recipes/module"):
        run_git("update-index", "--add", "--cacheinfo", entry)
    run_git("commit", "-q", "-m", "odd")
    with open_store(store.root) as opened:
        assert list(opened.tip_blobs()) == ["recipes/a.yaml"]
        assert [saved.path for saved in opened.history()] == ["recipes/a.yaml"]
        save_one(opened, "recipes/a.yaml", "y\n")
    assert run_git("ls-tree", "-r", "--name-only", "HEAD").split() == [
        "recipes/a.yaml",
        "recipes/link.yaml",
        "recipes/module",
    ]


def test_a_folder_that_is_not_under_git_is_refused(tmp_path: Path) -> None:
    with pytest.raises(StorageError) as fault:
        open_store(tmp_path)
    assert fault.value.findings[0].code == "not-under-git"
    with pytest.raises(StorageError):
        open_store(tmp_path / "missing")


def test_a_folder_inside_somebody_elses_work_tree_is_not_taken_for_a_formulary(store: Store) -> None:
    (store.root / "inside").mkdir()
    with pytest.raises(StorageError):
        open_store(store.root / "inside")


def test_a_formulary_is_never_made_over_another(store: Store) -> None:
    save_one(store, "formulary.yaml", "format: 1\n")
    with pytest.raises(StorageError) as fault:
        init_store(store.root)
    assert fault.value.findings[0].code == "folder-taken"
    assert "git init" not in fault.value.findings[0].do


def test_a_copy_without_its_saves_is_told_how_it_comes_under_git_again(store: Store, run_git: RunGit) -> None:
    save_one(store, "formulary.yaml", "format: 1\n")
    shutil.rmtree(store.root / ".git")
    for opens in (init_store, open_store):
        with pytest.raises(StorageError) as fault:
            opens(store.root)
        assert "run `git init` in" in fault.value.findings[0].do
    run_git("init", "-q", folder=store.root)
    assert open_store(store.root).tip is None


def test_an_empty_store_reads_as_empty(store: Store) -> None:
    assert store.tip is None
    assert dict(store.tip_blobs()) == {}
    assert store.history() == ()
    assert store.resolve_revision("main") is None
    assert store.read_blobs([]) == {}
    assert (store.root / ".gitattributes").read_text() == "*.yaml -text\n"
    assert not (store.root / ".git/hooks").exists()


def test_importing_the_store_starts_nothing_heavy() -> None:
    import subprocess
    import sys

    code = "import sys, formulary.store; print(sorted({'git', 'subprocess', 'sqlite3'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
