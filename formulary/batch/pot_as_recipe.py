"""A pot in the terms of a recipe: a batch as it was really weighed, or one portion of a batch by itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from formulary.batch.figures import assay, nominal_concentration_percent, water_in, work_out_pot
from formulary.batch.from_weights import percentages_from_weights
from formulary.batch.model import (
    Batch,
    Pot,
    WeighedAddition,
    WeighedAlkali,
    WeighedOil,
)
from formulary.batch.scale import Scale
from formulary.batch.sheet_weights import grams_by_weighing
from formulary.materials.model import Material
from formulary.rate import Basis, Rate
from formulary.read_only import ReadOnly
from formulary.recipes.model import STAGES, Addition, OilLine, Recipe, RecipePortion, ScentLine, Water
from formulary.settings import Settings

# A weighing that agrees with the plan to this part of it is no difference; scales show less.
_SAME = 1e-4
_PLACES = 2

Materials = Mapping[str, Material]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPot:
    """What a pot is measured by: the recipe that was meant, and the grams that it came to.

    version_id, label: how the batch that the pot is described as is named.
    """

    recipe: Recipe
    pot: Pot
    version_id: str | None
    label: str | None


def describe_pot(
    pot: Pot,
    planned: PlannedPot,
    materials: Materials,
    settings: Settings,
    *,
    portions: Sequence[RecipePortion] = (),
    process: Mapping[str, str] = ReadOnly({}),
    oil_mass_g: float = 1000.0,
) -> tuple[Recipe, Batch]:
    """The recipe that a pot would have been made by, and its batch for so many grams of oils.

    Lines that were weighed as planned keep the recipe's own rates and percentages, so that a difference is only shown
    where there is one. portions: how the batter was divided, each with what it was planned to get. process: what is
    known of the making, before what the recipe says. The batch has no findings: the grams are in the pot.
    """
    pot = replace(
        pot,
        lines=tuple(replace(line, grams=line.grams * oil_mass_g / pot.grams("oil")) for line in pot.lines),
    )
    batch = _batch(pot, planned, materials, settings, process)
    return _recipe(pot, planned, batch, portions), batch


def _batch(
    pot: Pot, planned: PlannedPot, materials: Materials, settings: Settings, process: Mapping[str, str]
) -> Batch:
    figures = work_out_pot(pot, materials, settings)
    oil_mass_g = figures.oil_mass_g
    return Batch(
        recipe=planned.recipe.slug,
        recipe_name=planned.recipe.name,
        version_id=planned.version_id,
        version_label=planned.label,
        purpose=planned.recipe.purpose,
        oils=tuple(
            WeighedOil(material, 100.0 * weight_g / oil_mass_g, weight_g, at)
            for (material, at), weight_g in _grams_of(pot, "oil").items()
        ),
        lye=tuple(_weighed_alkali(materials[name], weight_g) for name, weight_g in _alkali_g(pot).items()),
        water=figures.water(nominal_concentration_percent(pot, materials)),
        superfat=figures.superfat(float(planned.recipe.lye.superfat)),
        additions=tuple(
            WeighedAddition(line.material, line.at, line.grams, water_in(line, materials), line.water)
            for line in pot.lines
            if line.role == "addition"
        ),
        scent=figures.scent,
        portions=figures.portions,
        oil_mass_g=oil_mass_g,
        batter_grams=figures.batter_grams,
        findings=(),
        pot=pot,
        process=process,
        scale=Scale.of(settings),
        materials=materials,
    )


def _grams_of(pot: Pot, role: str) -> dict[tuple[str, str], float]:
    """Grams of each line of one role, by material and stage: what an entry put in beside the plan is the same line."""
    return {(material, at): grams for (material, its, at), grams in grams_by_weighing(pot.lines).items() if its == role}


def _alkali_g(pot: Pot) -> dict[str, float]:
    grams: dict[str, float] = {}
    for (material, _), weight_g in _grams_of(pot, "alkali").items():
        grams[material] = grams.get(material, 0.0) + weight_g
    return grams


def _weighed_alkali(material: Material, grams: float) -> WeighedAlkali:
    percent = assay(material)[1]
    return WeighedAlkali(material.slug, grams, grams * percent / 100.0, percent)


def _recipe(pot: Pot, planned: PlannedPot, batch: Batch, portions: Sequence[RecipePortion]) -> Recipe:
    recipe = planned.recipe
    prepared = {(line.material, line.at): line.prepared for line in recipe.additions}
    return replace(
        recipe,
        oils=_oils(recipe, _grams_of(pot, "oil")),
        water=_water(planned, batch),
        additions=tuple(
            Addition(material, rate, at, _water_of(pot, material, at), prepared.get((material, at), ()))
            for (material, at), rate in _rates(planned.pot, pot, "addition", recipe.additions).items()
        ),
        scent=tuple(
            ScentLine(material, rate, at)
            for (material, at), rate in _rates(planned.pot, pot, "scent", recipe.scent).items()
        ),
        portions=_portions(portions, pot),
        process=ReadOnly({**recipe.process, **batch.process}),
        formerly=(),
    )


def _rates(
    planned: Pot, pot: Pot, role: str, stated: Sequence[Addition] | Sequence[ScentLine]
) -> dict[tuple[str, str], Rate]:
    """What went in of each addition or scent: the rate as stated while it was weighed so, else in percent of oils."""
    planned_g, oil_mass_g = _grams_of(planned, role), pot.grams("oil")
    written = {(line.material, line.at): line.rate for line in stated}
    rates: dict[tuple[str, str], Rate] = {}
    for key, weight_g in _grams_of(pot, role).items():
        part = weight_g / oil_mass_g
        if key in written and abs(planned_g.get(key, 0.0) / planned.grams("oil") - part) <= _SAME * part:
            rates[key] = written[key]
        elif weight_g > 0:
            rates[key] = Rate(_decimal(100.0 * part), "%", Basis.OILS)
    return rates


def oil_rates(pot: Pot) -> dict[tuple[str, str], Rate]:
    """All additions and scents of a pot, by material and stage, in percent of its oils."""
    oil_mass_g = pot.grams("oil")
    grams = {**_grams_of(pot, "addition"), **_grams_of(pot, "scent")}
    return {key: Rate(_decimal(100.0 * weight_g / oil_mass_g), "%", Basis.OILS) for key, weight_g in grams.items()}


def _oils(recipe: Recipe, weights_g: Mapping[tuple[str, str], float]) -> tuple[OilLine, ...]:
    """Each oil once, with all that went in of it; together exactly 100 %."""
    stated = {(line.material, line.at): float(line.percent) for line in recipe.oils}
    oil_mass_g = sum(weights_g.values())
    same = weights_g.keys() == stated.keys() and all(
        abs(100.0 * weights_g[key] / oil_mass_g - percent) <= 100 * _SAME for key, percent in stated.items()
    )
    if same:
        return recipe.oils
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


def _water(planned: PlannedPot, batch: Batch) -> Water:
    """The plan's rule while the water came out as planned, else the lye concentration that it made."""
    before_g = planned.pot.grams("water") / planned.pot.grams("oil")
    after_g = batch.water.weigh_grams / batch.oil_mass_g
    if abs(before_g - after_g) <= _SAME * max(before_g, 1e-9):
        return planned.recipe.water
    return Water("lye_concentration", _decimal(batch.water.nominal_percent))


