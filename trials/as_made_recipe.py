"""A trial as a recipe and a batch: what was really made, in the terms that recipes are compared in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
from formulary.recipes.model import STAGES, Addition, OilLine, Recipe, RecipePortion, ScentLine, Water
from trials.effective import effective_pot, materials_of
from trials.model import Plan, Trial

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
            WeighedOil(material, 100.0 * weight_g / oil_mass_g, weight_g, at)
            for (material, at), weight_g in _grams_of(pot, "oil").items()
        ),
        lye=tuple(_weighed_alkali(materials[name], weight_g) for name, weight_g in _alkali_g(pot).items()),
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


def _grams_of(pot: Pot, role: str) -> dict[tuple[str, str], float]:
    """Grams of each line of one role, by material and stage: what an entry put in beside the plan is the same line."""
    grams: dict[tuple[str, str], float] = {}
    for line in pot.lines:
        if line.role == role:
            key = (line.material, line.at)
            grams[key] = grams.get(key, 0.0) + line.grams
    return grams


def _alkali_g(pot: Pot) -> dict[str, float]:
    grams: dict[str, float] = {}
    for (material, _), weight_g in _grams_of(pot, "alkali").items():
        grams[material] = grams.get(material, 0.0) + weight_g
    return grams


def _weighed_alkali(material: Material, grams: float) -> WeighedAlkali:
    percent = assay(material)[1]
    return WeighedAlkali(material.slug, grams, grams * percent / 100.0, percent)


def _counts_as_water(line: PotLine) -> bool:
    return line.role in ("water", "alkali") or line.water == "replaces"


def _recipe(trial: Trial, pot: Pot, batch: Batch) -> Recipe:
    planned = trial.plan.recipe
    prepared = {(line.material, line.at): line.prepared for line in planned.additions}
    return replace(
        planned,
        oils=_oils(planned, _grams_of(pot, "oil")),
        water=_water(planned, batch, trial),
        additions=tuple(
            Addition(material, rate, at, _water_of(pot, material, at), prepared.get((material, at), ()))
            for (material, at), rate in _rates(trial.plan, pot, "addition", planned.additions).items()
        ),
        scent=tuple(
            ScentLine(material, rate, at)
            for (material, at), rate in _rates(trial.plan, pot, "scent", planned.scent).items()
        ),
        portions=_portions(trial, pot),
        process=MappingProxyType({**planned.process, **_process(trial)}),
        formerly=(),
    )


def _rates(
    plan: Plan, pot: Pot, role: str, stated: Sequence[Addition] | Sequence[ScentLine]
) -> dict[tuple[str, str], Rate]:
    """What went in of each addition or scent: the rate as stated while it was weighed so, else in percent of oils."""
    planned_g, oil_mass_g = _grams_of(plan.pot, role), pot.grams("oil")
    written = {(line.material, line.at): line.rate for line in stated}
    rates: dict[tuple[str, str], Rate] = {}
    for key, weight_g in _grams_of(pot, role).items():
        part = weight_g / oil_mass_g
        if key in written and abs(planned_g.get(key, 0.0) / plan.oil_mass_g - part) <= _SAME * part:
            rates[key] = written[key]
        elif weight_g > 0:
            rates[key] = Rate(_decimal(100.0 * part), "%", Basis.OILS)
    return rates


def _oils(planned: Recipe, weights_g: Mapping[tuple[str, str], float]) -> tuple[OilLine, ...]:
    """Each oil once, with all that went in of it; together exactly 100 %."""
    stated = {(line.material, line.at): float(line.percent) for line in planned.oils}
    oil_mass_g = sum(weights_g.values())
    same = weights_g.keys() == stated.keys() and all(
        abs(100.0 * weights_g[key] / oil_mass_g - percent) <= 100 * _SAME for key, percent in stated.items()
    )
    if same:
        return planned.oils
    # A name of a material holds no slash.
    exact = {f"{material}/{at}": _decimal(weight_g, 6) for (material, at), weight_g in weights_g.items()}
    percents = percentages_from_weights({key: weight for key, weight in exact.items() if weight}, places=_PLACES)
    parts: dict[str, list[tuple[str, Decimal]]] = {}
    for key, percent in percents.items():
        material, _, at = key.partition("/")
        parts.setdefault(material, []).append((at, percent))
    return tuple(_oil_line(material, stages) for material, stages in parts.items())


def _oil_line(material: str, stages: Sequence[tuple[str, Decimal]]) -> OilLine:
    in_order = tuple(sorted(stages, key=lambda stage: STAGES.index(stage[0])))
    most, _ = max(in_order, key=lambda stage: stage[1])
    total = sum((percent for _, percent in in_order), Decimal(0))
    return OilLine(material, total, most, in_order if len(in_order) > 1 else ())


def _water(planned: Recipe, batch: Batch, trial: Trial) -> Water:
    """The plan's rule while the water came out as planned, else the lye concentration that it made."""
    before_g = sum(line.grams for line in trial.plan.pot.lines if line.role == "water") / trial.plan.oil_mass_g
    after_g = batch.water.weigh_grams / batch.oil_mass_g
    if abs(before_g - after_g) <= _SAME * max(before_g, 1e-9):
        return planned.water
    return Water("lye_concentration", _decimal(batch.water.nominal_percent))


def _water_of(pot: Pot, material: str, at: str) -> str | None:
    lines = (line for line in pot.lines if (line.role, line.material, line.at) == ("addition", material, at))
    return next((line.water for line in lines), None)


def _portions(trial: Trial, pot: Pot) -> tuple[RecipePortion, ...]:
    """The trial's portions: of each material that was divided, which part of all of it each of them got."""
    own: dict[str, dict[str, float]] = {}
    shared: dict[str, float] = {}
    for line in pot.lines:
        if line.portion is None:
            shared[line.material] = shared.get(line.material, 0.0) + line.grams
        else:
            parts = own.setdefault(line.material, {})
            parts[line.portion] = parts.get(line.portion, 0.0) + line.grams
    portions: list[RecipePortion] = []
    for portion in trial.portions:
        got = {
            material: parts.get(portion.name, 0.0) + shared.get(material, 0.0) * float(portion.share) / 100.0
            for material, parts in own.items()
        }
        totals = {material: sum(parts.values()) + shared.get(material, 0.0) for material, parts in own.items()}
        divided = tuple(
            (material, _decimal(100.0 * weight_g / totals[material]))
            for material, weight_g in got.items()
            if totals[material] > 0
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
