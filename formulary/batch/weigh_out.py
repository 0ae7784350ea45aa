"""A recipe version worked out for a size: what to weigh, in grams, with everything that is known about it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from formulary.batch.checks import check_batch, check_recipe
from formulary.batch.figures import (
    acid_mol,
    alkali_of,
    assay,
    batter_g,
    concentration_percent,
    fat_mol,
    water_in,
    work_out_pot,
)
from formulary.batch.lot_shares import check_lots
from formulary.batch.model import (
    Batch,
    Pot,
    PotLine,
    WeighedAddition,
    WeighedAlkali,
    WeighedOil,
    pot_portions,
)
from formulary.batch.scale import Scale
from formulary.batch.volume import cured_figures
from formulary.chemistry.alkali import (
    Alkali,
    alkali_mass_g,
    discounted_mol,
    rounded_down_g,
    split_by_mass,
    split_by_moles,
    weighed_g,
)
from formulary.chemistry.water import (
    water_g_for_concentration,
    water_g_for_percent_of_oils,
    water_g_for_ratio,
)
from formulary.errors import InputError
from formulary.finding import Finding, errors, in_file_order
from formulary.materials.chosen_lots import ChosenLots, given_lots, with_chosen_lots
from formulary.materials.model import Material
from formulary.materials.spoons import mass_by_volume_g
from formulary.rate import Basis, Rate
from formulary.read_only import ReadOnly
from formulary.recipes.model import PORTION_STAGES, Recipe
from formulary.recipes.version import Version
from formulary.settings import Settings, without_vessels
from formulary.shown_as_text import ShownAsText

WATER = "water"
# Rates of the batter include themselves; each round shrinks the error by their sum, which `check_recipe` keeps to one
# half, so that 40 rounds are enough.
_MOST_ROUNDS = 100
_NOTHING_G = 1e-9  # what a difference of equal weights leaves
# What the numbers of a plan were calculated by; raised when a rule of this package changes any of them.
EDITION = "1"


class WeighOut(ShownAsText, Batch):
    """A batch to weigh out; printing it shows the sheet."""

    __slots__ = ()

    def __str__(self) -> str:
        from formulary.batch.weigh_out_text import render_batch

        return render_batch(self)


def work_out_batch(
    version: Version | Recipe,
    register: Mapping[str, Material],
    settings: Settings | None = None,
    *,
    oil_mass_g: float | None = None,
    batter_mass_g: float | None = None,
    lots: ChosenLots | None = None,
) -> Batch:
    """What to weigh for a recipe at a size, in grams, with superfat, water, scent and every finding.

    register: the materials by name. settings: the usual ones unless given.
    oil_mass_g or batter_mass_g: exactly one, in grams, above 0.
    lots: material -> the lots used, by weight where there are several; their certificates override the register's.
    Raises InputError when the recipe does not fit the register (a name unknown, a wet addition that does not say
    `replaces` or `extra`, a spoon without a size), or when the size is not one weight above 0.
    """
    recipe = version.recipe if isinstance(version, Version) else version
    settings = settings if settings is not None else Settings()
    if (oil_mass_g is None) == (batter_mass_g is None) or (oil_mass_g or batter_mass_g or 0) <= 0:
        raise InputError.of("size", "a batch needs one size", "give the oils, or the whole batter, in grams above 0")
    faults = errors(check_recipe(recipe, register))
    if faults:
        raise InputError(faults)
    materials = {name: register[name] for name in (*recipe.materials(), WATER)}
    if lots:
        materials = with_chosen_lots(materials, lots)
    if oil_mass_g is None:
        assert batter_mass_g is not None
        oil_mass_g = _oils_for_batter(recipe, materials, settings, batter_mass_g)
    pot, lye, nominal_water_g = _fill_pot(recipe, materials, settings, oil_mass_g)
    batch = _describe(version, recipe, pot, lye, nominal_water_g, materials, settings)
    chosen = given_lots(lots or {})
    findings = (*check_batch(batch, recipe, materials, settings), *check_lots(pot.lines, chosen, batch.scale))
    return replace(batch, findings=in_file_order(findings), lots=ReadOnly(chosen))


def check_kilogram(recipe: Recipe, register: Mapping[str, Material], settings: Settings) -> tuple[Finding, ...]:
    """What does not fit the register in a recipe; where all does, everything to know of a batch of 1000 g of oils.

    It is of nobody's vessels: whether those hold a batch is told when it is worked out for its size.
    """
    faults = check_recipe(recipe, register)
    if faults:
        return faults
    return work_out_batch(recipe, register, without_vessels(settings), oil_mass_g=1000.0).findings


def _oils_for_batter(
    recipe: Recipe, materials: Mapping[str, Material], settings: Settings, batter_mass_g: float
) -> float:
    # Batter grows with the oils but for the rounding of the alkali, so a few steps of proportion land on it.
    oils_g = batter_mass_g * 0.7
    for _ in range(3):
        pot, _, _ = _fill_pot(recipe, materials, settings, oils_g)
        oils_g *= batter_mass_g / batter_g(pot)
    return oils_g


def _fill_pot(
    recipe: Recipe, materials: Mapping[str, Material], settings: Settings, oil_mass_g: float
) -> tuple[Pot, tuple[WeighedAlkali, ...], float]:
    oils = [PotLine(line.material, "oil", line.at, oil_mass_g * float(line.percent) / 100.0) for line in recipe.oils]
    batter_guess_g = oil_mass_g * 1.45
    for _ in range(_MOST_ROUNDS):
        pot, lye, nominal_water_g = _fill_around(recipe, materials, settings, oils, oil_mass_g, batter_guess_g)
        batter = batter_g(pot)
        if not _has_batter_rates(recipe) or abs(batter - batter_guess_g) < 1e-9 * batter:
            return pot, lye, nominal_water_g
        batter_guess_g = batter
    what = "the rates of the batter do not settle: more and more would have to be added"
    raise InputError.of("batter-rates", what, "write rates of the oils")


def _has_batter_rates(recipe: Recipe) -> bool:
    rates = [line.rate for line in recipe.additions] + [line.rate for line in recipe.scent]
    return any(rate.basis is Basis.BATTER for rate in rates)


def _fill_around(
    recipe: Recipe,
    materials: Mapping[str, Material],
    settings: Settings,
    oils: list[PotLine],
    oil_mass_g: float,
    batter_guess_g: float,
) -> tuple[Pot, tuple[WeighedAlkali, ...], float]:
    def grams(material: str, rate: Rate) -> float:
        basis_g = oil_mass_g if rate.basis is Basis.OILS else batter_guess_g
        return rate_g(rate, materials[material], settings, basis_g)

    additions = [
        PotLine(line.material, "addition", line.at, grams(line.material, line.rate), water=line.water)
        for line in recipe.additions
    ]
    scent = [PotLine(line.material, "scent", line.at, grams(line.material, line.rate)) for line in recipe.scent]
    acids_mol = sum(acid_mol(line, materials) for line in additions)
    lye = _weigh_alkalis(recipe, materials, settings, oils, acids_mol)
    alkali_lines = [PotLine(alkali.material, "alkali", "lye water", alkali.grams) for alkali in lye]
    pure_g = sum(alkali.pure_grams for alkali in lye)
    nominal_g = _nominal_water_g(recipe, pure_g, oil_mass_g)
    replaced_g = sum(water_in(line, materials) for line in additions if line.water == "replaces")
    with_alkali_g = sum(water_in(line, materials) for line in alkali_lines)
    weigh_g = nominal_g - replaced_g - with_alkali_g
    if abs(weigh_g) < _NOTHING_G:  # lye that comes as strong as it is wanted
        weigh_g = 0.0
    water = PotLine(WATER, "water", "lye water", weigh_g)
    shared = [*oils, *alkali_lines, water]
    lines = (*shared, *_divide(recipe, [*additions, *scent]))
    portions = pot_portions((portion.name, portion.share, portion.by_eye) for portion in recipe.portions)
    return Pot(lines, portions), lye, nominal_g


def _divide(recipe: Recipe, lines: list[PotLine]) -> Iterable[PotLine]:
    """Lines that the portions divide by `gets` as one line a portion; the others as they are."""
    for line in lines:
        gets = [
            (portion.name, float(percent) / 100.0)
            for portion in recipe.portions
            for material, percent in portion.gets
            if material == line.material and line.at in PORTION_STAGES
        ]
        if not gets:
            yield line
            continue
        for name, part in gets:
            if part:
                yield replace(line, grams=line.grams * part, portion=name)


def _weigh_alkalis(
    recipe: Recipe,
    materials: Mapping[str, Material],
    settings: Settings,
    oils: list[PotLine],
    acids_mol: float,
) -> tuple[WeighedAlkali, ...]:
    wanted_mol = discounted_mol(
        sum(fat_mol(line, materials[line.material]) for line in oils), float(recipe.lye.superfat)
    )
    total_mol = wanted_mol + acids_mol
    by_alkali = {alkali_of(materials[name]): name for name, _ in recipe.lye.alkalis}
    shares = {alkali_of(materials[name]): float(share) for name, share in recipe.lye.alkalis}
    split = split_by_mass if recipe.lye.by == "mass" else split_by_moles
    pure: dict[Alkali, float]
    if len(shares) == 1:
        (only,) = shares
        pure = {only: alkali_mass_g(total_mol, only)}
    else:
        pure = split(total_mol, shares)
    step_g = float(settings.alkali_step_g)
    weighed: list[WeighedAlkali] = []
    for alkali, pure_g in pure.items():
        name = by_alkali[alkali]
        percent = assay(materials[name])[1]
        shown_g = rounded_down_g(weighed_g(pure_g, percent), step_g)
        for_acids_g = weighed_g(pure_g, percent) * acids_mol / total_mol if total_mol > 0 else 0.0
        weighed.append(WeighedAlkali(name, shown_g, shown_g * percent / 100.0, percent, for_acids_g))
    return tuple(weighed)


def _nominal_water_g(recipe: Recipe, pure_g: float, oil_mass_g: float) -> float:
    value = float(recipe.water.value)
    if recipe.water.method == "lye_concentration":
        return water_g_for_concentration(pure_g, value)
    if recipe.water.method == "water_to_lye":
        return water_g_for_ratio(pure_g, value)
    return water_g_for_percent_of_oils(oil_mass_g, value)


def rate_g(rate: Rate, material: Material, settings: Settings, basis_g: float) -> float:
    """Grams of a material at a rate for so many grams of oil or batter.

    Raises InputError for spoons of a material whose weight by volume is not known.
    """
    if not rate.is_volume:
        return basis_g * float(rate.percent_of_basis()) / 100.0
    per_kg_g = mass_by_volume_g(material, float(rate.amount), rate.unit, settings.measures_ml)
    if per_kg_g is None:
        what = f"how much a {rate.unit} of {material.slug} weighs is not known"
        do = f"weigh it and write grams, or set `measures: {{{rate.unit}: 2.1 g}}` in materials/{material.slug}.yaml"
        raise InputError.of("spoon-unknown", what, do)
    return per_kg_g * basis_g / 1000.0


def _describe(
    version: Version | Recipe,
    recipe: Recipe,
    pot: Pot,
    lye: tuple[WeighedAlkali, ...],
    nominal_water_g: float,
    materials: Mapping[str, Material],
    settings: Settings,
) -> WeighOut:
    figures = work_out_pot(pot, materials, settings)
    oil_mass_g = figures.oil_mass_g
    return WeighOut(
        recipe=recipe.slug,
        recipe_name=recipe.name,
        version_id=version.id if isinstance(version, Version) else None,
        version_label=version.label if isinstance(version, Version) else None,
        purpose=recipe.purpose,
        oils=tuple(
            WeighedOil(line.material, float(line.percent), oil_mass_g * float(line.percent) / 100.0, line.at)
            for line in recipe.oils
        ),
        lye=lye,
        water=figures.water(concentration_percent(figures.pure_alkali_g, nominal_water_g)),
        superfat=figures.superfat(float(recipe.lye.superfat)),
        additions=tuple(_whole_additions(recipe, pot, materials)),
        cured=cured_figures(pot, materials, settings),
        scent=figures.scent,
        portions=figures.portions,
        oil_mass_g=oil_mass_g,
        batter_grams=figures.batter_grams,
        findings=(),
        pot=pot,
        process=recipe.process,
        scale=Scale.of(settings),
        materials=ReadOnly(materials),
    )


def _whole_additions(recipe: Recipe, pot: Pot, materials: Mapping[str, Material]) -> Iterable[WeighedAddition]:
    for line in recipe.additions:
        parts = [
            part
            for part in pot.lines
            if part.role == "addition" and (part.material, part.at) == (line.material, line.at)
        ]
        grams = sum(part.grams for part in parts)
        water_g = sum(water_in(part, materials) for part in parts)
        amount, unit = 0.0, None
        if line.rate.is_volume:
            basis_g = pot.grams("oil") if line.rate.basis is Basis.OILS else batter_g(pot)
            amount, unit = float(line.rate.amount) * basis_g / 1000.0, line.rate.unit
        yield WeighedAddition(line.material, line.at, grams, water_g, line.water, line.prepared, amount, unit)
