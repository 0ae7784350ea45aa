"""A file that the disk refuses in the middle is as it was, or not there: half of one would be believed."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from formulary.data_table import Table, TableColumn
from formulary.data_table_formats import save_table
from formulary.errors import StorageError
from formulary.folder.folder import open_folder
from formulary.folder.starting import init_folder
from formulary.whole_file import write_new, write_whole
from trials.due.text import write_calendar
from trials.pages.page import save_page

resource = pytest.importorskip("resource", reason="the system has no limit on a file's size")

MANY = "a text of many letters, of which the disk takes a few\n" * 200
TABLE = Table((TableColumn(name="text", title="text", kind="string"),), ((MANY,),), key=())
WRITERS: dict[str, tuple[str, Callable[[Path], object]]] = {
    "table": ("trials.csv", lambda path: save_table(TABLE, path)),
    "calendar": ("due.ics", lambda path: write_calendar(path, MANY)),
    "page": ("sheet.html", lambda path: save_page(MANY, path)),
    "bytes": ("drawing.svg", lambda path: write_whole(path, MANY.encode())),
}


@contextmanager
def nearly_full_disk() -> Iterator[None]:
    """A disk that takes a thousand bytes of a file and no more, as the system's limit on a file's size makes it."""
    before, most = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, most))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (before, most))
        signal.signal(signal.SIGXFSZ, handler)


@pytest.mark.parametrize("kind", sorted(WRITERS))
def test_what_is_written_in_the_place_of_another_is_all_there_or_the_old_one_stands(kind: str, tmp_path: Path) -> None:
    name, write = WRITERS[kind]
    path = tmp_path / name
    path.write_text("old", encoding="utf-8")
    with nearly_full_disk(), pytest.raises(StorageError, match="could not be written"):
        write(path)
    assert [each.name for each in tmp_path.iterdir()] == [name]
    assert path.read_text(encoding="utf-8") == "old"
    write(path)
    assert "many letters" in path.read_text(encoding="utf-8")


def test_a_link_stays_a_link_and_what_it_leads_to_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    real, link = tmp_path / "elsewhere" / "page.html", tmp_path / "page.html"
    real.write_text("old", encoding="utf-8")
    link.symlink_to(real)
    write_whole(link, b"new")
    assert link.is_symlink()
    assert real.read_text(encoding="utf-8") == "new"


def test_a_new_file_that_fails_half_way_is_not_there_and_can_be_written_again(tmp_path: Path) -> None:
    path = tmp_path / "materials" / "olive-oil.yaml"
    with nearly_full_disk(), pytest.raises(StorageError):
        write_new(path, MANY.encode())
    assert not path.exists()
    write_new(path, b"whole")
    with pytest.raises(FileExistsError):
        write_new(path, b"another")
    assert path.read_bytes() == b"whole"


def test_a_recipe_that_the_disk_refuses_leaves_its_name_free(tmp_path: Path) -> None:
    with init_folder(tmp_path / "soap") as folder:
        variant = folder.find_version("first-bar").branch("second-bar")
        with nearly_full_disk(), pytest.raises(StorageError):
            folder.write(variant)
        assert not (folder.root / "recipes" / "second-bar.yaml").exists()
        folder.write(variant)
    with open_folder(tmp_path / "soap") as folder:
        assert "second-bar" in folder.recipes()
