"""What a save is about to do, written down before it does it, so that the next one can finish it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from formulary.identity import is_full_id
from formulary.store.paths import check_path
from formulary.store.repository import Repository, is_branch
from formulary.store.working import Draft

_LARGEST = 50_000_000


@dataclass(frozen=True, slots=True)
class Intent:
    """A save under way: the branch is to go from `before` to `commit`, the files from one blob to another."""

    branch: str
    before: str | None
    commit: str
    blobs: Mapping[str, str | None]
    working_before: Mapping[str, str | None] = field(default_factory=dict)  # only of files that the save writes


def draft_intent(repository: Repository, intent: Intent) -> Draft:
    """The intent as a file to be written; it will be whole or not there."""
    place = _place(repository)
    passing = place.with_suffix(".new")
    passing.unlink(missing_ok=True)
    facts = {
        "branch": intent.branch,
        "before": intent.before,
        "commit": intent.commit,
        "blobs": dict(intent.blobs),
        "working_before": dict(intent.working_before),
    }
    return Draft(passing, place, json.dumps(facts).encode("utf-8"))


def read_intent(repository: Repository) -> Intent | None:
    """The intent of a save that did not end, or None. One that makes no sense counts as none."""
    place = _place(repository)
    try:
        if place.stat().st_size > _LARGEST:
            return None
        facts = json.loads(place.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    if not isinstance(facts, dict):
        return None
    branch, before, commit = facts.get("branch"), facts.get("before"), facts.get("commit")
    blobs, working_before = _blobs(facts.get("blobs")), _blobs(facts.get("working_before"))
    if not isinstance(branch, str) or not is_branch(branch):
        return None
    if not isinstance(commit, str) or not is_full_id(commit) or blobs is None or working_before is None:
        return None
    if before is not None and not (isinstance(before, str) and is_full_id(before)):
        return None
    return Intent(branch, before, commit, blobs, working_before)


def clear_intent(repository: Repository) -> None:
    """Forgets the intent: the save has ended, or is given up."""
    place = _place(repository)
    place.unlink(missing_ok=True)
    place.with_suffix(".new").unlink(missing_ok=True)


def has_intent(repository: Repository) -> bool:
    """Whether a save did not end (or is under way at this moment)."""
    return _place(repository).exists()


def _place(repository: Repository) -> Path:
    return repository.git_dir / "formulary-save.json"


def _blobs(facts: object) -> dict[str, str | None] | None:
    if not isinstance(facts, dict):
        return None
    for path, blob in facts.items():
        if check_path(path) is not None:
            return None
        if blob is not None and not (isinstance(blob, str) and is_full_id(blob)):
            return None
    return facts
