"""What naming a lot does to the values that a trial is worked out by, for the person who names it."""

from __future__ import annotations

import shlex
from collections.abc import Sequence

from formulary.materials.model import MaterialKind
from formulary.materials.plain_name import material_words
from trials.as_made.lots_used import kept_materials, materials_of
from trials.as_made.recalculate import find_value_changes
from trials.trial.model import Trial

# Of these a certificate decides the lye, or what may be sold.
_WITH_CERTIFICATE = (MaterialKind.ALKALI, MaterialKind.ACID, MaterialKind.FRAGRANCE)


def describe_lot_values(before: Trial, after: Trial, material: str, lots: Sequence[str]) -> str:
    """Which values of a material are others by the lots that a trial now names, or that nothing is known of one.

    before, after: the trial without the entry, and with it. Empty where there is nothing to tell.
    """
    known = kept_materials(after).get(material)
    if known is None:
        return ""
    unknown = [lot for lot in lots if lot not in known.lots]
    if unknown:
        if not known.kind.is_fat and known.kind not in _WITH_CERTIFICATE:
            return ""
        which, it = ("this lot", "it") if len(lots) == 1 else (" and ".join(unknown), "one")
        return (
            f"Nothing is registered of {which}, so the general values of {material_words(material)} count; if {it} has"
            f" a certificate: formulary materials lot {material} {shlex.quote(unknown[0])}"
        )
    was = materials_of(before).get(material)
    changes = [] if was is None else find_value_changes(material, was, materials_of(after)[material])
    if not changes:
        return ""
    said = "; ".join(f"{change.value}: {change.after}, was {change.before}" for change in changes)
    which = "this lot" if len(lots) == 1 else "these lots"
    return f"What is registered of {which} counts from now on, and is kept with the trial: {said}"
