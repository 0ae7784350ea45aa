"""A trial as a recipe and a batch: what was really made, in the terms that recipes are compared in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal

from formulary.batch.checks import check_batch, check_pot
from formulary.batch.figures import take_portion, work_out_pot
from formulary.batch.model import WHOLE, Batch, Pot, PotFigures
from formulary.batch.pot_as_recipe import PlannedPot, describe_pot
from formulary.batch.temperature_checks import parse_celsius
from formulary.changes.compared_side import ComparedSide, as_one_batter
from formulary.errors import InputError
from formulary.finding import Finding, Severity
from formulary.materials.model import Material
from formulary.recipes.model import Recipe, RecipePortion
from trials.as_made.effective import figures_of_bars
from trials.as_made.lots_used import as_poured, lots_named, materials_of
from trials.as_made.pot_as_made import pot_of_bars, pot_of_batter
from trials.as_made.unknown_weights import check_unknown, demand_known_weights
from trials.trial.model import Trial
from trials.trial.words import degree_words

_SAME_TEMPERATURE_K = 0.05  # half of the tenth that temperatures are told to
_COVERS = ("covered", "insulated", "fridge", "oven")


def describe_as_made(trial: Trial, *, portion: str | None = None, oil_mass_g: float = 1000.0) -> ComparedSide:
    """What the trial, or one portion of it, was really made of, in percentages and for so many grams of oils.

    It is worked out from the values frozen at the trial's start. Its findings are what is to be known of the loaf; its
    batch has none: the grams are in the pot, and no stop hides them.
    Raises KeyError for a portion that the trial does not have, InputError where no oil went in.
    """
    poured, plan = as_poured(trial), trial.plan
    materials = materials_of(poured)
    is_rebatched = pot_of_bars(trial) != pot_of_batter(trial)
    later = ", before it was rebatched" if is_rebatched else ""
    if portion == WHOLE:
        portion = None

    def part(whole: Pot) -> Pot:
        return whole if portion is None else take_portion(whole, portion)

    pot, bars = part(pot_of_batter(trial)), part(pot_of_bars(trial, at_worst=True))
    if pot.grams("oil") <= 0:
        what = f"no oil went into {trial.id} as it is recorded, so nothing can be compared"
        raise InputError.of("no-oils", what, "look at its as_made entries")
    demand_known_weights([trial])
    recipe, batch = describe_pot(
        pot,
        PlannedPot(recipe=plan.recipe, pot=plan.pot, version_id=plan.version, label=f"as made in {trial.id}{later}"),
        materials,
        trial.settings,
        portions=() if portion is not None else _divided(trial),
        process=_process(trial, portion),
        oil_mass_g=oil_mass_g,
    )
    with_later = materials_of(trial)
    of_bars = [] if bars == pot else [(bars, figures_of_bars(trial, with_later, part), with_later)]
    side = ComparedSide(
        recipe=recipe,
        batch=batch,
        register=materials,
        lots=_lots(poured, pot),
        findings=_findings(trial, recipe, batch, of_bars),
        portion=portion,
    )
    return side if portion is None else as_one_batter(side)


def _lots(trial: Trial, pot: Pot) -> dict[str, str]:
    """The lots of what is in the pot, as far as they are recorded."""
    held = {line.material for line in pot.lines}
    return {
        name: " and ".join(sorted(use.lot for use in uses))
        for name, uses in lots_named(trial).items()
        if name in held and uses
    }


def _findings(
    trial: Trial, recipe: Recipe, batch: Batch, bars: Iterable[tuple[Pot, PotFigures, Mapping[str, Material]]]
) -> tuple[Finding, ...]:
    """What the grams in the bars decide, in the words for a poured loaf; of the rest what a recipe would be told, too.

    bars: what is in them with its figures and its materials, where that is not the pot of the batch.
    A stop of the weigh-out alone comes too late to stop anything, and what a rebatch has mended stands no more.
    """
    materials, settings = batch.materials, trial.plan.settings
    step_g = float(settings.alkali_step_g)
    by_pot = [
        check_pot(pot, figures, known, trial.plan.recipe.purpose, recipe.place, alkali_step_g=step_g)
        for pot, figures, known in (*bars, (batch.pot, work_out_pot(batch.pot, materials, settings), materials))
    ]
    poured = by_pot[0]
    of_the_pot = {finding.code for found in by_pot for finding in found}
    planned = [
        replace(finding, severity=Severity.WARN) if finding.severity is Severity.STOP else finding
        for finding in check_batch(batch, recipe, materials, settings)
        if finding.code not in of_the_pot
    ]
    return tuple(
        replace(finding, what=f"as made: {finding.what}")
        if finding.severity in (Severity.STOP, Severity.WARN)
        else finding
        for finding in (*poured, *check_unknown(trial), *planned)
    )


def _divided(trial: Trial) -> tuple[RecipePortion, ...]:
    """The trial's portions, each with what the plan gave it."""
    planned = {portion.name: portion.gets for portion in trial.plan.recipe.portions}
    return tuple(
        RecipePortion(portion.name, portion.share, portion.by_eye, planned.get(portion.planned_name, ()))
        for portion in trial.portions
    )


def _process(trial: Trial, portion: str | None) -> dict[str, str]:
    conditions = trial.conditions
    part = None if portion is None else trial.part(portion)
    own_covers = [step.what for step in trial.after_pour if step.what in _COVERS and step.portion == portion]
    temperatures = {
        "lye_temperature": conditions.lye_temperature_c,
        "oil_temperature": conditions.oil_temperature_c,
        "room": conditions.room_c,
    }
    stated = {
        **{key: _stated(trial.plan.recipe, key, celsius) for key, celsius in temperatures.items()},
        "mould": (part.mould if part is not None else None) or conditions.mould,
        "cover": own_covers[0] if portion is not None and own_covers else conditions.cover,
    }
    return {key: text for key, text in stated.items() if text is not None}


def _stated(recipe: Recipe, key: str, celsius: Decimal | None) -> str | None:
    """A temperature as it was, in the recipe's own words where it is the same: 100 °F is not 37.8 °C instead."""
    if celsius is None:
        return None
    planned = recipe.process.get(key)
    planned_c = parse_celsius(planned)
    if planned is not None and planned_c is not None and abs(planned_c - float(celsius)) < _SAME_TEMPERATURE_K:
        return planned
    return degree_words(celsius)
