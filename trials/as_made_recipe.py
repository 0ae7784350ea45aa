"""A trial as a recipe and a batch: what was really made, in the terms that recipes are compared in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from types import MappingProxyType

from formulary.batch.checks import check_batch, check_pot
from formulary.batch.figures import (
    assay,
    batter_g,
    concentration_percent,
    portion_figures,
    scent_figures,
    water_in,
    work_out_pot,
)
from formulary.batch.from_weights import percentages_from_weights
from formulary.batch.model import (
    Batch,
    Pot,
    PotLine,
    Superfat,
    WaterFigures,
    WeighedAddition,
    WeighedAlkali,
    WeighedOil,
)
from formulary.finding import Finding, Severity
from formulary.materials.model import Material
from formulary.quantity import Basis, Rate
from formulary.recipes.model import Addition, OilLine, Recipe, RecipePortion, ScentLine, Water
from trials.effective import effective_pot, materials_of
from trials.model import Trial

# A weighing that agrees with the plan to this part of it is no difference; scales show less.
_SAME = 1e-4
_PLACES = 2


@dataclass(frozen=True, slots=True)
class AsMadeSide:
    """A trial ready to be compared with a recipe: its formula as made, and that formula for a mass of oils.

    findings: what is to be known of the loaf. The batch has none: its grams are in the pot, and no stop hides them.
    """

    recipe: Recipe
    batch: Batch
    materials: Mapping[str, Material]
    findings: tuple[Finding, ...]


def describe_as_made(trial: Trial, *, oil_mass_g: float = 1000.0) -> AsMadeSide:
    """What the trial was really made of, in percentages and for so many grams of oils.

    It is worked out from the values frozen at the trial's start. Lines that were weighed as planned keep the plan's own
    rates and percentages, so that a difference is only shown where there was one.
    """
    materials = materials_of(trial)
    pot = effective_pot(trial.plan, trial.as_made, trial.portions, trial.added)
    batch = _batch(trial, _scale(pot, oil_mass_g / pot.grams("oil")), materials)
    recipe = _recipe(trial, pot, batch)
    return AsMadeSide(recipe, batch, materials, _findings(trial, recipe, batch, materials))


def _findings(trial: Trial, recipe: Recipe, batch: Batch, materials: Mapping[str, Material]) -> tuple[Finding, ...]:
    """What the grams in the pot decide, in the words for a poured loaf; of the rest what a recipe would be told, too.

    A stop of the weigh-out alone comes too late to stop anything.
    """
    figures = work_out_pot(batch.pot, materials, trial.plan.settings)
    poured = check_pot(batch.pot, figures, materials, trial.plan.recipe.purpose, recipe.place)
    of_the_pot = {finding.code for finding in poured}
    planned = [
        replace(finding, severity=Severity.WARN) if finding.severity is Severity.STOP else finding
        for finding in check_batch(batch, recipe, materials, trial.plan.settings)
        if finding.code not in of_the_pot
    ]
    return tuple(
        replace(finding, what=f"as made: {finding.what}")
        if finding.severity in (Severity.STOP, Severity.WARN)
        else finding
        for finding in (*poured, *planned)
    )


def _scale(pot: Pot, factor: float) -> Pot:
    return replace(pot, lines=tuple(replace(line, grams=line.grams * factor) for line in pot.lines))


def _batch(trial: Trial, pot: Pot, materials: Mapping[str, Material]) -> Batch:
    plan = trial.plan
    figures = work_out_pot(pot, materials, plan.settings)
    water_g = sum(water_in(line, materials) for line in pot.lines if _counts_as_water(line))
    oil_mass_g = figures.oil_mass_g
    return Batch(
        recipe=plan.recipe.slug,
        recipe_name=plan.recipe.name,
        version_id=plan.version,
        version_label=f"as made in {trial.id}",
        purpose=plan.recipe.purpose,
        oils=tuple(
            WeighedOil(line.material, 100.0 * line.grams / oil_mass_g, line.grams, line.at)
            for line in pot.lines
            if line.role == "oil"
        ),
        lye=tuple(
            WeighedAlkali(
                line.material,
                line.grams,
                line.grams * assay(materials[line.material])[1] / 100.0,
                assay(materials[line.material])[1],
            )
            for line in pot.lines
            if line.role == "alkali"
        ),
        water=WaterFigures(
            weigh_grams=figures.water_weighed_g,
            total_grams=figures.water_total_g,
            nominal_percent=concentration_percent(figures.pure_alkali_g, water_g),
            in_jug_percent=figures.in_jug_percent,
            effective_percent=figures.effective_percent,
        ),
        superfat=Superfat(
            float(plan.recipe.lye.superfat),
            figures.superfat_effective,
            figures.superfat_low,
            figures.superfat_high,
            figures.superfat_worst_low,
            figures.superfat_worst_high,
        ),
        additions=tuple(
            WeighedAddition(line.material, line.at, line.grams, water_in(line, materials), line.water)
            for line in pot.lines
            if line.role == "addition"
        ),
        scent=scent_figures(pot, materials, plan.settings),
        portions=portion_figures(pot, materials, plan.settings),
        oil_mass_g=oil_mass_g,
        batter_grams=batter_g(pot),
        findings=(),
        pot=pot,
        process=_process(trial),
        materials=materials,
    )


def _counts_as_water(line: PotLine) -> bool:
    return line.role in ("water", "alkali") or line.water == "replaces"


def _recipe(trial: Trial, pot: Pot, batch: Batch) -> Recipe:
    planned = trial.plan.recipe
    oil_mass_g = pot.grams("oil")
    grams: dict[tuple[str, str, str], float] = {}
    for line in pot.lines:
        key = (line.role, line.material, line.at)
        grams[key] = grams.get(key, 0.0) + line.grams
    planned_rates = {(line.material, line.at): line.rate for line in planned.additions}
    planned_rates |= {(line.material, line.at): line.rate for line in planned.scent}
    factor = trial.plan.oil_mass_g

    def rate(material: str, at: str, weight_g: float) -> Rate:
        stated = planned_rates.get((material, at))
        before_g = sum(other.grams for other in trial.plan.pot.lines if (other.material, other.at) == (material, at))
        if stated is not None and abs(before_g / factor - weight_g / oil_mass_g) <= _SAME * weight_g / oil_mass_g:
            return stated
        return Rate(_decimal(100.0 * weight_g / oil_mass_g), "%", Basis.OILS)

    prepared = {(line.material, line.at): line.prepared for line in planned.additions}
    additions = tuple(
        Addition(
            material,
            rate(material, at, weight_g),
            at,
            _water_of(pot, material, at),
            prepared.get((material, at), ()),
        )
        for (role, material, at), weight_g in grams.items()
        if role == "addition" and weight_g > 0
    )
    scent = tuple(
        ScentLine(material, rate(material, at, weight_g), at)
        for (role, material, at), weight_g in grams.items()
        if role == "scent" and weight_g > 0
    )
    return replace(
        planned,
        oils=_oils(planned, grams, oil_mass_g),
        water=_water(planned, batch, trial),
        additions=additions,
        scent=scent,
        portions=_portions(trial, pot),
        process=MappingProxyType({**planned.process, **_process(trial)}),
        formerly=(),
    )


def _oils(planned: Recipe, grams: Mapping[tuple[str, str, str], float], oil_mass_g: float) -> tuple[OilLine, ...]:
    weights = {(material, at): weight for (role, material, at), weight in grams.items() if role == "oil"}
    stated = {(line.material, line.at): line.percent for line in planned.oils}
    same = weights.keys() == stated.keys() and all(
        abs(100.0 * weights[key] / oil_mass_g - float(stated[key])) <= 100 * _SAME for key in weights
    )
    if same:
        return planned.oils
    weighed = [(material, at, weight_g) for (material, at), weight_g in weights.items() if weight_g > 0]
    percents = percentages_from_weights(
        {f"{material}/{at}": _decimal(weight_g, 6) for material, at, weight_g in weighed}, places=_PLACES
    )
    return tuple(OilLine(material, percents[f"{material}/{at}"], at) for material, at, _ in weighed)


def _water(planned: Recipe, batch: Batch, trial: Trial) -> Water:
    """The plan's rule while the water came out as planned, else the lye concentration that it made."""
    before_g = sum(line.grams for line in trial.plan.pot.lines if line.role == "water") / trial.plan.oil_mass_g
    after_g = batch.water.weigh_grams / batch.oil_mass_g
    if abs(before_g - after_g) <= _SAME * max(before_g, 1e-9):
        return planned.water
    return Water("lye_concentration", _decimal(batch.water.nominal_percent))


