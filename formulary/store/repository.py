"""Where a formulary's repository lies, whether it is safe to use, and what its branch points at.

All of it is read from git's files; git itself is asked only whether it trusts a repository of another user.
"""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path

from formulary.errors import StorageError
from formulary.identity import is_full_id
from formulary.store.process import Running, clean_environment, find_git, start_git

_LARGEST_SETTINGS = 1_000_000  # bytes of .git/config that are still believed

_LARGEST_CUT = 1_000_000  # bytes of .git/shallow

# What git leaves in its folder while a person is in the middle of something.
_IN_PROGRESS = {
    "MERGE_HEAD": ("merge", "git merge --continue", "git merge --abort"),
    "rebase-merge": ("rebase", "git rebase --continue", "git rebase --abort"),
    "rebase-apply": ("rebase", "git rebase --continue", "git rebase --abort"),
    "CHERRY_PICK_HEAD": ("cherry-pick", "git cherry-pick --continue", "git cherry-pick --abort"),
    "REVERT_HEAD": ("revert", "git revert --continue", "git revert --abort"),
    "BISECT_LOG": ("bisection", "git bisect reset", "git bisect reset"),
}


@dataclass(frozen=True, slots=True)
class Repository:
    """The folder of a formulary, its git folder, and the git folder that its work trees share."""

    root: Path
    git_dir: Path
    common_dir: Path
    program: str


def find_repository(root: Path) -> Repository:
    """The repository whose top folder is `root`; `StorageError` when there is none or it must not be used."""
    program = find_git()
    dot_git = root / ".git"
    try:
        kind = os.lstat(dot_git).st_mode
    except OSError as fault:
        raise _no_repository(root) from fault
    if stat.S_ISLNK(kind):
        raise _leads_out(".git", "is a link to another place, or no ordinary file")
    if stat.S_ISREG(kind):
        git_dir = _linked_git_dir(dot_git)
        common_dir = _common_dir(git_dir)
    else:
        git_dir = common_dir = dot_git
        if os.path.lexists(git_dir / "commondir"):
            raise _leads_out(".git/commondir", "points to another repository")
    _refuse_links(git_dir)
    if common_dir != git_dir:
        _refuse_links(common_dir)
    for name in ("alternates", "http-alternates"):
        if os.path.lexists(common_dir / "objects" / "info" / name):
            raise StorageError.of(
                "git-borrowed-objects",
                "This repository borrows saved versions from another folder (objects/info/alternates).",
                "Make it whole with `git repack -a -d`, then delete that file; or make a full clone.",
            )
    if not (git_dir / "HEAD").is_file() or not (common_dir / "objects").is_dir():
        raise _no_repository(root)
    _demand_owner(root, dot_git, git_dir, program)
    _demand_sha1(root, common_dir)
    return Repository(root, git_dir, common_dir, program)


def read_branch(repository: Repository) -> str | None:
    """The full name of the branch that HEAD is on (`refs/heads/...`), or None when HEAD is detached.

    Raises `StorageError` when HEAD points at something else.
    """
    head = _read_small(repository.git_dir / "HEAD")
    if not head.startswith("ref:"):
        return None
    branch = head[4:].strip()
    if not is_branch(branch):
        raise StorageError.of(
            "git-head-odd",
            f"HEAD of this repository points at “{branch[:80]}”, which is not a branch.",
            "Go to a branch with `git switch main`.",
        )
    return branch


def is_branch(name: str) -> bool:
    """Whether `name` is the full name of a branch, and of a file below `refs/heads`."""
    return (
        name.startswith("refs/heads/")
        and not any(part in ("", ".", "..") or part.endswith(".lock") for part in name.split("/"))
        and ".." not in name
        and not any(ord(letter) < 33 or letter in "~^:?*[\\\x7f" for letter in name)
    )


def read_tip(repository: Repository) -> str | None:
    """The id of the commit that HEAD stands on, or None before the first save."""
    branch = read_branch(repository)
    if branch is None:
        head = _read_small(repository.git_dir / "HEAD").strip()
        return head if is_full_id(head) else None
    return read_ref(repository, branch)


def read_ref(repository: Repository, name: str) -> str | None:
    """The id that a full reference name holds, or None when there is no such reference.

    Raises `StorageError` for one that is damaged.
    """
    loose = repository.common_dir / name
    for _ in range(3):  # a reference may be packed between the two looks
        try:
            text = _read_small(loose).strip()
        except (FileNotFoundError, NotADirectoryError, IsADirectoryError):
            text = ""
        if is_full_id(text):
            return text
        if text:
            raise StorageError.of(
                "git-ref-damaged",
                f"The reference {name} of this repository is damaged.",
                "Run `git fsck` in the folder; `git reflog` names the commit that it stood on.",
            )
        packed = _packed_ref(repository.common_dir, name)
        if packed is not None or not loose.is_file():
            return packed
    return None


def find_in_progress(repository: Repository) -> tuple[str, str, str] | None:
    """What a person is in the middle of (`merge`, ...), the command to finish it, and the one to give up."""
    for name, words in _IN_PROGRESS.items():
        if os.path.lexists(repository.git_dir / name):
            return words
    return None


