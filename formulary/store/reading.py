"""Reads saved versions through git: which blobs a commit holds, what they contain, and the whole history."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime

from formulary.errors import StorageError
from formulary.identity import is_full_id
from formulary.store.paths import check_path, to_system
from formulary.store.process import Git
from formulary.store.saved import Saved

LARGEST_BLOB = 16_000_000  # bytes of one saved file that are still read

_FIELDS = 6
_FORMAT = "tformat:%H%x00%at%x00%ct%x00%an%x00%s%x00%b%x00"
_LOG = [
    "log",
    "--raw",
    "-z",
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
]
_OF_MERGES = "-c"  # the files that differ from every parent
_OF_EACH_PARENT = "-m"  # also what a merge did not take from one of them


def read_tree_blobs(git: Git, commit: str) -> dict[str, str]:
    """Path -> blob id of the ordinary files in a commit; links, submodules and odd names are left out."""
    return _list_tree(git, ["-r", commit])


def read_blob_at(git: Git, commit: str, path: str) -> str | None:
    """The blob id of one ordinary file in a commit; None when there is none."""
    return _list_tree(git, [commit, "--", to_system(path)]).get(path)


def read_blobs_at(git: Git, commit: str, paths: Iterable[str]) -> dict[str, str]:
    """Path -> blob id of those of the files that a commit holds."""
    names = {f"{commit}:{path}": path for path in paths}
    return {names[name]: found for name, (found, kind) in find_objects(git, names).items() if kind == "blob"}


def read_changes(git: Git, commit: str) -> dict[str, tuple[str | None, str | None]]:
    """Path -> (blob before, blob after) of what a commit changed against its only parent; None: no file."""
    arguments = ["diff-tree", "-r", "-z", "--root", "--no-commit-id", "--no-renames", "--no-ext-diff", "--no-textconv"]
    _, output = git.run([*arguments, "-O/dev/null", commit], variables=git.without_index)
    tokens = output.split(b"\0")
    changes: dict[str, tuple[str | None, str | None]] = {}
    for raw, name in zip(tokens[::2], tokens[1::2], strict=False):
        path = name.decode("utf-8", "surrogateescape")
        before_mode, after_mode, before, after, _ = raw.lstrip(b":").split(b" ")
        modes = (before_mode, after_mode)
        if check_path(path) is None and all(mode.startswith(b"100") or mode == b"000000" for mode in modes):
            ids = [identifier.decode("ascii") for identifier in (before, after)]
            first, second = (None if identifier == "0" * 40 else identifier for identifier in ids)
            changes[path] = (first, second)
    return changes


def read_parents(git: Git, commit: str) -> list[str]:
    """The parents of a commit."""
    return _read_commit(git, commit, "%P").split()


def read_parents_and_body(git: Git, commit: str) -> tuple[tuple[str, ...], str]:
    """The parents of a commit, and its message without the first line."""
    parents, _, body = _read_commit(git, commit, "%P%x00%b").partition("\0")
    return tuple(parents.split()), body


def read_subject(git: Git, commit: str) -> str:
    """The first line of a commit's message."""
    return _read_commit(git, commit, "%s").strip()


def read_names(git: Git) -> dict[str, str]:
    """Lasting name -> commit, of every tag that stands for a commit."""
    form = "--format=%(refname:strip=2)%00%(objectname)%00%(objecttype)%00%(*objectname)%00%(*objecttype)"
    _, output = git.run(["for-each-ref", form, "refs/tags"])
    names = {}
    for line in output.decode("utf-8", "surrogateescape").splitlines():
        name, identifier, kind, peeled, peeled_kind = line.split("\0")
        if kind == "commit" or peeled_kind == "commit":
            names[name] = identifier if kind == "commit" else peeled
    return names


def read_tag_subject(git: Git, tag: str) -> str:
    """The first line that an annotated tag (refs/tags/...) says of itself, as it can be shown."""
    _, output = git.run(["for-each-ref", "--format=%(contents:subject)", "--count=1", tag])
    return "".join(each for each in output.decode("utf-8", "replace") if each.isprintable())[:100]


def _read_commit(git: Git, commit: str, form: str) -> str:
    _, output = git.run(["log", "-1", "--no-notes", "--no-mailmap", "--no-show-signature", f"--format={form}", commit])
    return output.decode("utf-8", "replace")


def _list_tree(git: Git, arguments: list[str]) -> dict[str, str]:
    _, output = git.run(["ls-tree", "-z", "--full-tree", *arguments])
    blobs = {}
    for line in output.split(b"\0"):
        if not line:
            continue
        facts, _, name = line.partition(b"\t")
        mode, kind, identifier = facts.split(b" ")
        if kind != b"blob" or mode not in (b"100644", b"100755", b"100664"):
            continue
        path = name.decode("utf-8", "surrogateescape")
        if check_path(path) is None:
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


def find_objects(git: Git, names: Iterable[str]) -> dict[str, tuple[str, str]]:
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
    _, output = git.run(
        [*_LOG, _OF_MERGES, f"--format={_FORMAT}", tip, "--", *([to_system(path)] if path is not None else [])]
    )
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


def read_deleted(git: Git, tip: str, folder: str) -> dict[str, str]:
    """Path -> the blob that was there last, of the ordinary files of a folder that some commit took away."""
    _, output = git.run([*_LOG, _OF_EACH_PARENT, "--diff-filter=D", "--format=", tip, "--", to_system(folder)])
    tokens = [token for token in (token.lstrip(b"\n") for token in output.split(b"\0")) if token]
    found: dict[str, str] = {}
    for raw, name in zip(tokens[::2], tokens[1::2], strict=True):  # the newest first
        mode, _, blob, *_ = raw.lstrip(b":").split(b" ")
        if mode.startswith(b"100"):
            found.setdefault(name.decode("utf-8", "surrogateescape"), blob.decode("ascii"))
    return found


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
