"""One save is one commit of several files, all or nothing, against the tip that was read."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from formulary.errors import ChangedError, InputError, StorageError
from formulary.store import Store, blob_id, init_store, open_store
from tests.store.conftest import RunGit, save_one


def test_a_save_is_one_commit_with_the_bytes_of_the_files(store: Store, run_git: RunGit) -> None:
    files = {
        "recipes/a.yaml": b"name: A\r\n",
        "trials/2026/x/trial.yaml": b"\xff\x00 raw",
        "formulary.yaml": b"",
    }
    result = store.save(files, message="Start\n\nWith a body.\n", read_from=None)
    assert run_git("rev-parse", "refs/heads/main").strip() == result.commit
    assert run_git("rev-list", "--count", "HEAD").strip() == "1"
    assert run_git("log", "-1", "--format=%B").strip() == "Start\n\nWith a body."
    for path, data in files.items():
        assert run_git("rev-parse", f"HEAD:{path}").strip() == blob_id(data)
        assert store.read_blobs([blob_id(data)]) == {blob_id(data): data}
    run_git("fsck", "--full", "--strict")
    assert store.tip == result.commit
    assert dict(store.tip_blobs()) == {path: blob_id(data) for path, data in files.items()}


def test_after_a_save_git_sees_nothing_changed_and_nothing_staged(store: Store, run_git: RunGit) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    save_one(store, "recipes/b.yaml", "two\n")
    save_one(store, "recipes/a.yaml", "three\n")
    assert run_git("status", "--porcelain", "--untracked-files=no") == ""


def test_many_saves_give_what_git_would_have_written(store: Store, run_git: RunGit, tmp_path: Path) -> None:
    names = [
        "recipes/a.yaml",
        "recipes/a-b.yaml",
        "recipes/a/b.yaml",
        "recipes/a0.yaml",
        "trials/2026/a/t.yaml",
    ]
    for count, name in enumerate(names):
        save_one(store, name, f"{count}\n")
        index = tmp_path / "index"
        index.unlink(missing_ok=True)
        run_git("add", "--all", "recipes", *(["trials"] if (store.root / "trials").exists() else []))
        assert run_git("write-tree").strip() == run_git("rev-parse", "HEAD^{tree}").strip()
    run_git("fsck", "--full", "--strict")


def test_deleting_the_last_file_of_a_folder_removes_the_folder_from_the_commit(store: Store, run_git: RunGit) -> None:
    save_one(store, "formulary.yaml", "x\n")
    save_one(store, "trials/2026/a/t.yaml", "x\n")
    store.save({"trials/2026/a/t.yaml": None}, message="Delete it", read_from=store.tip)
    assert run_git("ls-tree", "-r", "--name-only", "HEAD").split() == ["formulary.yaml"]
    assert run_git("ls-tree", "--name-only", "HEAD").split() == ["formulary.yaml"]
    run_git("fsck", "--full", "--strict")


def test_saving_what_is_saved_already_makes_no_commit(store: Store) -> None:
    first = save_one(store, "recipes/a.yaml", "one\n")
    result = store.save({"recipes/a.yaml": b"one\n"}, message="Again", read_from=store.tip)
    assert result.commit == first
    assert "save-nothing" in [finding.code for finding in result.warnings]


def test_a_save_without_files_or_without_a_word_on_why_is_refused(store: Store) -> None:
    with pytest.raises(InputError):
        store.save({}, message="x", read_from=None)
    with pytest.raises(InputError):
        store.save({"recipes/a.yaml": b"x"}, message=" \n\t", read_from=None)
    assert store.tip is None


def test_the_loser_of_a_race_for_one_file_is_told_and_nothing_is_overwritten(store: Store) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    with open_store(store.root) as mine, open_store(store.root) as theirs:
        theirs.save({"recipes/a.yaml": b"theirs\n"}, message="Theirs", read_from=theirs.tip)
        with pytest.raises(ChangedError) as fault:
            mine.save({"recipes/a.yaml": b"mine\n"}, message="Mine", read_from=mine.tip)
        assert [finding.place.path for finding in fault.value.findings] == ["recipes/a.yaml"]
        assert fault.value.exit_status == 3
    store.refresh()
    assert store.tip_blobs()["recipes/a.yaml"] == blob_id(b"theirs\n")
    assert len(store.history(["recipes/a.yaml"])) == 2


def test_a_file_that_appeared_meanwhile_is_not_overwritten(store: Store) -> None:
    save_one(store, "formulary.yaml", "x\n")
    read_from = store.tip
    save_one(store, "recipes/a.yaml", "theirs\n")
    with pytest.raises(ChangedError):
        store.save({"recipes/a.yaml": b"mine\n"}, message="Mine", read_from=read_from)
    with pytest.raises(ChangedError):
        store.save(
            {"recipes/a.yaml": b"mine\n"},
            message="Mine",
            read_from=store.tip,
            expected={"recipes/a.yaml": None},
        )
    with pytest.raises(ChangedError):
        store.save({"recipes/a.yaml": b"mine\n"}, message="Mine", read_from=None)


def test_other_files_may_move_on_between_reading_and_saving(store: Store) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    read_from = store.tip
    save_one(store, "recipes/b.yaml", "theirs\n")
    store.save({"recipes/a.yaml": b"two\n"}, message="Mine", read_from=read_from)
    assert store.tip_blobs() == {"recipes/a.yaml": blob_id(b"two\n"), "recipes/b.yaml": blob_id(b"theirs\n")}


def test_a_persons_own_commit_between_is_kept(store: Store, run_git: RunGit) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    read_from = store.tip
    (store.root / "readme.txt").write_text("mine")
    run_git("add", "readme.txt")
    run_git("commit", "-m", "by hand")
    store.save({"recipes/a.yaml": b"two\n"}, message="Mine", read_from=read_from)
    assert run_git("rev-list", "--count", "HEAD").strip() == "3"
    assert "readme.txt" in run_git("ls-tree", "-r", "--name-only", "HEAD")


def test_what_a_person_staged_stays_staged_and_uncommitted(store: Store, run_git: RunGit) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    (store.root / "recipes/b.yaml").write_text("staged\n")
    run_git("add", "recipes/b.yaml")
    save_one(store, "recipes/a.yaml", "two\n")
    assert run_git("status", "--porcelain", "--untracked-files=no") == "A  recipes/b.yaml\n"
    assert "recipes/b.yaml" not in store.tip_blobs()


def test_a_save_leaves_the_working_file_alone_unless_told_otherwise(store: Store) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    before = (store.root / "recipes/a.yaml").stat()
    (store.root / "recipes/a.yaml").write_bytes(b"edited\n")
    store.save({"recipes/a.yaml": b"other\n"}, message="x", read_from=store.tip)
    assert (store.root / "recipes/a.yaml").read_bytes() == b"edited\n"
    assert (store.root / "recipes/a.yaml").stat().st_ino == before.st_ino


def test_a_save_can_write_the_files_that_the_tool_makes(store: Store, run_git: RunGit) -> None:
    files = {"trials/2026/t/trial.yaml": b"a\n", "trials/2026/t/planned.yaml": b"b\n"}
    store.save(files, message="Start a trial", read_from=store.tip, write_working=True)
    for path, data in files.items():
        assert (store.root / path).read_bytes() == data
    assert run_git("status", "--porcelain", "trials") == ""
    store.save(dict.fromkeys(files), message="Drop it", read_from=store.tip, write_working=True)
    assert not (store.root / "trials/2026").exists()


def test_a_file_that_changed_on_disk_after_it_was_read_is_not_overwritten(store: Store) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    (store.root / "recipes/a.yaml").write_bytes(b"edited by hand\n")
    with pytest.raises(ChangedError) as fault:
        store.save({"recipes/a.yaml": b"two\n"}, message="x", read_from=store.tip, write_working=True)
    assert fault.value.findings[0].code == "changed-on-disk"
    assert (store.root / "recipes/a.yaml").read_bytes() == b"edited by hand\n"
    assert store.tip_blobs()["recipes/a.yaml"] == blob_id(b"one\n")
    store.save(
        {"recipes/a.yaml": b"two\n"},
        message="x",
        read_from=store.tip,
        write_working=True,
        working_read={"recipes/a.yaml": blob_id(b"edited by hand\n")},
    )
    assert (store.root / "recipes/a.yaml").read_bytes() == b"two\n"


def test_the_time_and_the_person_of_a_save_are_kept(store: Store, run_git: RunGit) -> None:
    run_git("config", "user.name", "Änn <Example>")
    run_git("config", "user.email", "ann@example.org")
    when = datetime(2026, 10, 3, 9, 30, tzinfo=timezone(timedelta(hours=-5, minutes=-30)))
    result = store.save({"recipes/a.yaml": b"x"}, message="ä ö ü\n\nmore", read_from=None, now=when)
    assert result.warnings == ()
    assert run_git("log", "-1", "--format=%an|%ae|%aI|%cI").strip() == (
        "Änn  Example|ann@example.org|2026-10-03T09:30:00-05:30|2026-10-03T09:30:00-05:30"
    )
    (saved,) = store.history()
    assert (saved.when, saved.author, saved.subject, saved.body) == (
        when.astimezone(UTC),
        "Änn  Example",
        "ä ö ü",
        "more",
    )


def test_without_a_git_identity_a_neutral_one_signs_and_says_so(store: Store, run_git: RunGit) -> None:
    result = store.save({"recipes/a.yaml": b"x"}, message="x", read_from=None)
    assert [finding.code for finding in result.warnings] == ["git-identity"]
    assert run_git("log", "-1", "--format=%an <%ae> %cn <%ce>").strip() == (
        "formulary <formulary@localhost> formulary <formulary@localhost>"
    )


@pytest.mark.parametrize("path", ["../a.yaml", ".git/config", "recipes/.GIT/hooks/x", "-a.yaml", "/etc/x"])
@pytest.mark.parametrize("write_working", [False, True])
def test_a_name_that_leads_elsewhere_is_refused_and_nothing_is_written(
    store: Store, path: str, write_working: bool
) -> None:
    with pytest.raises(InputError):
        store.save({path: b"x", "recipes/a.yaml": b"x"}, message="x", read_from=None, write_working=write_working)
    assert store.tip is None
    assert not (store.root / "recipes").exists()


def test_names_that_differ_only_in_case_or_accents_are_refused(store: Store) -> None:
    save_one(store, "recipes/é.yaml", "x\n")
    for name in ("recipes/É.yaml", "recipes/e\u0301.yaml", "Recipes/b.yaml"):
        with pytest.raises(InputError) as fault:
            store.save({name: b"x"}, message="x", read_from=store.tip)
        assert fault.value.findings[0].code == "name-taken"
    with pytest.raises(InputError):
        store.save({"recipes/b.yaml": b"x", "recipes/B.yaml": b"x"}, message="x", read_from=store.tip)
    store.save({"recipes/é.yaml": None, "recipes/É.yaml": b"x\n"}, message="Rename", read_from=store.tip)
    assert list(store.tip_blobs()) == ["recipes/É.yaml"]


def test_a_file_cannot_take_the_place_of_a_folder_nor_a_folder_that_of_a_file(store: Store) -> None:
    save_one(store, "recipes/a/b.yaml", "x\n")
    with pytest.raises(InputError):
        store.save({"recipes/a": b"x"}, message="x", read_from=store.tip)
    with pytest.raises(InputError):
        store.save({"recipes/a/b.yaml/c.yaml": b"x"}, message="x", read_from=store.tip)


def test_a_detached_head_is_refused_with_the_way_back(store: Store, run_git: RunGit) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    run_git("checkout", "--detach", "-q")
    with open_store(store.root) as opened:
        assert opened.tip == store.tip
        with pytest.raises(StorageError) as fault:
            opened.save({"recipes/a.yaml": b"two\n"}, message="x", read_from=opened.tip)
    assert fault.value.findings[0].code == "git-detached"
    assert "git switch" in fault.value.findings[0].do


@pytest.mark.parametrize("how", ["merge", "rebase", "cherry-pick", "revert"])
def test_a_merge_or_rebase_in_progress_is_refused_and_left_as_it_is(store: Store, run_git: RunGit, how: str) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    run_git("branch", "side")
    save_one(store, "recipes/a.yaml", "two\n")
    run_git("checkout", "-q", "side")
    (store.root / "recipes/a.yaml").write_text("three\n")
    run_git("commit", "-qam", "three")
    run_git("checkout", "-q", "main")
    with pytest.raises(AssertionError):
        run_git(how, "main~1" if how == "revert" else "side")
    with open_store(store.root) as opened:
        tip = opened.tip
        assert len(opened.history()) >= 2
        with pytest.raises(StorageError) as fault:
            opened.save({"recipes/b.yaml": b"x"}, message="x", read_from=tip)
    assert fault.value.findings[0].code in ("git-in-progress", "git-detached")
    assert how in fault.value.findings[0].what
    run_git(how, "--abort")


def test_a_formulary_can_lie_inside_another_and_be_made_from_there(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    monkeypatch.chdir(store.root)
    with init_store(Path("trials/inner ü")) as inner:
        save_one(inner, "recipes/b.yaml", "inner\n")
        assert dict(inner.tip_blobs()) == {"recipes/b.yaml": blob_id(b"inner\n")}
    assert store.working_paths() == ("recipes/a.yaml",)
    store.refresh()
    assert list(store.tip_blobs()) == ["recipes/a.yaml"]
