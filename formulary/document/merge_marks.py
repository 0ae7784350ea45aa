"""The marks that git leaves in a file where a merge could not choose between two versions of some lines."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

from formulary.finding import FileFindings, Finding, Place, TooManyFindings, error

_MINE, _BEFORE, _BETWEEN, _THEIRS = "<" * 7, "|" * 7, "=" * 7, ">" * 7  # git writes `_BEFORE` where it is set to


def find_merge_marks(text: str, path: str | None = None) -> tuple[Finding, ...]:
    """Every place where a merge left both versions in a file, at its first mark; none where no mark stands.

    To be asked before the text is read as anything else: who is told of brackets and quotes looks for the wrong thing,
    and within quotes both versions would even be read, as one long text.
    """
    if _MINE not in text and _THEIRS not in text:
        return ()
    found = FileFindings()
    with suppress(TooManyFindings):
        found.extend(_find(text, path))
    return tuple(found)


def find_mark_between(text: str, path: str | None = None) -> Finding | None:
    """A mark that parts two versions, left over where those around it were deleted.

    Of a text that cannot be read: where it can, such a line is a person's own.
    """
    for number, line in enumerate(text.splitlines(), 1):
        if line == _BETWEEN or _is_mark(line, _BEFORE):
            return _mark_left(number, path)
    return None


def _find(text: str, path: str | None) -> Iterator[Finding]:
    begun: int | None = None  # the line of a first mark that no last one has followed yet
    for number, line in enumerate(text.splitlines(), 1):
        if _is_mark(line, _MINE):
            if begun is not None:
                yield _mark_left(begun, path)
            begun = number
        elif _is_mark(line, _THEIRS):
            yield _mark_left(number, path) if begun is None else _both(begun, number, path)
            begun = None
    if begun is not None:
        yield _mark_left(begun, path)


def _is_mark(line: str, mark: str) -> bool:
    """Whether a line begins with a mark, as git writes it: alone, or with the name of a side behind it."""
    return line == mark or line.startswith(f"{mark} ")


_DO = f"keep the lines that are right, and delete those that begin with {_MINE}, {_BEFORE}, {_BETWEEN} or {_THEIRS}"


def _both(first: int, last: int, path: str | None) -> Finding:
    what = f"a merge in git left both versions in this file, from here to line {last}"
    return error("merge-marks", what, _DO, Place(path, first, 1))


def _mark_left(line: int, path: str | None) -> Finding:
    what = "a mark of a merge in git stands here, so that both versions may still be in this file"
    return error("merge-marks", what, _DO, Place(path, line, 1))
