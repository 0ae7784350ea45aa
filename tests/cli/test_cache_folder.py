"""The folder for what can be worked out again is the system's usual one for this person, or the one that they name."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from cli.options import find_cache

# XDG Base Directory Specification, 0.8: "All paths set in these environment variables must be absolute. If an
# implementation encounters a relative path [...] it should consider the path invalid and ignore it."
pytestmark = pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="these systems have other places")


@pytest.mark.parametrize(
    ("named", "expected"),
    [("/somewhere/cache", "/somewhere/cache"), ("", "/home/ann/.cache"), ("cache", "/home/ann/.cache")],
)
def test_the_named_folder_counts_where_it_is_a_whole_path(
    named: str, expected: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", "/home/ann")
    monkeypatch.setenv("XDG_CACHE_HOME", named)
    assert find_cache() == Path(expected) / "soap-formulary"
