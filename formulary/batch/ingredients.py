"""The ingredient list of a bar, in descending order by INCI name: as put in the pot, and as in the bar."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from formulary.batch.figures import acid_mol, alkali_of, fat_mol, portion_at_worst, portion_pot, superfat_band, water_in
from formulary.batch.model import Batch, Pot, PotLine
from formulary.batch.volume import cured_mass_g
from formulary.chemistry.alkali import Alkali, alkali_mass_g, hydroxide_mol
from formulary.chemistry.constituents import ALLERGEN_NAMED_ABOVE_PERCENT
from formulary.chemistry.glycerol import glycerol_freed_g
from formulary.chemistry.molar_mass import WATER_G_PER_MOL
from formulary.finding import Finding, note, stops, warn
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

    portion: the one that it is of. portions: of a divided batter the lists of each, which are those of its bars; what
    else stands here is then of all of them together, and so of no bar.
    allergens: name -> percent of the cured bar, of the portion that has most of it at the worst end of its split; None
    where a certificate names it without an amount.
    origins: origin -> materials. with_their_water: materials that stand in the bar with all the water they brought,
    since what the cure takes is taken off the water itself.
    """

    in_pot: tuple[Ingredient, ...]
    in_bar: tuple[Ingredient, ...]
    allergens: tuple[tuple[str, float | None], ...]
    origins: tuple[tuple[str, tuple[str, ...]], ...]
    with_their_water: tuple[str, ...]
    findings: tuple[Finding, ...]
    portion: str | None = None
    portions: tuple[IngredientList, ...] = ()

    def to_json(self) -> dict[str, object]:
        own = {"portion": self.portion, **self._lists_json()}
        of_portions = [{"portion": each.portion, **each._lists_json()} for each in self.portions]
        return {**own, "portions": of_portions, "findings": [finding.to_json() for finding in self.findings]}

    def _lists_json(self) -> dict[str, object]:
        return {
            "in_pot": [line.to_json() for line in self.in_pot],
            "in_bar": [line.to_json() for line in self.in_bar],
            "allergens": [{"allergen": name, "percent": percent} for name, percent in self.allergens],
            "origins": [{"origin": origin, "materials": list(names)} for origin, names in self.origins],
            "with_their_water": list(self.with_their_water),
        }


def list_ingredients(
    batch: Batch, materials: Materials, settings: Settings, *, portion: str | None = None
) -> IngredientList:
    """The ingredient lists of a batch, for the maker to check against the rules where they sell.

    In the bar, the alkali is used up: each oil stands as its soap (less what the superfat leaves as oil), an acid as
    its salt where the register names that, glycerol is freed, and the water is less what the cure takes.
    A stop that stands against the batch is told with them.
    materials: those of the register; what the batch was worked out by, such as a lot's certificate, counts before them.
    portion: the one whose bars alone are asked for. Raises KeyError for a portion that the batch does not have.
    """
    materials = {**materials, **batch.materials}
    if portion is not None:
        return _list_portion(batch, portion, materials, settings)
    portions = tuple(_list_portion(batch, each.name, materials, settings) for each in batch.pot.portions)
    allergens = _allergens(
        (batch.pot, *(portion_at_worst(batch.pot, each) for each in batch.pot.portions)), materials, settings
    )
    return replace(
        _list(batch.pot, batch.superfat.effective, batch, materials, settings), allergens=allergens, portions=portions
    )


def _list_portion(batch: Batch, name: str, materials: Materials, settings: Settings) -> IngredientList:
    """The lists of one portion: its allergens at the worst end of its split, the rest at its share."""
    pot = portion_pot(batch.pot, name)
    split = {each.name: each for each in batch.pot.portions}[name]
    return replace(
        _list(pot, superfat_band(pot, materials, settings).working, batch, materials, settings),
        allergens=_allergens((pot, portion_at_worst(batch.pot, split)), materials, settings),
        portion=name,
    )


