"""The trials of a formulary as their files say: found, read against their plans, and saved."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import date, datetime
from hashlib import sha256
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.finding import NOWHERE, Finding, Place, Severity, has_errors, note, warn
from formulary.given import each_of
from formulary.materials.model import Material
from formulary.read_only import ReadOnly
from trials.as_made.lots_used import kept_materials
from trials.files.within import find_within
from trials.outcomes.known import own_event_words, read_outcomes
from trials.outcomes.outcome import Outcome
from trials.read.trial import parse_trial, unreadable_plan
from trials.trial.added import NOTHING_ADDED, Added, find_unkept_lots, merge_lots, parse_added
from trials.trial.identity import find_trial_id, is_trial_folder, trial_folder, trial_ids_among
from trials.trial.model import Plan, Trial
from trials.trial.plan import parse_plan

if TYPE_CHECKING:
    from formulary.folder.folder import Folder


class TrialFiles:
    """The files of a formulary's trials. They are read when they are asked for; a plan, which never changes, once."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self._plans: dict[str, tuple[Plan | None, tuple[Finding, ...]]] = {}
        self.unread: tuple[Finding, ...] = ()  # one for each trial that `trials` had to leave out, since it was asked

    @property
    def outcomes(self) -> Mapping[str, Outcome]:
        """Every outcome by name, built in and the maker's own."""
        return read_outcomes(self.folder.settings)[0]

    def trial_ids(self) -> tuple[str, ...]:
        """The ids of all trials here, in order."""
        return _ids_among(self.paths())

    def ids_that_name(self, word: str) -> tuple[str, ...]:
        """The ids of the trials whose files may name a word anywhere, without reading more of them."""
        return tuple(each for each in self.trial_ids() if _may_name(self._text_of(each), word))

    def _text_of(self, trial_id: str) -> bytes:
        try:
            return self.folder.store.read_working(f"{trial_folder(trial_id)}/trial.yaml")
        except InputError:  # a link, or the like, says nothing; `check` tells of it
            return b""

    def paths(self) -> tuple[str, ...]:
        """Every file of a trial's folder, photos and logger files among them."""
        return tuple(path for path in self.folder.store.working_paths("trials/") if path.count("/") == 3)

    def find_trial(self, text: Trial | str) -> Trial:
        """The trial that a person means: by its four characters, or by a beginning that only one has.

        A trial that is held already is read again, as its files are now.
        Raises InputError when none or several fit, and with every fault of its files when they cannot be read.
        """
        trial, findings = self.read_trial(find_trial_id(text.id if isinstance(text, Trial) else text, self.trial_ids()))
        if trial is None:
            raise InputError(findings)
        return trial

    def trials(self, within: str | Iterable[str] = ()) -> tuple[Trial, ...]:
        """All trials that can be read, by the date they were made.

        within: recipes that they are limited to, and the variants branched from these. `unread` then tells which trials
        of the formulary could not be read, and are missing.
        Raises InputError for a recipe that neither a file nor a trial has.
        """
        found: list[Trial] = []
        unread: list[Finding] = []
        paths = self.paths()
        ids = _ids_among(paths)
        for identifier in ids:
            trial, findings = self.read_trial(identifier)
            if trial is not None:
                found.append(trial)
            else:
                fault = next((finding for finding in findings if finding.severity is Severity.ERROR), None)
                if fault is None:
                    unread.append(_unread(identifier, "its file cannot be read as meant"))
                else:
                    unread.append(_unread(identifier, fault.what, fault.place))
        folders = dict.fromkeys(tuple(path.split("/")[1:3]) for path in paths)
        for year, name in folders:
            if not is_trial_folder(year, name):
                if f"trials/{year}/{name}/trial.yaml" in paths:
                    unread.append(misnamed(f"trials/{year}/{name}", warn))
            elif name not in ids:
                unread.append(_unread(name, "it has no trial.yaml"))
        self.unread = tuple(unread)
        found.sort(key=lambda trial: (trial.made, trial.id))
        names = each_of(within)
        return find_within(found, names, self.folder) if names else tuple(found)

    def read_trial(self, trial_id: str) -> tuple[Trial | None, tuple[Finding, ...]]:
        """One trial by its full id, or None, and every fault in its files."""
        folder, store = trial_folder(trial_id), self.folder.store
        path = f"{folder}/trial.yaml"
        plan, faults = self._read_plan(f"{folder}/planned.yaml")
        added, added_faults = self.read_added(trial_id)
        try:
            data = store.read_working(path)
        except InputError as fault:
            return None, (*faults, *added_faults, *fault.findings)
        trial, findings = self.parse_text(data, trial_id, plan, added)
        findings = (*faults, *added_faults, *findings)
        return (None if has_errors(findings) else trial), findings

    def _read_plan(self, path: str) -> tuple[Plan | None, tuple[Finding, ...]]:
        try:
            data = self.folder.store.read_working(path)
        except InputError:
            return None, (unreadable_plan(path),)
        key = sha256(data).hexdigest()
        if key not in self._plans:
            self._plans[key] = parse_plan(data, path)
        plan, findings = self._plans[key]
        told = [replace(finding, place=finding.place._replace(path=path)) for finding in findings]
        if plan is None:  # nobody is to mend a frozen plan by hand, whatever a file of one's own would ask for
            lost = unreadable_plan(path)
            is_altered = any(finding.code == "plan-altered" for finding in told)
            told = [each if each.code == "plan-altered" else replace(each, do=lost.do) for each in told]
            told += [] if is_altered else [lost]
        return plan, tuple(told)

    def read_added(self, trial_id: str) -> tuple[Added, tuple[Finding, ...]]:
        """The kept values of what went into a trial beyond its plan, and every fault in their file."""
        path = f"{trial_folder(trial_id)}/added.yaml"
        try:
            data = self.folder.store.read_working(path)
        except InputError:  # most trials have none
            return NOTHING_ADDED, ()
        return parse_added(data, path)

    def demand_readable_materials(self, trial: Trial) -> None:
        """Raises InputError while the file of a material of the trial cannot be read: what it says today of the loaf is
        not known."""
        unread = self.folder.unread_materials
        faults = [fault for name in kept_materials(trial) for fault in unread.get(name, ())]
        if faults:
            raise InputError(faults)

    def as_kept(self, trial: Trial) -> Trial:
        """The trial by what is kept of its lots, without what is registered of others today."""
        return replace(trial, lot_values=self.read_added(trial.id)[0].lots)

    def parse_text(
        self,
        data: bytes | str,
        trial_id: str,
        plan: Plan | None,
        added: Added = NOTHING_ADDED,
    ) -> tuple[Trial | None, tuple[Finding, ...]]:
        """A trial's text read against its plan, with this formulary's outcomes, events and register.

        added: what is kept beside it. What went in and is not kept counts as it is registered today, with a note.
        """
        settings, register = self.folder.settings, self.folder.register
        path = f"{trial_folder(trial_id)}/trial.yaml"
        trial, findings = parse_trial(
            data,
            trial_id,
            path,
            plan=plan,
            outcomes=read_outcomes(settings)[0],
            own_events=own_event_words(settings),
            materials=register,
            added=ReadOnly(added.materials),
        )
        if trial is None:
            return None, findings
        trial = replace(trial, told_in=settings.temperature, lot_values=added.lots)
        loose = _not_frozen(trial, register)
        for name in loose:
            what = f"{name} went in beside the plan, but its values were not kept: today's are used"
            do = "the next entry of the trial keeps them, whatever it is of"
            findings += (note("added-not-kept", what, do, trial.place._replace(field="as_made")),)
        if loose:
            trial = replace(trial, added=ReadOnly({**trial.added, **loose}))
        named = {name: tuple(use.lot for use in uses) for name, uses in trial.lots.items()}
        lots = find_unkept_lots(named, kept_materials(trial), register)
        for name, unkept in lots.items():
            what = f"what is registered of lot {' and '.join(unkept)} of {name} is not kept with the trial: today's"
            what += " values are used"
            do = "the next entry of the trial keeps them, whatever it is of"
            findings += (note("lot-not-kept", what, do, trial.place._replace(field=f"lots, {name}")),)
        return replace(trial, lot_values=merge_lots(added.lots, lots)), findings

    def sitting(self, name: str, day: date) -> tuple[Trial, ...]:
        """The trials of one sitting: a name may come again on another day, with other oils in another room."""
        return tuple(trial for trial in self.trials() if (trial.sitting, trial.made) == (name, day))

    def together_with(self, trial: Trial) -> tuple[Trial, ...]:
        """The trials of a trial's sitting with itself, which is alone where it names none."""
        return (trial,) if trial.sitting is None else self.sitting(trial.sitting, trial.made)

    def save_texts(self, files: Mapping[str, str], read: Mapping[str, str | None], message: str, now: datetime) -> None:
        """One commit of these texts, written into the folder too.

        read: path -> blob id of the file that its text was made from, None where there was none. Raises ChangedError,
        with nothing written, when a file was changed meanwhile.
        """
        store = self.folder.store
        saved = store.tip_blobs("")
        store.save(
            {path: text.encode("utf-8") for path, text in files.items()},
            message=message,
            read_from=store.tip,
            expected={path: saved.get(path) for path in files},
            now=now,
            write_working=True,
            working_read={path: read.get(path) for path in files},
        )
        self.folder.refresh()


