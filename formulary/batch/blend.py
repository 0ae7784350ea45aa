"""What a blend is, in chemistry: fatty acids, calculated values, and what else is in a kilogram of oils."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from formulary.batch.figures import water_in
from formulary.batch.model import Batch
from formulary.chemistry.fatty_acids import (
    blended_fatty_acids_percent,
    calculated_iodine_value,
    calculated_saponification_value,
    chain_groups_percent,
    find_saturation,
)
from formulary.materials.model import Material, MaterialKind, ValueRange
from formulary.read_only import ReadOnly


@dataclass(frozen=True, slots=True, kw_only=True)
class Blend:
    """Facts of a blend of oils; no judgement. Percentages are of the fatty acids whose profile is known.

    known_percent: percent of the oils (by mass) whose fatty acids are known. saponification_value in mg KOH/g and
    iodine_value in g I2 per 100 g: `weighed` from the oils' own values, `calculated` from their fatty acids, which in
    an oil are bound to glycerol and in a fatty acid free.
    sugars, water, solids, vanillin: grams per kg of oils.
    """

    fatty_acids: Mapping[str, float]
    known_percent: float
    saponification_value_weighed: float | None
    saponification_value_calculated: float | None
    iodine_value_weighed: float | None
    iodine_value_calculated: float | None
    saturated_percent: float
    monounsaturated_percent: float
    polyunsaturated_percent: float
    chain_groups: Mapping[str, float]
    sugars_g_per_kg_oils: float
    water_g_per_kg_oils: float
    solids_g_per_kg_oils: float
    vanillin_g_per_kg_oils: float

    def to_json(self) -> dict[str, object]:
        return {
            "fatty_acids": dict(self.fatty_acids),
            "known_percent": self.known_percent,
            "saponification_value": {
                "weighed": self.saponification_value_weighed,
                "calculated": self.saponification_value_calculated,
            },
            "iodine_value": {"weighed": self.iodine_value_weighed, "calculated": self.iodine_value_calculated},
            "saturated_percent": self.saturated_percent,
            "monounsaturated_percent": self.monounsaturated_percent,
            "polyunsaturated_percent": self.polyunsaturated_percent,
            "chain_groups": dict(self.chain_groups),
            "sugars_g_per_kg_oils": self.sugars_g_per_kg_oils,
            "water_g_per_kg_oils": self.water_g_per_kg_oils,
            "solids_g_per_kg_oils": self.solids_g_per_kg_oils,
            "vanillin_g_per_kg_oils": self.vanillin_g_per_kg_oils,
        }


def describe_blend(batch: Batch, materials: Mapping[str, Material]) -> Blend:
    """The chemistry of a batch's oils, and what its additions and scents bring per kilogram of them.

    materials: those of the register; what the batch was worked out by, such as a lot's certificate, counts before them.
    """
    materials = {**materials, **batch.materials}
    grams: dict[str, float] = {}
    for line in batch.pot.lines:
        if line.role == "oil":
            grams[line.material] = grams.get(line.material, 0.0) + line.grams
    known = {name: (mass, materials[name].fatty_acids) for name, mass in grams.items() if materials[name].fatty_acids}
    acids = blended_fatty_acids_percent(known) if known else {}
    saturation = find_saturation(acids) if acids else None
    per_kg = 1000.0 / batch.oil_mass_g

    def carried(attribute: str, *roles: str) -> float:
        parts = (
            line.grams * (getattr(materials[line.material], attribute) or 0.0) / 100.0
            for line in batch.pot.lines
            if line.role in roles
        )
        return per_kg * sum(parts)

    return Blend(
        fatty_acids=ReadOnly(acids),
        known_percent=100.0 * sum(mass for mass, _ in known.values()) / batch.oil_mass_g,
        saponification_value_weighed=_mean(grams, materials, "saponification_value"),
        saponification_value_calculated=_calculated(known, materials, calculated_saponification_value),
        iodine_value_weighed=_mean(grams, materials, "iodine_value"),
        iodine_value_calculated=_calculated(known, materials, calculated_iodine_value),
        saturated_percent=saturation.saturated_percent if saturation else 0.0,
        monounsaturated_percent=saturation.monounsaturated_percent if saturation else 0.0,
        polyunsaturated_percent=saturation.polyunsaturated_percent if saturation else 0.0,
        chain_groups=ReadOnly(chain_groups_percent(acids) if acids else {}),
        sugars_g_per_kg_oils=carried("sugars_percent", "addition", "scent"),
        water_g_per_kg_oils=per_kg * sum(water_in(line, materials) for line in batch.pot.lines),
        solids_g_per_kg_oils=carried("solids_percent", "addition"),
        vanillin_g_per_kg_oils=carried("vanillin_percent", "addition", "scent"),
    )


def _mean(grams: Mapping[str, float], materials: Mapping[str, Material], attribute: str) -> float | None:
    """The mass-weighted mean of a value, or None when an oil's is not known."""
    total = 0.0
    for name, mass in grams.items():
        value: ValueRange | None = getattr(materials[name], attribute)
        if value is None:
            return None
        total += mass * value.working
    return total / sum(grams.values())


def _calculated(
    known: Mapping[str, tuple[float, Mapping[str, float]]],
    materials: Mapping[str, Material],
    formula: Callable[..., float],
) -> float | None:
    """The mass-weighted mean of what each known profile implies, or None when none is known."""
    if not known:
        return None
    parts = (
        mass * formula(profile, as_free_acids=materials[name].kind is MaterialKind.FATTY_ACID)
        for name, (mass, profile) in known.items()
    )
    return sum(parts) / sum(mass for mass, _ in known.values())