def _list(pot: Pot, superfat_percent: float, batch: Batch, materials: Materials, settings: Settings) -> IngredientList:
    findings = [
        *stops(batch.findings),
        note(
            "label-duty",
            "what stands on the label is the maker's legal duty, and local rules decide",
            "have the list checked by whoever assesses the product's safety",
        ),
    ]
    named = {line.material for line in pot.lines}
    for name in sorted(named):
        if materials[name].inci is None and name != "water":
            do = f"write `inci` in materials/{name}.yaml, from the supplier's papers"
            stands = f"; it stands as {_inci(materials[name])} here"
            findings.append(warn("inci-unknown", f"no INCI name is known for {name}{stands}", do))
    for name in sorted({line.material for line in pot.lines if line.grams > 0}):
        if materials[name].kind is MaterialKind.FRAGRANCE and not materials[name].allergens:
            what = f"no allergens are known of {name}, so that the label may lack some"
            do = f"write `allergens` in materials/{name}.yaml, from the supplier's papers, unless these name none"
            findings.append(warn("allergens-unknown", what, do))
    oils = {line.material for line in pot.lines if line.role == "oil"}
    without = sorted(name for name in oils if materials[name].inci_in_soap is None)
    if without:
        what = f"no INCI name is known for the soap of {', '.join(without)}: it stands as a salt of it, which is none"
        files = ", ".join(f"materials/{name}.yaml" for name in without)
        do = f"write `inci_in_soap` in {files}, once you know it; or name what was put in the pot"
        findings.append(warn("inci-in-soap-unknown", what, do))
    shares = _hydroxide_shares(batch, materials)
    return IngredientList(
        in_pot=_ordered(_in_pot(pot, materials)),
        in_bar=_ordered(_in_bar(pot, superfat_percent, shares, materials, settings)),
        allergens=(),
        origins=_origins(named, materials),
        with_their_water=_with_their_water(pot, materials),
        findings=tuple(findings),
    )


def _inci(material: Material) -> str:
    """Its INCI name; a scent without one may stand as PARFUM, whatever it is called on the bottle."""
    if material.inci is None and material.kind is MaterialKind.FRAGRANCE:
        return SCENT_INCI
    return material.inci or material.name.upper()


def _in_pot(pot: Pot, materials: Materials) -> dict[str, float]:
    grams: dict[str, float] = {}
    for line in pot.lines:
        # Lye bought ready-made is hydroxide and water, which are two ingredients.
        water_g = water_in(line, materials) if line.role in ("alkali", "water") else 0.0
        for inci, weight_g in ((WATER_INCI, water_g), (_inci(materials[line.material]), line.grams - water_g)):
            grams[inci] = grams.get(inci, 0.0) + weight_g
    return grams


def _in_bar(
    pot: Pot, superfat_percent: float, shares: Mapping[Alkali, float], materials: Materials, settings: Settings
) -> dict[str, float]:
    grams = {WATER_INCI: 0.0}

    def put(inci: str, weight_g: float) -> None:
        grams[inci] = grams.get(inci, 0.0) + weight_g

    left = max(superfat_percent, 0.0) / 100.0
    over = max(-superfat_percent, 0.0) / 100.0
    for line in pot.lines:
        material = materials[line.material]
        if line.role == "oil":
            _put_soap(put, line, material, left, shares)
            free_mol = fat_mol(line, material) * over
            for alkali, part in shares.items():
                put(_ALKALI_INCI[alkali], alkali_mass_g(free_mol * part, alkali))
        elif line.role in ("alkali", "water"):
            put(WATER_INCI, water_in(line, materials))
        elif material.inci_in_soap and acid_mol(line, materials):
            _put_salt(put, line, materials, shares)
        else:
            put(_inci(material), line.grams)
    # The water of milks and purees leaves with the rest; it is taken off the water named, as far as that reaches.
    all_water_g = sum(water_in(line, materials) for line in pot.lines)
    lost_g = all_water_g * float(settings.water_lost_percent) / 100.0
    grams[WATER_INCI] = max(grams[WATER_INCI] - lost_g, 0.0)
    return grams


def _with_their_water(pot: Pot, materials: Materials) -> tuple[str, ...]:
    kept = [
        line.material
        for line in pot.lines
        if line.role not in ("alkali", "water", "oil")
        and water_in(line, materials) > 0
        and not (materials[line.material].inci_in_soap and acid_mol(line, materials))
    ]
    return tuple(sorted(set(kept)))


