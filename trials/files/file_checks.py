"""What is wrong in the files of a formulary's trials: all of them, or those that some paths belong to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from formulary.errors import InputError
from formulary.finding import Finding, Place, error, errors, in_file_order, note, warn
from formulary.materials.chosen_lots import demand_known_lot
from formulary.materials.lot_dates import check_lot_arrival
from formulary.materials.model import Material
from trials.checks.checks import check_trial
from trials.due.due import read_follow_up
from trials.files.deleted import check_deleted
from trials.files.trial_files import TrialFiles, misnamed
from trials.outcomes.known import read_outcomes
from trials.trial.identity import is_trial_folder
from trials.trial.model import Trial


def check_all(files: TrialFiles, today: date) -> tuple[Finding, ...]:
    """Everything that is wrong or worth knowing in the trials' files and in the definitions of outcomes.

    today: what was observed later than this is told.
    While `formulary.yaml` cannot be read the trials are not looked at: which outcomes there are stands in it.
    """
    if not _settings_can_be_read(files):
        return ()
    outcomes, faults = read_outcomes(files.folder.settings)
    findings = [*faults, *read_follow_up(files.folder.settings, outcomes)[1]]
    folders = dict.fromkeys(tuple(path.split("/")[1:3]) for path in files.paths())
    ids = set(files.trial_ids())
    versions: dict[str, list[Trial]] = {}
    for year, name in folders:
        path = f"trials/{year}/{name}"
        if not is_trial_folder(year, name):
            findings.append(misnamed(path, error))
            continue
        if name not in ids:
            findings.append(_trial_missing(path))
            continue
        trial, faults = files.read_trial(name)
        findings += faults
        if trial is not None:
            findings += check_trial(trial, outcomes, today, register=files.folder.register)
            findings += _check_known_lots(trial, files.folder.register)
            versions.setdefault(trial.version, []).append(trial)
    findings += _check_deliveries(files, today)
    findings += check_deleted(files, files.folder.store.tip_blobs("trials/"))
    here = files.folder.store.read_blobs(versions)
    for version, trials in versions.items():
        if version not in here:
            for trial in trials:
                what = f"version {trial.recipe}@{version[:8]} is not in this clone; its frozen plan is used"
                do = "fetch the full history to see it beside its other versions"
                findings.append(note("version-not-here", what, do, trial.place))
    return in_file_order(findings)


def _check_known_lots(trial: Trial, register: Mapping[str, Material]) -> Iterable[Finding]:
    """A warning for each lot that its material does not have beside others: its certificate counts for nothing."""
    for slug, uses in trial.lots.items():
        for use in uses:
            try:
                demand_known_lot(register, slug, use.lot)
            except InputError as fault:
                for each in fault.findings:
                    yield warn(each.code, each.what, each.do, Place(trial.path, field=f"lots, {slug}"))


def _check_deliveries(files: TrialFiles, today: date) -> Iterable[Finding]:
    """A warning for each lot in the maker's files that is said to come later than today."""
    register = files.folder.register
    for path in files.folder.paths("materials"):
        material = register.find(path.rpartition("/")[2].removesuffix(".yaml"))
        if material is None:
            continue
        for lot in material.lots.values():
            yield from check_lot_arrival(material.slug, lot, today, Place(path, field=f"lots, {lot.name}"))


def check_paths(files: TrialFiles, paths: Iterable[str]) -> tuple[Finding, ...]:
    """What cannot be read as meant in the trials that some paths belong to; a trial removed whole is no fault."""
    if not _settings_can_be_read(files):
        return ()
    touched = dict.fromkeys(path.rpartition("/")[0] for path in paths if _is_in_trial(path))
    if not touched:
        return ()
    left = {path.rpartition("/")[0] for path in files.paths()}
    ids = set(files.trial_ids())
    findings: list[Finding] = []
    for place in touched:
        _, year, name = place.split("/")
        if place not in left:
            continue
        if not is_trial_folder(year, name):
            findings.append(misnamed(place, error))
        elif name in ids:
            findings += files.read_trial(name)[1]
        else:
            findings.append(_trial_missing(place))
    return in_file_order(errors(findings))


def trial_ids_of(files: TrialFiles, paths: Iterable[str]) -> tuple[str, ...]:
    """The ids of the trials that are here and that some paths belong to."""
    named = dict.fromkeys(path.split("/")[2] for path in paths if _is_in_trial(path))
    here = set(files.trial_ids()) if named else set()
    return tuple(name for name in named if name in here)


def _is_in_trial(path: str) -> bool:
    return path.startswith("trials/") and path.count("/") == 3


def _settings_can_be_read(files: TrialFiles) -> bool:
    """Whether `formulary.yaml` holds; where it does not, that is told where the settings are checked."""
    try:
        _ = files.folder.settings
    except InputError:
        return False
    return True


def _trial_missing(path: str) -> Finding:
    bring_back = f"bring it back: formulary restore {path.split('/')[-1]}"
    what, do = f"{path} has no trial.yaml", f"{bring_back}; or remove the folder when it was never saved"
    return error("trial-missing", what, do, Place(path))
