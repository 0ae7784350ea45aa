"""Comparing two recipes, line by line by what each line is; and two batches, by what the recipes come to."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TypeVar

from formulary.batch.figures import pot_fatty_acids_percent, sugars_in
from formulary.batch.model import WHOLE, Batch
from formulary.changes.batch_changes import NOT_KNOWN, CostChange, Figure, RegisterChange, Side
from formulary.changes.changes import Changes
from formulary.changes.compared_side import ComparedSide, as_one_batter, in_like_units
from formulary.changes.recipe_changes import (
    FieldChange,
    LineChange,
    OilChange,
    Pair,
    PortionChange,
    RecipeChanges,
    alkalis_of,
    oil_order,
)
from formulary.errors import InputError
from formulary.finding import Finding, Severity, stops
from formulary.materials.model import Material
from formulary.recipes.model import STAGES, Addition, Recipe, RecipePortion, ScentLine

_T = TypeVar("_T")
_Key = TypeVar("_Key")


def compare_recipes(before: Recipe, after: Recipe) -> RecipeChanges:
    """Every difference between two recipes, exactly: `apply_changes(before, ...)` gives `after`.

    Lines are told apart by what they are (an oil by its material, an addition by material and stage, a portion by its
    name), so their order never matters; 5 and 5.0 are the same.
    """
    return _only_changes(_pair_up(before, after))


def _pair_up(before: Recipe, after: Recipe) -> RecipeChanges:
    """Every line of either recipe with both of its sides, alike or not."""
    oils = _keyed({line.material: line for line in before.oils}, {line.material: line for line in after.oils})
    portions = _keyed(_portions(before), _portions(after))
    return RecipeChanges(
        slug=Pair(before.slug, after.slug),
        name=Pair(before.name, after.name),
        formerly=Pair(before.formerly, after.formerly),
        based_on=Pair(before.based_on, after.based_on),
        purpose=Pair(before.purpose, after.purpose),
        oils=tuple(sorted((OilChange(name, *sides) for name, sides in oils.items()), key=oil_order)),
        alkali=Pair(alkalis_of(before.lye), alkalis_of(after.lye)),
        superfat=Pair(before.lye.superfat, after.lye.superfat),
        water=Pair(before.water, after.water),
        lines=(
            *_lines("additions", before.additions, after.additions),
            *_lines("scent", before.scent, after.scent),
        ),
        portions=tuple(PortionChange(name, *sides) for name, sides in sorted(portions.items())),
        process=_free_changes(before.process, after.process),
        notes=_free_notes(before.notes, after.notes),
        conflicts=Pair(before.conflicts, after.conflicts),
    )


def _keyed(before: Mapping[_Key, _T], after: Mapping[_Key, _T]) -> dict[_Key, tuple[_T | None, _T | None]]:
    return {key: (before.get(key), after.get(key)) for key in (*before, *(key for key in after if key not in before))}


def _lines(
    part: str, before: Iterable[Addition | ScentLine], after: Iterable[Addition | ScentLine]
) -> tuple[LineChange, ...]:
    sides = _keyed(
        {(line.material, line.at): line for line in before}, {(line.material, line.at): line for line in after}
    )
    changes = [LineChange(part, *key, *pair) for key, pair in sides.items()]
    return tuple(sorted(changes, key=lambda change: (STAGES.index(change.at), change.material)))


def _portions(recipe: Recipe) -> dict[str, RecipePortion]:
    return {portion.name: replace(portion, gets=tuple(sorted(portion.gets))) for portion in recipe.portions}


def _free_changes(before: Mapping[str, str], after: Mapping[str, str]) -> tuple[FieldChange, ...]:
    pairs = [FieldChange(f"process.{key}", before.get(key), after.get(key)) for key in sorted({*before, *after})]
    return tuple(sorted(pairs, key=lambda pair: not pair.is_change))


def _free_notes(before: str, after: str) -> FieldChange | None:
    return FieldChange("notes", before or None, after or None) if before or after else None


def _only_changes(paired: RecipeChanges) -> RecipeChanges:
    return _filtered(paired, changed=True)


def _only_alike(paired: RecipeChanges) -> RecipeChanges:
    return _filtered(paired, changed=False)


def _filtered(paired: RecipeChanges, *, changed: bool) -> RecipeChanges:
    def pair(value: Pair[_T] | None) -> Pair[_T] | None:
        return value if value is not None and value.is_change is changed else None

    return RecipeChanges(
        slug=paired.slug,
        name=pair(paired.name),
        formerly=pair(paired.formerly),
        based_on=pair(paired.based_on),
        purpose=pair(paired.purpose),
        oils=tuple(change for change in paired.oils if change.is_change is changed),
        alkali=pair(paired.alkali),
        superfat=pair(paired.superfat),
        water=pair(paired.water),
        lines=tuple(change for change in paired.lines if change.is_change is changed),
        portions=tuple(change for change in paired.portions if change.is_change is changed),
        process=tuple(change for change in paired.process if change.is_change is changed),
        notes=paired.notes if paired.notes is not None and paired.notes.is_change is changed else None,
        conflicts=pair(paired.conflicts),
    )


def compare_sides(before: ComparedSide, after: ComparedSide) -> Changes:
    """What changed between any two of recipes, trials and portions of them, for the same mass of oils.

    A portion is compared with a whole as if that were one batter, too. Raises InputError when the oil masses differ.
    """
    if (before.portion is None) != (after.portion is None):
        before, after = as_one_batter(before), as_one_batter(after)
    if before.portion is not None or after.portion is not None:
        before, after = in_like_units(before, after)
    one, two = before.batch, after.batch
    if abs(one.oil_mass_g - two.oil_mass_g) > 1e-6 * two.oil_mass_g:
        what = f"batches of {one.oil_mass_g:.1f} and {two.oil_mass_g:.1f} g of oils are not compared"
        raise InputError.of("size", what, "work both out for the same mass of oils")
    paired = _pair_up(before.recipe, after.recipe)
    return Changes(
        before=_side(before),
        after=_side(after),
        recipe=_only_changes(paired),
        alike=_only_alike(paired),
        oil_mass_g=two.oil_mass_g,
        lye=_lye_figures(one, two),
        water=_water_figures(one, two),
        superfat=_superfat_figures(one, two),
        others=_other_figures(before, after),
        scent=_scent_figures(one, two),
        fatty_acids=_fatty_acid_figures(one, before.register, two, after.register),
        cost=_compare_costs(before, after),
        lots=_compare_lots(before, after),
        register=_compare_registers(one, before.register, two, after.register),
        appeared=_missing_from(after.told, before.told),
        vanished=_missing_from(before.told, after.told),
        stops=stops(after.told),
        told_in=two.scale.temperature,
    )


def _side(side: ComparedSide) -> Side:
    batch = side.batch
    return Side(batch.recipe, batch.recipe_name, batch.version_id, batch.version_label, side.portion)


def _grams(before: Batch, after: Batch, before_g: float, after_g: float) -> tuple[float | None, float | None]:
    """Both weights, without that of a side that must not be weighed out."""
    return (None if before.is_stopped else before_g, None if after.is_stopped else after_g)


def _lye_figures(before: Batch, after: Batch) -> tuple[Figure, ...]:
    sides = _keyed(_alkali_g(before), _alkali_g(after))
    return tuple(
        Figure(name, "g", 1, *_grams(before, after, one or 0.0, two or 0.0))
        for name, (one, two) in sorted(sides.items())
    )


def _alkali_g(batch: Batch) -> dict[str, float]:
    grams: dict[str, float] = {}
    for line in batch.lye:
        grams[line.material] = grams.get(line.material, 0.0) + line.grams
    return grams


def _water_figures(before: Batch, after: Batch) -> tuple[Figure, ...]:
    one, two = before.water, after.water
    return (
        Figure("weigh_grams", "g", 1, *_grams(before, after, one.weigh_grams, two.weigh_grams)),
        Figure("total_grams", "g", 1, *_grams(before, after, one.total_grams, two.total_grams)),
        Figure("nominal_percent", "%", 1, one.nominal_percent, two.nominal_percent),
        Figure("in_jug_percent", "%", 1, one.in_jug_percent, two.in_jug_percent),
        Figure("effective_percent", "%", 1, one.effective_percent, two.effective_percent),
    )


def _superfat_figures(before: Batch, after: Batch) -> tuple[Figure, ...]:
    one, two = before.superfat, after.superfat
    return (
        Figure("nominal", "%", 1, one.nominal, two.nominal),
        Figure("effective", "%", 1, one.effective, two.effective),
        Figure("low", "%", 1, one.low, two.low),
        Figure("high", "%", 1, one.high, two.high),
    )


def _other_figures(before: ComparedSide, after: ComparedSide) -> tuple[Figure, ...]:
    """The batter; and the sugars, which heat it, where there are any."""
    one, two = before.batch, after.batch
    figures = [Figure("batter", "g", 0, *_grams(one, two, one.batter_grams, two.batter_grams))]
    if before.register is not None and after.register is not None:
        sugars_g = sugars_in(one.pot, before.register), sugars_in(two.pot, after.register)
        if any(sugars_g):
            figures.append(Figure("sugars", "g", 1, *_grams(one, two, *sugars_g)))
    return tuple(figures)


def _compare_costs(before: ComparedSide, after: ComparedSide) -> CostChange | None:
    """What both cost, of what both price; None where no price is known, or a side must not be weighed out."""
    one, two = before.cost, after.cost
    if one is None or two is None or before.batch.is_stopped or after.batch.is_stopped:
        return None
    if not one.lines or not two.lines:
        return None
    unpriced = {*one.unpriced, *two.unpriced}
    priced = [{name: money for name, money in side.lines if name not in unpriced} for side in (one, two)]
    is_told = len({*priced[0], *priced[1]}) >= len(unpriced)
    totals = [sum(side.values(), 0.0) if is_told else None for side in priced]
    at_lots = {**dict(one.at_lots), **dict(two.at_lots)}
    return CostChange(two.currency, totals[0], totals[1], one.unpriced, two.unpriced, tuple(at_lots.items()))


def _scent_figures(before: Batch, after: Batch) -> tuple[Figure, ...]:
    """Each scent's percent of the cured bar by portion; a batter that was not split is the same in all of them."""
    portions = tuple(dict.fromkeys(portion.name for side in (before, after) for portion in side.portions))
    split = tuple(name for name in portions if name != WHOLE)
    sides = _keyed(_scent_percents(before, split), _scent_percents(after, split))
    figures = [Figure(key, "%", 2, one or 0.0, two or 0.0) for key, (one, two) in sorted(sides.items())]
    return tuple(figure for figure in figures if figure.before or figure.after)


