"""Whether the maker's vessels hold the batch: the pot with room to stir, the jug with room to foam."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from formulary.batch.model import Pot
from formulary.batch.volume import pot_volume_ml
from formulary.finding import Finding, Place, warn
from formulary.materials.model import Material
from formulary.quantity import format_number
from formulary.settings import Settings

# How full a vessel may be: common practice, no source. Lye foams and may spit while the alkali goes in.
FULLEST = {"pot": 0.8, "jug": 0.6}


def check_vessels(pot: Pot, materials: Mapping[str, Material], settings: Settings) -> Iterable[Finding]:
    """A warning for each vessel of `formulary.yaml` that the batch fills too far."""
    yield from _check_fill("pot", pot_volume_ml(pot, materials), settings)
    yield from _check_fill("jug", _jug_volume_ml(pot), settings)


def check_shared_vessels(
    melted: Pot | None, in_jug: Pot | None, materials: Mapping[str, Material], settings: Settings
) -> Iterable[Finding]:
    """A warning for each vessel that what a sitting melts, or dissolves, for all its loaves fills too far."""
    if melted is not None:
        yield from _check_fill("pot", pot_volume_ml(melted, materials), settings)
    if in_jug is not None:
        yield from _check_fill("jug", _jug_volume_ml(in_jug), settings)


def _jug_volume_ml(pot: Pot) -> float:
    # Lye takes a little less room than its water and alkali apart; their masses in millilitres err on the safe side.
    return sum(line.grams for line in pot.lines if line.at == "lye water")


def _check_fill(vessel: str, volume_ml: float, settings: Settings) -> Iterable[Finding]:
    size_ml = settings.vessels_ml.get(vessel)
    if size_ml is not None and volume_ml > float(size_ml) * FULLEST[vessel]:
        what = (
            f"the {vessel} of {float(size_ml):g} ml would hold {format_number(volume_ml, 0)} ml:"
            f" it should be at most {100 * FULLEST[vessel]:.0f} % full"
        )
        larger_ml = 10 * math.ceil(volume_ml / FULLEST[vessel] / 10)
        percent = math.floor(100 * float(size_ml) * FULLEST[vessel] / volume_ml)
        do = f"take one of {larger_ml} ml or more (and set `vessels`), or make at most {percent} % of this"
        yield warn(f"{vessel}-small", what, do, Place("formulary.yaml"))
