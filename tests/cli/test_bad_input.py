"""Whatever a person gets wrong is told in their words, with the right exit status, and nothing is written."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import BASE, Run

# name of the fault -> (the base recipe with it, code of the finding, words that the person must see)
BROKEN_FILES = {
    "a wrong unit": (
        BASE + "additions:\n  - {material: kaolin, rate: 1 cm per kg oils, at: oils}\n",
        "bad-value",
        ["rate", "cm"],
    ),
    "a bare number where a unit is due": (
        BASE + "process: {lye_temperature: 38}\n",
        "bad-value",
        ["lye_temperature", "38", "unit"],
    ),
    "a total of 99.5 %": (BASE.replace("rice-bran-oil: 22", "rice-bran-oil: 21.5"), "oils-total", ["99.5 %"]),
    "an unknown material": (BASE.replace("rice-bran-oil", "rise-bran-oil"), "unknown-material", ["rice-bran-oil"]),
    "a duplicate key": (BASE + "name: Another\n", "duplicate-key", ["name"]),
    "a no-break space": (
        BASE.replace("coconut-oil: 25", "coconut-oil:\u00a025"),
        "yaml-space",
        [":5:15:", "ordinary space"],
    ),
    "a no-break space that indents": (
        BASE.replace("  coconut-oil", "\u00a0\u00a0coconut-oil"),
        "yaml-space",
        [":5:1:"],
    ),
    "a no-break space in a comment above another fault": (
        BASE.replace("lye:", "# ceci\u00a0:\u00a0non\nlye: [", 1),
        "yaml-syntax",
        ["brackets"],
    ),
    "a tab": (BASE.replace("  coconut-oil", "\tcoconut-oil"), "yaml-tab", ["spaces"]),
    "an empty file": ("", "file-empty", ["empty"]),
    "an unknown key": (BASE + "sent: []\n", "unknown-key", ["scent"]),
    "a newer format": (BASE.replace("format: 1", "format: 2"), "format-newer", ["newer"]),
    "a negative amount": (BASE.replace("olive-oil: 53", "olive-oil: -53"), "out-of-bounds", ["-53"]),
    "a fraction for a percentage": (BASE.replace("superfat: 5", "superfat: 0.05"), "fraction", ["0.05", "5"]),
    "not a number": (BASE.replace("olive-oil: 53", "olive-oil: .nan"), "bad-value", [".nan"]),
}


def all_files(root: Path) -> dict[str, bytes]:
    return {str(path.relative_to(root)): path.read_bytes() for path in root.rglob("*") if path.is_file()}


@pytest.mark.parametrize("fault", BROKEN_FILES)
@pytest.mark.parametrize("command", ["check", "show", "batch", "save"])
def test_a_broken_file_is_told_with_its_place_and_nothing_is_written(
    fault: str, command: str, home: Path, formulary: Run
) -> None:
    text, code, words = BROKEN_FILES[fault]
    (home / "recipes/harbour-base.yaml").write_text(text, encoding="utf-8")
    before = all_files(home)
    arguments = {
        "check": ["check"],
        "show": ["show", "harbour-base"],
        "batch": ["batch", "harbour-base", "--oils", "1000g"],
        "save": ["save", "-m", "try"],
    }[command]
    ran = formulary(*arguments)
    assert ran.status == 2
    assert f"[{code}]" in ran.err
    assert "recipes/harbour-base.yaml:" in ran.err
    assert all(word in ran.err for word in words)
    assert "Traceback" not in ran.err + ran.out
    assert all_files(home) == before


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["show", "harbour-bass"], "no-recipe", ["harbour-base"]),
        (["show", "harbour-base@abcd"], "no-version", ["harbour-base@"]),
        (["show", "harbour-base@7"], "no-version", ["harbour-base@"]),
        (["show", "../harbour-base"], "bad-name", []),
        (["show", "--", "-harbour"], "bad-name", []),
        (["show", "-harbour"], "usage", ["-h"]),
        (["batch", "harbour-base", "--oils", "1000"], "bad-size", ["unit"]),
        (["batch", "harbour-base", "--oils", "12 cm"], "bad-size", ["cm"]),
        (["batch", "harbour-base", "--oils", "nan g"], "bad-size", []),
        (["batch", "harbour-base", "--oils", "-5 g"], "bad-size", []),
        (["batch", "harbour-base", "--oils", "1e30 kg"], "bad-size", ["1000 kg"]),
        (["batch", "harbour-base"], "size", []),
        (["batch", "harbour-base", "--oils", "1 kg", "--lot", "olive-oil"], "bad-lot", ["--lot"]),
        (["batch", "harbour-base", "--jsno"], "usage", ["--json"]),
        (["batch", "harbour-base", "--oil", "1 kg"], "usage", ["--oils"]),
        (["hist", "harbour-base"], "usage", ["history"]),
        (["materials", "show", "oliv-oil"], "unknown-material", ["olive-oil"]),
        (["--folder", "nowhere", "check"], "not-a-formulary", ["formulary.yaml"]),
        (["init", "."], "folder-taken", []),
    ],
)
def test_a_wrong_request_is_told_with_what_to_write_instead(
    arguments: list[str], code: str, words: list[str], home: Path, formulary: Run
) -> None:
    before = all_files(home)
    ran = formulary(*arguments)
    assert ran.status == (3 if code == "folder-taken" else 2)
    assert f"[{code}]" in ran.err
    assert all(word in ran.err for word in words)
    assert ran.out == ""
    assert all_files(home) == before


@pytest.mark.usefixtures("home")
def test_wrong_input_is_text_on_stderr_under_json_too(formulary: Run) -> None:
    ran = formulary("batch", "harbour-base", "--oils", "5", "--json")
    assert (ran.status, ran.out) == (2, "")
    assert "[bad-size]" in ran.err


def test_a_folder_that_is_no_formulary_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, formulary: Run
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = formulary("check")
    assert ran.status == 2
    assert "[not-a-formulary]" in ran.err
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_under_git_is_refused(home: Path, formulary: Run) -> None:
    shutil.rmtree(home / ".git")
    ran = formulary("check")
    assert ran.status == 3
    assert "[not-under-git]" in ran.err


@pytest.mark.skipif(os.geteuid() == 0, reason="permissions do not bind the superuser")
def test_a_folder_without_write_permission_can_be_read_but_not_saved(home: Path, formulary: Run) -> None:
    (home / "recipes/harbour-base.yaml").write_text(BASE + "notes: more\n", encoding="utf-8")
    folders = [path for path in home.rglob("*") if path.is_dir()] + [home]
    for folder in folders:
        folder.chmod(0o555)
    try:
        assert formulary("show", "harbour-base").status == 0
        ran = formulary("save", "-m", "try")
        assert formulary("branch", "first-bar", "another").status == 3
    finally:
        for folder in folders:
            folder.chmod(0o755)
    assert ran.status == 3
    assert "Traceback" not in ran.err


def test_a_broken_file_does_not_stop_work_on_others(home: Path, formulary: Run) -> None:
    (home / "recipes/first-bar.yaml").write_text("name: [", encoding="utf-8")
    assert formulary("show", "harbour-base").status == 0
    assert formulary("batch", "harbour-base", "--oils", "1 kg").status == 0


def test_check_lists_errors_as_json_on_stdout(home: Path, formulary: Run) -> None:
    import json

    (home / "recipes/first-bar.yaml").write_text("", encoding="utf-8")
    ran = formulary("check", "--json")
    assert (ran.status, ran.err) == (2, "")
    assert "file-empty" in [finding["code"] for finding in json.loads(ran.out)["findings"]]
