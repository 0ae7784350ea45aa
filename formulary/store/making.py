"""Makes the repository of a new formulary."""

from __future__ import annotations

import os
from pathlib import Path

from formulary.errors import StorageError
from formulary.store import working
from formulary.store.process import Running, clean_environment, find_git, start_git
from formulary.store.store import ATTRIBUTES, Store, open_store

IGNORED = "# Left behind by a save that was cut short; never needed.\n.*.formulary-new\n"


def init_store(root: Path) -> Store:
    """A new store in the folder `root`, which is made when it is not there; nothing is committed yet.

    A folder that is the top of a repository keeps it. Raises `StorageError` when the folder holds a formulary
    already, or cannot be written.
    """
    folder = Path(os.path.realpath(root))
    if any(os.path.lexists(folder / name) for name in working.TOP_FILES):
        do = "Choose another folder."
        if not os.path.lexists(folder / ".git"):
            do = "To have it under git, run `git init` in it; for a new formulary, choose another folder."
        raise StorageError.of("folder-taken", f"The folder {root} holds a formulary already.", do)
    if not os.path.lexists(folder / ".git"):
        _make_repository(folder)
    for name, text in ((".gitattributes", ATTRIBUTES), (".gitignore", IGNORED)):
        if not os.path.lexists(folder / name):
            working.write_working(folder, name, text.encode("utf-8"))
    return open_store(folder)


def _make_repository(folder: Path) -> None:
    """`git init` with nothing of the system's templates, so with no hooks."""
    program = find_git()
    environment = clean_environment()
    environment.update(GIT_TEMPLATE_DIR="", GIT_DEFAULT_REF_FORMAT="files")  # newer gits may choose another
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise working.disk_error(fault, str(folder)) from fault
    process = start_git(
        program,
        [
            "init",
            "--quiet",
            "--template=",
            "--initial-branch=main",
            "--object-format=sha1",
            "--",
            str(folder),
        ],
        environment,
        folder,
    )
    Running("init", process).finish()
