"""What the doctor finds in a formulary's folder, and what it mends."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from formulary import Folder, init_folder, open_folder
from formulary.finding import Place, error, warn
from formulary.folder.doctor import Ailment, examine_folder


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return init_folder(tmp_path / "soap")


def git(folder: Folder, *arguments: str) -> str:
    done = subprocess.run(["git", "-C", str(folder.root), *arguments], capture_output=True, text=True, check=True)
    return done.stdout


def by_code(folder: Folder) -> dict[str, Ailment]:
    return {ailment.finding.code: ailment for ailment in examine_folder(open_folder(folder.root))}


def test_a_new_formulary_ails_nothing(folder: Folder) -> None:
    assert by_code(folder) == {}


def test_a_damaged_object_is_named_and_left_to_a_person(folder: Folder) -> None:
    blob = git(folder, "rev-parse", "HEAD:recipes/first-bar.yaml").strip()
    loose = folder.root / ".git/objects" / blob[:2] / blob[2:]
    loose.chmod(0o644)
    loose.write_bytes(b"not an object")
    ailment = by_code(folder)["git-damaged"]
    assert ailment.mend is None
    assert ailment.finding.severity.value == "error"
    assert blob in " ".join(each.finding.what for each in examine_folder(folder))


def test_missing_attributes_are_added_and_what_stood_there_stays(folder: Folder) -> None:
    (folder.root / ".gitattributes").write_text("*.jpg binary", encoding="utf-8")
    ailment = by_code(folder)["attributes-missing"]
    assert ailment.mend is not None
    ailment.mend()
    assert (folder.root / ".gitattributes").read_text(encoding="utf-8") == "*.jpg binary\n*.yaml -text\n"
    assert by_code(folder) == {}
    assert git(folder, "status", "--porcelain") == ""


def test_an_index_that_is_behind_is_refreshed_and_staged_work_is_left_alone(folder: Folder) -> None:
    notes = folder.root / "notes.txt"
    notes.write_text("mine\n", encoding="utf-8")
    git(folder, "add", "notes.txt")
    git(folder, "update-index", "--force-remove", "recipes/first-bar.yaml")
    ailment = by_code(folder)["index-stale"]
    assert "recipes/first-bar.yaml" in ailment.finding.what
    assert ailment.mend is not None
    ailment.mend()
    assert by_code(folder) == {}
    assert git(folder, "status", "--porcelain") == "A  notes.txt\n"


@pytest.mark.parametrize("held", [None, b"", b"DIRC\0\0\0\2\0\0\0\1", b"junk" * 20_000])
def test_an_index_that_is_missing_or_damaged_stops_nothing_and_is_written_anew(
    folder: Folder, held: bytes | None
) -> None:
    index = folder.root / ".git/index"
    index.unlink()
    if held is not None:
        index.write_bytes(held)
    recipe = folder.root / "recipes/first-bar.yaml"
    recipe.write_text(recipe.read_text(encoding="utf-8") + "# once more\n", encoding="utf-8")
    folder.save_changed(why="a remark")
    folder.undo()
    found = examine_folder(open_folder(folder.root))
    assert not {"git-damaged", "git-unreadable"} & {ailment.finding.code for ailment in found}
    for ailment in found:
        assert ailment.mend is not None
        ailment.mend()
    assert by_code(folder) == {}
    assert git(folder, "status", "--porcelain") == ""


def test_the_status_tells_a_save_that_was_cut_short_until_it_has_come_to_its_end(folder: Folder) -> None:
    (folder.root / ".git/index").write_bytes(b"DIRC")  # the save stands, but cannot be entered there
    recipe = folder.root / "recipes/first-bar.yaml"
    recipe.write_text(recipe.read_text(encoding="utf-8") + "# once more\n", encoding="utf-8")
    folder.save_changed(why="a remark")
    assert [finding.code for finding in folder.status().findings] == ["save-interrupted"]
    for ailment in examine_folder(folder):
        if ailment.mend is not None:
            ailment.mend()
    assert folder.status().findings == ()


def test_no_save_makes_a_sound_index_of_a_damaged_one(folder: Folder) -> None:
    index = folder.root / ".git/index"
    held = bytearray(index.read_bytes())
    held[60] ^= 1  # in the id of the first file, which git takes as it is
    index.write_bytes(held)
    recipe = folder.root / "recipes/first-bar.yaml"
    recipe.write_text(recipe.read_text(encoding="utf-8") + "# once more\n", encoding="utf-8")
    report = folder.save_changed(why="a remark")
    assert "index-stale" in {finding.code for finding in report.findings}
    found = by_code(folder)
    assert "index-damaged" in found
    for ailment in found.values():
        assert ailment.mend is not None
        ailment.mend()
    assert by_code(folder) == {}
    assert git(folder, "status", "--porcelain") == ""


def test_a_detached_head_is_told(folder: Folder) -> None:
    git(folder, "checkout", "--quiet", "--detach")
    assert "head-detached" in by_code(folder)


def test_programs_that_a_strangers_folder_would_run_are_told_and_not_run(folder: Folder, tmp_path: Path) -> None:
    canary = tmp_path / "canary"
    program = tmp_path / "program"
    program.write_text(f"#!/bin/sh\ntouch '{canary}'\n", encoding="utf-8")
    program.chmod(0o755)
    git(folder, "config", "core.fsmonitor", str(program))
    git(folder, "config", "diff.external", str(program))
    hook = folder.root / ".git/hooks/post-commit"
    hook.parent.mkdir(exist_ok=True)
    hook.write_bytes(program.read_bytes())
    hook.chmod(0o755)
    found = by_code(folder)
    assert {"git-runs-program", "git-hooks"} <= found.keys()
    assert not canary.exists()


def test_packages_from_different_places_are_told(folder: Folder) -> None:
    codes = [ailment.finding.code for ailment in examine_folder(folder, imported_from=("here", "here", "there"))]
    assert codes == ["packages-mixed"]


def test_a_file_that_cannot_be_read_is_told_with_the_command_that_tells_more(folder: Folder) -> None:
    (folder.root / "formulary.yaml").write_text("format: [", encoding="utf-8")
    ailment = by_code(folder)["files-faulty"]
    assert ailment.mend is None
    assert (ailment.finding.severity.value, ailment.finding.place.path) == ("error", "formulary.yaml")
    assert "formulary check" in ailment.finding.do


def test_errors_of_recipes_and_of_trials_are_counted_together_and_warnings_are_not(folder: Folder) -> None:
    recipe = folder.root / "recipes/first-bar.yaml"
    recipe.write_text(recipe.read_text(encoding="utf-8").replace("superfat: 5", "superfat: five"), encoding="utf-8")
    trials = (error("plan-altered", "altered", "", Place("trials/2026/x/planned.yaml")), warn("x", "x", ""))
    found = examine_folder(open_folder(folder.root), check_trials=lambda: trials)
    assert [each.finding.what for each in found if each.finding.code == "files-faulty"] == [
        "2 errors in recipes/first-bar.yaml, trials/2026/x/planned.yaml"
    ]
