"""The cache answers what was put in, or nothing: damage, rivals and a folder that cannot be written harm nobody."""

from __future__ import annotations

import os
import sqlite3
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from formulary.identity import blob_id
from formulary.store.cache import BlobCache

ENTRIES = {blob_id(b"%d" % number): b"value %d" % number for number in range(2000)}


def test_what_was_put_in_comes_out_again_also_in_the_next_process(tmp_path: Path) -> None:
    with BlobCache(tmp_path / "cache", "1") as cache:
        assert cache.read(ENTRIES) == {}
        cache.write(ENTRIES)
        assert cache.read(ENTRIES) == ENTRIES
    with BlobCache(tmp_path / "cache", "1") as cache:
        assert cache.read(ENTRIES) == ENTRIES
        few = list(ENTRIES)[:3]
        assert cache.read([*few, "0" * 40, "nonsense", "' or 1=1 --"]) == {key: ENTRIES[key] for key in few}
        cache.write({"nonsense": b"x", few[0]: b"other"})
        assert cache.read(ENTRIES) == ENTRIES


def test_very_many_are_found_as_few_are(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with BlobCache(tmp_path, "1") as cache:
        cache.write(ENTRIES)
        wanted = [*list(ENTRIES)[:300], "0" * 40, "nonsense"]
        few = cache.read(wanted)
        monkeypatch.setattr("formulary.store.cache._SCAN_FROM", 1)
        assert cache.read(wanted) == few == {key: ENTRIES[key] for key in list(ENTRIES)[:300]}


def test_another_edition_of_the_code_sees_nothing_of_the_old_one(tmp_path: Path) -> None:
    with BlobCache(tmp_path, "1") as cache:
        cache.write(ENTRIES)
    with BlobCache(tmp_path, "2") as cache:
        assert cache.read(ENTRIES) == {}


@settings(max_examples=20, deadline=None)
@given(place=st.integers(0, 30_000), damage=st.binary(min_size=1, max_size=3000))
@example(place=3960, damage=b"\x80")  # in the words of the table, which sqlite repeats in its complaint
def test_a_damaged_file_gives_less_and_never_a_fault(
    tmp_path_factory: pytest.TempPathFactory, place: int, damage: bytes
) -> None:
    folder = tmp_path_factory.mktemp("cache")
    with BlobCache(folder, "1") as cache:
        cache.write(ENTRIES)
    (file,) = folder.iterdir()
    data = bytearray(file.read_bytes())
    data[place : place + len(damage)] = damage
    file.write_bytes(data)
    with BlobCache(folder, "1") as cache:
        assert cache.read(ENTRIES).items() <= ENTRIES.items()
        cache.write(ENTRIES)
    with BlobCache(folder, "1") as cache:
        cache.read(ENTRIES)


def test_a_file_that_is_no_cache_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "versions-1.sqlite").write_bytes(b"not a database at all, but long enough to look at" * 50)
    with BlobCache(tmp_path, "1") as cache:
        assert cache.read(ENTRIES) == {}
        cache.write(ENTRIES)
        assert cache.read(ENTRIES) == ENTRIES


def test_a_cache_that_has_grown_too_large_is_begun_again(tmp_path: Path) -> None:
    with BlobCache(tmp_path, "1") as cache:
        cache.write(ENTRIES)
    with BlobCache(tmp_path, "1", largest=1000) as cache:
        assert cache.read(ENTRIES) == {}


def test_a_cache_that_another_process_writes_is_passed_by(tmp_path: Path) -> None:
    with BlobCache(tmp_path, "1") as cache:
        cache.write(ENTRIES)
    rival = sqlite3.connect(tmp_path / "versions-1.sqlite", isolation_level=None)
    rival.execute("begin exclusive")
    with BlobCache(tmp_path, "1") as cache:
        assert cache.read(ENTRIES) == {}
        cache.write(ENTRIES)
    rival.execute("commit")
    rival.close()
    with BlobCache(tmp_path, "1") as cache:
        assert cache.read(ENTRIES) == ENTRIES