def _scent_percents(batch: Batch, split: tuple[str, ...]) -> dict[str, float]:
    by_portion = {portion.name: portion.scent for portion in batch.portions if portion.name != WHOLE}
    percents: dict[str, float] = {}
    for name in split or (WHOLE,):
        for line in by_portion.get(name, ()) if by_portion else batch.scent:
            key = f"{line.material} in {name}" if split else line.material
            percents[key] = percents.get(key, 0.0) + line.percent_of_cured
    return percents


def _fatty_acid_figures(
    before: Batch,
    before_register: Mapping[str, Material] | None,
    after: Batch,
    after_register: Mapping[str, Material] | None,
) -> tuple[Figure, ...]:
    if before_register is None or after_register is None:
        return ()
    one, two = (
        pot_fatty_acids_percent(before.pot, before_register),
        pot_fatty_acids_percent(after.pot, after_register),
    )
    figures = [
        Figure(acid, "%", 1, was or 0.0, became or 0.0)
        for acid, (was, became) in sorted(_keyed(one, two).items(), key=lambda item: _chain(item[0]))
    ]
    figures.append(Figure(NOT_KNOWN, "%", 1, 100.0 - sum(one.values()), 100.0 - sum(two.values())))
    # An acid that both sides have too little of to show is no line.
    return tuple(figure for figure in figures if max(figure.before or 0.0, figure.after or 0.0) >= 0.5)


