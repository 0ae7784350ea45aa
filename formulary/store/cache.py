"""A disposable store of what was worked out from saved versions, by blob id, in the person's cache folder.

An id stands for its bytes for ever, so an entry never goes stale; only a change of the code that made it does, and
then `edition` changes. Whatever is wrong with the file, the answer is "not here": the caller works it out again. Each
entry carries a check sum, since a flipped bit in a recipe's numbers must never be taken for them. The recipes in it are
nobody else's to read, and what older editions left here is removed after a while.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING
from zlib import crc32

from formulary.identity import is_full_id

if TYPE_CHECKING:
    import sqlite3

_TABLE = "create table if not exists entry (id blob unique not null, sum integer not null, value blob not null)"
_MOST_IDS = 500  # in one question to sqlite
_SCAN_FROM = 5_000  # ids; so many are found sooner by going through the file than by asking for each
_PATIENCE_S = 0.2
_OF_ANY_EDITION = re.compile(r"versions-(?:sound-)?[0-9a-f]{16}\.sqlite(?:-journal)?")
_KEPT_S = 30 * 86_400  # so long after its last writing another edition's file stays: two may be in use


class BlobCache:
    """blob id -> bytes, in one sqlite file for `edition` below `folder`; use it in a `with` block or close it."""

    def __init__(self, folder: Path, edition: str, *, largest: int = 1_000_000_000) -> None:
        self._place = folder / f"versions-{edition}.sqlite"
        self._largest = largest  # bytes; a larger file is thrown away and begun again
        self._connection: sqlite3.Connection | None = None
        self._is_broken = False

    def __enter__(self) -> BlobCache:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Lets go of the file."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def read(self, ids: Iterable[str]) -> dict[str, bytes]:
        """id -> bytes of those that are here; ids that are not are absent."""
        asked = dict.fromkeys(ids)
        if len(asked) > _SCAN_FROM:
            everything = self._ask("select id, sum, value from entry", [])
            return {identifier: value for key, value in everything if (identifier := key.hex()) in asked}
        wanted = [bytes.fromhex(identifier) for identifier in asked if is_full_id(identifier)]
        found: dict[str, bytes] = {}
        for start in range(0, len(wanted), _MOST_IDS):
            part = wanted[start : start + _MOST_IDS]
            marks = ",".join("?" * len(part))
            for key, value in self._ask(f"select id, sum, value from entry where id in ({marks})", part):
                found[key.hex()] = value
        return found

    def write(self, entries: Mapping[str, bytes]) -> None:
        """Keeps entries for the next time, if it can."""
        import sqlite3

        known = ((bytes.fromhex(identifier), value) for identifier, value in entries.items() if is_full_id(identifier))
        rows = [(key, crc32(value, crc32(key)), value) for key, value in known]
        connection = self._open() if rows else None
        if connection is None:
            return
        try:
            with connection:
                connection.executemany("insert or ignore into entry (id, sum, value) values (?, ?, ?)", rows)
        except sqlite3.OperationalError:
            return  # another process is writing, or the disk is full: it is only a cache
        except (sqlite3.Error, ValueError):
            self._throw_away()
        else:
            self._remove_old()

    def _ask(self, question: str, values: list[bytes]) -> Iterator[tuple[bytes, bytes]]:
        import sqlite3

        connection = self._open()
        if connection is None:
            return
        try:
            for key, total, value in connection.execute(question, values):
                if crc32(value, crc32(key)) == total:
                    yield key, value
        except sqlite3.OperationalError:
            return
        except (sqlite3.Error, TypeError, ValueError):  # a damaged file can hold other types
            self._throw_away()

    def _open(self) -> sqlite3.Connection | None:
        import sqlite3

        if self._connection is not None or self._is_broken:
            return self._connection
        for _ in range(2):
            try:
                self._make_place()
                connection = sqlite3.connect(self._place, timeout=_PATIENCE_S)
            except (OSError, sqlite3.Error):
                break
            try:
                connection.execute("pragma synchronous = off")  # disposable: speed before safety
                connection.execute(_TABLE)
                connection.execute("select id, sum, value from entry limit 1").fetchone()
            except sqlite3.OperationalError as fault:
                connection.close()
                if "locked" in str(fault) or "readonly" in str(fault):
                    break
                self._throw_away()
            except (sqlite3.Error, ValueError):  # what sqlite says of a damaged file may be no text either
                connection.close()
                self._throw_away()
            else:
                self._connection = connection
                return connection
        self._is_broken = True
        return None

    def _make_place(self) -> None:
        """The file and the folders to it, for this person alone (0700: XDG Base Directory Specification)."""
        missing = [folder for folder in self._place.parents if not folder.exists()]
        for folder in reversed(missing):
            folder.mkdir(mode=0o700, exist_ok=True)
        with suppress(FileNotFoundError):
            found = self._place.lstat()
            if not stat.S_ISREG(found.st_mode):
                raise OSError(f"{self._place} is not a file")  # a link may lead anywhere
            if found.st_size <= self._largest:
                if found.st_mode & 0o077:
                    self._place.chmod(0o600)
                return
            self._place.unlink()
        with suppress(FileExistsError):  # another process was sooner
            os.close(os.open(self._place, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))

    def _remove_old(self) -> None:
        """Removes what editions left here that nobody has written for long, as seen from what was written just now."""
        with suppress(OSError), os.scandir(self._place.parent) as entries:
            now_s = self._place.lstat().st_mtime
            for entry in entries:
                if entry.name == self._place.name or not _OF_ANY_EDITION.fullmatch(entry.name):
                    continue
                found = entry.stat(follow_symlinks=False)
                if stat.S_ISREG(found.st_mode) and found.st_mtime < now_s - _KEPT_S:
                    os.unlink(entry.path)

    def _throw_away(self) -> None:
        self.close()
        for name in (self._place.name, f"{self._place.name}-journal"):
            with suppress(OSError):
                os.unlink(self._place.with_name(name))
