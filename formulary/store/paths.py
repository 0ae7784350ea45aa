"""Which path names may stand in a formulary, on every system that it may be copied to."""

from __future__ import annotations

import os
import unicodedata
from functools import lru_cache

from formulary.errors import InputError
from formulary.finding import Finding, Place, error

LONGEST_NAME = 200  # bytes in one part of a path; file systems stop at 255
LONGEST_PATH = 1024  # bytes in a whole path

_RESERVED = frozenset(
    ["con", "prn", "aux", "nul", "conin$", "conout$"]
    + [f"{port}{number}" for port in ("com", "lpt") for number in (*"0123456789", "¹", "²", "³")]
)
_FORBIDDEN = frozenset('<>:"|?*\\')


def check_path(path: str) -> Finding | None:
    """What is wrong with `path` as the name of a file in a formulary, or None when it is fine.

    A path is relative to the folder of the formulary, its parts divided by `/`. Refused are names that lead
    out of the folder or into git's own files, that a shell or a command could mistake for an option, and
    that some common file system cannot hold.
    """
    fault = _fault(path)
    if fault is None:
        return None
    shown = (
        path.encode("unicode_escape", "backslashreplace").decode("ascii")[:120]
        if not path.isprintable()
        else path[:120]
    )
    return error(
        "path-name",
        f"“{shown}” cannot be the name of a file in a formulary: {fault}.",
        "Use letters, digits, hyphens and dots, with / between folders, such as recipes/harbour-base.yaml.",
        Place(path=shown or None),
    )


def demand_path(path: str) -> str:
    """`path` itself when it may stand in a formulary; `InputError` otherwise."""
    finding = check_path(path)
    if finding is not None:
        raise InputError([finding])
    return path


def to_system(path: str) -> str:
    """A path of a formulary as this system wants it: the same bytes, UTF-8, whatever the locale says."""
    return os.fsdecode(path.encode("utf-8"))


def from_system(name: str) -> str:
    """A name as this system gave it, read as UTF-8, whatever the locale says."""
    return os.fsencode(name).decode("utf-8", "surrogateescape")


def folded(path: str) -> str:
    """The path as a file system sees it that ignores case and the ways to write an accent."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


@lru_cache(maxsize=50_000)  # a history names the same few files over and over
def _fault(path: str) -> str | None:
    if not path:
        return "it is empty"
    try:
        encoded = path.encode("utf-8")
    except UnicodeEncodeError:
        return "it is not text"
    if len(encoded) > LONGEST_PATH:
        return "it is too long"
    if path.startswith("/"):
        return "it begins with a slash"
    for part in path.split("/"):
        fault = _part_fault(part)
        if fault is not None:
            return fault
    return None


def _part_fault(part: str) -> str | None:
    if not part:
        return "a part of it is empty"
    if part in (".", ".."):
        return "it would lead out of its folder"
    if len(part.encode("utf-8")) > LONGEST_NAME:
        return "a part of it is too long"
    if part.isascii():
        if not part.isprintable():
            return "it holds a character that cannot be seen"
    elif any(unicodedata.category(character) in ("Cc", "Cf", "Zl", "Zp", "Cs", "Co", "Cn") for character in part):
        return "it holds a character that cannot be seen"
    if not _FORBIDDEN.isdisjoint(part):
        return 'it holds one of < > : " | ? * \\'
    if part[0] in "-~":
        return f"a part of it begins with {part[0]}"
    if part[-1] in ". ":
        return "a part of it ends in a dot or a space"
    if part[0] == " ":
        return "a part of it begins with a space"
    name = folded(part)
    if name == ".git" or name.startswith("git~"):
        return "that name belongs to git"
    if name.split(".", 1)[0].rstrip() in _RESERVED:
        return "that name means a device on some systems"
    return None
