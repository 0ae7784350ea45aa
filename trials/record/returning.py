"""Bringing the files of a trial back as they were saved."""

from __future__ import annotations

from typing import TYPE_CHECKING

from formulary.errors import ChangedError, InputError
from formulary.finding import Place, error, has_errors
from trials.trial.added import parse_added
from trials.trial.identity import find_trial_id, trial_folder, trial_ids_among

if TYPE_CHECKING:
    from trials.files.trial_files import TrialFiles

_FROZEN, _ADDED = "planned.yaml", "added.yaml"


def saved_trial_ids(files: TrialFiles) -> tuple[str, ...]:
    """The ids of all trials that were saved last, whatever became of their files since."""
    tip = files.folder.store.tip_blobs("trials/")
    return trial_ids_among(path for path in tip if path.endswith(".yaml"))


def find_saved_trial(files: TrialFiles, text: str) -> str:
    """The id of the trial that a person means, of those that were saved last, else of those that a save deleted.

    Raises InputError as `find_trial_id` does.
    """
    try:
        return find_trial_id(text, saved_trial_ids(files))
    except InputError as fault:
        if any(finding.code != "no-trial" for finding in fault.findings):
            raise
        every = trial_ids_among(saved.path for saved in files.folder.store.history() if saved.path.endswith(".yaml"))
        try:
            return find_trial_id(text, every)
        except InputError:
            raise fault from None


def _saved_last(files: TrialFiles, place: str) -> dict[str, str]:
    """Path -> blob of a trial's files as they were saved last; of a deleted trial, before it was."""
    store = files.folder.store
    there = {path: blob for path, blob in store.tip_blobs(place).items() if path.endswith(".yaml")}
    if there:
        return there
    found: dict[str, str] = {}
    for saved in store.history():  # the newest first
        if saved.path.startswith(place) and saved.path.endswith(".yaml") and saved.blob is not None:
            found.setdefault(saved.path, saved.blob)
    return found


def restore_trial(files: TrialFiles, text: str, *, discard: bool = False) -> tuple[str, ...]:
    """Put the record and the plan of a trial back as they were saved last, also where a save deleted them; returns the
    paths that were written.

    A plan never changes, so that the one of its start comes back, also where a changed one was saved; of what is kept
    beside it the last that was not changed by hand. Photos and the like are left alone.
    Raises InputError when the text names no saved trial, or nothing differs; ChangedError when a file that is there
    would lose what was not saved, unless `discard`.
    """
    store = files.folder.store
    trial_id = find_saved_trial(files, text)
    place = f"{trial_folder(trial_id)}/"
    saved_last = _saved_last(files, place)
    wanted = dict(saved_last)
    plan = f"{place}{_FROZEN}"
    frozen = [save.blob for save in store.history([plan]) if save.blob is not None]
    if frozen:
        wanted[plan] = frozen[-1]
    texts = dict(store.read_blobs({*saved_last.values(), *wanted.values()}))
    added = f"{place}{_ADDED}"
    if added in wanted and has_errors(parse_added(texts[wanted[added]], added)[1]):
        saved = [save.blob for save in store.history([added]) if save.blob is not None]
        texts |= store.read_blobs(saved)
        wanted[added] = next((blob for blob in saved if not has_errors(parse_added(texts[blob])[1])), wanted[added])
    there = store.working_paths(place)
    held = {path: store.read_working(path) if path in there else None for path in wanted}
    changed = [path for path in sorted(wanted) if held[path] != texts[wanted[path]]]
    if not changed:
        what = f"the files of {trial_id} are as they were saved"
        raise InputError.of("nothing-changed", what, "`formulary check` tells what is wrong in them; edit them by hand")
    # What was saved, though it is not as it was written, is not lost: history keeps it.
    lost = [
        path for path in changed if held[path] not in (None, texts[saved_last[path]] if path in saved_last else None)
    ]
    if lost and not discard:
        do = f"save them first, or throw them away: formulary restore {trial_id} --discard"
        raise ChangedError(
            error("unsaved-changes", f"{path} has changes that were not saved", do, Place(path)) for path in lost
        )
    for path in changed:
        store.write_working(path, texts[wanted[path]], read=held[path])
    files.folder.refresh()
    return tuple(changed)