def _water_of(pot: Pot, material: str, at: str) -> str | None:
    lines = (line for line in pot.lines if (line.role, line.material, line.at) == ("addition", material, at))
    return next((line.water for line in lines), None)


def _portions(portions: Sequence[RecipePortion], pot: Pot) -> tuple[RecipePortion, ...]:
    """Of each material that was divided, which part of all of it each portion got."""
    own: dict[str, dict[str, float]] = {}
    shared: dict[str, float] = {}
    for line in pot.lines:
        if line.portion is None:
            shared[line.material] = shared.get(line.material, 0.0) + line.grams
        else:
            parts = own.setdefault(line.material, {})
            parts[line.portion] = parts.get(line.portion, 0.0) + line.grams
    found: list[RecipePortion] = []
    for portion in portions:
        planned, gets = dict(portion.gets), []
        for material, parts in own.items():
            total_g = sum(parts.values()) + shared.get(material, 0.0)
            got_g = parts.get(portion.name, 0.0) + shared.get(material, 0.0) * float(portion.share) / 100.0
            percent = _decimal(100.0 * got_g / total_g) if total_g > 0 else Decimal(0)
            stated = planned.get(material)
            if stated is not None and abs(percent - stated) <= Decimal(1).scaleb(-_PLACES):
                gets.append((material, stated))
            elif stated is not None or percent:  # nothing is said of a line that a portion gets nothing of
                gets.append((material, percent))
        found.append(replace(portion, gets=tuple(gets)))
    return tuple(found)


def _decimal(number: float, places: int = _PLACES) -> Decimal:
    return Decimal(f"{number:.{places}f}").normalize() + Decimal(0)
