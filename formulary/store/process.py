"""Runs git so that nothing in a folder, and nothing in the environment, can make it run another program."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING

from formulary.errors import StorageError
from formulary.identity import object_id

if TYPE_CHECKING:
    import subprocess

# Variables that a program needs to run at all, or that lead git to the person's own settings. Everything
# else stays behind, above all GIT_* (which can name programs), LD_* (which can name libraries) and SSH_*.
_KEPT = frozenset(
    [
        *("PATH", "HOME", "XDG_CONFIG_HOME", "USER", "LOGNAME", "SUDO_UID", "TMPDIR", "TEMP", "TMP"),
        *(
            "SYSTEMROOT",
            "SYSTEMDRIVE",
            "WINDIR",
            "COMSPEC",
            "PATHEXT",
            "USERPROFILE",
            "HOMEDRIVE",
            "HOMEPATH",
        ),
        *("APPDATA", "LOCALAPPDATA", "PROGRAMDATA", "PROGRAMFILES", "ALLUSERSPROFILE"),
    ]
)

# Settings that name a program to run, that reach out of the folder, or that change what is written. A
# setting on the command line overrides the folder's own.
SETTINGS = (
    "core.fsmonitor=false",
    f"core.hooksPath={os.devnull}",
    f"core.attributesFile={os.devnull}",
    f"core.excludesFile={os.devnull}",
    "core.pager=cat",
    "core.editor=false",
    "core.askPass=",
    "core.sshCommand=false",
    "core.alternateRefsCommand=",
    "core.gitProxy=",
    "core.ignoreStat=false",
    "core.trustctime=true",
    "core.checkStat=default",
    "core.autocrlf=false",
    "core.safecrlf=false",
    "core.precomposeUnicode=false",
    "core.quotePath=false",
    "core.logAllRefUpdates=true",
    "core.filesRefLockTimeout=5000",
    "core.packedRefsTimeout=5000",
    "core.fsync=committed,derived-metadata",
    "core.fsyncMethod=fsync",
    "commit.gpgSign=false",
    "tag.gpgSign=false",
    "tag.forceSignAnnotated=false",
    "gpg.program=false",
    "gpg.openpgp.program=false",
    "gpg.x509.program=false",
    "gpg.ssh.program=false",
    "gpg.ssh.defaultKeyCommand=false",
    "credential.helper=",
    "protocol.allow=never",
    "protocol.ext.allow=never",
    "submodule.recurse=false",
    "log.showSignature=false",
    "log.showRoot=true",
    "log.mailmap=false",
    "log.follow=false",
    "log.decorate=false",
    "i18n.commitEncoding=UTF-8",
    "i18n.logOutputEncoding=UTF-8",
    "gc.auto=0",
    "maintenance.auto=false",
    "advice.detachedHead=false",
)


_PIPE = 65_536  # bytes that a pipe takes without a reader


def find_git() -> str:
    """The full path of the git program, looked for in the folders of PATH but never in the current folder.

    Raises `StorageError` when it is in none of them.
    """
    names = ("git.exe",) if os.name == "nt" else ("git",)
    for folder in os.get_exec_path():
        if os.path.isabs(folder):
            for name in names:
                candidate = os.path.join(folder, name)
                if os.path.isfile(candidate) and os.access(candidate, os.X_OK):
                    return candidate
    raise StorageError.of(
        "git-missing",
        "The program git is not installed, or not in a folder that PATH names.",
        "Install git from your system's package manager or its own installer, and try again.",
    )


def clean_environment() -> dict[str, str]:
    """An environment for git with the person's own settings in reach and nothing else that steers git."""
    environment = {key: value for key, value in os.environ.items() if key.upper() in _KEPT}
    environment.update(
        LC_ALL="C",
        LANGUAGE="C",
        GIT_ALLOW_PROTOCOL="none",
        GIT_ASKPASS="",
        GIT_GRAFT_FILE=os.devnull,
        GIT_NO_LAZY_FETCH="1",
        GIT_NO_REPLACE_OBJECTS="1",
        GIT_OPTIONAL_LOCKS="0",
        GIT_PAGER="cat",
        GIT_TERMINAL_PROMPT="0",
    )
    return environment


