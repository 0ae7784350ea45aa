"""What a pot should hold in the end when some of it was weighed otherwise than planned, in grams by line."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from formulary.batch.figures import acid_mol, alkali_of, fat_mol, water_in
from formulary.batch.model import Batch, PotLine
from formulary.chemistry.alkali import discounted_mol, hydroxide_mol, rounded_down_g
from formulary.materials.model import Material

Materials = Mapping[str, Material]

_LYE = ("alkali", "water")
# So much of the alkali is half a point of superfat.
_SPARE_PART = 0.005
# An excess by less than that is the sum of floats, not a weighing.
_HAIR = 1e-9
_HALVINGS = 60


class LineKey(NamedTuple):
    """What is weighed, at whatever stage and for whatever portion."""

    material: str
    role: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RescueWeights:
    """The way to go on, and what the pot should hold, before what cannot be taken out is counted.

    grams: by material and role. lye_due, lye_there: the alkali that the oils are due, and that is there, in times of
    what was planned; where two alkalis are there, of the one that went further.
    """

    way: str
    grams: Mapping[LineKey, float]
    lye_due: float
    lye_there: float


def grams_by_line(lines: Iterable[PotLine]) -> dict[LineKey, float]:
    """Grams by material and role."""
    grams: dict[LineKey, float] = {}
    for line in lines:
        key = LineKey(line.material, line.role)
        grams[key] = grams.get(key, 0.0) + line.grams
    return grams


def spread_over_lines(lines: Iterable[PotLine], grams: Mapping[LineKey, float]) -> tuple[PotLine, ...]:
    """The lines, each with its part of other grams: stages and portions share as they did."""
    lines = tuple(lines)
    totals = grams_by_line(lines)
    alike = Counter(LineKey(line.material, line.role) for line in lines)
    return tuple(
        replace(line, grams=grams[key] * (line.grams / totals[key] if totals[key] else 1.0 / alike[key]))
        for line in lines
        for key in (LineKey(line.material, line.role),)
    )


def find_weights_there(batch: Batch, weighed_g: Mapping[str, float], *, lye_is_in: bool) -> dict[LineKey, float]:
    """What is in the vessels by now.

    Where a material stands in two parts of the recipe, each in turn up to what was planned of it, and the rest for the
    first, so that no gram counts twice. Of what nobody names nothing is there; once the lye is in the oils, all of what
    goes in before.
    """
    planned = grams_by_line(batch.pot.lines)
    before = grams_by_line(line for line in batch.pot.lines if lye_is_in and line.at in ("lye water", "oils"))
    left_g = dict(weighed_g)
    there: dict[LineKey, float] = {}
    for key, grams in planned.items():
        if key.material in left_g:
            there[key] = min(left_g[key.material], grams)
            left_g[key.material] -= there[key]
        else:
            there[key] = before.get(key, 0.0)
    return {key: grams + left_g.pop(key.material, 0.0) for key, grams in there.items()}


def find_rescue_weights(
    batch: Batch,
    there: Mapping[LineKey, float],
    materials: Materials,
    *,
    alkali_step_g: float,
    lye_is_in: bool,
) -> RescueWeights:
    """The way to go on: "new-alkali" for more of an oil, as long as the lye is not in the oils; "more-oil" when there
    is more alkali than all the oils in the end are due; else "as-it-is".

    there: what is in the vessels by now, by line. alkali_step_g: what the scale for alkali shows.
    """
    planned = grams_by_line(batch.pot.lines)
    keys = [key for key in planned if key.role == "alkali"]

    def lye_due(times: float) -> float:
        return _lye_due(batch, there, materials, times=times)

    due = lye_due(1.0)
    over = max(there[LineKey(alkali.material, "alkali")] / alkali.grams for alkali in batch.lye)
    if _is_over(batch, there, due, alkali_step_g):
        way, times = "more-oil", _find_least(lambda middle: lye_due(middle) >= over, over)
        lye = {key: max(rounded_down_g(planned[key] * over, alkali_step_g), there[key]) for key in keys}
    else:
        lye = {key: max(rounded_down_g(planned[key] * due, alkali_step_g), planned[key]) for key in keys}
        is_new = not lye_is_in and any(grams > planned[key] for key, grams in lye.items())
        way, times = "new-alkali" if is_new else "as-it-is", 1.0
    grams = {key: planned_g if key.role in _LYE else planned_g * times for key, planned_g in planned.items()}
    if lye_is_in:
        grams |= {key: there[key] for key in planned if key.role in _LYE}
    elif way != "as-it-is":
        grams |= lye
        grams |= _water_with(batch, grams, materials)
    return RescueWeights(way=way, grams=grams, lye_due=due, lye_there=over)


def _lye_due(batch: Batch, there: Mapping[LineKey, float], materials: Materials, *, times: float) -> float:
    """The alkali, in times of what was planned, that leaves the stated superfat in the oils and takes the acids, of so
    many times the planned oils and acids, and of no less of an oil than is there."""
    grams = {
        key: max(planned_g * times, there[key]) if key.role == "oil" else planned_g * times
        for key, planned_g in grams_by_line(batch.pot.lines).items()
    }
    lines = spread_over_lines(batch.pot.lines, grams)
    oils_mol = sum(fat_mol(line, materials[line.material]) for line in lines if line.role == "oil")
    acids_mol = sum(acid_mol(line, materials) for line in lines)
    planned_mol = sum(hydroxide_mol(alkali.pure_grams, alkali_of(materials[alkali.material])) for alkali in batch.lye)
    return (discounted_mol(oils_mol, batch.superfat.nominal) + acids_mol) / planned_mol


def _is_over(batch: Batch, there: Mapping[LineKey, float], due: float, alkali_step_g: float) -> bool:
    """Whether there is more alkali than the oils are due. What a scale does not show well is not over, as long as it
    leaves most of the superfat."""
    for alkali in batch.lye:
        due_g = alkali.grams * due
        spare_g = min(alkali_step_g, due_g * _SPARE_PART) if batch.superfat.nominal >= 1.0 else 0.0
        if there[LineKey(alkali.material, "alkali")] > due_g + spare_g + _HAIR * due_g:
            return True
    return False


def _find_least(is_enough: Callable[[float], bool], enough: float) -> float:
    """The least number above 1 that is enough."""
    too_small = 1.0
    for _ in range(_HALVINGS):
        middle = (too_small + enough) / 2.0
        if is_enough(middle):
            enough = middle
        else:
            too_small = middle
    return enough


def _water_with(batch: Batch, grams: Mapping[LineKey, float], materials: Materials) -> dict[LineKey, float]:
    """The water that keeps the lye as strong as stated: less by what a ready-made lye and what replaces water bring."""
    lines = spread_over_lines(batch.pot.lines, grams)
    pure_g = sum(grams[LineKey(alkali.material, "alkali")] * alkali.assay_percent / 100.0 for alkali in batch.lye)
    stated_g = pure_g * (100.0 - batch.water.nominal_percent) / batch.water.nominal_percent
    brought_g = sum(water_in(line, materials) for line in lines if line.role == "alkali" or line.water == "replaces")
    return {key: stated_g - brought_g for key in grams if key.role == "water"}
