"""Only names that every system can hold, and that lead nowhere else, may stand in a formulary."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulary.store import check_path


@pytest.mark.parametrize(
    "path",
    [
        "formulary.yaml",
        "recipes/harbour-base.yaml",
        "trials/2026/2026-10-03-midwinter-clove-k7wq/planned.yaml",
        "materials/öl-für-winter.yaml",
        "trials/2026/x/photo 1.jpg",
        "recipes/git.yaml",
    ],
)
def test_ordinary_names_are_fine(path: str) -> None:
    assert check_path(path) is None


@pytest.mark.parametrize(
    "path",
    [
        "",
        "/etc/passwd",
        "../outside.yaml",
        "recipes/../../outside.yaml",
        "recipes//a.yaml",
        "recipes/./a.yaml",
        "recipes/",
        ".git/config",
        ".GIT/hooks/pre-commit",
        "recipes/.git/config",
        "recipes/.Git/config",
        "GIT~1/config",
        ".g\u200cit/config",
        ".git /config",
        ".git./config",
        "recipes/-rf.yaml",
        "--output=x",
        "recipes/a\nb.yaml",
        "recipes/a\0b.yaml",
        "recipes/a\x1b[31m.yaml",
        "recipes/a\u202eb.yaml",
        "recipes\\a.yaml",
        "C:/a.yaml",
        "recipes/a.yaml:stream",
        "recipes/con.yaml",
        "recipes/NUL",
        "recipes/com1.yaml",
        "recipes/a.",
        "recipes/a ",
        "recipes/*.yaml",
        "recipes/\udcff.yaml",
        "recipes/" + "a" * 300,
        "a/" * 600 + "a",
        "~/a.yaml",
    ],
)
def test_names_that_lead_elsewhere_or_cannot_be_held_are_refused(path: str) -> None:
    finding = check_path(path)
    assert finding is not None
    assert finding.code == "path-name"
    assert "\n" not in finding.what
    assert "\x1b" not in str(finding)


@given(st.text(max_size=60))
def test_any_text_gets_an_answer_and_an_accepted_one_stays_in_its_folder(path: str) -> None:
    finding = check_path(path)
    if finding is None:
        assert not path.startswith("/")
        assert ".." not in path.split("/")
        assert ".git" not in path.lower().split("/")
        assert "\0" not in path
    else:
        str(finding).encode("utf-8")
