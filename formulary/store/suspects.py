"""Which files of a large folder may differ from the last save, without reading those that look as they did.

Git is asked for what its index remembers of each file, from a copy of the index outside the folder, in ways that read
no file's content, so that no filter runs. Whatever looks different is a suspect; its bytes decide.
"""

from __future__ import annotations

import os
import re
import tempfile
from pathlib import Path

from formulary.errors import StorageError
from formulary.store.paths import check_path
from formulary.store.process import Git
from formulary.store.repository import Repository
from formulary.store.working import TOP_FILES, TOP_FOLDERS

SMALL = 60_000  # bytes of an index; below it, reading every file is as quick
_MARKED = re.compile(rb"(?:\A|\0)[a-zS]")  # a file that git was told not to look at


def find_suspects(repository: Repository, git: Git, tip: str) -> tuple[str, ...] | None:
    """The paths that may differ between the tip, the index and the folder; None when every file must be read."""
    index = repository.git_dir / "index"
    try:
        if index.stat().st_size < SMALL:
            return None
        data = index.read_bytes()
    except OSError:
        return None
    with tempfile.TemporaryDirectory() as place:
        copy = Path(place, "index")
        copy.write_bytes(data)
        # An index without a time: git then goes by looks alone, and reads no file that is as young as the index.
        os.utime(copy, (0, 0))
        variables = {"GIT_INDEX_FILE": str(copy)}
        names = ["--", *TOP_FILES, *TOP_FOLDERS]
        plain = ["--no-renames", "--no-ext-diff", "--no-textconv", "--ignore-submodules=all", "--name-only", "-z"]
        asked = [
            git.begin(["diff-files", *plain, *names], variables=variables),
            git.begin(["diff-index", "--cached", *plain, tip, *names], variables=variables),
            git.begin(["ls-files", "--others", "-z", *names], variables=variables),
            git.begin(["ls-files", "-v", "-z", *names], variables=variables),
        ]
        try:
            changed, staged, new, listed = (running.finish()[1] for running in asked)
        except StorageError:  # a damaged index, which only `doctor` is to tell
            return None
        finally:
            for running in asked:
                running.drop()
    if _MARKED.search(listed):
        return None
    paths = {name.decode("utf-8", "surrogateescape") for name in b"\0".join((changed, staged, new)).split(b"\0")}
    return tuple(
        sorted(
            path
            for path in paths
            if check_path(path) is None and not any(part.startswith(".") for part in path.split("/"))
        )
    )
