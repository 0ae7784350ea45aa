"""Starting the trials of a sitting: their frozen plans and files to fill in, saved in one commit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from formulary.batch.overriding import demand_standing, override_sitting_stops, override_stops
from formulary.changes.message import save_message
from formulary.errors import InputError, StopError
from formulary.finding import stops
from formulary.given import Day, Figure, as_day, as_moment, each_of, is_mapping
from formulary.identity import blob_id
from formulary.materials.chosen_lots import (
    ChosenLots,
    GivenLots,
    demand_known_lot,
    demand_weighed,
    given_lots,
    lots_with_values,
)
from formulary.names import suggest
from formulary.quantity import format_decimal
from formulary.recipes.version import outside_formulary
from trials.record.lots_of_loaves import (
    lots_taken_over,
    planned_lots,
    weighed_lots,
    with_lots_by_name,
    with_lots_untold,
)
from trials.record.new_trial_text import render_new_trial
from trials.trial.entry import parse_share, tidy_amount, tidy_condition
from trials.trial.identity import make_trial_id, random_code, trial_folder, trial_ids_among
from trials.trial.model import CONDITIONS, Plan, Trial
from trials.trial.plan import make_plan, parse_plan, render_plan
from trials.trial.words import degree_words

if TYPE_CHECKING:
    from formulary.batch.model import Batch
    from formulary.batch.size import Size
    from formulary.changes.changes import Changes
    from formulary.folder.folder import Folder
    from formulary.recipes.version import Version
    from trials.files.trial_files import TrialFiles

# What trials of one sitting share; mould and cover are each loaf's own.
_SHARED = ("room_c", "humidity_percent", "lye_temperature_c", "oil_temperature_c", "blender")


@dataclass(frozen=True, slots=True)
class Loaf:
    """What one trial is started from: a version, its size, and the mould that is its own."""

    version: Version
    size: Size
    mould: str | None = None


@dataclass(frozen=True, slots=True)
class StartedTrial:
    """A trial that was just started, and the batch that its plan was frozen from."""

    trial: Trial
    batch: Batch


def start_trials(
    bench: TrialFiles,
    loaves: Sequence[Loaf],
    *,
    sitting: str | None = None,
    lots: ChosenLots,
    conditions: Mapping[str, str],
    portions: Mapping[str, Figure] | Sequence[tuple[str, Figure]] | None = None,
    who: str | None = None,
    made: Day | None = None,
    despite: Sequence[str] = (),
    now: datetime | None = None,
    draw_code: Callable[[], str] = random_code,
) -> tuple[StartedTrial, ...]:
    """Start the trials of a sitting, all or none, in one commit (parameters: `Bench.start_sitting`).

    portions: (name, percent) of every loaf, for plans without portions.
    """
    folder = bench.folder
    now = as_moment(now)
    day = as_day(made) if made is not None else now.date()
    _demand_startable(folder, loaves, given_lots(lots), day=day, today=now.date())
    shared = _latest_of(bench, sitting, day)
    held = {name for loaf in loaves for name in loaf.version.recipe.materials()}
    named = {**lots_taken_over(shared, held), **given_lots(lots)}
    with_values = lots_with_values(folder.register, named)
    worked_out = folder.batches_of_sizes([(loaf.version, loaf.size) for loaf in loaves], lots=with_values)
    by_name = {name: of_it for name, of_it in named.items() if name not in with_values}
    batches = [with_lots_untold(batch, shared, named) for batch in with_lots_by_name(worked_out, by_name)]
    _demand_weighable(folder, batches, despite)
    _demand_conditions(conditions)
    each_of([text for text in (sitting, who) if text is not None])
    given = {**_conditions_of(shared), **{key: tidy_condition(key, text) for key, text in conditions.items()}}
    taken = set(_all_ids(bench))
    started: list[StartedTrial] = []
    files: dict[str, str] = {}
    for loaf, batch in zip(loaves, batches, strict=True):
        known = {name: planned_lots(of_it, batch, name) for name, of_it in batch.lots.items() if name in with_values}
        plan = make_plan(loaf.version, batch, folder.register, folder.settings, size=_written(loaf.size), lots=known)
        trial_id = make_trial_id(day, loaf.version.slug, taken, draw_code=draw_code)
        taken.add(trial_id)
        stopped = {finding.code for finding in stops(batch.findings)}
        text = render_new_trial(
            trial_id,
            plan,
            day,
            sitting=sitting,
            who=who,
            lots={name: weighed_lots(of_it, batch, name) for name, of_it in batch.lots.items()},
            conditions={**given, **({} if loaf.mould is None else {"mould": tidy_condition("mould", loaf.mould)})},
            portions=None if portions is None else _shares(portions),
            despite=[code for code in dict.fromkeys(despite) if code in stopped],
            told_in=folder.settings.temperature,
        )
        frozen = render_plan(plan)
        started.append(StartedTrial(_read_back(bench, trial_id, plan, frozen, text), batch))
        place = trial_folder(trial_id)
        files |= {f"{place}/planned.yaml": frozen, f"{place}/trial.yaml": text}
    _save(bench, loaves, files, _message(loaves, started), now)
    return tuple(started)


def _demand_conditions(conditions: Mapping[str, str]) -> None:
    if not is_mapping(conditions):
        what = f"{conditions!r:.60} does not say which condition was what"
        raise InputError.of("bad-value", what, 'write {"room": "19 °C"}')
    for key in conditions:
        if key not in CONDITIONS:
            do = suggest(key, CONDITIONS, f"there are: {', '.join(CONDITIONS)}")
            raise InputError.of("unknown-key", f"no condition is called {key[:40]!r}", do)


def _shares(portions: Mapping[str, Figure] | Sequence[tuple[str, Figure]]) -> list[tuple[str, Decimal]]:
    """Each portion with its percent of the batter. Raises InputError for what does not say that."""
    try:
        pairs = [(name, percent) for name, percent in (portions.items() if isinstance(portions, Mapping) else portions)]
    except (TypeError, ValueError):
        what = f"{portions!r:.60} does not say how large the portions are"
        raise InputError.of("bad-share", what, 'write {"plain": "60 %", "clove": "40 %"}') from None
    return [(name, parse_share(percent)) for name, percent in pairs]


def _demand_startable(folder: Folder, loaves: Sequence[Loaf], lots: GivenLots, *, day: date, today: date) -> None:
    """Refuse a day to come, a recipe that is in no formulary, and a lot that its material does not have."""
    if day > today:
        what = f"{day.isoformat()} is still to come"
        raise InputError.of("made-ahead", what, "start it on the day; a plan needs no trial: formulary batch")
    for loaf in loaves:
        if loaf.version.file is not None:
            raise outside_formulary(loaf.version.file, "a trial is of a recipe that is saved with it")
    demand_weighed(lots)
    for name, of_it in lots.items():
        for lot in of_it:
            demand_known_lot(folder.register, name, lot)


def _demand_weighable(folder: Folder, batches: Sequence[Batch], despite: Sequence[str]) -> None:
    """Refuse batches of which one is stopped, or which cannot be weighed out together."""
    found = [finding for batch in batches for finding in batch.findings]
    weighable = [override_stops(batch, despite) for batch in batches]
    standing = [finding for batch in weighable for finding in stops(batch.findings)]
    if not standing and len(batches) > 1:
        sitting = folder.sitting(weighable)
        found += sitting.findings
        standing = list(stops(override_sitting_stops(sitting, despite).findings))
    demand_standing(despite, stops(found), says="nothing stops this batch")
    if standing:
        raise StopError(dict.fromkeys(standing))


def _message(loaves: Sequence[Loaf], started: Sequence[StartedTrial]) -> str:
    sizes = [f"{loaf.version.name}, {how} {amount}" for loaf in loaves for how, amount in [_written(loaf.size)]]
    ids = [each.trial.id for each in started]
    if len(ids) == 1:
        return f"Start trial {ids[0]}\n\n{sizes[0]}"
    lines = "\n".join(f"{trial_id}: {size}" for trial_id, size in zip(ids, sizes, strict=True))
    return f"Start {len(ids)} trials of a sitting\n\n{lines}"


def find_beside(bench: TrialFiles, trial: Trial) -> tuple[Trial, ...]:
    """The other trials of a trial's sitting that were started for the same day."""
    day = trial.made.isoformat()
    read = (bench.read_trial(each)[0] for each in bench.trial_ids() if each.startswith(day) and each != trial.id)
    return tuple(each for each in read if each is not None and each.sitting == trial.sitting)


