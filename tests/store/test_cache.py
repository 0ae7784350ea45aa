"""The cache answers what was put in, or nothing: damage, rivals and a folder that cannot be written harm nobody."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

import pytest
from hypothesis import given, settings
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