def _water_of(pot: Pot, material: str, at: str) -> str | None:
    return next((line.water for line in pot.lines if (line.material, line.at) == (material, at)), None)


def _portions(trial: Trial, pot: Pot) -> tuple[RecipePortion, ...]:
    gets: dict[str, dict[str, float]] = {}
    for line in pot.lines:
        if line.portion is not None:
            parts = gets.setdefault(line.material, {})
            parts[line.portion] = parts.get(line.portion, 0.0) + line.grams
    portions: list[RecipePortion] = []
    for portion in trial.portions:
        divided = tuple(
            (material, _decimal(100.0 * parts.get(portion.name, 0.0) / sum(parts.values())))
            for material, parts in gets.items()
            if sum(parts.values()) > 0
        )
        portions.append(RecipePortion(portion.name, portion.share, portion.by_eye, divided))
    return tuple(portions)


def _process(trial: Trial) -> dict[str, str]:
    conditions = trial.conditions
    stated = {
        "lye_temperature": None if conditions.lye_temperature_c is None else f"{conditions.lye_temperature_c:f} °C",
        "oil_temperature": None if conditions.oil_temperature_c is None else f"{conditions.oil_temperature_c:f} °C",
        "room": None if conditions.room_c is None else f"{conditions.room_c:f} °C",
        "mould": conditions.mould,
        "cover": conditions.cover,
    }
    return {key: text for key, text in stated.items() if text is not None}


def _decimal(number: float, places: int = _PLACES) -> Decimal:
    return Decimal(f"{number:.{places}f}").normalize() + Decimal(0)