class Git:
    """Runs git for one repository: `git_dir` holds its objects, `work_tree` its files."""

    def __init__(self, program: str, git_dir: Path, work_tree: Path) -> None:
        self._program = program
        self._work_tree = work_tree
        self._environment = clean_environment()
        self._environment.update(GIT_DIR=str(git_dir), GIT_WORK_TREE=str(work_tree))
        # For a command that reads the index though it needs nothing of it, and stops where it is damaged.
        self.without_index = {"GIT_INDEX_FILE": str(git_dir / "formulary-none")}

    def run(
        self,
        arguments: Sequence[str],
        *,
        stdin: bytes = b"",
        allowed: Iterable[int] = (0,),
        variables: Mapping[str, str] | None = None,
        folder: Path | None = None,
    ) -> tuple[int, bytes]:
        """Exit status and output of one git command; `StorageError` on a status that is not allowed.

        `variables` are added to the environment that git runs in; it runs in `folder`, else in the work tree.
        """
        return self.begin(arguments, variables=variables, folder=folder).finish(stdin=stdin, allowed=allowed)

    def begin(
        self,
        arguments: Sequence[str],
        *,
        variables: Mapping[str, str] | None = None,
        folder: Path | None = None,
    ) -> Running:
        """A git command that runs while the caller does something else."""
        environment = {**self._environment, **(variables or {})}
        return Running(arguments[0], start_git(self._program, arguments, environment, folder or self._work_tree))

    def read_objects(
        self, names: Iterable[str], *, size_limit: int, too_large: list[str] | None = None
    ) -> Iterator[tuple[str, str, str, bytes]]:
        """(name asked for, id, kind, bytes) of each object that is there, in the order asked, by `cat-file`.

        An object larger than `size_limit` bytes is never read; its name is put into `too_large`.
        """
        waiting = list(names)
        while waiting:
            done = 0
            with self._object_reader(waiting) as answers:
                for name in waiting:
                    header = _read_header(answers, name)
                    done += 1
                    if header is None:
                        continue
                    identifier, kind, size = header
                    if size > size_limit:
                        if too_large is not None:
                            too_large.append(name)
                        break  # leave this reader unread and go on with a new one
                    yield name, identifier, kind, _read_content(answers, identifier, kind, size)
            waiting = waiting[done:]

    @contextmanager
    def _object_reader(self, names: Sequence[str]) -> Iterator[IO[bytes]]:
        arguments = ["cat-file", "--batch", "--buffer"]
        process = start_git(self._program, arguments, self._environment, self._work_tree)
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stderr is not None
        request = "".join(f"{name}\n" for name in names).encode("utf-8")
        feeder = threading.Thread(target=_feed, args=(process.stdin, request), daemon=True)
        drain = threading.Thread(target=process.stderr.read, daemon=True)
        feeder.start()
        drain.start()
        try:
            yield process.stdout
        finally:
            process.kill()
            feeder.join()
            drain.join()
            process.stdout.close()
            process.stderr.close()
            process.wait()


@dataclass(slots=True)
class Running:
    """A git command that was started."""

    command: str
    process: subprocess.Popen[bytes]

    def finish(self, *, stdin: bytes = b"", allowed: Iterable[int] = (0,)) -> tuple[int, bytes]:
        """Exit status and output, when it has ended; `StorageError` for a status that is not `allowed`."""
        process = self.process
        assert process.stdin is not None
        assert process.stdout is not None
        complaint: list[bytes] = []
        with process:
            threads = [threading.Thread(target=_drain, args=(process.stderr, complaint), daemon=True)]
            if len(stdin) > _PIPE:
                threads.append(threading.Thread(target=_feed, args=(process.stdin, stdin), daemon=True))
            else:
                _feed(process.stdin, stdin)
            for thread in threads:
                thread.start()
            output = process.stdout.read()  # in one go: a history can be many megabytes
            for thread in threads:
                thread.join()
        if process.returncode not in allowed:
            raise storage_error(self.command, b"".join(complaint))
        return process.returncode, output

    def drop(self) -> None:
        """Ends the command; what it says is of no interest any more."""
        self.process.kill()
        for pipe in (self.process.stdin, self.process.stdout, self.process.stderr):
            if pipe is not None:
                with suppress(OSError):
                    pipe.close()
        self.process.wait()