def _save(bench: TrialFiles, loaves: Sequence[Loaf], files: Mapping[str, str], message: str, now: datetime) -> None:
    """One commit of the trials' files, and of their recipes where these are not saved yet."""
    folder = bench.folder
    read: dict[str, str | None] = dict.fromkeys(files)
    changes: list[tuple[str, Changes]] = []
    for version in {loaf.version.slug: loaf.version for loaf in loaves if not loaf.version.is_saved}.values():
        recipe = f"recipes/{version.slug}.yaml"
        files = {**files, recipe: version.text}
        is_written = recipe in folder.store.working_paths("recipes/")
        read[recipe] = blob_id(version.text.encode("utf-8")) if is_written else None
        message += f"\n\nThe recipe {version.slug} is saved with it."
        change = folder.unsaved_change(version)
        if change is not None:
            changes.append((version.slug, change))
    bench.save_texts(files, read, save_message(message, changes) if changes else message, now)


def _read_back(bench: TrialFiles, trial_id: str, plan: Plan, frozen: str, text: str) -> Trial:
    """The trial as its files will be read; raises InputError for files that nobody could read as they were meant."""
    again, findings = parse_plan(frozen, f"{trial_folder(trial_id)}/planned.yaml")
    if again is None:
        raise InputError(finding.unwritten() for finding in findings)
    if again != plan:
        what = "the plan cannot be kept: the file would not read back as it was worked out"
        raise InputError.of("plan-not-kept", what, "look for signs in the recipe or its materials that cannot be typed")
    trial, findings = bench.parse_text(text, trial_id, again)
    if trial is None:
        raise InputError(finding.unwritten() for finding in findings)
    return trial


