"""What a sitting's sheet says of each vessel and each loaf, as the scales show it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from formulary.batch.model import Pot, PotLine
from formulary.batch.scale import share_out
from formulary.batch.sheet_weights import Weighing, batter_of, oils_of, shown_weights
from formulary.batch.sitting_model import Sitting
from formulary.chemistry.alkali import rounded_down_g


@dataclass(frozen=True, slots=True)
class LoafWeights:
    """What a loaf gets of the shared vessels and is weighed for it alone, in grams as the scales show them."""

    own: Mapping[Weighing, float]
    of_jug_g: float | None
    of_pot_g: float | None

    @property
    def oils_g(self) -> float:
        """Grams of oil in the loaf."""
        return oils_of(self.own) + (self.of_pot_g or 0.0)

    @property
    def batter_g(self) -> float:
        """Grams of what is poured."""
        return batter_of(self.own) + (self.of_jug_g or 0.0) + (self.of_pot_g or 0.0)


@dataclass(frozen=True, slots=True)
class SittingWeights:
    """All that a sitting's sheet says in grams: material -> grams in each shared vessel, then the loaves."""

    jug: Mapping[str, float] | None
    pot: Mapping[str, float] | None
    loaves: tuple[LoafWeights, ...]


def weigh_sitting(sitting: Sitting) -> SittingWeights:
    """What each vessel and each loaf gets, as the scales show it, adding up as printed.

    A loaf's part of the lye is rounded down, so a little may stay in the jug; the melted oils all go out.
    """
    scale = sitting.batches[0].scale
    jug = pot = None
    of_jug: list[float | None] = [None] * len(sitting.batches)
    of_pot = list(of_jug)
    if sitting.jug is not None:
        alkalis = find_alkalis(sitting)
        jug = {name: scale.shown("alkali" if name in alkalis else "water", grams) for name, grams in sitting.jug.lines}
        part = sum(jug.values()) / sitting.jug.total_grams
        of_jug = [rounded_down_g(grams * part, scale.alkali_step_g) for grams in sitting.jug.each]
    if sitting.pot is not None:
        step_g = scale.step_for(min(grams for grams in (*sitting.pot.each, *dict(sitting.pot.lines).values())))
        pot = share_out(dict(sitting.pot.lines), sitting.pot.total_grams, step_g)
        of_pot = list(share_out(dict(enumerate(sitting.pot.each)), sum(pot.values()), step_g).values())
    loaves = []
    for batch, lines, from_jug, from_pot in zip(sitting.batches, sitting.own, of_jug, of_pot, strict=True):
        oils_g = batch.oil_mass_g - (from_pot or 0.0)
        loaves.append(LoafWeights(shown_weights(lines, scale, oils_g=oils_g), from_jug, from_pot))
    return SittingWeights(jug, pot, tuple(loaves))


def find_alkalis(sitting: Sitting) -> set[str]:
    """The alkalis of all loaves, by name."""
    return {alkali.material for batch in sitting.batches for alkali in batch.lye}


def printed_loaf(sitting: Sitting, weights: SittingWeights, number: int) -> Pot:
    """What a loaf holds when it gets just what the sheet says, of the shared vessels and of its own."""
    loaf = weights.loaves[number]
    water = {(line.material, line.role, line.at): line.water for line in sitting.own[number]}
    lines = [PotLine(*key, grams, None, water[key]) for key, grams in loaf.own.items()]
    alkalis = find_alkalis(sitting)
    for vessel, gets_g, stage in ((weights.jug, loaf.of_jug_g, "lye water"), (weights.pot, loaf.of_pot_g, "oils")):
        if vessel is None or gets_g is None:
            continue
        for name, grams in vessel.items():
            role = "oil" if stage == "oils" else "alkali" if name in alkalis else "water"
            lines.append(PotLine(name, role, stage, grams * gets_g / sum(vessel.values())))
    return Pot(tuple(lines))
