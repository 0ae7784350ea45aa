"""Recording: entries are written into their trials' files, checked as a whole, and saved in one commit."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.finding import Finding, Place, error
from formulary.identity import blob_id
from formulary.materials.chosen_lots import demand_known_lot
from formulary.materials.model import Lot, Material
from trials.as_made.lots_used import kept_materials
from trials.checks.sale import demand_possible_day, demand_sellable
from trials.record.entries import dated, describe_entries, made_on
from trials.record.file_text import write_entries
from trials.record.portions import find_renames, rename_portions
from trials.trial.added import NOTHING_ADDED, Added, merge_lots, render_added
from trials.trial.entry import Entry, lots_of_entry, shorten
from trials.trial.identity import trial_folder
from trials.trial.model import Trial

if TYPE_CHECKING:
    from trials.files.trial_files import TrialFiles


@dataclass(frozen=True, slots=True)
class _Written:
    """A trial with its entries: path -> new text, and path -> blob id of what it was made from (None: no file).

    by_hand: path -> the text that was made of a file by hand and not saved yet.
    """

    trial: Trial
    files: dict[str, str]
    read: dict[str, str | None]
    by_hand: dict[str, str]


def record_entries(bench: TrialFiles, entries: Iterable[Entry], now: datetime) -> tuple[Trial, ...]:
    """Write entries of one or several trials, all or nothing, in one commit; returns these trials.

    What was written into their files by hand before is saved first, by itself, so that an undo takes back the entries
    alone.
    Raises InputError, with nothing written, when a file with its entries could not be read as meant; StopError when it
    is to be sold and something speaks against that.
    """
    by_trial: dict[str, list[Entry]] = {}
    for entry in map(_demand_entry, entries):
        by_trial.setdefault(entry.trial_id, []).append(entry)
    if not by_trial:
        raise InputError.of("nothing-to-record", "there is nothing to record", "say what happened")
    written = [_write(bench, trial_id, found, now) for trial_id, found in by_trial.items()]
    ids = list(by_trial)
    head = f"Record {ids[0] if len(ids) == 1 else f'{len(ids)} trials of a sitting'}: {_head(by_trial[ids[0]])}"
    files = {path: text for item in written for path, text in item.files.items()}
    read = {path: blob for item in written for path, blob in item.read.items()}
    by_hand = {path: text for item in written for path, text in item.by_hand.items()}
    if by_hand:
        edited = ", ".join(item.trial.id for item in written if item.by_hand)
        told = f"Save what was written by hand in {edited}"
        bench.save_texts(by_hand, {path: read[path] for path in by_hand}, told, now)
    bench.save_texts(files, read, f"{head}\n\n{describe_entries(by_trial)}", now)
    return tuple(item.trial for item in written)


def _demand_entry(given: object) -> Entry:
    if isinstance(given, Entry):
        return given
    what = f"{type(given).__name__} is no entry of a record"
    raise InputError.of("no-entry", what, 'make one: trial.observe("hardness", "3.1 mm", age="28 d")')


def _head(entries: Sequence[Entry]) -> str:
    """What was recorded, so short that a line of history can tell it."""
    more = f" and {len(entries) - 1} more" if len(entries) > 1 else ""
    return shorten(" ".join(entries[0].said.split())) + more


def _write(bench: TrialFiles, trial_id: str, entries: Sequence[Entry], now: datetime) -> _Written:
    path = f"{trial_folder(trial_id)}/trial.yaml"
    data = bench.folder.store.read_working(path)
    before, findings = bench.read_trial(trial_id)
    if before is None:
        raise InputError(findings)
    for entry in entries:
        for lot in lots_of_entry(entry):
            demand_known_lot(bench.folder.register, entry.key or "", lot)
    entries = [dated(before, each, now.date()) for each in (*entries, *made_on(before, entries, now.date()))]
    text = write_entries(data.decode("utf-8"), entries, path)
    kept, _ = bench.read_added(trial_id)
    after, findings = bench.parse_text(text, trial_id, before.plan, kept)
    if after is None:
        told = [finding.unwritten() for finding in findings]
        raise InputError([*told, *bench.folder.faults_beside(findings)])
    after = replace(after, lot_values=merge_lots(after.lot_values, _lots_said(after, entries, bench.folder.register)))
    if any(entry.section == "release" for entry in entries):
        _demand_decided_anew(before, after)
        demand_possible_day(after, now.date())
        if after.release is not None and after.release.decision == "sell":
            bench.demand_readable_materials(after)
        demand_sellable(after, now.date(), register=bench.folder.register)
    _demand_rest_alike(_as_called_now(before, entries), after, {entry.section for entry in entries}, path)
    files, read = {path: text}, {path: blob_id(data)}
    loose = _without_readable_file(bench, after, kept)
    if faults := [fault for name in loose if name not in before.brought for fault in loose[name]]:
        raise InputError(faults)
    _keep_added(bench, after, kept, files, read, loose)
    by_hand = {path: data.decode("utf-8")} if is_hand_written(bench, trial_id) else {}
    return _Written(after, files, dict(read), by_hand)


def is_hand_written(bench: TrialFiles, trial_id: str) -> bool:
    """Whether the trial's file says something that was not saved yet."""
    path = f"{trial_folder(trial_id)}/trial.yaml"
    store = bench.folder.store
    return store.tip_blob(path) != blob_id(store.read_working(path))


