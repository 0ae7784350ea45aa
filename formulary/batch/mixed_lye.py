"""The mixed lye of the jug, said as one weight: what was spilled of it was alkali and water alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from formulary.batch.model import Batch, PotLine
from formulary.errors import InputError
from formulary.quantity import format_number

LYE = "lye"
# The alkali itself is called so, too: up to so much of its plan a weight may be meant for it (common practice, no
# source).
_MAY_BE_DRY = 1.25


def spread_mixed_lye(batch: Batch, weighed_g: Mapping[str, float]) -> dict[str, float]:
    """What is in the vessels, with `lye` as what it is mixed of: all that the batch has in the jug, as planned.

    A material of the batch that is called so is that material. Raises InputError where a part of the lye is given by
    itself, too: nobody knows which of the two holds; and for so little that the dry alkali may be meant, since what is
    there already would be weighed once more.
    """
    spread = dict(weighed_g)
    if LYE not in spread or any(line.material == LYE for line in batch.pot.lines):
        return spread
    in_jug = [line for line in batch.pot.lines if line.at == "lye water"]
    twice = [name for name in dict.fromkeys(line.material for line in in_jug) if name in spread]
    if twice:
        what = f"the mixed lye is weighed, and {' and '.join(twice)} in it by itself"
        raise InputError.of("weighed-twice", what, "give the lye where it is mixed as planned, else each part of it")
    lye_g = spread.pop(LYE)
    doubt = doubt_mixed(lye_g, in_jug)
    if doubt is not None:
        raise InputError.of("bad-weighed", *doubt)
    return spread | _parts_of(lye_g, in_jug)


def doubt_mixed(lye_g: float, in_jug: Sequence[PotLine]) -> tuple[str, str] | None:
    """Why so much lye, in grams, may be the alkali by itself, and what to write instead; None where it is too much.

    in_jug: what was planned in it.
    """
    alkalis = tuple(dict.fromkeys(line.material for line in in_jug if line.role == "alkali"))
    alkali_g = sum(line.grams for line in in_jug if line.role == "alkali")
    mixed_g = sum(line.grams for line in in_jug)
    if not 0 < lye_g <= _MAY_BE_DRY * alkali_g < mixed_g:
        return None
    said = f"{format_number(lye_g, 1)} g"
    what = (
        f"{said} of lye may be the alkali by itself, {format_number(alkali_g, 1)} g as planned, or what is left of"
        f" {format_number(mixed_g, 0)} g of mixed lye"
    )
    dry = f'for the alkali write "{alkalis[0]} {said}"; ' if len(alkalis) == 1 else ""
    parts = _parts_of(lye_g, in_jug)
    each = ", ".join(f'"{name} {format_number(grams, 1)} g"' for name, grams in parts.items())
    return what, f"{dry}for mixed lye each part of it: {each}"


def _parts_of(lye_g: float, in_jug: Sequence[PotLine]) -> dict[str, float]:
    """Grams of each material in so much of the mixed lye."""
    planned_g: dict[str, float] = {}
    for line in in_jug:
        planned_g[line.material] = planned_g.get(line.material, 0.0) + line.grams
    mixed_g = sum(planned_g.values())
    return {name: lye_g * grams / mixed_g for name, grams in planned_g.items()}
