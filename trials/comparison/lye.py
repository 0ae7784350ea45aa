"""The lye of the columns of a comparison, worked out again for one mass of oils, so that sizes do not hide it."""

from __future__ import annotations

from collections.abc import Sequence

from formulary.errors import InputError
from formulary.materials.plain_name import material_words
from trials.as_made.as_made_recipe import describe_as_made
from trials.comparison.compared import Column, ComparedLye
from trials.factors.portion_facts import Pour

OIL_MASS_G = 1000.0
_WATER = "water to weigh"
_WATER_PER_ALKALI = 3.0  # grams of water that may follow a gram of alkali, with the weakest lye that is usual


def find_lye(columns: Sequence[Column]) -> tuple[ComparedLye, ...]:
    """Every alkali and the water as they were weighed, in grams for 1000 g of oils; of repeats their mean.

    A difference counts that no scale's rounding can make: each alkali is weighed to its scale's step, rounded down, and
    the water follows all of them.
    """
    found = [[_weighed(pour) for pour in column.pours] for column in columns]
    names = dict.fromkeys(name for group in found for weighed in group if weighed for name in weighed)
    excused_g = max(
        (
            OIL_MASS_G * float(pour.trial.plan.settings.alkali_step_g) / pour.trial.plan.oil_mass_g
            for column in columns
            for pour in column.pours
        ),
        default=0.0,
    )
    rows = []
    for name in sorted(names, key=lambda name: (name == _WATER, name)):
        values = tuple(_mean([weighed.get(name, 0.0) for weighed in group if weighed is not None]) for group in found)
        known = [value for value in values if value is not None]
        excused = excused_g if name != _WATER else _WATER_PER_ALKALI * excused_g * (len(names) - 1)
        # Just one step apart is a true difference: two roundings down differ by less.
        differs = bool(known) and max(known) - min(known) > excused - 1e-6
        rows.append(ComparedLye(name, values, differs))
    return tuple(rows)


def _weighed(pour: Pour) -> dict[str, float] | None:
    """Grams by what was weighed; None where no oil went in, so that there is nothing to hold them against."""
    try:
        batch = describe_as_made(pour.trial, portion=pour.portion, oil_mass_g=OIL_MASS_G).batch
    except InputError:
        return None
    return {**{material_words(line.material): line.grams for line in batch.lye}, _WATER: batch.water.weigh_grams}


def _mean(figures: Sequence[float]) -> float | None:
    return sum(figures) / len(figures) if figures else None
