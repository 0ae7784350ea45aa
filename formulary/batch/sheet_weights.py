"""What a sheet says of each weighing of a batch, so that what is printed adds up to what the sheet says in all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TypeAlias

from formulary.batch.model import PotLine
from formulary.batch.scale import Scale, share_out

# Material, role and stage of what is weighed in one go, whatever portions it is for.
Weighing: TypeAlias = tuple[str, str, str]


def grams_by_weighing(lines: Iterable[PotLine]) -> dict[Weighing, float]:
    """The exact grams of each weighing."""
    grams: dict[Weighing, float] = {}
    for line in lines:
        key = (line.material, line.role, line.at)
        grams[key] = grams.get(key, 0.0) + line.grams
    return grams


def shown_weights(lines: Sequence[PotLine], scale: Scale, *, oils_g: float | None = None) -> dict[Weighing, float]:
    """What a sheet says of each weighing of a batch, in grams.

    oils_g: what the oils among the lines total on the sheet, as near as a step lets them; their exact total unless
    given.
    """
    exact = grams_by_weighing(lines)
    shown = {key: scale.shown(key[1], grams) for key, grams in exact.items() if key[1] != "scent"}
    for line in lines:
        if line.role == "scent":  # each portion's by itself: one of them may stand at its limit
            key = (line.material, line.role, line.at)
            shown[key] = shown.get(key, 0.0) + scale.shown("scent", line.grams)
    oils = {key: grams for key, grams in exact.items() if key[1] == "oil"}
    wanted_g = sum(oils.values()) if oils_g is None else oils_g
    coarse = {key: grams for key, grams in oils.items() if not scale.is_too_coarse(grams)}
    fine = {key: grams for key, grams in oils.items() if key not in coarse and grams >= scale.finest_g}
    tiny_g = sum(shown[key] for key in oils if key not in coarse and key not in fine)
    fine_g = sum(fine.values()) if coarse else wanted_g - tiny_g
    shown_fine = share_out(fine, fine_g, scale.finest_g)
    left_g = wanted_g - tiny_g - sum(shown_fine.values())
    return {**shown, **shown_fine, **share_out(coarse, left_g, scale.step_g)}


def oils_of(weights: Mapping[Weighing, float]) -> float:
    """Grams of oil in all, by what a sheet says of each weighing."""
    return sum(grams for (_, role, _), grams in weights.items() if role == "oil")


def batter_of(weights: Mapping[Weighing, float]) -> float:
    """Grams that are poured in all, by what a sheet says of each weighing: what goes on top is not of the batter."""
    return sum(grams for (_, _, stage), grams in weights.items() if stage != "top")


def shown_parts(parts: Sequence[PotLine], shown_g: float, scale: Scale) -> list[float]:
    """How one weighing is divided over its portions, in parts that add up to what the sheet says of it."""
    total_g = sum(part.grams for part in parts)
    if parts[0].role == "scent" or total_g <= 0:
        return [scale.shown("scent", part.grams) for part in parts]
    exact = {number: part.grams * shown_g / total_g for number, part in enumerate(parts)}
    return list(share_out(exact, shown_g, min(map(scale.step_for, exact.values()))).values())
