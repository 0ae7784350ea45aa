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
    wanted = None if paths is None else _gone(paths, files)
    if wanted is not None and not wanted:
        return ()
    store = files.folder.store
    last = {**store.deleted("trials"), **store.tip_blobs("trials/")}
    kept = {
        trial_id: [last.get(f"{trial_folder(trial_id)}/{name}.yaml", "") for name in ("trial", "planned", "added")]
        for trial_id in sorted(_gone(last, files) if wanted is None else wanted)
    }
    texts = store.read_blobs(blob for blobs in kept.values() for blob in blobs)
    found: list[Trial] = []
    for trial_id, blobs in kept.items():
        text, plan, added = map(texts.get, blobs)
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


def _gone(paths: Iterable[str], files: TrialFiles) -> set[str]:
    ids = trial_ids_among(path for path in paths if path.startswith("trials/") and path.endswith("/trial.yaml"))
    here = {code_of(each) for each in files.trial_ids()} if ids else set()
    return {each for each in ids if code_of(each) not in here}
