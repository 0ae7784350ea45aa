"""The bench of a formulary: its trials, started, found, recorded and checked."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from hashlib import sha256
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from formulary.document import parse_document, render_document
from formulary.errors import InputError
from formulary.fields import Fields, suggest
from formulary.finding import Finding, Place, error, has_errors, in_file_order, note
from formulary.identity import blob_id
from formulary.materials.frozen import material_tree
from formulary.materials.model import Material
from formulary.quantity import NotAQuantity, format_decimal
from formulary.recipes.read import parse_recipe
from trials.checks import check_trial, fit_to_sell
from trials.identity import TRIAL_ID, find_trial_id, make_trial_id, random_code, trial_folder
from trials.model import Plan, Trial
from trials.outcomes import Outcome, own_event_words, read_outcomes
from trials.plan import make_plan, parse_plan, read_frozen_materials, render_plan
from trials.read import parse_trial, unreadable_plan
from trials.record import Entry, describe_entries, made_on, tidy_amount
from trials.record_text import write_entries
from trials.start import render_new_trial

if TYPE_CHECKING:
    from pathlib import Path

    from formulary.changes.model import Changes
    from formulary.folder import Folder
    from formulary.recipes.version import Version
    from trials.comparison import Comparison
    from trials.due import Due
    from trials.lot_trace import LotUsed
    from trials.recalculate import Recalculation
    from trials.table import Table

_SHARED = ("room_c", "humidity_percent", "lye_temperature_c", "oil_temperature_c", "blender")


def open_bench(folder: Folder | Path | str) -> Bench:
    """The bench of an open formulary, or of the one in a folder.

    Raises InputError when the folder holds no formulary, StorageError when it is not under git or not readable.
    """
    from formulary.folder import Folder, open_folder

    return Bench(folder if isinstance(folder, Folder) else open_folder(folder))


class Bench:
    """Starts, finds, records and checks the trials of one formulary. Files are read when they are asked for."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self._plans: dict[str, tuple[Plan | None, tuple[Finding, ...]]] = {}

    # -- finding ---------------------------------------------------------------------------------

    @property
    def outcomes(self) -> Mapping[str, Outcome]:
        """Every outcome by name, built in and the maker's own."""
        return read_outcomes(self.folder.settings)[0]

    def trial_ids(self) -> tuple[str, ...]:
        """The ids of all trials here, by date."""
        return tuple(sorted(path.split("/")[2] for path in self._paths() if path.endswith("/trial.yaml")))

    def _paths(self) -> tuple[str, ...]:
        return tuple(path for path in self.folder.store.working_paths("trials/") if path.count("/") == 3)

    def find_trial(self, text: str) -> Trial:
        """The trial that a person means: by its four characters, or by a beginning that only one has.

        Raises InputError when none or several fit, and with every fault of its files when they cannot be read.
        """
        trial, findings = self.read_trial(find_trial_id(text, self.trial_ids()))
        if trial is None:
            raise InputError(findings)
        return trial

    def trials(self, within: Iterable[str] = ()) -> tuple[Trial, ...]:
        """All trials that can be read, by date; `within` limits them to recipes and to the variants branched from them.

        Raises InputError for a recipe that neither a file nor a trial has.
        """
        found = [trial for identifier in self.trial_ids() if (trial := self.read_trial(identifier)[0]) is not None]
        names = tuple(within)
        if not names:
            return tuple(found)
        parents, renamed = self._family(found)
        known = {*self.folder.recipes(), *(trial.recipe for trial in found), *parents, *parents.values(), *renamed}
        for name in names:
            if name not in known:
                do = suggest(name, sorted(known), "`formulary check` lists what is here")
                raise InputError.of("no-recipe", f"there is no recipe {name[:60]!r} here", do)
        wanted = {renamed.get(name, name) for name in names}
        return tuple(trial for trial in found if not wanted.isdisjoint(_line_of(trial.recipe, parents, renamed)))

    def _family(self, found: Sequence[Trial]) -> tuple[dict[str, str], dict[str, str]]:
        """Recipe -> the one that it was branched from, and old name -> present name."""
        parents = {trial.recipe: base.recipe for trial in found if (base := trial.plan.recipe.based_on) is not None}
        renamed: dict[str, str] = {}
        for slug in self.folder.recipes():
            recipe, _ = parse_recipe(self.folder.store.read_working(f"recipes/{slug}.yaml"), slug)
            if recipe is None:
                continue  # a broken file is told by `check`
            if recipe.based_on is not None:
                parents[slug] = recipe.based_on.recipe
            renamed.update(dict.fromkeys(recipe.formerly, slug))
        return parents, renamed

    def read_trial(self, trial_id: str) -> tuple[Trial | None, tuple[Finding, ...]]:
        """One trial by its full id, or None, and every fault in its files."""
        folder, store = trial_folder(trial_id), self.folder.store
        path = f"{folder}/trial.yaml"
        plan, faults = self._read_plan(f"{folder}/planned.yaml")
        added, added_faults = self._read_added(f"{folder}/added.yaml")
        trial, findings = self._parse(store.read_working(path), trial_id, path, plan, added)
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
        return plan, tuple(replace(finding, place=replace(finding.place, path=path)) for finding in findings)

    def _read_added(self, path: str) -> tuple[Mapping[str, Material], tuple[Finding, ...]]:
        try:
            data = self.folder.store.read_working(path)
        except InputError:  # most trials have none
            return {}, ()
        root, faults = parse_document(data, path)
        if root is None:
            return {}, faults
        fields = Fields(root, [], path=path)
        fields.check_format()
        materials = read_frozen_materials(fields)
        fields.finish()
        return materials, tuple(fields.findings)

    def _parse(
        self, data: bytes | str, trial_id: str, path: str, plan: Plan | None, added: Mapping[str, Material]
    ) -> tuple[Trial | None, tuple[Finding, ...]]:
        settings = self.folder.settings
        trial, findings = parse_trial(
            data,
            trial_id,
            path,
            plan=plan,
            outcomes=self.outcomes,
            own_events=own_event_words(settings),
            materials=self.folder.register,
            added=MappingProxyType(dict(added)),
        )
        if trial is None:
            return None, findings
        loose = self._not_frozen(trial)
        for name in loose:
            what = f"{name} stands under as_made, but its values were not kept: today's are used"
            do = "record it with `formulary trial as-made`, or save the trial, to keep them"
            findings += (note("added-not-kept", what, do, replace(trial.place, field="as_made")),)
        if loose:
            trial = replace(trial, added=MappingProxyType({**trial.added, **loose}))
        return trial, findings

    def _not_frozen(self, trial: Trial) -> dict[str, Material]:
        """Materials that went in beyond the plan and whose values are not kept beside the trial."""
        names = dict.fromkeys(name for entry in trial.as_made for name in (entry.extra, entry.instead) if name)
        register = self.folder.register
        return {
            name: register[name]
            for name in names
            if name not in trial.plan.materials and name not in trial.added and name in register
        }

    # -- starting --------------------------------------------------------------------------------

    def start(
        self,
        version: Version | str,
        *,
        oils: str | None = None,
        total: str | None = None,
        mould: str | None = None,
        bars: int | None = None,
        bar: str | None = None,
        cured: bool = False,
        sitting: str | None = None,
        lots: Mapping[str, str] | None = None,
        conditions: Mapping[str, str] | None = None,
        portions: Sequence[tuple[str, str]] | None = None,
        who: str | None = None,
        despite: Sequence[str] = (),
        now: datetime | None = None,
        draw_code: Callable[[], str] = random_code,
    ) -> Trial:
        """Start a trial: the frozen plan and a file to fill in, saved in one commit (with the recipe if it is unsaved).

        version: a version, or how a person names one. oils, total, mould, or bars with bar and cured: the size, as in
        `Folder.batch`.
        sitting: the name of the sitting, the date unless given; conditions and lots that another trial of it has are
        taken over. lots: material -> lot. conditions: key -> text, such as room -> "19 °C". portions: (name, percent),
        for a plan without portions. despite: codes of stops that are overridden knowingly. now: the present time.
        draw_code: for the four characters of the id.
        Raises StopError when the batch has a stop, InputError for what cannot be read as meant.
        """
        from formulary.folder import demand_weighable

        moment = now if now is not None else datetime.now().astimezone()
        made = moment.date()
        found = self.folder.find_version(version) if isinstance(version, str) else version
        shared = self._of_sitting(sitting)
        lots = {**_lots_of(shared, found), **(lots or {})}
        given = {key: tidy_amount(text) for key, text in (conditions or {}).items()}
        conditions = {**_conditions_of(shared), **given}
        register = self.folder.register
        known = {name: lot for name, lot in lots.items() if name in register and lot in register[name].lots}
        batch = self.folder.batch(
            found, oils=oils, total=total, mould=mould, bars=bars, bar=bar, cured=cured, lots=known
        )
        demand_weighable(batch, despite=despite)
        size = _size(oils, total, mould, bars, bar, cured=cured)
        plan = make_plan(found, batch, register, self.folder.settings, size=size, lots=known)
        trial_id = make_trial_id(made, found.slug, self._all_ids(), draw_code=draw_code)
        stopped = {finding.code for finding in batch.findings if finding.severity.value == "stop"}
        text = render_new_trial(
            trial_id,
            plan,
            made,
            sitting=sitting,
            who=who,
            lots=lots,
            conditions=conditions,
            portions=None if portions is None else [(name, _share(percent)) for name, percent in portions],
            despite=[code for code in despite if code in stopped],
        )
        folder = trial_folder(trial_id)
        planned = render_plan(plan)
        trial, findings = self._parse(text, trial_id, f"{folder}/trial.yaml", plan, {})
        if trial is None:
            raise InputError(findings)
        files: dict[str, bytes | None] = {
            f"{folder}/planned.yaml": planned.encode("utf-8"),
            f"{folder}/trial.yaml": text.encode("utf-8"),
        }
        if not found.is_saved:
            files[f"recipes/{found.slug}.yaml"] = found.text.encode("utf-8")
        message = f"Start trial {trial_id}\n\n{found.name}, {size[0]} {size[1]}"
        self._save(files, message, moment)
        return trial

    def _all_ids(self) -> tuple[str, ...]:
        """Ids in the folder and in the last save, so that no code is given twice."""
        saved = {path.split("/")[2] for path in self.folder.store.tip_blobs("trials/") if path.count("/") == 3}
        return tuple({*self.trial_ids(), *saved})

    def _of_sitting(self, sitting: str | None) -> Trial | None:
        if sitting is None:
            return None
        return next((trial for trial in reversed(self.trials()) if trial.sitting == sitting), None)

    def due(self, today: date, *, days_ahead: int = 14) -> tuple[Due, ...]:
        """What should be looked at now and next, late ones first, by the maker's own follow-up plan."""
        from trials.due import find_due, read_follow_up

        plan, _ = read_follow_up(self.folder.settings, self.outcomes)
        return find_due(self.trials(), today, plan, self.outcomes, days_ahead=days_ahead)

    def find_lot(self, lot: str, *, material: str | None = None) -> tuple[LotUsed, ...]:
        """Every batch that a lot went into, by date. Raises InputError, with the nearest, for a lot that none has."""
        from trials.lot_trace import find_lot, lot_names

        trials = self.trials()
        found = find_lot(trials, lot, material=material)
        if not found:
            do = suggest(lot, lot_names(trials), "`formulary trial show` lists a trial's lots")
            raise InputError.of("no-lot", f"no batch has lot {lot[:60]!r}", do)
        return found

    def table(self, within: Iterable[str] = (), *, by: Literal["portion", "trial"] = "portion") -> Table:
        """One row a portion (or a trial) with every fact and outcome; `save_table` writes it to a file."""
        from trials.table import make_table

        return make_table(self.trials(within), self.outcomes, by=by)

    def recalculate(self, trial: Trial) -> Recalculation:
        """A trial's figures by today's register beside its frozen ones; nothing is written."""
        from trials.recalculate import recalculate

        return recalculate(trial, self.folder.register)

    def fit_to_sell(self, trial: Trial, today: date | None = None) -> tuple[Finding, ...]:
        """What still stands between a trial and being sold; empty when nothing does."""
        return fit_to_sell(trial, self.outcomes["free alkali"], today)

    def sitting(self, name: str) -> tuple[Trial, ...]:
        """The trials of one sitting."""
        return tuple(trial for trial in self.trials() if trial.sitting == name)

    # -- recording -------------------------------------------------------------------------------

    def record(self, *entries: Entry, now: datetime | None = None) -> Trial:
        """Write entries into their trial's file and save it; returns the trial as it then is (the last one's).

        Raises InputError, with nothing written, when the file with the entries could not be read as meant.
        """
        return self.record_all(entries, now=now)[-1]

    def record_all(self, entries: Iterable[Entry], *, now: datetime | None = None) -> tuple[Trial, ...]:
        """Write entries of one or several trials, all or nothing, in one commit; returns these trials."""
        by_trial: dict[str, list[Entry]] = {}
        moment = now if now is not None else datetime.now().astimezone()
        for entry in entries:
            by_trial.setdefault(entry.trial_id, []).append(entry)
        if not by_trial:
            raise InputError.of("nothing-to-record", "there is nothing to record", "say what happened")
        files: dict[str, bytes | None] = {}
        trials: list[Trial] = []
        for trial_id, found in by_trial.items():
            written = self._with_entries(trial_id, found, moment)
            files.update(written[1])
            trials.append(written[0])
        ids = list(by_trial)
        message = f"Record {ids[0]}" if len(ids) == 1 else f"Record {len(ids)} trials of a sitting"
        self._save(files, f"{message}\n\n{describe_entries(by_trial)}", moment)
        return tuple(trials)

    def _with_entries(
        self, trial_id: str, entries: Sequence[Entry], now: datetime
    ) -> tuple[Trial, dict[str, bytes | None]]:
        folder = trial_folder(trial_id)
        path = f"{folder}/trial.yaml"
        before, findings = self.read_trial(trial_id)
        if before is None:
            raise InputError(findings)
        entries = [*entries, *made_on(before, entries, now.date())]
        text = self.folder.store.read_working(path).decode("utf-8")
        changed = write_entries(text, entries, path)
        after, findings = self._parse(changed, trial_id, path, before.plan, before.added)
        if after is None:
            raise InputError(findings)
        _demand_rest_alike(before, after, {entry.section for entry in entries}, path)
        files: dict[str, bytes | None] = {path: changed.encode("utf-8")}
        loose = self._frozen_beside(after, folder)
        if loose is not None:
            files[f"{folder}/added.yaml"] = loose.encode("utf-8")
        return after, files

    def _frozen_beside(self, trial: Trial, folder: str) -> str | None:
        """The text of added.yaml when materials beyond the plan have to be kept, or None."""
        names = {name for entry in trial.as_made for name in (entry.extra, entry.instead) if name}
        kept, _ = self._read_added(f"{folder}/added.yaml")
        wanted = {name: trial.added[name] for name in sorted(names) if name in trial.added}
        if all(name in kept for name in wanted):
            return None
        tree = {"format": 1, "materials": {name: material_tree(item) for name, item in {**kept, **wanted}.items()}}
        comment = "Values of what went in without standing in the plan, as they were when it was recorded."
        return render_document(tree, comment=comment)

    def _save(self, files: Mapping[str, bytes | None], message: str, now: datetime) -> None:
        store = self.folder.store
        tip = store.tip
        present = set(store.working_paths(""))
        read = {path: blob_id(store.read_working(path)) if path in present else None for path in files}
        saved = store.tip_blobs("")
        store.save(
            files,
            message=message,
            read_from=tip,
            expected={path: saved.get(path) for path in files},
            now=now,
            write_working=True,
            working_read=read,
        )
        self.folder.refresh()

    # -- comparing -------------------------------------------------------------------------------

    def compare(self, *trials: Trial | str) -> Comparison:
        """What differed between trials and what each did, beside the noise of the formulary's repeats.

        trials: trials, or how a person names them. Raises InputError for a name that fits none or several.
        """
        from trials.compare import compare_trials

        found = [self.find_trial(trial) if isinstance(trial, str) else trial for trial in trials]
        return compare_trials(found, self.trials(), self.outcomes)

    def diff(self, before: str, after: str, *, oils: str = "1000 g") -> Changes:
        """What changed between two versions, working files or trials, for the same mass of oils; see `trials.diff`."""
        from trials.diff import diff_sides

        return diff_sides(self, before, after, oils=oils)

    # -- checking --------------------------------------------------------------------------------

    def check_trial(self, trial: Trial) -> tuple[Finding, ...]:
        """What makes the trial as made unsafe or unfit to sell, and what in its record does not add up."""
        return check_trial(trial)

    def check(self) -> tuple[Finding, ...]:
        """Everything that is wrong or worth knowing in the trials' files and in the definitions of outcomes.

        While `formulary.yaml` cannot be read the trials are not looked at: which outcomes there are stands in it.
        """
        from trials.due import read_follow_up

        try:
            _ = self.folder.settings
        except InputError:
            return ()
        findings: list[Finding] = list(read_outcomes(self.folder.settings)[1])
        findings += read_follow_up(self.folder.settings, self.outcomes)[1]
        folders = dict.fromkeys(tuple(path.split("/")[1:3]) for path in self._paths())
        ids = set(self.trial_ids())
        versions: dict[str, list[Trial]] = {}
        for year, name in folders:
            path = f"trials/{year}/{name}"
            if not TRIAL_ID.fullmatch(name) or not name.startswith(f"{year}-"):
                do = f"call it date-recipe-xxxx, and put it into the folder of its year, such as {year}-10-03-...-k7wq"
                findings.append(error("bad-trial-name", f"{path} is not named as a trial is", do, Place(path)))
                continue
            if name not in ids:
                what, do = f"{path} has no trial.yaml", "restore it from history, or remove the folder"
                findings.append(error("trial-missing", what, do, Place(path)))
                continue
            trial, faults = self.read_trial(name)
            findings += faults
            if trial is not None:
                findings += check_trial(trial)
                versions.setdefault(trial.version, []).append(trial)
        here = self.folder.store.read_blobs(versions)
        for version, trials in versions.items():
            if version not in here:
                for trial in trials:
                    what = f"version {trial.recipe}@{version[:8]} is not in this clone; its frozen plan is used"
                    do = "fetch the full history to see it beside its other versions"
                    findings.append(note("version-not-here", what, do, trial.place))
        return in_file_order(findings)


