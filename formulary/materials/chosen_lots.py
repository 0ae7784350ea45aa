"""Which lots a batch is made from: read as typed, and the materials as those lots' certificates have them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from formulary.errors import InputError
from formulary.finding import Finding, error
from formulary.given import is_mapping, is_number, is_text
from formulary.materials.model import Material
from formulary.names import suggest
from formulary.quantity import NotAQuantity, parse_mass_g

# Millilitres and percents are no weights, and are told to be none rather than taken for the name of a lot.
_WEIGHED_LOT = re.compile(r"(?P<lot>\S.*?)\s+(?P<weight>[0-9.]+(?:\s*,\s*[0-9]+)*\s*(?:mg|g|kg|oz|lb|ml|l|%))")
_EXAMPLE = 'write --lot clove-bud-oil=CB-2291, or by weight --lot "olive-oil=OL-7 300 g" for each of several lots'

# material -> lot -> grams of it as given, None for a lot that was named alone: all of the line.
GivenLots = Mapping[str, Mapping[str, float | None]]
# The same, or material -> its one lot.
ChosenLots = Mapping[str, str | Mapping[str, float | None]]


def parse_chosen_lots(texts: Iterable[str]) -> dict[str, dict[str, float | None]]:
    """`olive-oil=OL-7`, or `olive-oil=OL-7 300 g` once for each lot of a material.

    Raises InputError with everything that is wrong.
    """
    chosen: dict[str, dict[str, float | None]] = {}
    faults: list[Finding] = []
    for text in texts:
        material, equals, rest = (part.strip() for part in text.partition("="))
        if not (material and equals and rest):
            faults.append(error("bad-lot", f"{text!r} is not MATERIAL=LOT", _EXAMPLE))
            continue
        match = _WEIGHED_LOT.fullmatch(rest)
        try:
            grams = float(parse_mass_g(match.group("weight"))) if match else None
        except NotAQuantity as problem:
            faults.append(error("bad-lot", problem.what, problem.do))
            continue
        lot = match.group("lot") if match else rest
        if lot in chosen.get(material, {}):
            faults.append(error("bad-lot", f"lot {lot} of {material} is given twice", "give it once"))
            continue
        chosen.setdefault(material, {})[lot] = grams
    faults += [fault for material, lots in chosen.items() for fault in _check_weighed(material, lots)]
    if faults:
        raise InputError(faults)
    return chosen


def _check_weighed(material: str, lots: Mapping[str, float | None]) -> Iterable[Finding]:
    """That each of several lots has a weight: nobody knows how much of one it is otherwise."""
    if len(lots) > 1 and not all(weight_g is not None and weight_g > 0 for weight_g in lots.values()):
        yield error("bad-lot", f"several lots of {material}, and not the weight of each", _EXAMPLE)


def given_lots(lots: ChosenLots) -> dict[str, dict[str, float | None]]:
    """The lots with their weights in grams, a single one too.

    Raises InputError for what names no lots.
    """
    if not is_mapping(lots):
        what = f"{lots!r:.40} does not say which lot is of which material"
        raise InputError.of("bad-lot", what, 'write {"olive-oil": "OL-7"}')
    return {name: dict(_weighed_lots(name, lot)) for name, lot in lots.items()}


def _weighed_lots(material: str, given: str | Mapping[str, float | None]) -> Iterable[tuple[str, float | None]]:
    if not isinstance(given, Mapping):
        yield parse_lot_name(given), None
        return
    if not given:
        raise InputError.of("bad-lot", f"no lot of {material} is named", "name one, or leave the material out")
    for lot, weight in given.items():
        if weight is not None and not is_number(weight):
            what = f"{weight!r:.40} is no number of grams of lot {lot}"
            raise InputError.of("bad-lot", what, 'write a number: {"olive-oil": {"OL-7": 300, "OL-8": 150}}')
        yield parse_lot_name(lot), None if weight is None else float(weight)


def lot_shares(lots: Mapping[str, float | None]) -> dict[str, float]:
    """Lot -> the part of its material that it is, by the weights given; 1 where it is the only one."""
    if len(lots) == 1:
        return dict.fromkeys(lots, 1.0)
    grams = {lot: weight_g for lot, weight_g in lots.items() if weight_g is not None}
    total_g = sum(grams.values())
    return {lot: weight_g / total_g for lot, weight_g in grams.items()}


def parse_lot_name(text: str) -> str:
    """A lot's name as it stands on its label, such as `0042`. Raises InputError for no text, or an empty one."""
    if not is_text(text):
        what = f"{text!r:.40} is no text, and a lot is named by one"
        raise InputError.of("bad-lot", what, "write what stands on its label, in quotes")
    if not text.strip():
        raise InputError.of("empty-entry", "the lot has no name", "write what stands on its label")
    return text.strip()


