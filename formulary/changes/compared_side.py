"""One of the two things that are compared: a recipe worked out, a trial as it was made, or one portion of either."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from formulary.batch.checks import check_batch
from formulary.batch.cost import Cost
from formulary.batch.figures import take_portion
from formulary.batch.model import WHOLE, Batch
from formulary.batch.pot_as_recipe import PlannedPot, describe_pot, oil_rates
from formulary.changes.recipe_changes import rate_unit
from formulary.errors import InputError
from formulary.finding import Finding, stops
from formulary.materials.model import Material
from formulary.names import suggest
from formulary.rate import Rate
from formulary.read_only import ReadOnly
from formulary.recipes.model import Addition, Recipe, ScentLine
from formulary.settings import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedSide:
    """What is compared: a recipe and its batch.

    register: the materials that it was worked out with, for fatty acids and for what differs between registers.
    lots: material -> the lots of it that went in, where they are recorded.
    findings: what is told of it, where that is not its batch's own. portion: the one portion that it is of.
    cost: what it costs; None where that is not known.
    """

    recipe: Recipe
    batch: Batch
    register: Mapping[str, Material] | None = None
    lots: Mapping[str, str] = field(default_factory=lambda: ReadOnly({}))
    findings: tuple[Finding, ...] | None = None
    portion: str | None = None
    cost: Cost | None = None

    @property
    def told(self) -> tuple[Finding, ...]:
        """What is to be known of it."""
        return self.batch.findings if self.findings is None else self.findings


def demand_portion(portion: str, portions: tuple[str, ...], whose: str) -> None:
    """Raises InputError for a portion that there is not."""
    if portion == WHOLE and not portions:
        return
    if portion not in portions:
        what = f"{whose} has no portion {portion[:60]!r}"
        do = suggest(portion, portions, f"its portions: {', '.join(portions)}") if portions else "it is not divided"
        raise InputError.of("no-portion", what, do)


def portion_side(side: ComparedSide, portion: str, settings: Settings) -> ComparedSide:
    """One portion of a recipe by itself, for the same mass of oils: what it gets is all its own.

    Its scent is that at the worst end of its split. Raises InputError when the recipe has no such portion.
    """
    recipe, batch = side.recipe, side.batch
    demand_portion(portion, tuple(each.name for each in recipe.portions), recipe.slug)
    if portion == WHOLE:
        return side
    materials = side.register if side.register is not None else batch.materials
    planned = PlannedPot(recipe=recipe, pot=batch.pot, version_id=batch.version_id, label=batch.version_label)
    pot = take_portion(batch.pot, portion)
    own, described = describe_pot(pot, planned, materials, settings, oil_mass_g=batch.oil_mass_g)
    # A stop for the whole forbids weighing out its portions, too.
    described = replace(described, findings=batch.findings, process=batch.process)
    findings = check_batch(described, own, materials, settings)
    told = {(finding.code, finding.place.field) for finding in findings}
    findings += tuple(each for each in stops(batch.findings) if (each.code, each.place.field) not in told)
    return as_one_batter(replace(side, recipe=own, batch=described, findings=findings, portion=portion))


def as_one_batter(side: ComparedSide) -> ComparedSide:
    """A side without its division: a portion by itself, or what a portion is compared with.

    The scent of a portion is that at the worst end of its split.
    """
    batch = side.batch
    if side.portion is not None and batch.portions:
        (own,) = batch.portions
        batch = replace(batch, scent=own.scent)
    return replace(side, recipe=replace(side.recipe, portions=()), batch=replace(batch, portions=()))


def in_like_units(before: ComparedSide, after: ComparedSide) -> tuple[ComparedSide, ComparedSide]:
    """Both sides with the rates in percent of the oils that they state in different units.

    A portion gets so much of a line that its recipe states in spoons, say, and nobody can set the one beside the other.
    """
    one, two = _rates_of(before.recipe), _rates_of(after.recipe)
    unlike = {key for key in one.keys() & two.keys() if rate_unit(one[key]) != rate_unit(two[key])}
    return (_in_percent(before, unlike), _in_percent(after, unlike)) if unlike else (before, after)


def _rates_of(recipe: Recipe) -> dict[tuple[str, str], Rate]:
    lines: tuple[Addition | ScentLine, ...] = (*recipe.additions, *recipe.scent)
    return {(line.material, line.at): line.rate for line in lines}


def _in_percent(side: ComparedSide, keys: Collection[tuple[str, str]]) -> ComparedSide:
    percents = oil_rates(side.batch.pot)

    def rate(line: Addition | ScentLine) -> Rate:
        key = line.material, line.at
        return percents[key] if key in keys and key in percents else line.rate

    recipe = replace(
        side.recipe,
        additions=tuple(replace(line, rate=rate(line)) for line in side.recipe.additions),
        scent=tuple(replace(line, rate=rate(line)) for line in side.recipe.scent),
    )
    return replace(side, recipe=recipe)
