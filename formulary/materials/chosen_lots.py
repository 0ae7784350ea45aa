"""Which lots a batch is made from: read as typed, and the materials as those lots' certificates have them."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping

from formulary.errors import InputError
from formulary.finding import Finding, error
from formulary.given import as_name, is_mapping, is_number, is_text
from formulary.materials.model import Material
from formulary.names import suggest
from formulary.quantity import NotAQuantity, format_plain_number, parse_mass_g
from formulary.read_only import ReadOnly

# Millilitres and percents are no weights, and are told to be none rather than taken for the name of a lot.
_WEIGHED_LOT = re.compile(r"(?P<lot>\S.*?)\s+(?P<weight>[0-9.]+(?:\s*,\s*[0-9]+)*\s*(?:mg|g|kg|oz|lb|ml|l|%))")
_EXAMPLE = (
    'write --lot clove-bud-oil=CB-2291, or by weight --lot "olive-oil=OL-7 300 g" for each of several lots;'
    " one of them without a weight is the rest"
)

# material -> lot -> grams of it as given. Without grams is the one lot that is all of the line, or, beside lots that
# have theirs, the rest of it.
GivenLots = Mapping[str, Mapping[str, float | None]]
# The same, or material -> its one lot.
ChosenLots = Mapping[str, str | Mapping[str, float | None]]


def parse_chosen_lots(
    texts: Iterable[str], register: Mapping[str, Material] = ReadOnly({})
) -> dict[str, dict[str, float | None]]:
    """`olive-oil=OL-7`, or once for each lot of a material `olive-oil=OL-7 300 g`, of which one may have no weight: it
    is the rest.

    register: the materials, of which a lot may be called as if it had a weight. Raises InputError with everything that
    is wrong.
    """
    said: dict[str, list[str]] = {}
    faults: list[Finding] = []
    for text in texts:
        material, equals, lot = (part.strip() for part in text.partition("="))
        if material and equals and lot:
            said.setdefault(material, []).append(lot)
        else:
            faults.append(error("bad-lot", f"{text!r} is not MATERIAL=LOT", _EXAMPLE))
    chosen: dict[str, dict[str, float | None]] = {}
    for material, lots in said.items():
        try:
            chosen[material] = parse_lots(material, lots, register[material].lots if material in register else ())
        except InputError as problem:
            faults += problem.findings
    if faults:
        raise InputError(faults)
    return chosen


def parse_lots(
    material: str, texts: Iterable[str], known: Collection[str] = (), *, example: str = _EXAMPLE
) -> dict[str, float | None]:
    """The lots of one material with the grams given of each: `OL-7`, or `OL-7 300 g` and `OL-8` for the rest.

    known: lots that it has. example: what to write instead. Raises InputError with everything that is wrong.
    """
    lots: dict[str, float | None] = {}
    faults: list[Finding] = []
    for text in texts:
        try:
            lot, grams = _parse_lot(parse_lot_name(text), known)
        except NotAQuantity as problem:
            faults.append(error("bad-lot", problem.what, problem.do))
            continue
        if lot in lots:
            faults.append(error("bad-lot", f"lot {lot} of {material} is given twice", "give it once"))
            continue
        lots[lot] = grams
    faults += _check_weighed(material, lots, may_have_rest=True, example=example)
    if faults:
        raise InputError(faults)
    return lots


def _parse_lot(text: str, known: Collection[str]) -> tuple[str, float | None]:
    match = None if text in known else _WEIGHED_LOT.fullmatch(text)
    return (text, None) if match is None else (match.group("lot"), float(parse_mass_g(match.group("weight"))))


def _check_weighed(
    material: str, lots: Mapping[str, float | None], *, may_have_rest: bool, example: str = _EXAMPLE
) -> Iterable[Finding]:
    """That each of several lots has a weight, or all but the rest: nobody knows how much of one it is otherwise."""
    weights = [weight_g for weight_g in lots.values() if weight_g is not None]
    enough = len(lots) - 1 if may_have_rest else len(lots)
    if len(lots) > 1 and (len(weights) < enough or any(weight_g <= 0 for weight_g in weights)):
        yield error("bad-lot", f"several lots of {material}, and not the weight of each", example)


def given_lots(lots: ChosenLots) -> dict[str, Mapping[str, float | None]]:
    """The lots with their weights in grams, a single one too.

    Raises InputError for what names no lots.
    """
    if not is_mapping(lots):
        what = f"{lots!r:.40} does not say which lot is of which material"
        raise InputError.of("bad-lot", what, 'write {"olive-oil": "OL-7"}')
    return {as_name(name): ReadOnly(_weighed_lots(name, lot)) for name, lot in lots.items()}


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


def demand_weighed(lots: GivenLots) -> None:
    """Raises InputError for several lots of a material of which more than one has no weight, or nothing."""
    faults = [fault for name, of_it in lots.items() for fault in _check_weighed(name, of_it, may_have_rest=True)]
    if faults:
        raise InputError(faults)


def has_rest(lots: Mapping[str, float | None]) -> bool:
    """Whether one of several lots is what the others leave of all that is weighed."""
    return len(lots) > 1 and None in lots.values()


def with_rest(material: str, lots: Mapping[str, float | None], takes_g: float) -> dict[str, float]:
    """Lot -> grams of it, where one of several is the rest. takes_g: what is weighed of the material in all.

    Raises InputError where the others leave nothing of that.
    """
    given_g = sum(weight_g for weight_g in lots.values() if weight_g is not None)
    if given_g >= takes_g:
        rest = next(lot for lot, weight_g in lots.items() if weight_g is None)
        takes = f"{format_plain_number(takes_g, 1)} g"
        what = f"of {material} {takes} are weighed, and the other lots make {given_g:g} g of it"
        raise InputError.of("bad-lot", what, f"nothing is left for lot {rest}: leave it out, or correct a weight")
    return {lot: takes_g - given_g if weight_g is None else weight_g for lot, weight_g in lots.items()}


def unknown_lot(material: Material, lot: str) -> InputError:
    """That a material has no such lot, with those that it has."""
    import shlex

    near = suggest(lot, material.lots, "")
    known = ", ".join(material.lots) or "none is recorded"
    first = "first, as there are others" if material.lots else "first"
    add = f"if it is new, add it {first}: formulary materials lot {material.slug} {shlex.quote(lot)}"
    do = "; ".join(part for part in (near, f"lots of it: {known}", add) if part)
    return InputError.of("unknown-lot", f"{material.slug} has no lot {lot[:40]!r}", do)


def lots_with_values(register: Mapping[str, Material], lots: GivenLots) -> dict[str, Mapping[str, float | None]]:
    """Of material -> its lots those whose material has them, so that their certificates count."""
    known = {name: register[name].lots.keys() for name in lots if name in register}
    return {name: of_it for name, of_it in lots.items() if name in known and of_it.keys() <= known[name]}


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
        of_it = [*_check_weighed(name, weights, may_have_rest=False)]
        of_it += [fault for lot in weights if lot not in material.lots for fault in unknown_lot(material, lot).findings]
        faults += of_it
        if not of_it:
            from formulary.materials.lots import mix_lots

            found[name] = mix_lots(material, lot_shares(weights))
    if faults:
        raise InputError(faults)
    return found
