"""What the materials of a trial were, by the lots that went in."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from formulary.materials.lots import mix_lots
from formulary.materials.model import Lot, Material
from formulary.read_only import ReadOnly
from trials.as_made.pot_as_made import find_taken_in, pot_of_bars
from trials.as_made.worst_end import alkali_mol_per_g
from trials.trial.model import LotUse, Trial

_OF_NO_LOT = "not recorded"
_LOT_TOLERANCE_PERCENT = 1.0  # of the line: scales differ by that much (common practice, no source)


def materials_of(trial: Trial) -> dict[str, Material]:
    """Every material of the trial with the frozen values that hold for it, as `with_lots_used` chooses them."""
    return with_lots_used(trial, kept_materials(trial))


def kept_materials(trial: Trial) -> dict[str, Material]:
    """Every material of the trial with its frozen general values, and all lots of which something is kept.

    What was kept of a lot when it was recorded goes before what the plan holds of it.
    """
    materials = dict(trial.materials)
    for name, lots in trial.lot_values.items():
        if name in materials:
            materials[name] = replace(materials[name], lots={**materials[name].lots, **lots})
    return materials


def with_lots_used(trial: Trial, materials: Mapping[str, Material]) -> dict[str, Material]:
    """Materials as the lots that went into the trial have them: several lots of one by their weight.

    The lots that the trial's own file names hold; a lot that only the plan names holds where the file is silent. What
    is not known of a lot, and lots whose weights are not known, count with the material's general values. Where the
    weights of the lots do not make up what went in, the worse counts of what may have: more of one, or of no lot; or
    less of one.
    """
    chosen = dict(materials)
    for name, uses in lots_named(trial).items():
        weights = lot_weights(uses)
        if name not in materials or weights is None:
            continue
        unknown = {lot: Lot(lot) for lot in weights if lot not in materials[name].lots}
        if len(unknown) < len(weights):
            known = replace(materials[name], lots={**materials[name].lots, **unknown})
            chosen[name] = max(_possible_mixtures(trial, known, uses, weights), key=_how_bad)
    return chosen


def _how_bad(material: Material) -> tuple[float, float]:
    """More lye goes before a lower limit: a scent brings none."""
    return alkali_mol_per_g(material), 0.0 if material.limit is None else -material.limit.percent_of_product


def _possible_mixtures(
    trial: Trial, material: Material, uses: Sequence[LotUse], weights: Mapping[str, float]
) -> Iterable[Material]:
    """A material as its lots are recorded, and as it may be where something else than their sum went in."""
    yield mix_lots(material, weights)
    gap_g = lots_gap_g(trial, material.slug)
    if gap_g > 0:
        of_no_lot = replace(material, lots={**material.lots, _OF_NO_LOT: Lot(_OF_NO_LOT)})
        recorded = {use.lot: float(use.grams or 0) for use in uses}
        for lot in (*recorded, _OF_NO_LOT):
            yield mix_lots(of_no_lot, {**recorded, lot: recorded.get(lot, 0.0) + gap_g})
    elif gap_g < 0:
        left_g = sum(weights.values()) + gap_g
        used: dict[str, float] = {}
        for lot in sorted(weights, key=lambda lot: -alkali_mol_per_g(material.with_lot(lot))):
            used[lot] = min(weights[lot], left_g)
            left_g -= used[lot]
        if sum(used.values()) > 0:
            yield mix_lots(material, used)


def as_poured(trial: Trial, *, at_worst: bool = False) -> Trial:
    """The trial as its batter was poured: without what rebatches took in, and without the lots of that.

    A jar is emptied before the next is opened, so of several lots with weights the batter has the first, as far as they
    make it up. at_worst: nothing is known of that, and all of them stay, of which the worst count.
    """
    taken_in = {entry.went_in for entry in find_taken_in(trial)}
    if not taken_in:
        return trial
    poured = replace(trial, after_pour=tuple(replace(step, taken_in=()) for step in trial.after_pour))
    if at_worst:
        return poured
    lots = {name: _first_lots(poured, name) if name in taken_in else uses for name, uses in trial.lots.items()}
    return replace(poured, lots=ReadOnly(lots))


def _first_lots(trial: Trial, material: str) -> tuple[LotUse, ...]:
    """The lots of a material up to what is in the bars; all of them where they are not all weighed."""
    uses, left_g = trial.lots[material], in_bars_g(trial, material)
    within_g = _tolerance_g(trial, material, left_g)
    first: list[LotUse] = []
    for use in uses:
        if use.grams is None:
            return uses
        if left_g > within_g:
            first.append(replace(use, grams=min(use.grams, Decimal(left_g))))
            left_g -= float(use.grams)
    return tuple(first)


def lots_named(trial: Trial) -> Mapping[str, tuple[LotUse, ...]]:
    """The lots of each material: those of the trial's own file, else those that its plan was worked out by."""
    return {**trial.plan.lots, **trial.lots}


def other_loaves_words(trial: Trial) -> str:
    """Which command tells where else the lots of a loaf are; empty where none is recorded."""
    lots = dict.fromkeys(shlex.quote(use.lot) for uses in lots_named(trial).values() for use in uses)
    if not lots:
        return ""
    first, *others = lots
    more = f" (and {', '.join(others)})" if others else ""
    return f"formulary materials where {first}{more} tells which other loaves a lot of it is in"


def lot_weights(uses: Sequence[LotUse]) -> dict[str, float] | None:
    """Lot -> grams of it, 1 g where it is the only one; None for several lots that were not all weighed."""
    if len(uses) == 1:
        return {uses[0].lot: 1.0}
    weights = {use.lot: float(use.grams) for use in uses if use.grams is not None}
    return weights if len(weights) == len(uses) and sum(weights.values()) > 0 else None


def in_bars_g(trial: Trial, material: str) -> float:
    """Grams of a material in the bars, of all lots and stages together."""
    return sum(line.grams for line in pot_of_bars(trial).lines if line.material == material)


def lots_gap_g(trial: Trial, material: str) -> float:
    """Grams of a material in the bars that are of none of its lots, below 0 where these make more than went in.

    0 where they make it up as near as scales tell, and where not all of them, or none, were weighed.
    """
    uses = lots_named(trial).get(material, ())
    if not uses or any(use.grams is None for use in uses):
        return 0.0
    went_in_g = in_bars_g(trial, material)
    gap_g = went_in_g - sum(float(use.grams) for use in uses if use.grams is not None)
    return gap_g if abs(gap_g) > _tolerance_g(trial, material, went_in_g) else 0.0


def _tolerance_g(trial: Trial, material: str, went_in_g: float) -> float:
    """How near the lots of a material must come to what went in: as near as that is known, and as scales tell."""
    went_in = (*trial.as_made, *find_taken_in(trial))
    about_g = sum(float(entry.give_or_take_g) for entry in went_in if entry.went_in == material)
    return about_g + max(1.0, went_in_g * _LOT_TOLERANCE_PERCENT / 100.0)