def _put_soap(
    put: Callable[[str, float], None],
    line: PotLine,
    material: Material,
    left: float,
    shares: Mapping[Alkali, float],
) -> None:
    put(_inci(material), line.grams * left)
    fat_g, taken_mol = line.grams * (1.0 - left), fat_mol(line, material) * (1.0 - left)
    # Soap = fat + alkali - glycerol (for fats) or - water (for free acids), which is left in the bar's water.
    glycerol_g = glycerol_freed_g(taken_mol) if material.kind is MaterialKind.OIL else 0.0
    water_g = taken_mol * WATER_G_PER_MOL if material.kind is MaterialKind.FATTY_ACID else 0.0
    put(GLYCEROL_INCI, glycerol_g)
    put(WATER_INCI, water_g)
    name = material.inci_in_soap or f"SODIUM SALT OF {_inci(material)}"
    for alkali, part in shares.items():
        put(_of(alkali, name), (fat_g - glycerol_g - water_g) * part + alkali_mass_g(taken_mol * part, alkali))


def _put_salt(
    put: Callable[[str, float], None], line: PotLine, materials: Materials, shares: Mapping[Alkali, float]
) -> None:
    """An acid as its salt; what else it was bought with, such as the water of a solution, stands by itself."""
    material, taken_mol = materials[line.material], acid_mol(line, materials)
    acid_g = line.grams * sum(material.acids.values()) / 100.0
    own_water_g, made_water_g = water_in(line, materials), taken_mol * WATER_G_PER_MOL
    put(WATER_INCI, own_water_g + made_water_g)
    put(_inci(material), line.grams - acid_g - own_water_g)
    for alkali, part in shares.items():
        put(
            _of(alkali, material.inci_in_soap or ""),
            (acid_g - made_water_g) * part + alkali_mass_g(taken_mol * part, alkali),
        )


def _of(alkali: Alkali, salt: str) -> str:
    """A sodium salt's name, as the salt of an alkali."""
    return salt.replace("SODIUM", "POTASSIUM") if alkali is Alkali.POTASSIUM_HYDROXIDE else salt


def _hydroxide_shares(batch: Batch, materials: Materials) -> dict[Alkali, float]:
    moles: dict[Alkali, float] = {}
    for line in batch.lye:
        alkali = alkali_of(materials[line.material])
        moles[alkali] = moles.get(alkali, 0.0) + hydroxide_mol(line.pure_grams, alkali)
    total = sum(moles.values())
    return {alkali: amount / total for alkali, amount in moles.items()} if total > 0 else {}


def _ordered(grams: Mapping[str, float]) -> tuple[Ingredient, ...]:
    total = sum(grams.values())
    percents = {inci: 100.0 * weight_g / total for inci, weight_g in grams.items() if weight_g > 0}
    return tuple(
        Ingredient(inci, percent, percent < ANY_ORDER_BELOW_PERCENT)
        for inci, percent in sorted(percents.items(), key=lambda item: (-item[1], item[0]))
    )


def _allergens(pots: Iterable[Pot], materials: Materials, settings: Settings) -> tuple[tuple[str, float | None], ...]:
    """Those to name: what any of the bars holds, if only those of one portion."""
    most: dict[str, float] = {}
    unknown: set[str] = set()
    for part in pots:
        cured_g = cured_mass_g(part, materials, settings)
        percents: dict[str, float] = {}
        for line in part.lines:
            material = materials[line.material]
            for allergen in material.allergens if line.grams > 0 else ():
                if allergen in material.contains:
                    percent = line.grams * material.contains[allergen] / cured_g
                    percents[allergen] = percents.get(allergen, 0.0) + percent
                else:
                    unknown.add(allergen)
        most |= {name: max(percent, most.get(name, percent)) for name, percent in percents.items()}
    named = {name: percent for name, percent in most.items() if percent > ALLERGEN_NAMED_ABOVE_PERCENT}
    return (*sorted(named.items()), *((name, None) for name in sorted(unknown - named.keys())))


def _origins(named: set[str], materials: Materials) -> tuple[tuple[str, tuple[str, ...]], ...]:
    found: dict[str, list[str]] = {}
    for name in sorted(named):
        for origin in materials[name].origin:
            found.setdefault(origin, []).append(name)
    return tuple((origin, tuple(names)) for origin, names in sorted(found.items()))
