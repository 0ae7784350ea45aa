"""Looking a repository over for `doctor`: damage, what is half-done, and what would run programs in plain git.

Settings and the index are read by GitPython's own parsers, which start no program and follow no includes.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from formulary.finding import Finding, Place, error, note, warn
from formulary.store.index import has_whole_index
from formulary.store.paths import check_path
from formulary.store.process import Git
from formulary.store.repository import Repository, read_cut, read_tip
from formulary.store.under_way import check_branch

_OLD_LOCK_S = 60.0

# Settings of a repository that make git, typed by hand, run a program; `*` stands for any name in between.
_PROGRAMS = (
    *("core.fsmonitor", "core.hookspath", "core.pager", "core.editor", "core.sshcommand", "core.askpass"),
    *("core.gitproxy", "core.alternaterefscommand", "sequence.editor", "diff.external", "diff.*.command"),
    *("diff.*.textconv", "filter.*.clean", "filter.*.smudge", "filter.*.process", "merge.*.driver", "gpg.program"),
    *("gpg.*.program", "gpg.ssh.defaultkeycommand", "credential.helper", "credential.*.helper"),
    *("remote.*.uploadpack", "remote.*.receivepack", "remote.*.vcs", "alias.*", "pager.*", "protocol.ext.allow"),
    *("include.path", "includeif.*.path", "gc.recentobjectshook", "submodule.*.update", "trailer.*.command"),
    "trailer.*.cmd",
)
_HARMLESS = ("", "true", "false", "0", "1", "checkout", "merge", "rebase", "none")


def examine_repository(repository: Repository, git: Git) -> tuple[Finding, ...]:
    """Everything about the repository that its maker should know, but for its objects; changes nothing."""
    return (
        *_examine_state(repository),
        *_examine_locks(repository),
        *_examine_names(repository, git),
        *_examine_with_gitpython(repository),
    )


def examine_objects(git: Git, saved_as: Mapping[str, Iterable[str]]) -> tuple[Finding, ...]:
    """Every damaged or missing object, by `git fsck`; `saved_as` is blob id -> the paths that it was saved under."""
    arguments = ["fsck", "--full", "--no-dangling", "--no-progress"]
    status, output = git.run(arguments, allowed=range(256), variables=git.without_index)
    findings = []
    for line in output.decode("utf-8", "replace").splitlines():
        words = line.split()
        identifier = next((word.rstrip(":,") for word in words if len(word.rstrip(":,")) == 40), None)
        if identifier is None or words[0] in ("dangling", "notice:"):
            continue
        paths = ", ".join(sorted(saved_as.get(identifier, ())))
        what = f"a version of {paths}" if paths else f"a {words[1] if words[0] == 'missing' else 'part'} of the history"
        findings.append(
            error(
                "git-damaged",
                f"The saved object {identifier} is missing or damaged; it is {what}.",
                "Copy it from another copy of the formulary: git fetch from there brings what is missing.",
            )
        )
    if status != 0 and not findings:
        what = "Git finds the repository damaged, without naming an object."
        findings.append(error("git-damaged", what, "Run `git fsck --full` in the folder."))
    return tuple(dict.fromkeys(findings))


def _examine_state(repository: Repository) -> Iterator[Finding]:
    yield from check_branch(repository)
    if read_cut(repository):
        what = "This copy holds only the newest part of the history (a shallow clone)."
        yield note("git-shallow", what, "`git fetch --unshallow` brings the rest.")


def _examine_locks(repository: Repository) -> Iterator[Finding]:
    for folder in dict.fromkeys((repository.git_dir, repository.common_dir, repository.common_dir / "refs" / "heads")):
        for name in sorted(os.listdir(folder)) if folder.is_dir() else ():
            if not name.endswith(".lock") or name.startswith("formulary"):
                continue
            try:
                age_s = time.time() - (folder / name).stat().st_mtime
            except OSError:
                continue
            if age_s > _OLD_LOCK_S:
                what = f"{folder / name} was left by a git command {age_s / 60:.0f} minutes ago; git waits for it."
                yield warn("git-lock-left", what, "When no git command is running, delete that file.")
            else:
                what = f"{folder / name} is there: a git command is at work at this moment, or was cut short."
                yield note("git-lock-held", what, "Look again in a minute; when no git command is running, delete it.")


def _examine_names(repository: Repository, git: Git) -> Iterator[Finding]:
    tip = read_tip(repository)
    if tip is None:
        return
    _, output = git.run(["ls-tree", "-r", "-z", "--name-only", "--full-tree", tip])
    for name in output.split(b"\0")[:-1]:
        fault = check_path(name.decode("utf-8", "surrogateescape"))
        if fault is not None:
            yield warn(fault.code, f"A saved file is left out: {fault.what}", fault.do, fault.place)


def _examine_with_gitpython(repository: Repository) -> Iterator[Finding]:
    try:
        programs = sorted(set(_find_programs(repository)))
        unmerged = _find_unmerged(repository) if has_whole_index(repository) else []
    except Exception as fault:  # GitPython has no one kind of fault for a file that it cannot make sense of
        what = f"Git's settings or index cannot be read ({type(fault).__name__})."
        yield warn("git-unreadable", what, "Run `git fsck` in the folder.")
        return
    if programs:
        what = f"Git itself, typed in this folder, may run programs that the folder names: {', '.join(programs)}."
        do = "Look at .git/config before you use plain git here; this tool never runs them."
        yield warn("git-runs-program", what, do, Place(".git/config"))
    hooks = repository.common_dir / "hooks"
    names = sorted(name for name in (os.listdir(hooks) if hooks.is_dir() else ()) if not name.endswith(".sample"))
    if names:
        what = f"Hooks are set up here: {', '.join(names)}."
        yield note("git-hooks", what, "This tool never runs them; plain git does.", Place(".git/hooks"))
    if unmerged:
        what = f"Not merged yet: {', '.join(unmerged[:5])}."
        yield warn("git-unmerged", what, "Settle the files, then `git add` and `git commit` them.")


def _find_unmerged(repository: Repository) -> list[str]:
    """The paths that a merge left unsettled in git's index, by GitPython's parser."""
    git = _import_git(repository.program)
    with git.Repo(str(repository.root), search_parent_directories=False, expand_vars=False) as opened:
        return sorted({str(path) for path, stage in opened.index.entries if stage})


def _find_programs(repository: Repository) -> Iterator[str]:
    """The repository's own settings that name a program, by GitPython's parser."""
    git = _import_git(repository.program)
    for place in (repository.common_dir / "config", repository.git_dir / "config.worktree"):
        if not place.is_file():
            continue
        with git.GitConfigParser(str(place), read_only=True, merge_includes=False) as settings:
            for section in settings.sections():
                for key, values in settings.items_all(section):
                    name = ".".join([*section.replace('"', "").split(" ", 1), key])
                    if _names_program(name.lower()) and any(str(value).lower() not in _HARMLESS for value in values):
                        yield name


def _names_program(name: str) -> bool:
    for pattern in _PROGRAMS:
        first, star, last = pattern.partition("*")
        if name == pattern or (
            star and name.startswith(first) and name.endswith(last) and len(name) > len(first + last)
        ):
            return True
    return False


def _import_git(program: str) -> Any:
    """GitPython, imported so that the environment cannot make it run another program than git."""
    with _environment_for_import(program):
        import git

    return git


@contextmanager
def _environment_for_import(program: str) -> Iterator[None]:
    kept = {name: value for name, value in os.environ.items() if name.startswith("GIT_")}
    try:
        for name in kept:
            del os.environ[name]
        os.environ.update(GIT_PYTHON_GIT_EXECUTABLE=program, GIT_PYTHON_REFRESH="quiet")
        yield
    finally:
        for name in ("GIT_PYTHON_GIT_EXECUTABLE", "GIT_PYTHON_REFRESH"):
            os.environ.pop(name, None)
        os.environ.update(kept)