def _line_of(recipe: str, parents: Mapping[str, str], renamed: Mapping[str, str]) -> set[str]:
    """A recipe and every recipe that it was branched from, by their present names."""
    line: set[str] = set()
    current: str | None = recipe
    while current is not None:
        named = renamed.get(current, current)
        if named in line:
            break
        line.add(named)
        current = parents.get(named, parents.get(current))
    return line


def _demand_rest_alike(before: Trial, after: Trial, sections: Iterable[str], path: str) -> None:
    """Writing an entry changes what it says and nothing else."""
    changed = {"portions" if section == "events" and before.is_divided else section for section in sections}
    changed |= {"added", *sections}
    kept = {name: getattr(before, name) for name in Trial.__dataclass_fields__ if name in changed}
    if replace(after, **kept) != before:
        what = "the file's layout does not let an entry be written without changing something else"
        raise InputError([error("cannot-edit", what, "write it by hand", Place(path))])


def _share(percent: str) -> Decimal:
    from formulary.quantity import parse_percent

    try:
        return parse_percent(percent)
    except NotAQuantity as problem:
        raise InputError.of("bad-share", problem.what, problem.do) from None


def _size(
    oils: str | None, total: str | None, mould: str | None, bars: int | None, bar: str | None, *, cured: bool
) -> tuple[str, str]:
    """How the size was asked for, as it is written in a file."""
    if oils is not None:
        return "oils", tidy_amount(oils)
    if total is not None:
        return "batter", tidy_amount(total)
    if mould is not None:
        return "mould", " ".join(mould.split())
    return "bars", f"{bars} of {tidy_amount(bar or '')}{' cured' if cured else ''}"


def _lots_of(trial: Trial | None, version: Version) -> dict[str, str]:
    """The lots of another trial of the sitting, for what this recipe shares with it."""
    if trial is None:
        return {}
    names = set(version.recipe.materials())
    return {name: uses[0].lot for name, uses in trial.lots.items() if name in names and len(uses) == 1}


def _conditions_of(trial: Trial | None) -> dict[str, str]:
    """The conditions of another trial of the sitting, as they are written; mould and cover are each loaf's own."""
    if trial is None:
        return {}
    written: dict[str, str] = {}
    for name in _SHARED:
        value = getattr(trial.conditions, name)
        if value is None:
            continue
        if isinstance(value, Decimal):
            unit = "%" if name.endswith("_percent") else "°C"
            written[name.removesuffix("_c").removesuffix("_percent")] = f"{format_decimal(value)} {unit}"
        else:
            written[name] = value
    return written
