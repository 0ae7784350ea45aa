"""Keeps a repository quick: loose objects into packs, and a commit graph with filters of changed paths.

Nothing is ever thrown away: objects that no branch reaches stay. A save that has already returned may leave it to a
process of its own.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from formulary.errors import FormularyError
from formulary.store.index import refresh_index
from formulary.store.index_stats import find_unremembered
from formulary.store.lock import saving_lock, tidying_lock
from formulary.store.process import Git, clean_environment
from formulary.store.repository import Repository, find_repository

if TYPE_CHECKING:
    import subprocess

MANY_LOOSE = 4_000  # objects; git's own threshold is 6,700
MANY_PACKS = 20
_AT_ONCE = 500  # files
_CODE = "import sys; from formulary.store.tidying import tidy_folder; tidy_folder(sys.argv[1])"


def is_untidy(repository: Repository) -> bool:
    """Whether tidying is due; looks at one 256th of the loose objects and takes them for typical."""
    objects = repository.common_dir / "objects"
    packs = [name for name in _names(objects / "pack") if name.endswith(".pack")]
    return len(_names(objects / "17")) * 256 >= MANY_LOOSE or len(packs) > MANY_PACKS


def tidy(repository: Repository, git: Git) -> bool:
    """Packs the repository and writes its commit graph; False when another process is at it already."""
    with tidying_lock(repository.common_dir) as held:
        if not held:
            return False
        packs = [name for name in _names(repository.common_dir / "objects" / "pack") if name.endswith(".pack")]
        everything = ["-a", "-k"] if len(packs) > MANY_PACKS else []
        git.run(["repack", "-d", "-l", "-q", "-n", *everything])
        _remember_stats(repository, git)
        git.run(["commit-graph", "write", "--reachable", "--changed-paths", "--no-progress"])
        return True


def tidy_in_background(repository: Repository) -> subprocess.Popen[bytes] | None:
    """Starts the tidying and does not wait for it; None when it could not be started, which harms nobody."""
    import subprocess

    environment = clean_environment()
    environment["PYTHONPATH"] = os.pathsep.join(place for place in sys.path if place and os.path.isabs(place))
    try:
        return subprocess.Popen(
            # -P keeps Python from looking for modules in the folder that it runs in
            [sys.executable, "-P", "-c", _CODE, str(repository.root)],
            cwd=repository.git_dir,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
    except OSError:
        return None


def tidy_folder(root: str) -> bool:
    """Tidies the formulary in a folder, quietly and last in line; what cannot be done is left for the next time."""
    if hasattr(os, "nice"):
        os.nice(10)
    try:
        repository = find_repository(Path(root))
        return tidy(repository, Git(repository.program, repository.git_dir, repository.root))
    except (FormularyError, OSError):
        return False


def _remember_stats(repository: Repository, git: Git) -> None:
    """Lets git's index remember the looks of files that saves have entered, a few at a time: saves must not wait."""
    try:
        unremembered = list(find_unremembered((repository.git_dir / "index").read_bytes()))
    except FileNotFoundError:
        return
    for start in range(0, len(unremembered), _AT_ONCE):
        with saving_lock(repository.common_dir):
            held = set(find_unremembered((repository.git_dir / "index").read_bytes()))
            refresh_index(repository, git, dict(held.intersection(unremembered[start : start + _AT_ONCE])))


def _names(folder: Path) -> list[str]:
    try:
        return os.listdir(folder)
    except OSError:
        return []
