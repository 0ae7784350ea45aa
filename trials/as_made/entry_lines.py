"""Which lines of a pot an entry of the record speaks of, and what it makes of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from formulary.batch.mixed_lye import LYE
from formulary.batch.model import PotLine
from formulary.materials.model import Material, MaterialKind
from trials.trial.model import AsMade, Plan, Trial

WATER = "water"


def find_lines(lines: Iterable[PotLine], material: str, at: str | None = None) -> tuple[PotLine, ...]:
    """The lines of a pot that an entry speaks of: by material, and by stage where it names one.

    `water` is the water weighed for the lye; water that the plan adds at another stage is named by that stage.
    """
    found = [line for line in lines if line.material == material]
    if material == WATER and at is None:
        found = [line for line in found if line.role == "water"] or found
    if at is not None:
        found = [line for line in found if line.at == at]
    return tuple(found)


def is_mixed_lye(entry: AsMade, plan: Plan) -> bool:
    """Whether an entry is of the mixed lye of the jug, and not of a material that is called so."""
    return entry.line == LYE and not find_lines(plan.pot.lines, LYE)


def is_in_weighed_lye(entry: AsMade, trial: Trial) -> bool:
    """Whether an entry is of something in the jug, of which by another entry so much went in by weight, mixed."""
    if is_mixed_lye(entry, trial.plan) or not any(
        is_mixed_lye(each, trial.plan) and each.weighed_g is not None for each in trial.as_made
    ):
        return False
    return "lye water" in stages_of(entry, trial.plan)


def stages_of(entry: AsMade, plan: Plan) -> frozenset[str]:
    """The stages at which something went in as an entry says."""
    if is_mixed_lye(entry, plan):
        return frozenset({"lye water"})
    if entry.extra is not None:
        return frozenset({entry.at or "trace"})
    return frozenset(line.at for line in find_lines(plan.pot.lines, entry.line or "", entry.at))


def role_of(material: str, materials: Mapping[str, Material], planned: str) -> str:
    """What a material is in the pot: milk for water is an addition; oil for an addition stays one, and has no lye."""
    if material == WATER:
        return "water"
    known = materials.get(material)
    if known is None:
        return "addition" if planned in ("water", "alkali") else planned
    if known.kind.is_fat:
        return "addition" if planned == "addition" else "oil"
    if known.kind is MaterialKind.ALKALI:
        return "alkali"
    return "scent" if known.kind is MaterialKind.FRAGRANCE else "addition"
