"""Whatever bytes stand in git's own files, the store works or says so in words: never a traceback, never a wait."""

from __future__ import annotations

import shutil
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.hostile.canary import Canary, exercise

FILES = [
    "HEAD",
    "config",
    "index",
    "packed-refs",
    "refs/heads/main",
    "formulary-save.json",
    "shallow",
    "info/attributes",
    "objects/info/commit-graph",
    "logs/HEAD",
    "config.worktree",
]
TEXTS = st.one_of(
    st.binary(max_size=300),
    st.sampled_from(
        [b"", b"\0" * 200, b"ref: refs/heads/", b"ref: refs/heads/other\n", b"0" * 40, b"DIRC\0\0\0\2\0\0\0\1"]
    ),
    st.sampled_from([b"[core]\n\tbare = maybe\n", b"[core\n", b"[extensions]\n\tobjectFormat = sha256\n"]),
    st.sampled_from([b"[core]\n\trepositoryformatversion = 99\n", b"[include]\n\tpath = config\n", b"\xff\xfe[core]"]),
)


@pytest.mark.parametrize("name", FILES)
@settings(max_examples=6, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=TEXTS)
def test_any_bytes_in_a_file_of_git_give_words(canary: Canary, name: str, data: bytes) -> None:
    copy = canary.root.with_name("copy")
    shutil.copytree(canary.root, copy)
    try:
        place = copy / ".git" / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.unlink(missing_ok=True)
        place.write_bytes(data)
        before = canary.picture()
        began = time.monotonic()
        for code in exercise(copy):
            assert code
        assert time.monotonic() - began < 30
        canary.demand_untouched(before)
    finally:
        shutil.rmtree(copy)


@pytest.mark.parametrize("name", FILES)
def test_a_folder_in_the_place_of_a_file_of_git_gives_words(canary: Canary, name: str) -> None:
    place: Path = canary.root / ".git" / name
    place.unlink(missing_ok=True)
    place.mkdir(parents=True)
    for code in exercise(canary.root):
        assert code