def start_git(
    program: str, arguments: Sequence[str], environment: Mapping[str, str], folder: Path
) -> subprocess.Popen[bytes]:
    """Starts git in `folder` with the safe settings; no shell is involved. Raises `StorageError` when it cannot."""
    import subprocess

    command = [program, "--no-pager", "--literal-pathspecs"]
    for setting in SETTINGS:
        command += ["-c", setting]
    command += arguments
    try:
        return subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            cwd=folder,
            env=dict(environment),
            bufsize=_PIPE,
        )
    except OSError as fault:
        raise StorageError.of(
            "git-missing",
            f"Git could not be started: {fault.strerror}.",
            "Check that git works in this folder.",
        ) from fault


def storage_error(command: str, complaint: bytes) -> StorageError:
    """What git complained about, in plain words; its own first line stays in where there are none."""
    text = complaint.decode("utf-8", "replace")
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    said = lines[0] if lines else "it gave no reason"
    if "dubious ownership" in text:
        return StorageError.of(
            "git-foreign-owner",
            "This folder's repository belongs to another user, so git does not trust it.",
            "If you trust it, run once: " + _trust_command(text),
        )
    if "Permission denied" in text or "Read-only file system" in text or "insufficient permission" in text:
        return StorageError.of(
            "folder-read-only",
            "Git may not write in this folder.",
            "Make the folder and its .git writable for you, or copy the folder to a place of your own.",
        )
    if "No space left" in text or "Disk quota" in text:
        return StorageError.of("disk-full", "The disk is full; nothing was saved.", "Free some space and save again.")
    return StorageError.of(
        "git-failed",
        f"Git could not do its part (git {command}: {said}).",
        "Run `git fsck` in the folder to learn more.",
    )


def _trust_command(text: str) -> str:
    for line in text.splitlines():
        if "safe.directory" in line and "git config" in line:
            return line.strip()
    return "git config --global --add safe.directory FOLDER"


def _drain(pipe: IO[bytes], said: list[bytes]) -> None:
    said.append(pipe.read())


def _feed(stdin: IO[bytes], request: bytes) -> None:
    with suppress(BrokenPipeError, ValueError):  # git may end before it has read everything
        try:
            stdin.write(request)
        finally:
            stdin.close()


def _read_header(answers: IO[bytes], name: str) -> tuple[str, str, int] | None:
    """Id, kind and size of the object that git tells of next; None where it is missing, ambiguous or a loop."""
    header = answers.readline()
    if not header.endswith(b"\n"):
        raise StorageError.of(
            "git-object-unreadable",
            f"Git stopped while it read the saved object {name}.",
            "Run `git fsck` in the folder to see what is damaged; restore it from a copy.",
        )
    parts = header.decode("utf-8", "replace").split()
    return (parts[0], parts[1], int(parts[2])) if len(parts) == 3 and parts[2].isdigit() else None


def _read_content(answers: IO[bytes], identifier: str, kind: str, size: int) -> bytes:
    """The bytes of the object that git told of, held against its id."""
    data = answers.read(size)
    answers.read(1)
    if len(data) != size or object_id(kind, data) != identifier:
        raise StorageError.of(
            "git-object-corrupt",
            f"The saved object {identifier} is damaged: its bytes do not match its id.",
            "Restore the folder's .git from a copy; your working files are not touched.",
        )
    return data
