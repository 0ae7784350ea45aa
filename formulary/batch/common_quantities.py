"""The quantities of a batch that common practice has a word to say on."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from formulary.batch.common_practice import Measured
from formulary.batch.figures import alkali_of, assay, pot_fatty_acids_percent, water_in
from formulary.batch.model import Pot, PotLine
from formulary.batch.temperature_checks import parse_celsius, say_temperature
from formulary.chemistry.alkali import Alkali, hydroxide_mol, pure_g
from formulary.materials.model import Material, MaterialKind
from formulary.materials.plain_name import material_words
from formulary.quantity import Kind, NotAQuantity, parse_quantity
from formulary.temperature import say_both_apart

Materials = Mapping[str, Material]

_LAURIC_ACIDS = ("C12:0", "C14:0")
_POLYUNSATURATED = ("C18:2", "C18:3", "C18:3n6")
_MELTING_MATTERS_FROM_PERCENT = 5.0  # of the oils: less of a hard fat stays dissolved in the rest (practice)
_BEESWAX_NEEDS_C = 60.0


def find_common_quantities(
    pot: Pot,
    materials: Materials,
    *,
    nominal_concentration_percent: float,
    process: Mapping[str, str],
    cure_days: float,
) -> dict[str, Measured]:
    """Each quantity that the table of common practice names, as far as it can be told of this batch.

    Parameters
    ----------
    pot: the grams.
    materials: what each line's material is.
    nominal_concentration_percent: the lye concentration as the recipe states it.
    process: the recipe's process, as written (`oil_temperature`, `cover`, `cure`).
    cure_days: the formulary's cure, which the recipe's own `cure` overrides.
    """
    oils = [line for line in pot.lines if line.role == "oil"]
    oil_g = sum(line.grams for line in oils)
    if oil_g <= 0:
        return {}
    others = [line for line in pot.lines if line.role in ("addition", "scent")]
    found: dict[str, Measured] = {}

    def share(name: str, lines: list[PotLine], belongs: Callable[[Material], bool], part: str) -> None:
        chosen = [line for line in lines if belongs(materials[line.material]) and line.grams > 0]
        if chosen:
            most = max(chosen, key=lambda line: line.grams)
            percent = 100.0 * sum(line.grams for line in chosen) / oil_g
            found[name] = Measured(percent, (part, most.material), most.material)

    share("castor_percent_of_oils", oils, lambda it: _share_of(it, ("C18:1-OH",)) >= 50.0, "oils")
    share("lauric_percent_of_oils", oils, _is_lauric, "oils")
    share("beeswax_percent_of_oils", oils, lambda it: it.slug == "beeswax", "oils")
    share("stearic_percent_of_oils", oils, lambda it: it.kind is MaterialKind.FATTY_ACID, "oils")
    for name, group in (
        ("honey_percent_of_oils", "honey"),
        ("puree_percent_of_oils", "puree"),
        ("clay_percent_of_oils", "clay"),
        ("white_pigment_percent_of_oils", "white-pigment"),
        ("mica_percent_of_oils", "mica"),
        ("pigment_percent_of_oils", "pigment"),
        ("lactate_solution_percent_of_oils", "lactate-solution"),
    ):
        share(name, others, lambda it, group=group: it.group == group, "additions")  # type: ignore[misc]
    scents = [line for line in pot.lines if line.role == "scent"]
    share("scent_percent_of_oils", scents, lambda _: True, "scent")
    share("spice_oil_percent_of_oils", scents, lambda it: it.group == "spice-oil", "scent")
    profile = pot_fatty_acids_percent(pot, materials)
    if profile:
        total = sum(profile.get(acid, 0.0) for acid in _POLYUNSATURATED)
        found["linoleic_and_linolenic_percent"] = Measured(total, ("oils",))
    found["lye_concentration_percent"] = Measured(nominal_concentration_percent, ("water",))
    found |= _acids(others, materials, oil_g) | _potassium(pot, materials)
    found |= _sugars(others, materials, oil_g) | _brine(pot, materials) | _vanillin(pot, materials)
    found |= _warmth(oils, materials, oil_g, process)
    days = _cure_days(process)
    found["cure_days"] = Measured(cure_days if days is None else days, ("process", "cure"))
    return found


def find_conditions(
    pot: Pot, materials: Materials, *, superfat: float, process: Mapping[str, str], is_for_skin: bool = False
) -> frozenset[str]:
    """The conditions of the table that hold for this batch.

    superfat: as the recipe states it, percent. is_for_skin: whether it is a plan of soap for skin.
    A white pigment in the batter says that a light colour is planned.
    """
    alkalis = {materials[line.material].alkali for line in pot.lines if line.role == "alkali"}
    holds = {
        "superfat below 8": superfat < 8.0,
        "for skin": is_for_skin,
        "sodium only": alkalis == {Alkali.SODIUM_HYDROXIDE},
        "insulated": process.get("cover") in ("insulated", "oven"),
        "light colour": any(materials[line.material].group == "white-pigment" for line in pot.lines),
    }
    return frozenset(word for word, is_so in holds.items() if is_so)


def _share_of(material: Material, acids: tuple[str, ...]) -> float:
    total = sum(material.fatty_acids.values())
    return 100.0 * sum(material.fatty_acids.get(acid, 0.0) for acid in acids) / total if total else 0.0


def _is_lauric(material: Material) -> bool:
    return material.group == "lauric-oil" or (
        material.kind is MaterialKind.OIL and _share_of(material, _LAURIC_ACIDS) >= 40.0
    )


def _sugars(lines: list[PotLine], materials: Materials, oil_g: float) -> dict[str, Measured]:
    sugars = {line: line.grams * (materials[line.material].sugars_percent or 0.0) / 100.0 for line in lines}
    sugars = {line: grams for line, grams in sugars.items() if grams > 0}
    if not sugars:
        return {}
    most = max(sugars, key=lambda line: sugars[line])
    return {"sugars_g_per_kg_oils": Measured(1000.0 * sum(sugars.values()) / oil_g, ("additions", most.material))}


def _acids(lines: list[PotLine], materials: Materials, oil_g: float) -> dict[str, Measured]:
    """Pure acid in what meets the lye; what is put on top does not."""
    acids = {
        line: line.grams * sum(materials[line.material].acids.values()) / 100.0 for line in lines if line.at != "top"
    }
    acids = {line: grams for line, grams in acids.items() if grams > 0}
    if not acids:
        return {}
    most = max(acids, key=lambda line: acids[line])
    return {"acid_percent_of_oils": Measured(100.0 * sum(acids.values()) / oil_g, ("additions", most.material))}


def _potassium(pot: Pot, materials: Materials) -> dict[str, Measured]:
    moles = dict.fromkeys(Alkali, 0.0)
    for line in pot.lines:
        if line.role == "alkali":
            material = materials[line.material]
            alkali = alkali_of(material)
            moles[alkali] += hydroxide_mol(pure_g(line.grams, assay(material)[1]), alkali)
    total = sum(moles.values())
    if total <= 0:
        return {}
    percent = 100.0 * moles[Alkali.POTASSIUM_HYDROXIDE] / total
    return {"potassium_percent_of_alkali": Measured(percent, ("lye", "alkali"))}


def _brine(pot: Pot, materials: Materials) -> dict[str, Measured]:
    in_jug = [line for line in pot.lines if line.at == "lye water"]
    salts = [line for line in in_jug if materials[line.material].group == "salt"]
    salt_g = sum(line.grams for line in salts)
    if salt_g <= 0:
        return {}
    water_g = sum(water_in(line, materials) for line in in_jug)
    return {"brine_percent": Measured(100.0 * salt_g / (salt_g + max(water_g, 0.0)), ("additions", salts[0].material))}


def _vanillin(pot: Pot, materials: Materials) -> dict[str, Measured]:
    batter_g = sum(line.grams for line in pot.lines if line.at != "top")
    holding = {
        line: line.grams * _vanillin_percent(materials[line.material]) / 100.0
        for line in pot.lines
        if line.at != "top" and _vanillin_percent(materials[line.material]) > 0
    }
    if not holding:
        return {}
    most = max(holding, key=lambda line: holding[line])
    percent = 100.0 * sum(holding.values()) / batter_g
    part = "scent" if most.role == "scent" else "additions"
    return {"vanillin_percent_of_batter": Measured(percent, (part, most.material), most.material)}


def _vanillin_percent(material: Material) -> float:
    return max(material.vanillin_percent or 0.0, material.contains.get("vanillin", 0.0))


def _warmth(oils: list[PotLine], materials: Materials, oil_g: float, process: Mapping[str, str]) -> dict[str, Measured]:
    found: dict[str, Measured] = {}
    lye_c = parse_celsius(process.get("lye_temperature"))
    if lye_c is not None:
        found["lye_temperature_c"] = Measured(
            lye_c, ("process", "lye_temperature"), written=say_temperature(process["lye_temperature"])
        )
    temperature_c = parse_celsius(process.get("oil_temperature"))
    if temperature_c is None:
        return found
    found["oil_temperature_c"] = Measured(
        temperature_c, ("process", "oil_temperature"), written=say_temperature(process["oil_temperature"])
    )
    below = {
        line.material: melting - temperature_c
        for line in oils
        if 100.0 * line.grams / oil_g >= _MELTING_MATTERS_FROM_PERCENT
        and (melting := materials[line.material].melting_point_c) is not None
        and line.material != "beeswax"
    }
    if below:
        name = max(below, key=lambda material: below[material])
        spoken = material_words(name)
        place = ("process", "oil_temperature")
        found["oils_below_melting_k"] = Measured(below[name], place, spoken, written=say_both_apart(below[name]))
    if any(line.material == "beeswax" and line.grams > 0 for line in oils):
        below_k = _BEESWAX_NEEDS_C - temperature_c
        found["beeswax_below_60_k"] = Measured(below_k, ("process", "oil_temperature"), written=say_both_apart(below_k))
    return found


def _cure_days(process: Mapping[str, str]) -> float | None:
    if "cure" not in process:
        return None
    try:
        return float(parse_quantity(process["cure"], Kind.DURATION).to("d"))
    except NotAQuantity:
        return None
