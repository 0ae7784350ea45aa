"""The mixed lye of the jug, said as one weight: what was spilled of it was alkali and water alike."""

from __future__ import annotations

from collections.abc import Mapping

from formulary.batch.model import Batch
from formulary.errors import InputError

LYE = "lye"


def spread_mixed_lye(batch: Batch, weighed_g: Mapping[str, float]) -> dict[str, float]:
    """What is in the vessels, with `lye` as what it is mixed of: all that the batch has in the jug, as planned.

    A material of the batch that is called so is that material. Raises InputError where a part of the lye is given by
    itself, too: nobody knows which of the two holds.
    """
    spread = dict(weighed_g)
    if LYE not in spread or any(line.material == LYE for line in batch.pot.lines):
        return spread
    jug: dict[str, float] = {}
    for line in batch.pot.lines:
        if line.at == "lye water":
            jug[line.material] = jug.get(line.material, 0.0) + line.grams
    twice = [name for name in jug if name in spread]
    if twice:
        what = f"the mixed lye is weighed, and {' and '.join(twice)} in it by itself"
        raise InputError.of("weighed-twice", what, "give the lye where it is mixed as planned, else each part of it")
    lye_g, planned_g = spread.pop(LYE), sum(jug.values())
    return spread | {name: lye_g * grams / planned_g for name, grams in jug.items()}
