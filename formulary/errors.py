"""What can go wrong with a call, drawn as one tree; each kind owns its exit status.

    FormularyError                 never raised itself
    +-- InputError            2    the request, or a file it needs, cannot be read as meant
    +-- StopError             1    a stop finding or an open conflict blocks a weigh-out
    +-- StorageError          3    disk, git or permission
        +-- ChangedError      3    something moved under us: nothing was overwritten

A fault in a maker's file is a `Finding` with a position; these exceptions carry the findings that led to them.
"""

from __future__ import annotations

from collections.abc import Iterable

from formulary.finding import Finding, error


class FormularyError(Exception):
    """A fault told to a person: one or more findings, and the exit status that a command ends with."""

    exit_status: int = 70

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__("\n".join(str(finding) for finding in self.findings))


class InputError(FormularyError):
    """The request, or a file that it needs, cannot be read as meant."""

    exit_status = 2

    @classmethod
    def of(cls, code: str, what: str, do: str) -> InputError:
        """An input error with one finding that has no place in a file."""
        return cls([error(code, what, do)])


class StopError(FormularyError):
    """A stop finding, or an open conflict, blocks what was asked for."""

    exit_status = 1


class StorageError(FormularyError):
    """The disk, git or a permission stands in the way; nothing was half-written."""

    exit_status = 3

    @classmethod
    def of(cls, code: str, what: str, do: str) -> StorageError:
        """A storage error with one finding that has no place in a file."""
        return cls([error(code, what, do)])


class ChangedError(StorageError):
    """A file or the branch changed after it was read; nothing of it was overwritten."""
