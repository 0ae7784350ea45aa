"""What the history tells: one version of one file as a commit recorded it, and what a save did."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from formulary.finding import Finding


@dataclass(frozen=True, slots=True)
class Saved:
    """One version of one file as a commit recorded it; `blob` is None when the commit deleted the file."""

    commit: str
    when: datetime  # aware, UTC
    author: str
    subject: str
    body: str
    path: str
    blob: str | None


@dataclass(frozen=True, slots=True)
class SaveResult:
    """The commit that holds the save (the tip itself when nothing had changed), and what is worth knowing."""

    commit: str
    warnings: tuple[Finding, ...] = ()
