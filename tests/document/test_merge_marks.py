"""Where git left both versions in a file, that is told, whatever the file would read as with the marks in it."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from formulary.document.parse import parse_document

BASE = "format: 1\nname: Bar\noils:\n  olive-oil: 75\n  coconut-oil: 25\nnotes: plain\nwater: {lye_concentration: 33}\n"


def merged_by_git(folder: Path, mine: str, theirs: str, *options: str) -> str:
    """What git itself makes of two versions of the same lines."""
    for name, text in (("mine", mine), ("base", BASE), ("theirs", theirs)):
        (folder / name).write_text(text, encoding="utf-8", newline="")
    command = ["git", "merge-file", "-p", *options, "mine", "base", "theirs"]
    done = subprocess.run(command, cwd=folder, capture_output=True, check=False)
    assert done.returncode > 0, "git could merge them"
    return done.stdout.decode("utf-8")


@pytest.mark.parametrize("options", [(), ("--diff3",), ("-L", "HEAD", "-L", "before", "-L", "a friend's")])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_every_place_that_git_could_not_merge_is_told_where_it_begins(
    tmp_path: Path, options: tuple[str, ...], newline: str
) -> None:
    mine, theirs = (
        BASE.replace("Bar", f"{word} bar").replace("33", number) for word, number in (("A", "31"), ("B", "35"))
    )
    text = merged_by_git(tmp_path, mine, theirs, *options).replace("\n", newline)
    lines = text.splitlines()
    begin = [number for number, line in enumerate(lines, 1) if line.startswith("<<<<<<<")]
    end = [number for number, line in enumerate(lines, 1) if line.startswith(">>>>>>>")]
    root, findings = parse_document(text.encode("utf-8"), "recipes/x.yaml")
    assert root is None
    assert [(each.code, each.place.line) for each in findings] == [("merge-marks", number) for number in begin]
    assert [each.what.rpartition(" ")[2] for each in findings] == [str(number) for number in end]


def test_marks_within_quotes_are_no_text_of_the_makers(tmp_path: Path) -> None:
    """A quoted note over several lines would read as one text, with both versions in it."""
    mine, theirs = (BASE.replace("plain", f'"one\n{word}\nthree"') for word in ("two", "zwei"))
    root, findings = parse_document(merged_by_git(tmp_path, mine, theirs))
    assert root is None
    assert [each.code for each in findings] == ["merge-marks"]


@pytest.mark.parametrize("left", ["<<<<<<< HEAD", "||||||| 3f2a1b0", "|||||||", "=======", ">>>>>>> other"])
def test_a_single_mark_that_was_overlooked_is_told(left: str) -> None:
    text = BASE.replace("notes:", f"{left}\nnotes:")
    root, findings = parse_document(text, "recipes/x.yaml")
    assert root is None
    assert [(each.code, each.place.line) for each in findings] == [("merge-marks", 6)]


@pytest.mark.parametrize(
    "note", ["'<<<<<<<'", "a >>>>>>> b", "|\n  <<<<<<< HEAD\n  =======\n  >>>>>>> x", '"a\n=======\nb"']
)
def test_a_makers_own_text_that_looks_like_a_mark_is_read(note: str) -> None:
    root, findings = parse_document(BASE.replace("plain", note))
    assert findings == ()
    assert root is not None


def test_a_file_of_nothing_but_marks_is_told_up_to_a_bound() -> None:
    root, findings = parse_document("<<<<<<< a\n" * 20_000)
    assert root is None
    assert len(findings) <= 200
