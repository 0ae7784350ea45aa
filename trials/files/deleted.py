"""Trials that were saved once and are not here any more: whoever bought a bar of one may still have it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from formulary.finding import Finding, Place, warn
from trials.trial.added import NOTHING_ADDED, parse_added
from trials.trial.identity import code_of, trial_folder, trial_ids_among
from trials.trial.plan import parse_plan
from trials.trial.words import sold_words

if TYPE_CHECKING:
    from trials.files.trial_files import TrialFiles
    from trials.trial.model import Trial


def find_deleted_and_sold(files: TrialFiles, paths: Iterable[str] | None = None) -> tuple[Trial, ...]:
    """The trials that were recorded as sold and are not here any more, as they were saved last.

    paths: files of those that are looked at; all that history knows unless given. One whose folder was moved is here.
    """
    here = {code_of(each) for each in files.trial_ids()}
    wanted = None if paths is None else _gone(paths, here)
    if wanted is not None and not wanted:
        return ()
    store = files.folder.store
    saves = [saved for saved in store.history() if saved.blob is not None]  # the newest first
    gone = _gone((saved.path for saved in saves), here)
    gone = gone if wanted is None else gone & wanted
    last: dict[str, str] = {}
    for saved in saves:
        if saved.blob is not None and saved.path.startswith("trials/"):
            last.setdefault(saved.path, saved.blob)
    found: list[Trial] = []
    for trial_id in sorted(gone):
        kept = {name: last.get(f"{trial_folder(trial_id)}/{name}.yaml") for name in ("trial", "planned", "added")}
        texts = store.read_blobs(blob for blob in kept.values() if blob is not None)
        text, plan, added = (texts.get(blob) if blob is not None else None for blob in kept.values())
        if text is None or plan is None:
            continue
        beside = NOTHING_ADDED if added is None else parse_added(added)[0]
        trial, _ = files.parse_text(text, trial_id, parse_plan(plan)[0], beside)
        if trial is not None and trial.sold is not None:
            found.append(trial)
    return tuple(found)


def check_deleted(files: TrialFiles, paths: Iterable[str]) -> tuple[Finding, ...]:
    """A warning for each trial that was sold, and that some paths belong to, whose files are not here any more."""
    return tuple(_say(trial) for trial in find_deleted_and_sold(files, paths))


def _say(trial: Trial) -> Finding:
    what = (
        f"{trial.id}, which is {sold_words(trial)}, has no files any more: nothing but its lots can be looked up when"
    )
    what += " a bar comes back"
    return warn("sold-deleted", what, f"bring it back: formulary restore {trial.id}", Place(trial_folder(trial.id)))


def _gone(paths: Iterable[str], here: Iterable[str]) -> set[str]:
    ids = trial_ids_among(path for path in paths if path.startswith("trials/") and path.endswith("/trial.yaml"))
    return {each for each in ids if code_of(each) not in here}