def _written(size: Size) -> tuple[str, str]:
    """A size as it stands in a trial's file."""
    if size.oils is not None:
        return "oils", tidy_amount(size.oils)
    if size.total is not None:
        return "batter", tidy_amount(size.total)
    if size.mould is not None:
        return "mould", " ".join(size.mould.split())
    return "bars", f"{size.bars} of {tidy_amount(size.bar or '')}{' cured' if size.cured else ''}"


def _all_ids(bench: TrialFiles) -> tuple[str, ...]:
    """Ids in the folder and in the last save, so that no code is given twice."""
    return tuple({*bench.trial_ids(), *trial_ids_among(bench.folder.store.tip_blobs("trials/"))})


def _latest_of(bench: TrialFiles, sitting: str | None, day: date) -> Trial | None:
    if sitting is None:
        return None
    return next(iter(reversed(bench.sitting(sitting, day))), None)


def _conditions_of(trial: Trial | None) -> dict[str, str]:
    """The conditions of another trial of the sitting, as they are written."""
    if trial is None:
        return {}
    written: dict[str, str] = {}
    for name in _SHARED:
        value = getattr(trial.conditions, name)
        if isinstance(value, Decimal):
            said = f"{format_decimal(value)} %" if name.endswith("_percent") else degree_words(value)
            written[name.removesuffix("_c").removesuffix("_percent")] = said
        elif value is not None:
            written[name] = value
    return written
