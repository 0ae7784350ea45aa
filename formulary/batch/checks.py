"""All checks of a recipe against the register, and of a batch or a pot; each returns findings.

Three stops can never be overridden: an excess of lye on skin, an oil of unknown saponification value, and an open
merge conflict.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal

from formulary.batch.liquid_checks import check_liquids, check_liquids_as_made
from formulary.batch.lye_checks import (
    check_alkali_weights,
    check_jug,
    check_oils_added,
    check_small_weights,
    check_strong_jug,
    check_water,
    check_water_as_made,
)
from formulary.batch.material_checks import check_stated_assays, check_stated_values
from formulary.batch.model import Batch, PortionFigures, Pot, PotFigures
from formulary.batch.portion_practice import check_practice
from formulary.batch.printed_checks import check_printed_superfat
from formulary.batch.scent_checks import check_scent
from formulary.batch.superfat_checks import check_alkali_on_top, check_portion_superfat, check_superfat
from formulary.batch.temperature_checks import check_temperatures
from formulary.batch.vessel_checks import check_vessels
from formulary.finding import Finding, Place, error, locate_nowhere, stop
from formulary.materials.model import Material
from formulary.materials.spoons import is_measurable
from formulary.names import suggest
from formulary.quantity import format_decimal
from formulary.rate import Basis
from formulary.recipes.model import PORTION_STAGES, Addition, Recipe
from formulary.settings import Settings

NEVER_OVERRIDDEN = frozenset(
    {
        *("lye-excess", "oils-rounded", "superfat-negative", "saponification-unknown", "conflict-open"),
        # These are no judgements: nobody can weigh less than nothing, or what is not known.
        *("water-below-zero", "water-unknown", "alkali-none"),
    }
)
MOST_NAMED_CONFLICTS = 6
MOST_BATTER_RATES_PERCENT = 50
OIL_KINDS = ("oil", "wax", "fatty-acid")

Materials = Mapping[str, Material]
Locate = Callable[..., Place]


def check_recipe(recipe: Recipe, register: Materials) -> tuple[Finding, ...]:
    """Whether a recipe fits the register: names, kinds, water that is not said, spoons without a size."""
    return tuple(_check_lines(recipe, register))


def _check_lines(recipe: Recipe, register: Materials) -> Iterable[Finding]:
    for name in recipe.materials():
        if name not in register:
            place = _place_of_material(recipe, name)
            do = suggest(name, register, f"add it: formulary materials add {name}; or correct the name")
            yield error("unknown-material", f"no material is called {name!r}", do, place)
    yield from _check_alkalis(recipe, register)
    yield from _check_batter_rates(recipe)
    yield from _check_divided_lines(recipe)
    yield from _check_oils(recipe, register)
    for addition in recipe.additions:
        material = register.get(addition.material)
        if material is not None:
            place = recipe.place("additions", addition.material, addition.at)
            yield from _check_addition(addition, material, place)
    yield from _check_scents(recipe, register)


def _check_oils(recipe: Recipe, register: Materials) -> Iterable[Finding]:
    for oil in recipe.oils:
        material = register.get(oil.material)
        if material is not None and material.kind not in OIL_KINDS:
            what = f"{oil.material} is a material of kind {material.kind}, not an oil"
            do = "move it to `additions` or `scent`, and raise an oil so that the oils total 100"
            yield error("not-an-oil", what, do, recipe.place("oils", oil.material))


def _check_addition(addition: Addition, material: Material, place: Place) -> Iterable[Finding]:
    if material.kind == "fragrance":
        what = f"{addition.material} is a fragrance and stands among the additions, where no limit is looked at"
        yield error("scent-addition", what, "move it to `scent`", place)
    if material.kind == "alkali":
        what = f"{addition.material} is an alkali and stands among the additions"
        yield error("alkali-addition", what, "state it under `lye`, so that it is counted", place)
    if addition.rate.is_volume and material.kind == "acid":
        yield error("volume-refused", "an acid is measured by volume here", "weigh it in grams", place)
    elif addition.rate.is_volume and not is_measurable(material, addition.rate.unit):
        what = f"how much a {addition.rate.unit} of {addition.material} weighs is not known"
        yield error("spoon-unknown", what, 'weigh it: "20 g per kg oils"', place)
    if addition.water is None and material.is_wet:
        what = f"{addition.material} brings water, and the line does not say what of"
        do = "add `water: replaces` (its water comes off the water weighed) or `water: extra`"
        yield error("water-unsaid", what, do, place)


def _check_scents(recipe: Recipe, register: Materials) -> Iterable[Finding]:
    for line in recipe.scent:
        material = register.get(line.material)
        if material is not None and material.kind != "fragrance":
            what = f"{line.material} is a material of kind {material.kind}, not a fragrance"
            do = "move it to `additions`"
            yield error("not-a-scent", what, do, recipe.place("scent", line.material, line.at))


def _place_of_material(recipe: Recipe, name: str) -> Place:
    for part in ("oils", "additions", "scent"):
        place = recipe.places.get(f"{part}/{name}")
        if place is not None:
            return place
    return recipe.place("lye", "alkali")


def _check_alkalis(recipe: Recipe, register: Materials) -> Iterable[Finding]:
    hydroxides: dict[object, str] = {}
    for name, _ in recipe.lye.alkalis:
        material = register.get(name)
        if material is not None and (material.kind != "alkali" or material.alkali is None):
            what = f"{name} is not an alkali that soap is made with here"
            do = "write sodium-hydroxide or potassium-hydroxide"
            yield error("not-an-alkali", what, do, recipe.place("lye", "alkali"))
        elif material is not None and material.alkali in hydroxides:
            what = f"{hydroxides[material.alkali]} and {name} are the same hydroxide in two forms"
            do = "use one of them in a batch: the other would be forgotten, or weighed twice"
            yield error("alkali-twice", what, do, recipe.place("lye", "alkali"))
        elif material is not None:
            hydroxides[material.alkali] = name


def _check_batter_rates(recipe: Recipe) -> Iterable[Finding]:
    """Rates of the batter include themselves, so their sum has to stay well below all of it."""
    rates = [line.rate for line in recipe.additions] + [line.rate for line in recipe.scent]
    of_batter = [rate for rate in rates if rate.basis is Basis.BATTER and not rate.is_volume]
    total = sum((rate.percent_of_basis() for rate in of_batter), Decimal(0))
    if total > MOST_BATTER_RATES_PERCENT:
        what = f"the rates of the batter total {format_decimal(total)} % of it"
        do = f"write rates of the oils, or at most {MOST_BATTER_RATES_PERCENT} % of the batter in all"
        yield error("batter-rates", what, do, recipe.place("additions"))


def _check_divided_lines(recipe: Recipe) -> Iterable[Finding]:
    """What goes in before the batter is in its portions is in all of them, and cannot be divided any more."""
    lines = [(line.material, line.at) for line in recipe.additions]
    lines += [(line.material, line.at) for line in recipe.scent]
    early = {material: at for material, at in lines if at not in PORTION_STAGES}
    for portion in recipe.portions:
        for name, _ in portion.gets:
            if name in early and name not in recipe.divisible:
                what = f"{name} goes into the {early[name]}, before the batter is divided, so it is in every portion"
                do = f"take {name} out of `gets` in every portion, or give its line `at: trace`"
                yield error("divided-too-early", what, do, recipe.place("portions", portion.name, "gets", name))


def check_batch(batch: Batch, recipe: Recipe, materials: Materials, settings: Settings) -> tuple[Finding, ...]:
    """Everything to know before weighing a batch out."""
    findings: list[Finding] = []
    if recipe.conflicts:
        fields = ", ".join(words.partition(": ")[0][:60] for words in recipe.conflicts[:MOST_NAMED_CONFLICTS])
        fields += " and others" if len(recipe.conflicts) > MOST_NAMED_CONFLICTS else ""
        many = f"{len(recipe.conflicts)} conflicts are open" if len(recipe.conflicts) > 1 else "a conflict is open"
        what = f"{many}: {fields}"
        do = "settle each in the file and remove `conflicts:`, or with `formulary update --settle`; no lye till then"
        findings.append(stop("conflict-open", what, do, recipe.place("conflicts")))
    findings += _check_lye_and_scent(
        batch.pot,
        batch.superfat.effective,
        batch.superfat.low,
        batch.portions,
        materials,
        recipe.purpose,
        recipe.place,
        nominal=float(recipe.lye.superfat),
        alkali_step_g=float(settings.alkali_step_g),
    )
    findings += check_printed_superfat(
        batch.pot, batch.superfat.effective, recipe.purpose, materials, settings, recipe.place
    )
    findings += check_small_weights(batch.pot, recipe, settings)
    findings += check_alkali_weights(batch.lye, materials, settings, recipe.place)
    findings += check_oils_added(recipe, materials)
    findings += check_water(batch.pot, recipe, materials)
    findings += check_strong_jug(batch.pot, materials, recipe.place)
    findings += check_liquids(recipe, materials)
    findings += check_temperatures(recipe.process, recipe.place)
    findings += check_vessels(batch.pot, materials, settings)
    findings += check_practice(
        batch.pot,
        materials,
        nominal_concentration_percent=batch.water.nominal_percent,
        process=recipe.process,
        cure_days=float(settings.cure_days),
        superfat=float(recipe.lye.superfat),
        is_for_skin=recipe.purpose == "skin",
        off=settings.checks_off,
        locate=recipe.place,
    )
    return tuple(findings)


def check_pot(
    pot: Pot,
    figures: PotFigures,
    materials: Materials,
    purpose: str,
    locate: Locate | None = None,
    *,
    alkali_step_g: float,
) -> tuple[Finding, ...]:
    """What makes a batch as made unsafe or unfit to sell: lye excess, limits passed in a portion, the jug.

    It looks at what `check_batch` looks at as far as the grams in the pot decide it, and at what went into the lye and
    how well its water is known. What only helps before the lye is mixed (scales, vessels, how milk is prepared, common
    practice) is told of a plan alone.
    """
    where = locate if locate is not None else locate_nowhere
    return (
        *_check_lye_and_scent(
            pot,
            figures.superfat_effective,
            figures.superfat_low,
            figures.portions,
            materials,
            purpose,
            where,
            nominal=None,
            alkali_step_g=alkali_step_g,
        ),
        *check_water_as_made(pot, materials, where),
        *check_liquids_as_made(pot, materials, where),
    )


def _check_lye_and_scent(
    pot: Pot,
    superfat_effective: float,
    superfat_low: float,
    portions: tuple[PortionFigures, ...],
    materials: Materials,
    purpose: str,
    locate: Locate,
    *,
    nominal: float | None,
    alkali_step_g: float,
) -> Iterable[Finding]:
    """What a plan and a batch as made are both judged by; `nominal` None: a batch as made."""
    is_planned = nominal is not None
    yield from check_saponification(pot, materials, locate)
    yield from check_stated_values(pot, materials, locate, is_planned=is_planned)
    yield from check_stated_assays(pot, materials, locate, is_planned=is_planned)
    yield from check_superfat(
        nominal=nominal,
        effective=superfat_effective,
        low=superfat_low,
        pot=pot,
        materials=materials,
        purpose=purpose,
        locate=locate,
        alkali_step_g=alkali_step_g,
    )
    yield from check_portion_superfat(
        portions, superfat_effective, purpose, locate, is_planned=is_planned, whole_low=superfat_low
    )
    yield from check_alkali_on_top(pot, purpose, locate)
    yield from check_jug(pot, materials, locate, is_planned=is_planned)
    yield from check_scent(pot, portions, materials, locate, is_planned=is_planned)


def check_saponification(pot: Pot, materials: Materials, locate: Locate) -> Iterable[Finding]:
    """A stop for each oil whose saponification value is not known."""
    for line in pot.lines:
        if line.role == "oil" and materials[line.material].saponification_value is None:
            what = f"the saponification value of {line.material} is not known, so neither is its lye"
            do = f"give materials/{line.material}.yaml a saponification_value from its certificate"
            yield stop("saponification-unknown", what, do, locate("oils", line.material))
