"""The maker's own weighings of spoons, from a material's file."""

from __future__ import annotations

from decimal import Decimal

from formulary.document.fields import Fields
from formulary.document.tree import Scalar
from formulary.materials.model import MaterialKind, SpoonMass
from formulary.quantity import SPOON_UNITS, parse_mass_g


def read_measures(fields: Fields, kind: MaterialKind) -> dict[str, SpoonMass] | None:
    """The maker's own weighings of spoons: `measures: {tsp: 2.1 g}` or `{tsp: {mass: 2.1 g, n: 3}}`."""
    if not fields.has("measures"):
        return None
    found: dict[str, SpoonMass] = {}
    for entry in fields.entries("measures"):
        unit = entry.key.text
        if unit not in SPOON_UNITS:
            fields.report(
                "measure-unknown",
                f"{unit[:24]!r} is not a spoon or cup",
                f"write one of: {', '.join(SPOON_UNITS)}",
                entry.key,
                "measures",
            )
        elif kind in (MaterialKind.ALKALI, MaterialKind.ACID, MaterialKind.FRAGRANCE):
            what = f"{kind.value} is never measured by volume"
            fields.report("measure-refused", what, "remove the line and weigh it", entry.key, "measures")
        elif isinstance(entry.value, Scalar):
            mass = fields.parse_node(entry.value, parse_mass_g, f"measures, {unit}")
            if mass is not None:
                found[unit] = SpoonMass(float(mass))
        else:
            inner = fields.as_block(entry.value, f"measures, {unit}")
            if inner is not None:
                mass = inner.parsed("mass", parse_mass_g, required=True)
                n = inner.decimal("n", low=Decimal(1), high=Decimal(1000))
                inner.finish()
                if mass is not None:
                    found[unit] = SpoonMass(float(mass), int(n or 1))
    return found