def _chain(acid: str) -> tuple[int, int, str]:
    from formulary.chemistry.fatty_acids import parse_fatty_acid

    read = parse_fatty_acid(acid)
    return read.carbons, read.double_bonds, acid


def _compare_lots(before: ComparedSide, after: ComparedSide) -> tuple[FieldChange, ...]:
    """The materials that are in both, of other lots; where a side names none, nobody knows whether it was another."""
    one, two = before.lots, after.lots
    return tuple(
        FieldChange(name, one[name], two[name]) for name in sorted(one.keys() & two.keys()) if one[name] != two[name]
    )


# The values of a material that weights and warnings follow from.
_REGISTER_FIELDS = ("saponification_value", "assay_percent", "water_percent", "fat_percent", "limit")


def _compare_registers(
    before: Batch,
    before_register: Mapping[str, Material] | None,
    after: Batch,
    after_register: Mapping[str, Material] | None,
) -> tuple[RegisterChange, ...]:
    """What is known differently of the materials used on either side."""
    if before_register is None or after_register is None or before_register is after_register:
        return ()
    names = sorted({line.material for batch in (before, after) for line in batch.pot.lines})
    changes: list[RegisterChange] = []
    for name in names:
        one, two = before_register.get(name), after_register.get(name)
        if one is None or two is None:
            continue
        for key in _REGISTER_FIELDS:
            values = _working(getattr(one, key)), _working(getattr(two, key))
            if values[0] != values[1]:
                changes.append(RegisterChange(name, key, *values, is_of_lots=_is_of_lots(key, one, two)))
    return tuple(changes)


def _is_of_lots(key: str, one: Material, two: Material) -> bool:
    """Whether a value is of the certificate of a lot on either side, and no certificate says otherwise on the other."""
    stated = [
        {
            lot: known.overrides[key]
            for lot, known in side.lots.items()
            if lot in side.lots_used and key in known.overrides
        }
        for side in (one, two)
    ]
    return any(stated) and all(stated[0][lot] == stated[1][lot] for lot in stated[0].keys() & stated[1].keys())


def _working(value: object) -> float | None:
    """The one number of a value that may be a range or a limit."""
    for name in ("working", "percent_of_product"):
        if hasattr(value, name):
            value = getattr(value, name)
    return float(value) if isinstance(value, (int, float)) else None


# Remarks on one size, by the scale and the vessels that it is weighed and mixed with: nobody pours what is compared.
_OF_A_SIZE = frozenset({"weight-small", "scale-coarse", "oils-rounded", "pot-small", "jug-small", "size-unlikely"})


def _missing_from(findings: Iterable[Finding], others: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings that the other side has not: told apart by what they say it of, not by their figures or lines."""

    def key(finding: Finding) -> tuple[str, str, str | None]:
        return finding.severity.value, finding.code, finding.place.field

    there = Counter(key(finding) for finding in others)
    missing: list[Finding] = []
    for finding in findings:
        if finding.code in _OF_A_SIZE and finding.severity is not Severity.STOP:
            continue
        if there[key(finding)]:
            there[key(finding)] -= 1
        else:
            missing.append(finding)
    return tuple(sorted(missing, key=lambda finding: finding.severity.rank))
