"""What git is in the middle of, so that nothing can be saved now: a merge, a rebase, a commit without a branch."""

from __future__ import annotations

from formulary.errors import StorageError
from formulary.finding import Finding, warn
from formulary.store.repository import Repository, find_in_progress, read_branch


def check_branch(repository: Repository) -> tuple[Finding, ...]:
    """What stands in the way of a save in how git stands, with the way out; empty when nothing does."""
    words = find_in_progress(repository)
    if words is not None:
        what = f"A {words[0]} is under way in git; nothing can be saved before it is finished or given up."
        return (warn("git-in-progress", what, _ways_out(*words)),)
    if read_branch(repository) is None:
        what = "The folder is on a commit, not on a branch (a detached HEAD); nothing can be saved there."
        return (warn("head-detached", what, "Go back with `git switch main`, or stay with `git switch -c NAME`."),)
    return ()


def _ways_out(what: str, finish: str, give_up: str) -> str:
    if finish == give_up:
        return f"`{give_up}` ends it."
    return (
        f"Settle what the {what} left open in the files, then `git add -u` and `{finish}`; "
        f"`{give_up}` goes back to before it."
    )


def demand_branch(repository: Repository) -> str:
    """The branch to save on; `StorageError` when HEAD is on none or a merge or the like is under way."""
    words = find_in_progress(repository)
    if words is not None:
        raise StorageError.of(
            "git-in-progress",
            f"A {words[0]} is under way in this folder; a save now would end up in the middle of it.",
            _ways_out(*words),
        )
    branch = read_branch(repository)
    if branch is None:
        raise StorageError.of(
            "git-detached",
            "This folder is on a commit, not on a branch (a detached HEAD); a save would be lost from sight.",
            "Go back with `git switch main`, or stay with `git switch -c NAME`, then save again.",
        )
    return branch
