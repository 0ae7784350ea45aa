"""Of a weight that is known only about, the end that leaves more lye in the bars, or more of a scent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

from formulary.batch.model import Pot, PotLine
from formulary.materials.model import Material, MaterialKind
from trials.as_made.entry_lines import is_in_weighed_lye, is_mixed_lye, role_of
from trials.trial.model import AsMade, Trial


def at_worst_end(entry: AsMade, trial: Trial, pot: Pot, *, for_scent: str | None = None) -> AsMade:
    """An entry at the end of its weight that leaves more lye, or more scent; pot: with all weights in their middle.

    for_scent: that makes the most of this scent in the bars, of which all else is the least then, lye too.
    """
    if not entry.give_or_take_g or entry.weighed_g is None:
        return entry
    materials = trial.materials
    known = materials.get(entry.went_in)
    takes_most = is_more_worse(known, for_scent=for_scent) or (for_scent is None and is_mixed_lye(entry, trial.plan))
    if for_scent is None and known is not None and is_in_weighed_lye(entry, trial):
        # Of so much mixed lye that went in, the more is alkali the less else was in the jug: water, or a scent.
        takes_most = alkali_mol_per_g(known) > _jug_mol_per_g(pot, materials)
    off_g = entry.give_or_take_g if takes_most else -entry.give_or_take_g
    return replace(entry, weighed_g=entry.weighed_g + off_g, give_or_take_g=Decimal(0))


def is_more_worse(material: Material | None, *, for_scent: str | None = None) -> bool:
    """Whether the more of it, the worse for the bars: lye and scent, and nothing else; for_scent: this one alone."""
    if material is None:
        return False
    if for_scent is not None:
        return material.slug == for_scent
    return material.kind in (MaterialKind.ALKALI, MaterialKind.FRAGRANCE)


def alkali_mol_per_g(material: Material) -> float:
    """Moles of hydroxide that a gram of it brings; below 0 for what it takes up, as fat or as acid."""
    from formulary.batch.figures import free_alkali_mol

    line = PotLine(material.slug, role_of(material.slug, {material.slug: material}, "oil"), "oils", 1.0)
    return free_alkali_mol(line, {material.slug: material})


def _jug_mol_per_g(pot: Pot, materials: Mapping[str, Material]) -> float:
    """Moles of hydroxide in a gram of the mixed lye, less what the rest of the jug takes up, as far as it is known."""
    jug = [line for line in pot.lines if line.at == "lye water"]
    mixed_g = sum(line.grams for line in jug)
    known = [line for line in jug if line.material in materials]  # a file is read without the register, too
    brought_mol = sum(line.grams * alkali_mol_per_g(materials[line.material]) for line in known)
    return brought_mol / mixed_g if mixed_g > 0 else 0.0
