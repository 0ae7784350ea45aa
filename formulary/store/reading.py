"""Reads saved versions through git: which blobs a commit holds, what they contain, and the whole history."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime

from formulary.errors import StorageError
from formulary.identity import is_full_id
from formulary.store.paths import check_path
from formulary.store.process import Git
from formulary.store.saved import Saved

LARGEST_BLOB = 16_000_000  # bytes of one saved file that are still read

_FIELDS = 6
_FORMAT = "tformat:%H%x00%at%x00%ct%x00%an%x00%s%x00%b%x00"
_LOG = [
    "log",
    "--raw",
    "-z",
    "-c",  # of a merge, the files that differ from every parent
    "--full-history",  # also what a merge left aside: nothing that was saved disappears
    "--no-abbrev",
    "--no-renames",  # recipes look alike: git's guess follows the wrong file
    "--no-ext-diff",
    "--no-textconv",
    "--no-show-signature",
    "--no-notes",
    "--no-mailmap",
    "--no-color",
    "-O/dev/null",
    f"--format={_FORMAT}",
]


def read_tree_blobs(git: Git, commit: str, prefix: str = "") -> dict[str, str]:
    """Path -> blob id of the ordinary files in a commit; links, submodules and odd names are left out."""
    arguments = ["ls-tree", "-r", "-z", "--full-tree", commit]
    folder = prefix.rpartition("/")[0]
    if folder:
        arguments += ["--", folder + "/"]
    _, output = git.run(arguments)
    blobs = {}
    for line in output.split(b"\0"):
        if not line:
            continue
        facts, _, name = line.partition(b"\t")
        mode, kind, identifier = facts.split(b" ")
        if kind != b"blob" or mode not in (b"100644", b"100755", b"100664"):
            continue
        path = name.decode("utf-8", "surrogateescape")
        if path.startswith(prefix) and check_path(path) is None:
            blobs[path] = identifier.decode("ascii")
    return blobs


def read_blobs(
    git: Git,
    identifiers: Iterable[str],
    *,
    size_limit: int = LARGEST_BLOB,
    too_large: list[str] | None = None,
) -> Iterator[tuple[str, bytes]]:
    """(id, bytes) of each blob that is in the repository, by one process, checked against its id."""
    wanted = [identifier for identifier in dict.fromkeys(identifiers) if is_full_id(identifier)]
    for _, identifier, kind, data in git.read_objects(wanted, size_limit=size_limit, too_large=too_large):
        if kind == "blob":
            yield identifier, data


def find_blobs(git: Git, prefix: str) -> tuple[str, ...]:
    """The ids of all blobs in the repository that begin with a hexadecimal prefix of four digits or more."""
    _, output = git.run(["rev-parse", f"--disambiguate={prefix}"])
    candidates = output.decode("ascii", "replace").split()
    kinds = check_objects(git, candidates)
    return tuple(sorted(identifier for identifier in set(candidates) if kinds.get(identifier) == (identifier, "blob")))


def check_objects(git: Git, names: Iterable[str]) -> dict[str, tuple[str, str]]:
    """name -> (id, kind) of each object name that git can resolve to exactly one object.

    Names reach git on its input, one a line, so none of them can be taken for an option.
    """
    wanted = [name for name in names if "\n" not in name]
    if not wanted:
        return {}
    _, output = git.run(
        ["cat-file", "--batch-check=%(objectname) %(objecttype)", "--buffer"],
        stdin="".join(f"{name}\n" for name in wanted).encode("utf-8", "replace"),
    )
    found = {}
    for name, line in zip(wanted, output.decode("utf-8", "replace").split("\n"), strict=False):
        identifier, _, kind = line.partition(" ")
        if is_full_id(identifier) and kind in ("blob", "tree", "commit", "tag"):
            found[name] = (identifier, kind)
    return found


def read_history(git: Git, tip: str, paths: Iterable[str]) -> Iterator[Saved]:
    """Every version of the files, newest first; of all files when `paths` is empty.

    Several paths are read one by one and merged by time, since git's path filters serve one path at a time.
    Of two versions of the same second, the path named earlier comes first.
    """
    streams = [_read_log(git, tip, path) for path in dict.fromkeys(paths)] or [_read_log(git, tip, None)]
    if len(streams) == 1:
        return (saved for _, saved in streams[0])
    return (saved for _, saved in heapq.merge(*streams, key=lambda item: -item[0]))


def _read_log(git: Git, tip: str, path: str | None) -> Iterator[tuple[int, Saved]]:
    _, output = git.run([*_LOG, tip, "--", *([path] if path is not None else [])])
    tokens = output.split(b"\0")
    place, last = 0, len(tokens)
    while True:
        while place < last and not tokens[place].strip(b"\n"):
            place += 1
        if place + _FIELDS > last:
            return
        commit, authored, committed, author, subject, body = (
            token.decode("utf-8", "replace") for token in tokens[place : place + _FIELDS]
        )
        commit = commit.lstrip("\n")
        if not is_full_id(commit):
            raise StorageError.of(
                "git-log-unreadable",
                "The history could not be read.",
                "Run `git log` in the folder to learn more.",
            )
        when = _moment(authored)
        order = int(committed) if committed.lstrip("-").isdigit() else 0
        body = body.strip("\n")
        place += _FIELDS
        while place < last:
            token = tokens[place].lstrip(b"\n")
            if not token:
                place += 1
                continue
            if not token.startswith(b":"):
                break
            name = tokens[place + 1].decode("utf-8", "surrogateescape")
            place += 2
            blob = _new_blob(token)
            if blob != "" and (name == path if path is not None else check_path(name) is None):
                yield order, Saved(commit, when, author, subject, body, name, blob)


def _new_blob(raw: bytes) -> str | None:
    """The blob after the change of a raw line; None when deleted, "" when it is no ordinary file."""
    parents = len(raw) - len(raw.lstrip(b":"))
    parts = raw.lstrip(b":").split(b" ")
    mode, identifier = parts[parents], parts[2 * parents + 1]
    if mode == b"000000":
        return None
    if not mode.startswith(b"100"):
        return ""
    return identifier.decode("ascii")


def _moment(seconds: str) -> datetime:
    try:
        return datetime.fromtimestamp(int(seconds), UTC)
    except (ValueError, OverflowError, OSError):
        return datetime.fromtimestamp(0, UTC)
