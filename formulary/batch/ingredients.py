"""The ingredient list of a bar, in descending order by INCI name: as put in the pot, and as in the bar."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from formulary.batch.figures import alkali_of, assay, water_in
from formulary.batch.model import Batch, PotLine
from formulary.batch.volume import cured_mass_g
from formulary.chemistry.alkali import Alkali, alkali_mass_g, hydroxide_mol, hydroxide_mol_for_fat
from formulary.chemistry.constituents import ALLERGEN_NAMED_ABOVE_PERCENT
from formulary.chemistry.soap_and_glycerol import glycerol_freed_g
from formulary.finding import Finding, note, warn
from formulary.materials.model import Material, MaterialKind
from formulary.settings import Settings

# Below this part of the product, ingredients may be named in any order after the others: Regulation (EC) No
# 1223/2009, Article 19 (1) g.
ANY_ORDER_BELOW_PERCENT = 1.0
WATER_INCI = "AQUA"
SCENT_INCI = "PARFUM"
GLYCEROL_INCI = "GLYCERIN"
_ALKALI_INCI = {Alkali.SODIUM_HYDROXIDE: "SODIUM HYDROXIDE", Alkali.POTASSIUM_HYDROXIDE: "POTASSIUM HYDROXIDE"}

Materials = Mapping[str, Material]


@dataclass(frozen=True, slots=True)
class Ingredient:
    """One name on the list and its percent by mass; `any_order` where the law lets it stand in any order."""

    inci: str
    percent: float
    any_order: bool

    def to_json(self) -> dict[str, object]:
        return {"inci": self.inci, "percent": self.percent, "any_order": self.any_order}


@dataclass(frozen=True, slots=True, kw_only=True)
class IngredientList:
    """Both lists, the allergens to name, and what of milk, nut or wheat origin is in the bar.

    allergens: name -> percent of the cured bar, None where a certificate names it without an amount.
    origins: origin -> materials.
    """

    in_pot: tuple[Ingredient, ...]
    in_bar: tuple[Ingredient, ...]
    allergens: tuple[tuple[str, float | None], ...]
    origins: tuple[tuple[str, tuple[str, ...]], ...]
    findings: tuple[Finding, ...]

    def to_json(self) -> dict[str, object]:
        return {
            "in_pot": [line.to_json() for line in self.in_pot],
            "in_bar": [line.to_json() for line in self.in_bar],
            "allergens": [{"allergen": name, "percent": percent} for name, percent in self.allergens],
            "origins": [{"origin": origin, "materials": list(names)} for origin, names in self.origins],
            "findings": [finding.to_json() for finding in self.findings],
        }


def list_ingredients(batch: Batch, materials: Materials, settings: Settings) -> IngredientList:
    """The ingredient lists of a batch, for the maker to check against the rules where they sell.

    In the bar, the alkali is used up: each oil stands as its soap (less what the superfat leaves as oil), glycerol is
    freed, and the water is less what the cure takes.
    """
    findings = [
        note(
            "label-duty",
            "what stands on the label is the maker's legal duty, and local rules decide",
            "have the list checked by whoever assesses the product's safety",
        )
    ]
    named = {line.material for line in batch.pot.lines}
    for name in sorted(named):
        if materials[name].inci is None and name != "water":
            do = f"write `inci` in materials/{name}.yaml, from the supplier's papers"
            stands = f"; it stands as {_inci(materials[name])} here"
            findings.append(warn("inci-unknown", f"no INCI name is known for {name}{stands}", do))
    cured_g = cured_mass_g(batch.pot, materials, settings)
    return IngredientList(
        in_pot=_ordered(_in_pot(batch, materials)),
        in_bar=_ordered(_in_bar(batch, materials, settings)),
        allergens=_allergens(batch, materials, cured_g),
        origins=_origins(named, materials),
        findings=tuple(findings),
    )


def _inci(material: Material) -> str:
    """Its INCI name; a scent without one may stand as PARFUM, whatever it is called on the bottle."""
    if material.inci is None and material.kind is MaterialKind.FRAGRANCE:
        return SCENT_INCI
    return material.inci or material.name.upper()


def _in_pot(batch: Batch, materials: Materials) -> dict[str, float]:
    grams: dict[str, float] = {}
    for line in batch.pot.lines:
        inci = WATER_INCI if line.role == "water" else _inci(materials[line.material])
        grams[inci] = grams.get(inci, 0.0) + line.grams
    return grams


def _in_bar(batch: Batch, materials: Materials, settings: Settings) -> dict[str, float]:
    grams: dict[str, float] = {}

    def put(inci: str, weight_g: float) -> None:
        grams[inci] = grams.get(inci, 0.0) + weight_g

    moles = _hydroxide_shares(batch, materials)
    left = max(batch.superfat.effective, 0.0) / 100.0
    for line in batch.pot.lines:
        material = materials[line.material]
        if line.role == "oil":
            _put_soap(put, line, material, left, moles)
        elif line.role == "water":
            put(WATER_INCI, line.grams)
        elif line.role != "alkali":
            put(_inci(material), line.grams)
    if batch.superfat.effective < 0:
        for alkali in batch.lye:
            put(
                _ALKALI_INCI[alkali_of(materials[alkali.material])], alkali.pure_grams * -batch.superfat.effective / 100
            )
    # The water of milks and purees leaves with the rest; it is taken off the water named, as far as that reaches.
    all_water_g = sum(water_in(line, materials) for line in batch.pot.lines)
    lost_g = all_water_g * float(settings.water_lost_percent) / 100.0
    grams[WATER_INCI] = max(grams.get(WATER_INCI, 0.0) - lost_g, 0.0)
    return grams


def _put_soap(
    put: Callable[[str, float], None],
    line: PotLine,
    material: Material,
    left: float,
    moles: Mapping[Alkali, float],
) -> None:
    value = material.saponification_value
    fat_g = line.grams * (1.0 - left)
    if left:
        put(_inci(material), line.grams * left)
    fat_mol = hydroxide_mol_for_fat(fat_g, value.working) if value is not None else 0.0
    glycerol_g = glycerol_freed_g(fat_mol) if material.kind == "oil" else 0.0
    put(GLYCEROL_INCI, glycerol_g)
    for alkali, part in moles.items():
        soap = material.inci_in_soap or f"SODIUM SALT OF {_inci(material)}"
        if alkali is Alkali.POTASSIUM_HYDROXIDE:
            soap = soap.replace("SODIUM", "POTASSIUM", 1)
        # Soap = fat + alkali - glycerol (for fats) or - water (for free acids); the latter is left in the bar's water.
        put(soap, fat_g * part + alkali_mass_g(fat_mol * part, alkali) - glycerol_g * part)


def _hydroxide_shares(batch: Batch, materials: Materials) -> dict[Alkali, float]:
    moles: dict[Alkali, float] = {}
    for line in batch.pot.lines:
        if line.role == "alkali":
            alkali = alkali_of(materials[line.material])
            pure_g = line.grams * assay(materials[line.material])[1] / 100.0
            moles[alkali] = moles.get(alkali, 0.0) + hydroxide_mol(pure_g, alkali)
    total = sum(moles.values())
    return {alkali: amount / total for alkali, amount in moles.items()} if total > 0 else {}


def _ordered(grams: Mapping[str, float]) -> tuple[Ingredient, ...]:
    total = sum(grams.values())
    percents = {inci: 100.0 * weight_g / total for inci, weight_g in grams.items() if weight_g > 0}
    return tuple(
        Ingredient(inci, percent, percent < ANY_ORDER_BELOW_PERCENT)
        for inci, percent in sorted(percents.items(), key=lambda item: (-item[1], item[0]))
    )


def _allergens(batch: Batch, materials: Materials, cured_g: float) -> tuple[tuple[str, float | None], ...]:
    known: dict[str, float] = {}
    unknown: list[str] = []
    for line in batch.pot.lines:
        material = materials[line.material]
        for allergen in material.allergens:
            if allergen in material.contains:
                percent = 100.0 * line.grams * material.contains[allergen] / 100.0 / cured_g
                known[allergen] = known.get(allergen, 0.0) + percent
            else:
                unknown.append(allergen)
    named = [(name, percent) for name, percent in known.items() if percent > ALLERGEN_NAMED_ABOVE_PERCENT]
    return (*sorted(named), *((name, None) for name in sorted(set(unknown) - {name for name, _ in named})))


def _origins(named: set[str], materials: Materials) -> tuple[tuple[str, tuple[str, ...]], ...]:
    found: dict[str, list[str]] = {}
    for name in sorted(named):
        for origin in materials[name].origin:
            found.setdefault(origin, []).append(name)
    return tuple((origin, tuple(names)) for origin, names in sorted(found.items()))
