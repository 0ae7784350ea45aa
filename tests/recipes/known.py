"""A few materials as tweaks see them, invented for these tests."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True)
class Known:
    kind: str
    water_percent: float | None = None


MATERIALS = MappingProxyType(
    {
        **{name: Known("oil") for name in ("olive-oil", "coconut-oil", "rice-bran-oil", "castor-oil", "hemp-seed-oil")},
        **{name: Known("oil") for name in ("sunflower-oil", "shea-butter", "sweet-almond-oil")},
        "beeswax": Known("wax"),
        "sodium-hydroxide": Known("alkali"),
        "potassium-hydroxide": Known("alkali"),
        "lactic-acid-88": Known("acid", 12.0),
        "oat-milk": Known("liquid", 90.0),
        "goat-milk": Known("liquid", 87.0),
        "cucumber-juice": Known("liquid", 96.0),
        "pumpkin-puree": Known("additive", 90.0),
        "honey": Known("additive", 17.0),
        "salt": Known("additive", 0.0),
        "rose-clay": Known("colourant", 0.0),
        "kaolin": Known("colourant", 0.0),
        "clove-bud-oil": Known("fragrance"),
        "lavender-oil": Known("fragrance"),
        "peppermint-oil": Known("fragrance"),
        "sweet-orange-oil": Known("fragrance"),
    }
)