def _not_frozen(trial: Trial, register: Mapping[str, Material]) -> dict[str, Material]:
    """Materials that went in beyond the plan and whose values are not kept beside the trial."""
    return {
        name: register[name]
        for name in trial.brought
        if name not in trial.plan.materials and name not in trial.added and name in register
    }


def _ids_among(paths: Iterable[str]) -> tuple[str, ...]:
    return trial_ids_among(path for path in paths if path.endswith("/trial.yaml"))


def _may_name(data: bytes, word: str) -> bool:
    """Whether a file may say a word; one with escaped signs, or a text over several lines, may spell it otherwise."""
    return b"\\" in data or b"''" in data or all(part.encode("utf-8") in data for part in word.split())


def misnamed(place: str, severity: Callable[[str, str, str, Place], Finding]) -> Finding:
    """That a folder below trials/ has a name by which no trial in it is found."""
    what = f"{place} is not named as a trial is, so nothing here counts it"
    do = "call it date-recipe-xxxx, as it was when it was started, and put it into the folder of its year"
    return severity("bad-trial-name", what, do, Place(place))


def _unread(trial_id: str, why: str, place: Place = NOWHERE) -> Finding:
    what = f"trial {trial_id} could not be read, so nothing here counts it: {why}"
    if place.path is None:
        place = Place(trial_folder(trial_id))
    return warn("trial-unread", what, "`formulary check` shows what is wrong in it", place)
