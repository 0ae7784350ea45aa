"""The lots that went into a trial: one a material, or several with their grams."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from formulary.document.fields import Fields
from formulary.document.tree import Node, Scalar
from formulary.materials.model import Material
from formulary.names import suggest
from trials.read.parts import entries_of
from trials.trial.lot_use_text import read_lot_uses
from trials.trial.model import LotUse, Plan


def read_lots(
    fields: Fields, plan: Plan | None, brought: Sequence[str], register: Mapping[str, Material]
) -> dict[str, tuple[LotUse, ...]]:
    """Material -> its lots, and a finding for one that did not go in, or that is known as a lot of something else.

    brought: the materials that went in beside the plan's.
    """
    lots: dict[str, tuple[LotUse, ...]] = {}
    for key, node in entries_of(fields, "lots"):
        uses = read_lot_uses(fields, key, node)
        if plan is not None:
            _check_went_in(fields, key, plan, brought)
            for use in uses:
                _check_owner(fields, key, use.lot, node, register)
        if uses:
            lots[key.text] = uses
    return lots


def _check_went_in(fields: Fields, key: Scalar, plan: Plan, brought: Sequence[str]) -> None:
    in_pot = {line.material for line in plan.pot.lines} | set(brought)
    if key.text not in in_pot:
        do = suggest(key.text, in_pot, f"in the pot are: {', '.join(sorted(in_pot))}")
        what = f"a lot is given for {key.text[:40]!r}, which did not go in"
        fields.report("lot-not-in-pot", what, do, key, f"lots, {key.text[:40]}")


def _check_owner(fields: Fields, key: Scalar, lot: str, node: Node, register: Mapping[str, Material]) -> None:
    """A lot that is known, but of another material only, is a slip of the pen."""
    owners = [slug for slug, material in register.items() if lot in material.lots]
    if owners and key.text not in owners:
        what = f"lot {lot} is a lot of {' and '.join(owners)}, not of {key.text}"
        fields.report("lot-of-another", what, "correct the lot, or the material", node, f"lots, {key.text}")