def read_cut(repository: Repository) -> frozenset[str]:
    """The commits before which this copy holds nothing (of a shallow clone); empty where it holds everything."""
    place = repository.common_dir / "shallow"
    if not place.is_file():
        return frozenset()
    return frozenset(filter(is_full_id, _read_small(place, _LARGEST_CUT).split()))


def _no_repository(root: Path) -> StorageError:
    return StorageError.of(
        "not-under-git",
        f"The folder {root} is not under git, so nothing in it can be saved.",
        "If it is a copy, copy its hidden folder .git as well, which holds the saves; without them run `git init` in"
        " this folder. A new formulary is made with `formulary init DIR`.",
    )


def _leads_out(what: str, how: str) -> StorageError:
    return StorageError.of(
        "git-leads-out",
        f"{what} of this folder {how}, outside the formulary; it was not followed.",
        "Only use a folder whose repository lies inside it; a fresh `git clone` of it will do.",
    )


def _linked_git_dir(dot_git: Path) -> Path:
    """The git folder of a work tree that `git worktree add` made: it must point back to this very folder."""
    text = _read_small(dot_git)
    if not text.startswith("gitdir:"):
        raise _no_repository(dot_git.parent)
    git_dir = Path(os.path.normpath(dot_git.parent / text[7:].strip()))
    try:
        back = Path(_read_small(git_dir / "gitdir").strip())
        points_back = os.path.samefile(git_dir / back, dot_git)
    except OSError:
        points_back = False
    if not points_back:
        raise _leads_out("The .git file", "names a repository that does not name this folder back")
    return git_dir


def _common_dir(git_dir: Path) -> Path:
    try:
        text = _read_small(git_dir / "commondir").strip()
    except FileNotFoundError:
        return git_dir
    common_dir = Path(os.path.normpath(git_dir / text))
    if git_dir.parent.parent != common_dir or git_dir.parent.name != "worktrees":
        raise _leads_out(".git/commondir", "points to another repository")
    return common_dir


def _refuse_links(git_dir: Path) -> None:
    """Refuses a git folder with links, pipes or devices in it: git would read and write through them."""
    for folder, depth in (
        (git_dir, 1),
        (git_dir / "objects", 1),
        (git_dir / "refs", 20),
        (git_dir / "logs", 20),
    ):
        if os.path.islink(folder):
            raise _leads_out(f".git/{folder.name}", "is a link to another place, or no ordinary file")
        link = _find_link(folder, depth)
        if link is not None:
            raise _leads_out(link, "is a link to another place, or no ordinary file")


def _find_link(folder: Path | str, depth: int) -> str | None:
    try:
        entries = os.scandir(folder)
    except OSError:
        return None
    with entries:
        for entry in entries:
            if entry.is_file(follow_symlinks=False):
                continue
            if not entry.is_dir(follow_symlinks=False):
                if entry.is_symlink() or not stat.S_ISSOCK(entry.stat(follow_symlinks=False).st_mode):
                    return entry.path
            elif depth > 1:
                link = _find_link(entry.path, depth - 1)
                if link is not None:
                    return link
    return None


def _demand_owner(root: Path, dot_git: Path, git_dir: Path, program: str) -> None:
    """Lets git judge a repository of another user, as it would if the person had typed a command there."""
    if hasattr(os, "geteuid"):
        user = os.geteuid()
        if all(os.stat(place).st_uid == user for place in (root, dot_git, git_dir)):
            return
    environment = clean_environment()
    environment["GIT_CEILING_DIRECTORIES"] = str(root.parent)
    process = start_git(program, ["rev-parse", "--git-dir"], environment, root)
    Running("rev-parse", process).finish()


def _demand_sha1(root: Path, common_dir: Path) -> None:
    settings = common_dir / "config"
    try:
        if settings.stat().st_size > _LARGEST_SETTINGS:
            raise StorageError.of(
                "git-settings-odd",
                "The settings of this repository (.git/config) are far too large to be real.",
                "Make a fresh clone of the folder.",
            )
        text = settings.read_bytes().lower()
    except FileNotFoundError:
        return
    if b"objectformat" in text and b"sha256" in text:
        raise StorageError.of(
            "git-sha256",
            f"The repository in {root} names its versions by SHA-256, which a formulary cannot use yet.",
            "Make the repository with git's usual ids (SHA-1).",
        )
    if b"refstorage" in text and b"reftable" in text:
        raise StorageError.of(
            "git-reftable",
            f"The repository in {root} keeps its branches as a reftable, which a formulary cannot read yet.",
            "Run `git refs migrate --ref-format=files` in the folder.",
        )


def _packed_ref(common_dir: Path, name: str) -> str | None:
    try:
        data = (common_dir / "packed-refs").read_bytes()
    except FileNotFoundError:
        return None
    wanted = name.encode("utf-8")
    for line in data.splitlines():
        identifier, _, ref = line.partition(b" ")
        if ref == wanted:
            text = identifier.decode("ascii", "replace")
            return text if is_full_id(text) else None
    return None


def _read_small(path: Path, largest: int = 4096) -> str:
    """The text of one of git's small files; a pipe or a device in its place must not make us wait."""
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0))
    try:
        return os.read(descriptor, largest).decode("utf-8", "surrogateescape").rstrip("\n")
    finally:
        os.close(descriptor)
