"""How far the superfat may lie from its working value, given what is not known of oils and alkali."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from formulary.chemistry.alkali import superfat_percent

LOWEST_PERCENT = -100.0


class Uncertain(NamedTuple):
    """Moles (of saponifiable equivalents or of hydroxide) as worked with, and the ends of their range."""

    working_mol: float
    low_mol: float
    high_mol: float


class SuperfatBand(NamedTuple):
    """Superfat in percent: as worked out, its likely band (root-sum-square) and the worst case both ways."""

    working: float
    low: float
    high: float
    worst_low: float
    worst_high: float


def find_superfat_band(fats: Sequence[Uncertain], alkalis: Sequence[Uncertain]) -> SuperfatBand:
    """The superfat with its likely band and its worst case.

    Each source of doubt is moved alone to its end and the superfat's shift noted. The shifts of independent
    sources add by their squares (root-sum-square); in the worst case all are at their bad end at once.

    Parameters
    ----------
    fats: one entry for every material that carries saponifiable equivalents.
    alkalis: one entry for every alkali that is free for the fat; a scale's step widens its low end.

    Returns
    -------
    the band, percent. No end lies below -100 %, where there is twice the alkali that the fat can take: with next to no
    fat (a wax of which little is certain to react, an oil of unknown value) nothing lower would say more.

    Source: combination of independent uncertainties, JCGM 100:2008 (GUM), clause 5.1, from memory; the ends
    of each range are taken as they are, without dividing by a coverage factor, which errs on the wide side.

    >>> band = find_superfat_band([Uncertain(3.4, 3.3, 3.5)], [Uncertain(3.23, 3.23, 3.23)])
    >>> round(band.working, 2), round(band.low, 2), round(band.high, 2)
    (5.0, 2.12, 7.71)
    """
    fat_mol = sum(fat.working_mol for fat in fats)
    alkali_mol = sum(alkali.working_mol for alkali in alkalis)
    working = _superfat(fat_mol, alkali_mol)
    downs, ups = [], []
    for fat in fats:
        downs.append(working - _superfat(fat_mol - fat.working_mol + fat.low_mol, alkali_mol))
        ups.append(_superfat(fat_mol - fat.working_mol + fat.high_mol, alkali_mol) - working)
    for alkali in alkalis:
        downs.append(working - _superfat(fat_mol, alkali_mol - alkali.working_mol + alkali.high_mol))
        ups.append(_superfat(fat_mol, alkali_mol - alkali.working_mol + alkali.low_mol) - working)
    return SuperfatBand(
        working=working,
        low=max(LOWEST_PERCENT, working - math.hypot(*(max(down, 0.0) for down in downs))),
        high=working + math.hypot(*(max(up, 0.0) for up in ups)),
        worst_low=_superfat(sum(fat.low_mol for fat in fats), sum(alkali.high_mol for alkali in alkalis)),
        worst_high=_superfat(sum(fat.high_mol for fat in fats), sum(alkali.low_mol for alkali in alkalis)),
    )


def _superfat(fat_mol: float, alkali_mol: float) -> float:
    if fat_mol <= 0:
        return LOWEST_PERCENT if alkali_mol > 0 else 0.0
    return max(LOWEST_PERCENT, superfat_percent(fat_mol, alkali_mol))