def _demand_decided_anew(before: Trial, after: Trial) -> None:
    """Refuse what is decided already, and hold the record to keep every decision."""
    if after.release == before.release:
        raise InputError.of("decided-already", "this is the decision that is recorded already", "nothing was written")
    if after.decided_before != before.decisions:
        what = "the file's layout does not let a decision be put behind those that are there"
        raise InputError([error("cannot-edit", what, "write it by hand", Place(after.path))])


def _demand_rest_alike(before: Trial, after: Trial, sections: Iterable[str], path: str) -> None:
    """Writing an entry changes what it says and nothing else."""
    along = {"release": "decided_before", "events": "portions"}
    changed = {"added", "lot_values", *sections, *(along[section] for section in sections if section in along)}
    kept = {name: getattr(before, name) for name in Trial.__dataclass_fields__ if name in changed}
    if replace(after, **kept) != before:
        what = "the file's layout does not let an entry be written without changing something else"
        raise InputError([error("cannot-edit", what, "write it by hand", Place(path))])


def _as_called_now(trial: Trial, entries: Iterable[Entry]) -> Trial:
    """The trial with its portions' names as entries give them, in all that names one."""
    for entry in entries:
        if entry.section == "portions" and isinstance(entry.value, Sequence):
            wanted = [each for each in entry.value if isinstance(each, Mapping)]
            trial = rename_portions(trial, find_renames(trial.portions, wanted))
    return trial


def _lots_said(trial: Trial, entries: Iterable[Entry], register: Mapping[str, Material]) -> dict[str, dict[str, Lot]]:
    """What is registered today of the lots that entries name, where something else, or nothing, is kept of them."""
    kept = kept_materials(trial)
    found: dict[str, dict[str, Lot]] = {}
    for entry in entries:
        name = entry.key or ""
        for lot in lots_of_entry(entry):
            today = register[name].lots.get(lot) if name in register and name in kept else None
            if today is not None and today != kept[name].lots.get(lot):
                found.setdefault(name, {})[lot] = today
    return found


def _without_readable_file(bench: TrialFiles, trial: Trial, kept: Added) -> dict[str, tuple[Finding, ...]]:
    """What went in beyond the plan and is not kept, whose own file of the maker cannot be read, and its errors.

    The built-in values are not what that file says, and what is kept counts for good.
    """
    unread = bench.folder.unread_materials
    return {name: unread[name] for name in trial.brought if name in unread and name not in kept.materials}


def _keep_added(
    bench: TrialFiles,
    trial: Trial,
    kept: Added,
    files: dict[str, str],
    read: dict[str, str],
    loose: Collection[str],
) -> None:
    """Put the values of materials and lots beyond the plan beside the trial, so that they stay what they were.

    loose: materials of which nothing is kept yet.
    """
    path = f"{trial_folder(trial.id)}/added.yaml"
    wanted = {name: trial.added[name] for name in sorted(trial.brought) if name in trial.added and name not in loose}
    added = Added({**wanted, **kept.materials}, trial.lot_values)
    if added == kept and kept.has_digest:
        return
    files[path] = render_added(added)
    if kept is not NOTHING_ADDED:
        read[path] = blob_id(bench.folder.store.read_working(path))
