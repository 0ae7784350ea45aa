"""Looking a repository over for `doctor`: damage, where its branch stands, and what would run programs or lead away.

Nothing here is in a hurry, so it goes through GitPython, with the settings and the environment that the store gives to
every git that it starts.
"""

from __future__ import annotations

from pathlib import Path

from formulary.errors import StorageError
from formulary.finding import Finding, Place, error, note, warn
from formulary.store.process import SETTINGS, clean_environment

_TIMEOUT_S = 300


def examine_repository(root: Path) -> tuple[Finding, ...]:
    """Everything about a formulary's repository that a person should know of.

    root: the formulary's folder, which the store has opened before. Raises StorageError when git cannot be run.
    """
    import git

    try:
        with git.Repo(str(root), search_parent_directories=False, expand_vars=False) as repository:
            repository.git.update_environment(**clean_environment())
            repository.git.set_persistent_git_options(c=list(SETTINGS))
            return (
                *_check_objects(repository),
                *_check_branch(repository),
                *_check_settings(repository),
            )
    except (git.GitError, OSError, ValueError) as fault:
        what = f"the repository could not be looked over ({type(fault).__name__})"
        raise StorageError.of("git-fault", what, "run `git fsck` in the folder and look at what it says") from None


def _check_objects(repository: object) -> list[Finding]:
    """Damaged or missing objects, by their names."""
    import git

    assert isinstance(repository, git.Repo)
    status, out, complaint = repository.git.fsck(
        full=True,
        strict=True,
        no_dangling=True,
        no_progress=True,
        with_exceptions=False,
        with_extended_output=True,
        kill_after_timeout=_TIMEOUT_S,
    )
    lines = [line for line in f"{out}\n{complaint}".splitlines() if line.startswith(("error", "missing", "broken"))]
    if status == 0 and not lines:
        return []
    do = "copy the whole folder somewhere safe first; then fetch the missing parts from a clone, or restore a backup"
    return [error("git-damaged", f"git says: {line[:120]}", do, Place(".git")) for line in lines[:10]] or [
        error("git-damaged", f"git fsck ended with status {status}", do, Place(".git"))
    ]


def _check_branch(repository: object) -> list[Finding]:
    import git

    assert isinstance(repository, git.Repo)
    if repository.head.is_detached:
        what = "no branch is checked out (a detached HEAD), so saves have nowhere to go"
        return [warn("head-detached", what, "git switch main, or the branch that you work on", Place(".git/HEAD"))]
    return []


def _check_settings(repository: object) -> list[Finding]:
    """Settings of the folder that would run a program in plain git; the formulary itself never lets them."""
    import git

    assert isinstance(repository, git.Repo)
    findings: list[Finding] = []
    with repository.config_reader("repository") as settings:
        for section, key in _RUNNING:
            if settings.has_option(section, key):
                what = f"{section}.{key} is set in this folder: plain git would run a program for it"
                do = "look at .git/config before you use plain git here; the formulary itself never runs it"
                findings.append(warn("git-runs-program", what, do, Place(".git/config")))
    hooks = Path(repository.git_dir) / "hooks"
    active = sorted(file.name for file in hooks.iterdir() if file.suffix != ".sample") if hooks.is_dir() else []
    if active:
        what = f"hooks are set up here: {', '.join(active[:5])}"
        findings.append(note("git-hooks", what, "the formulary never runs them; plain git does", Place(".git/hooks")))
    return findings


_RUNNING = (
    ("core", "fsmonitor"),
    ("core", "hooksPath"),
    ("core", "sshCommand"),
    ("core", "pager"),
    ("core", "editor"),
    ("diff", "external"),
    ("credential", "helper"),
    ("gpg", "program"),
)