def test_a_place_that_cannot_be_a_folder_means_no_cache(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with BlobCache(tmp_path / "file" / "cache", "1") as cache:
        cache.write(ENTRIES)
        assert cache.read(ENTRIES) == {}
    assert os.listdir(tmp_path) == ["file"]


@pytest.fixture
def open_to_all() -> Iterator[None]:
    before = os.umask(0o022)
    yield
    os.umask(before)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@pytest.mark.skipif(os.name != "posix", reason="rights as POSIX has them")
@pytest.mark.usefixtures("open_to_all")
def test_nobody_else_can_read_what_is_kept(tmp_path: Path) -> None:
    """Folders that are made on the way have 0700 (XDG Base Directory Specification), those that are there stay so."""
    here = mode(tmp_path)
    place = tmp_path / ".cache" / "soap-formulary" / "versions-1.sqlite"
    for _ in range(2):
        with BlobCache(place.parent, "1") as cache:
            cache.write(ENTRIES)
        assert [mode(each) for each in (place, place.parent, place.parent.parent, tmp_path)] == [
            0o600,
            0o700,
            0o700,
            here,
        ]
        place.chmod(0o644)  # as it was made once


OLD_DAYS = {
    "versions-0123456789abcdef.sqlite": 31,
    "versions-0123456789abcdef.sqlite-journal": 31,
    "versions-sound-0123456789abcdef.sqlite": 31,
    "versions-fedcba9876543210.sqlite": 29,
    "versions-2024.sqlite": 400,
    "versions-0123456789abcdef.sqlite.bak": 400,
    "my versions.txt": 400,
}


def test_files_of_other_editions_are_removed_a_month_after_they_were_written(tmp_path: Path) -> None:
    with BlobCache(tmp_path, "1") as cache:
        cache.write(dict(list(ENTRIES.items())[:1]))
    now_s = (tmp_path / "versions-1.sqlite").stat().st_mtime
    for name, days in OLD_DAYS.items():
        (tmp_path / name).write_text("x")
        os.utime(tmp_path / name, (now_s - days * 86_400,) * 2)
    with BlobCache(tmp_path, "1") as cache:
        cache.read(ENTRIES)
        assert len(os.listdir(tmp_path)) == len(OLD_DAYS) + 1
        cache.write(ENTRIES)
    stay = [name for name in OLD_DAYS if OLD_DAYS[name] == 29 or OLD_DAYS[name] == 400]
    assert sorted(os.listdir(tmp_path)) == sorted([*stay, "versions-1.sqlite"])
    with BlobCache(tmp_path, "1") as cache:
        assert cache.read(ENTRIES) == ENTRIES


def test_what_only_looks_like_another_edition_is_left_alone(tmp_path: Path) -> None:
    target = tmp_path / "recipe.yaml"
    target.write_text("name: First")
    cache_folder = tmp_path / "cache"
    (cache_folder / "versions-0000000000000000.sqlite").mkdir(parents=True)
    link = cache_folder / "versions-1111111111111111.sqlite"
    link.symlink_to(target)
    for path in (target, link, cache_folder / "versions-0000000000000000.sqlite"):
        os.utime(path, (0, 0), follow_symlinks=path == target)
    with BlobCache(cache_folder, "1") as cache:
        cache.write(ENTRIES)
    assert target.read_text() == "name: First"
    assert link.is_symlink()
    assert len(os.listdir(cache_folder)) == 3


@pytest.mark.parametrize("is_there", [False, True])
def test_a_link_in_the_place_of_the_file_is_not_followed(tmp_path: Path, is_there: bool) -> None:
    target = tmp_path / "recipes.yaml"
    if is_there:
        target.write_text("")
    (tmp_path / "cache").mkdir()
    (tmp_path / "cache" / "versions-1.sqlite").symlink_to(target)
    with BlobCache(tmp_path / "cache", "1") as cache:
        cache.write(ENTRIES)
        assert cache.read(ENTRIES) == {}
    assert target.exists() == is_there
    assert not is_there or target.read_bytes() == b""
