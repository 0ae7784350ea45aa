"""The sheet of a started trial: what its frozen plan says to weigh, with what is recorded already filled in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal

from formulary.batch.model import Batch
from formulary.batch.overriding import demand_weighable, override_stops
from formulary.batch.weigh_out import work_out_batch
from formulary.finding import Finding
from formulary.quantity import format_decimal, format_plain_number
from formulary.recipes.version import Version
from formulary.temperature import CELSIUS, told_value
from trials.as_made.lots_used import lots_named
from trials.pages.sheet import HANDLING, Sheet, assumed, conditions, scale_facts, times, version_facts
from trials.pages.sheet_data import ToNote
from trials.pages.sheet_parts import batch_part
from trials.trial.identity import code_of
from trials.trial.model import Event, Trial
from trials.trial.words import as_made_words, degree_words


def make_trial_sheet(trial: Trial, findings: Sequence[Finding], *, own_events: Sequence[str] = ()) -> Sheet:
    """The sheet of a trial.

    findings: what the trial as made has to say for itself, from `check_trial`. own_events: the maker's own words.
    Raises StopError while a stop stands that the trial does not override: there is no sheet with weights then.
    """
    planned = _planned_batch(trial)
    batch = override_stops(planned, trial.despite)
    said = {(each.code, each.what) for each in (*planned.findings, *batch.findings)}
    new = [each for each in findings if (each.code, each.what) not in said]
    batch = demand_weighable(replace(batch, findings=(*batch.findings, *new)))
    lots = {name: " + ".join(use.lot for use in uses) for name, uses in lots_named(trial).items()}
    title = f"{trial.plan.recipe.name}, {code_of(trial.id)}"
    otherwise = "; ".join(as_made_words(entry) for entry in trial.as_made)
    columns = [portion.name for portion in trial.portions]
    noted = _noted_times(trial)
    part = batch_part(batch, lots)
    return Sheet(
        title=title,
        facts=(
            ("trial", trial.id),
            *version_facts([batch]),
            ("size", part.size),
            ("day", trial.made.isoformat()),
            *(("sitting", name) for name in (trial.sitting,) if name and name != trial.made.isoformat()),
            *scale_facts(batch.scale),
            ("by", trial.who or ""),
        ),
        parts=(part,),
        remarks=(f"Recorded already as made otherwise than planned: {otherwise}.",) if otherwise else (),
        conditions=tuple(conditions(batch.process, _noted_conditions(trial), trial.told_in)),
        times=(
            times(
                columns,
                noted,
                own_events,
                title=f"When it happened: {title}",
                is_scented=bool(batch.scent),
                told_in=trial.told_in,
            ),
        ),
        handling=tuple(_handling(trial)),
        assumed=("The weights are those of the plan as it was frozen when the trial was started.", *assumed([batch])),
    )


def _planned_batch(trial: Trial) -> Batch:
    """The batch of a trial's plan, worked out by its frozen values; its grams are those frozen, whatever comes out."""
    plan = trial.plan
    version = Version(recipe=plan.recipe, text=plan.recipe_text, is_saved=True, label=plan.label)
    lots = {
        name: {use.lot: None if use.grams is None else float(use.grams) for use in uses}
        for name, uses in plan.lots.items()
    }
    worked = work_out_batch(version, plan.materials, trial.settings, oil_mass_g=plan.oil_mass_g, lots=lots)
    return replace(worked, pot=plan.pot, oil_mass_g=plan.oil_mass_g, batter_grams=plan.batter_g)


def _noted_conditions(trial: Trial) -> dict[str, str]:
    seen, unit = trial.conditions, trial.told_in
    noted = {
        f"room, {unit}": _told(seen.room_c, unit),
        "humidity, %": seen.humidity_percent,
        f"lye, {unit}": _told(seen.lye_temperature_c, unit),
        f"oils, {unit}": _told(seen.oil_temperature_c, unit),
        "mould": seen.mould,
        "cover": seen.cover,
        "blender": seen.blender,
    }
    return {
        what: value if isinstance(value, str) else format_plain_number(float(value), 1)
        for what, value in noted.items()
        if value is not None
    }


def _told(celsius: Decimal | None, unit: str) -> float | None:
    return None if celsius is None else told_value(float(celsius), CELSIUS, unit)


def _noted_times(trial: Trial) -> dict[tuple[str, str], str]:
    noted: dict[tuple[str, str], list[str]] = {}
    for column, events in (("", trial.events), *((portion.name, portion.events) for portion in trial.portions)):
        for event in events:
            noted.setdefault((event.what, column), []).append(_event_words(event, trial.told_in))
    return {key: ", ".join(words) for key, words in noted.items()}


def _event_words(event: Event, told_in: str) -> str:
    lasted = "" if event.for_s is None else f" for {format_decimal(event.for_s)} s"
    warm = "" if event.temperature_c is None else f" {degree_words(event.temperature_c, told_in)}"
    return f"{event.at}{lasted}{warm}"


def _handling(trial: Trial) -> Iterable[ToNote]:
    noted: dict[str, list[str]] = {word: [] for word in HANDLING}
    for each in trial.after_pour:
        words = "noted" if each.at_h is None else format_plain_number(float(each.at_h), 2)
        noted.setdefault(each.what, []).append(f"{words} {each.portion or ''}".strip())
    return (ToNote(word, "", (", ".join(said),)) for word, said in noted.items())