def find_weight(lot: str) -> str | None:
    """The weight that stands behind a lot's number, `OL-7 300 g`; None where the lot is named alone."""
    match = _WEIGHED_LOT.fullmatch(lot.strip())
    return match.group("weight") if match else None


def one_lot_each(lots: GivenLots) -> dict[str, str]:
    """material -> its one lot. Raises InputError where a material has several, or a lot has a weight: those are for a
    trial's own file."""
    several = [name for name, weights in lots.items() if len(weights) > 1]
    if several:
        what = f"several lots of {several[0]} are given"
        do = "start with the main one, and write the grams of each under `lots:` in trial.yaml"
        raise InputError.of("several-lots", what, do)
    weighed = [name for name, weights in lots.items() if None not in weights.values()]
    if weighed:
        what = f"the lot of {weighed[0]} is given with a weight"
        do = "start with the lot alone, and write its grams under `lots:` in trial.yaml where there are several"
        raise InputError.of("weighed-lot", what, do)
    return {name: next(iter(weights)) for name, weights in lots.items()}


def unknown_lot(material: Material, lot: str) -> InputError:
    """That a material has no such lot, with those that it has."""
    import shlex

    near = suggest(lot, material.lots, "")
    known = ", ".join(material.lots) or "none is recorded"
    add = f"if it is new, add it first, as there are others: formulary materials lot {material.slug} {shlex.quote(lot)}"
    do = "; ".join(part for part in (near, f"lots of it: {known}", add) if part)
    return InputError.of("unknown-lot", f"{material.slug} has no lot {lot[:40]!r}", do)


def lots_with_values(register: Mapping[str, Material], lots: Mapping[str, str]) -> dict[str, str]:
    """Of material -> its lot those whose material has that lot, so that its certificate counts."""
    return {name: lot for name, lot in lots.items() if name in register and lot in register[name].lots}


def demand_known_lot(register: Mapping[str, Material], name: str, lot: str) -> None:
    """Nothing where the lot is one of its material's, or none of that is recorded by lot.

    Raises InputError for one that is not known beside others: a slip there would be a batch without its certificate;
    and for what is no name.
    """
    lot = parse_lot_name(lot)
    material = register.get(name)
    if material is not None and material.lots and lot not in material.lots:
        raise unknown_lot(material, lot)


def with_chosen_lots(materials: Mapping[str, Material], lots: ChosenLots) -> dict[str, Material]:
    """The materials as their chosen lots have them; several lots of one by weight.

    Raises InputError for a material that is not there, a lot that it does not have, or several without their weights.
    """
    found = dict(materials)
    faults: list[Finding] = []
    for name, weights in given_lots(lots).items():
        if name not in materials:
            do = suggest(name, materials, f"it holds: {', '.join(materials)}")
            faults.append(error("unknown-material", f"nothing here is called {name[:40]!r}", do))
            continue
        material = materials[name]
        of_it = [*_check_weighed(name, weights)]
        of_it += [fault for lot in weights if lot not in material.lots for fault in unknown_lot(material, lot).findings]
        faults += of_it
        if not of_it:
            from formulary.materials.lots import mix_lots

            found[name] = mix_lots(material, lot_shares(weights))
    if faults:
        raise InputError(faults)
    return found
