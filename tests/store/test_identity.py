"""A version's id is the git blob id of its bytes."""

from __future__ import annotations

import subprocess
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from formulary.store import blob_id


def test_the_id_of_known_contents_is_the_published_one() -> None:
    # Pro Git, 2nd edition, section 10.2 "Git Objects": the ids of "test content\n" and "version 1\n".
    assert blob_id(b"test content\n") == "d670460b4b4aece5915caf5c68d12f560a9fe3e4"
    assert blob_id(b"version 1\n") == "83baae61804e65cc73a7201a7252750c76066a30"
    assert blob_id(b"") == "e69de29bb2d1d6434b8b29ae775ad8c2e48c5391"


@settings(max_examples=25, deadline=None)
@given(data=st.binary(max_size=2000))
def test_git_itself_gives_the_same_id(data: bytes) -> None:
    done = subprocess.run(
        ["git", "hash-object", "--stdin", "--no-filters"],
        input=data,
        capture_output=True,
        check=True,
        cwd=Path("/"),
    )
    assert done.stdout.decode().strip() == blob_id(data)
