"""A new formulary: settings, folders, git, and an example recipe with comments for a beginner."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from formulary.document.write import Quoted, render_document
from formulary.folder.folder import Folder
from formulary.given import as_moment
from formulary.settings import SETTINGS_FILE

if TYPE_CHECKING:
    from datetime import datetime

EXAMPLE = "first-bar"


def init_folder(root: Path | str, *, name: str | None = None, now: datetime | None = None) -> Folder:
    """Make a formulary in a new or empty folder, save its first state, and open it.

    name: what the formulary is called; the folder's name unless given. now: when it is begun; the present unless given.
    now has its time zone. Raises StorageError when the folder holds a formulary already or cannot be written,
    InputError for a moment that is none.
    """
    from formulary.store import init_store

    begun = as_moment(now)
    path = Path(root).absolute()
    title = str(name or path.name or "formulary")
    store = init_store(path)
    spelled = render_document({"name": Quoted(title)}).partition(":")[2].strip()
    files = {
        SETTINGS_FILE: _starter(SETTINGS_FILE).format(name=spelled).encode("utf-8"),
        f"recipes/{EXAMPLE}.yaml": _starter(f"{EXAMPLE}.yaml").encode("utf-8"),
    }
    files |= {part: (path / part).read_bytes() for part in (".gitattributes", ".gitignore")}
    store.save(files, message="Begin the formulary", read_from=store.tip, now=begun, write_working=True)
    return Folder(path, store)


def _starter(file: str) -> str:
    return resources.files("formulary").joinpath("starter", file).read_text(encoding="utf-8")
