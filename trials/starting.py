"""Starting a trial: its frozen plan and a file to fill in, saved in one commit."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from formulary.batch.overriding import demand_standing, demand_weighable
from formulary.changes.message import save_message
from formulary.errors import InputError
from formulary.finding import Finding, Place, stops
from formulary.identity import blob_id
from formulary.materials.chosen_lots import demand_known_lot, lots_with_values
from formulary.quantity import format_decimal
from formulary.recipes.version import outside_formulary
from trials.entry import parse_share, tidy_amount, tidy_condition
from trials.identity import make_trial_id, random_code, trial_folder, trial_ids_among
from trials.model import Plan, Trial
from trials.plan import make_plan, parse_plan, render_plan
from trials.start import render_new_trial
from trials.words import degree_words

if TYPE_CHECKING:
    from formulary.batch.model import Batch
    from formulary.batch.size import Size
    from formulary.recipes.version import Version
    from trials.files import TrialFiles

# What trials of one sitting share; mould and cover are each loaf's own.
_SHARED = ("room_c", "humidity_percent", "lye_temperature_c", "oil_temperature_c", "blender")


@dataclass(frozen=True, slots=True)
class StartedTrial:
    """A trial that was just started, and the batch that its plan was frozen from."""

    trial: Trial
    batch: Batch


def start_trial(
    bench: TrialFiles,
    version: Version,
    size: Size,
    *,
    sitting: str | None = None,
    lots: Mapping[str, str],
    conditions: Mapping[str, str],
    portions: Sequence[tuple[str, str]] | None = None,
    who: str | None = None,
    made: date | None = None,
    despite: Sequence[str] = (),
    now: datetime | None = None,
    draw_code: Callable[[], str] = random_code,
) -> StartedTrial:
    """Start a trial (parameters: `Bench.start`)."""
    folder = bench.folder
    now = now if now is not None else datetime.now().astimezone()
    day = made if made is not None else now.date()
    if day > now.date():
        what = f"{day.isoformat()} is still to come"
        raise InputError.of("made-ahead", what, "start it on the day; a plan needs no trial: formulary batch")
    if version.file is not None:
        raise outside_formulary(version.file, "a trial is of a recipe that is saved with it")
    for name, lot in lots.items():
        demand_known_lot(folder.register, name, lot)
    shared = _latest_of(bench, sitting)
    lots = {**_lots_of(shared, version), **lots}
    given = {key: tidy_condition(key, text) for key, text in conditions.items()}
    register = folder.register
    known = lots_with_values(register, lots)
    batch = folder.batch_of_size(version, size, lots=known)
    demand_standing(despite, stops(batch.findings), says="nothing stops this batch")
    demand_weighable(batch, despite=despite)
    plan = make_plan(version, batch, register, folder.settings, size=_written(size), lots=known)
    trial_id = make_trial_id(day, version.slug, _all_ids(bench), draw_code=draw_code)
    text = render_new_trial(
        trial_id,
        plan,
        day,
        sitting=sitting,
        who=who,
        lots=lots,
        conditions={**_conditions_of(shared), **given},
        portions=None if portions is None else [(name, parse_share(percent)) for name, percent in portions],
        despite=tuple(dict.fromkeys(despite)),
    )
    place = trial_folder(trial_id)
    frozen = render_plan(plan)
    trial = _read_back(bench, trial_id, plan, frozen, text)
    how, amount = _written(size)
    message = f"Start trial {trial_id}\n\n{version.name}, {how} {amount}"
    _save(bench, version, {f"{place}/planned.yaml": frozen, f"{place}/trial.yaml": text}, message, now)
    return StartedTrial(trial, batch)


def _save(bench: TrialFiles, version: Version, files: Mapping[str, str], message: str, now: datetime) -> None:
    """One commit of a trial's files, and of its recipe where that is not saved yet."""
    folder = bench.folder
    read: dict[str, str | None] = dict.fromkeys(files)
    if not version.is_saved:
        recipe = f"recipes/{version.slug}.yaml"
        files = {**files, recipe: version.text}
        is_written = recipe in folder.store.working_paths("recipes/")
        read[recipe] = blob_id(version.text.encode("utf-8")) if is_written else None
        change = folder.unsaved_change(version)
        message += f"\n\nThe recipe {version.slug} is saved with it."
        if change is not None:
            message = save_message(message, [(version.slug, change)])
    bench.save_texts(files, read, message, now)


def _read_back(bench: TrialFiles, trial_id: str, plan: Plan, frozen: str, text: str) -> Trial:
    """The trial as its files will be read; raises InputError for files that nobody could read as they were meant."""
    again, findings = parse_plan(frozen, f"{trial_folder(trial_id)}/planned.yaml")
    if again is None:
        raise InputError(_unplaced(findings))
    if again != plan:
        what = "the plan cannot be kept: the file would not read back as it was worked out"
        raise InputError.of("plan-not-kept", what, "look for signs in the recipe or its materials that cannot be typed")
    trial, findings = bench.parse_text(text, trial_id, again)
    if trial is None:
        raise InputError(_unplaced(findings))
    return trial


def _unplaced(findings: Iterable[Finding]) -> list[Finding]:
    """What is wrong with a file that is not written, without its lines."""
    return [replace(finding, place=Place(field=finding.place.field)) for finding in findings]


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


def _latest_of(bench: TrialFiles, sitting: str | None) -> Trial | None:
    if sitting is None:
        return None
    return next(iter(reversed(bench.sitting(sitting))), None)


def _lots_of(trial: Trial | None, version: Version) -> dict[str, str]:
    """The lots of another trial of the sitting, for what this recipe shares with it."""
    if trial is None:
        return {}
    names = set(version.recipe.materials())
    return {name: uses[0].lot for name, uses in trial.lots.items() if name in names and len(uses) == 1}


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
