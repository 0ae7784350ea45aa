"""Old versions come back as new saves, saves are undone by new saves, and versions get lasting names."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from formulary.errors import ChangedError, InputError
from formulary.store import Store, blob_id, open_store
from tests.store.conftest import RunGit, save_one


def test_restoring_is_a_new_save_and_the_old_version_has_its_old_id(store: Store) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    save_one(store, "recipes/a.yaml", "two\n")
    store.restore({"recipes/a.yaml": blob_id(b"one\n")}, message="Back to the first")
    assert (store.root / "recipes/a.yaml").read_bytes() == b"one\n"
    assert [saved.blob for saved in store.history(["recipes/a.yaml"])] == [
        blob_id(text) for text in (b"one\n", b"two\n", b"one\n")
    ]


def test_a_deleted_file_comes_back(store: Store) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    save_one(store, "recipes/b.yaml", "b\n")
    store.save({"recipes/a.yaml": None}, message="Drop", read_from=store.tip, write_working=True)
    assert not (store.root / "recipes/a.yaml").exists()
    store.restore({"recipes/a.yaml": blob_id(b"one\n")}, message="Bring it back")
    assert (store.root / "recipes/a.yaml").read_bytes() == b"one\n"
    assert len(store.history(["recipes/a.yaml"])) == 3


def test_restoring_does_not_overwrite_unsaved_changes_unless_they_are_named(store: Store) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    save_one(store, "recipes/a.yaml", "two\n")
    (store.root / "recipes/a.yaml").write_bytes(b"edited\n")
    wanted = {"recipes/a.yaml": blob_id(b"one\n")}
    with pytest.raises(ChangedError):
        store.restore(wanted, message="x")
    assert (store.root / "recipes/a.yaml").read_bytes() == b"edited\n"
    store.restore(wanted, message="x", working_read={"recipes/a.yaml": blob_id(b"edited\n")})
    assert (store.root / "recipes/a.yaml").read_bytes() == b"one\n"


def test_a_version_that_is_not_in_this_copy_is_refused_by_name(store: Store) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    with pytest.raises(InputError) as fault:
        store.restore({"recipes/a.yaml": "ab" * 20}, message="x")
    assert "ab" * 20 in fault.value.findings[0].what


def test_undo_takes_back_the_last_save_and_redo_brings_it_back(store: Store, run_git: RunGit) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    files = {"recipes/a.yaml": b"two\n", "trials/2026/t/trial.yaml": b"t\n"}
    last = store.save(files, message="Start a trial", read_from=store.tip, write_working=True).commit
    assert dict(store.changes_of(last)) == {
        "recipes/a.yaml": (blob_id(b"one\n"), blob_id(b"two\n")),
        "trials/2026/t/trial.yaml": (None, blob_id(b"t\n")),
    }
    store.undo()
    assert dict(store.tip_blobs()) == {"recipes/a.yaml": blob_id(b"one\n")}
    assert store.working_paths() == ("recipes/a.yaml",)
    assert store.history()[0].subject == "Undo: Start a trial"
    store.redo()
    assert store.history()[0].subject == "Redo: Start a trial"
    assert dict(store.tip_blobs()) == {path: blob_id(data) for path, data in files.items()}
    assert (store.root / "trials/2026/t/trial.yaml").read_bytes() == b"t\n"
    assert run_git("rev-list", "--count", "HEAD").strip() == "4"
    assert run_git("status", "--porcelain", "recipes", "trials") == ""


def held(store: Store) -> bytes | None:
    """What `recipes/a.yaml` holds in the folder, which is what the last save holds too."""
    found = store.read_working("recipes/a.yaml") if "recipes/a.yaml" in store.working_paths() else None
    assert store.tip_blobs().get("recipes/a.yaml") == (None if found is None else blob_id(found))
    return found


def test_undo_again_goes_further_back_and_redo_comes_back_step_by_step(store: Store, run_git: RunGit) -> None:
    for text in ("one", "two", "three", "four"):
        save_one(store, "recipes/a.yaml", text)
    for text in (b"three", b"two", b"one"):
        store.undo()
        assert held(store) == text
    with pytest.raises(InputError):
        store.undo()
    for text in (b"two", b"three", b"four"):
        store.redo()
        assert held(store) == text
    with pytest.raises(InputError):
        store.redo()
    store.undo()
    assert held(store) == b"three"
    assert run_git("rev-list", "--count", "HEAD").strip() == "11"


def test_a_save_after_an_undo_begins_anew_and_undo_passes_over_what_was_undone(store: Store) -> None:
    for text in ("one", "two", "three"):
        save_one(store, "recipes/a.yaml", text)
    store.undo()
    store.undo()
    save_one(store, "recipes/a.yaml", "other")
    with pytest.raises(InputError):
        store.redo()
    store.undo()
    assert held(store) == b"one"
    store.redo()
    assert held(store) == b"other"


def test_an_undo_of_an_undo_from_before_there_was_a_redo_counts_as_one(store: Store) -> None:
    for text in ("one", "two"):
        save_one(store, "recipes/a.yaml", text)
    undone = store.undo().commit
    wanted = {"recipes/a.yaml": blob_id(b"two")}
    store.restore(wanted, message=f"Undo: Undo: x\n\nThis undoes the save {undone}.")
    store.undo()
    assert held(store) == b"one"


def test_a_message_that_only_says_that_it_undoes_something_is_not_believed(store: Store) -> None:
    save_one(store, "recipes/a.yaml", "one")
    last = save_one(store, "recipes/a.yaml", "two")
    save_one(store, "recipes/a.yaml", "three", message=f"Mine\n\nThis undoes the save {last}.")
    with pytest.raises(InputError):
        store.redo()
    store.undo()
    assert held(store) == b"two"


def test_undo_refuses_the_first_save_a_merge_and_unsaved_changes(store: Store, run_git: RunGit) -> None:
    with pytest.raises(InputError):
        store.undo()
    save_one(store, "recipes/a.yaml", "one\n")
    with pytest.raises(InputError):
        store.undo()
    save_one(store, "recipes/a.yaml", "two\n")
    (store.root / "recipes/a.yaml").write_bytes(b"edited\n")
    with pytest.raises(ChangedError):
        store.undo()
    (store.root / "recipes/a.yaml").write_bytes(b"two\n")
    run_git("checkout", "-q", "-b", "side", "HEAD~1")
    save_one(store, "recipes/b.yaml", "b\n")
    run_git("checkout", "-q", "main")
    run_git("merge", "-q", "--no-edit", "side")
    with open_store(store.root) as opened, pytest.raises(InputError) as fault:
        opened.undo()
    assert "joined" in fault.value.findings[0].what


def test_a_lasting_name_is_an_annotated_tag_that_stays(store: Store, run_git: RunGit) -> None:
    first = save_one(store, "recipes/a.yaml", "one\n")
    save_one(store, "recipes/a.yaml", "two\n")
    when = datetime(2026, 11, 1, 12, tzinfo=UTC)
    tag = store.name_commit("shop-2026", first, message="As sold", now=when)
    assert run_git("cat-file", "-t", tag).strip() == "tag"
    assert run_git("rev-parse", "shop-2026").strip() == tag
    assert run_git("for-each-ref", "--format=%(contents:subject) %(taggerdate:iso-strict)", "refs/tags").strip() == (
        "As sold 2026-11-01T12:00:00+00:00"
    )
    assert store.resolve_revision("shop-2026") == first
    store.name_commit("harbour-base/winter", first, message="")
    assert dict(store.names()) == {"shop-2026": first, "harbour-base/winter": first}
    with pytest.raises(InputError):
        store.name_commit("shop-2026", store.tip or "", message="x")
    run_git("commit", "--amend", "-q", "-m", "rewritten")
    run_git("gc", "-q")
    assert store.resolve_revision("shop-2026") == first
    run_git("fsck", "--full", "--strict")


def test_no_lasting_name_is_that_of_a_branch(store: Store, run_git: RunGit) -> None:
    first = save_one(store, "recipes/a.yaml", "one\n")
    run_git("branch", "spring")
    for name in ("spring", run_git("branch", "--show-current").strip()):
        with pytest.raises(InputError) as fault:
            store.name_commit(name, first, message="x")
        assert "is a branch in git" in fault.value.findings[0].what
    assert dict(store.names()) == {}


@pytest.mark.parametrize(
    "name",
    [
        "",
        "-x",
        "../x",
        "a b",
        "x.lock",
        "a/.b",
        "a..b",
        "HEAD",
        "latest",
        "4c1d9b",
        "3",
        "042",
        "a~1",
        "x/",
        "a\n",
        "@{1}",
        "a:b",
    ],
)
def test_a_name_that_git_or_a_person_could_mistake_is_refused(store: Store, name: str) -> None:
    save_one(store, "recipes/a.yaml", "one\n")
    with pytest.raises(InputError):
        store.name_commit(name, store.tip or "", message="x")
    with pytest.raises(InputError):
        store.name_commit("fine", "main", message="x")
    assert dict(store.names()) == {}
