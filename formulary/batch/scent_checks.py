"""Checks of scent: limits in the cured and the dry bar, by portion; constituents; what no limit is known of."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from formulary.batch.model import WHOLE, PortionFigures, Pot, WeighedScent
from formulary.chemistry.alkali import Alkali, alkali_mass_g
from formulary.chemistry.constituents import find_constituent_limit, phenol_mol
from formulary.finding import Finding, Place, Severity, note, stop, warn
from formulary.materials.constituent_names import find_slips, say_slip
from formulary.materials.model import Material
from formulary.quantity import format_number

Materials = Mapping[str, Material]
Locate = Callable[..., Place]
_TOLERANCE = 1e-9
_KEEP_IT = "correct the record if a weight is a slip; else do not sell it nor use it on skin"


def check_scent(
    pot: Pot, portions: Iterable[PortionFigures], materials: Materials, locate: Locate, *, is_planned: bool
) -> Iterable[Finding]:
    """Each portion's scents against their limits; a limit is percent of the finished product.

    What is still to be weighed is lowered in the recipe; of what is in the pot already the words say so.
    """
    portions = tuple(portions)
    oil_mass_g = pot.grams("oil")
    percents_of_oils: dict[str, float] = {}
    for line in pot.lines:
        if line.role == "scent":
            percents_of_oils[line.material] = percents_of_oils.get(line.material, 0.0) + 100 * line.grams / oil_mass_g
    for portion in portions:
        where = "" if portion.name == WHOLE else f" in the {portion.name} portion"
        beyond = [
            *_check_limits(portion.scent, percents_of_oils, where, locate),
            *_check_constituents(portion.scent, where, materials, locate),
        ]
        yield from beyond if is_planned else map(_in_the_pot, beyond)
    for name in find_scents_without_limit(pot, materials):
        what = f"no limit is known for {name} in a bar of soap"
        do = f"not for sale until materials/{name}.yaml has the `limit` of its certificate"
        yield warn("scent-limit-unknown", what, do, locate("scent", name))
    yield from _check_names(_scents_in(pot), materials, locate)
    yield from _check_phenols(pot, materials, locate)


def _in_the_pot(finding: Finding) -> Finding:
    """A scent that went in already can only be lowered the next time."""
    keep_it = f"{_KEEP_IT}; " if finding.severity is Severity.STOP else ""
    return replace(finding, do=f"{keep_it}next time {finding.do}")


def find_scents_without_limit(pot: Pot, materials: Materials) -> tuple[str, ...]:
    """The scents in a pot of which nobody knows how much a bar may hold, in the order in which they are told."""
    return tuple(
        name
        for name in _scents_in(pot)
        if materials[name].limit is None and not _all_constituents_limited(materials[name])
    )


def _scents_in(pot: Pot) -> tuple[str, ...]:
    return tuple(dict.fromkeys(line.material for line in pot.lines if line.role == "scent"))


def _check_limits(
    scent: Iterable[WeighedScent], percents_of_oils: Mapping[str, float], where: str, locate: Locate
) -> Iterable[Finding]:
    lines = [line for line in scent if line.limit_percent is not None and line.grams > 0]
    shares = 0.0
    for name in dict.fromkeys(line.material for line in lines):
        own = [line for line in lines if line.material == name]
        limit = own[0].limit_percent
        assert limit is not None
        cured = sum(line.percent_of_cured for line in own)
        dry = sum(line.percent_of_dry for line in own)
        place = locate("scent", name, own[0].at)
        if limit <= 0 or cured > limit * (1 + _TOLERANCE):
            what = f"{name} is {format_number(cured, 2)} % of the cured bar{where}; its limit is {limit:g} %"
            yield stop("scent-limit", what, _lower_to(limit, cured, percents_of_oils[name]), place)
        elif dry > limit * (1 + _TOLERANCE):
            what = (
                f"{name} is {format_number(cured, 2)} % of the cured bar{where}, but {format_number(dry, 2)} % once"
                f" the bar is quite dry; its limit is {limit:g} %"
            )
            yield warn("scent-limit-dry", what, _lower_to(limit, dry, percents_of_oils[name]), place)
        if limit > 0:
            shares += cured / limit
    if shares > 1 + _TOLERANCE and len({line.material for line in lines}) > 1:
        what = f"the scents{where} together use {format_number(100 * shares, 0)} % of their limits"
        what += ", and what they have in common is not known"
        yield warn("scent-blend", what, _lower_all(shares, lines), locate("scent"))


def _lower_all(times_too_much: float, lines: Iterable[WeighedScent], *, dry: bool = False) -> str:
    """How far to lower several scents together so that they are within a limit; the bar gets lighter with them."""
    lines = tuple(lines)
    part_of_bar = sum(line.percent_of_dry if dry else line.percent_of_cured for line in lines) / 100.0
    percent = math.floor(100.0 * (1.0 - part_of_bar) / (times_too_much - part_of_bar) + _TOLERANCE)
    names = tuple(dict.fromkeys(line.material for line in lines))
    named, are = " and ".join(names), "it is" if len(names) == 1 else "they are"
    return f"lower {named} to {percent} % of what {are}" if percent > 0 else f"leave {named} out"


def _lower_to(limit: float, found: float, percent_of_oils: float) -> str:
    """What to write instead, when a scent is `found` percent of the bar: less of it also makes a lighter bar."""
    if limit <= 0:
        return "leave it out"
    part = limit / (100.0 - limit) * (100.0 - found) / found
    rate = math.floor(100.0 * part * percent_of_oils + 1e-9) / 100.0
    of_it = format_number(100 * part, 0)
    return f"lower it to {rate:g} % of oils or less" + (f" ({of_it} % of what it is)" if of_it != "100" else "")


def _check_constituents(
    scent: Iterable[WeighedScent], where: str, materials: Materials, locate: Locate
) -> Iterable[Finding]:
    """Each restricted constituent, summed over all scents (and over those that share one limit)."""
    cured: dict[str, float] = {}
    dry: dict[str, float] = {}
    limits: dict[str, tuple[float, str]] = {}
    holding: dict[str, list[WeighedScent]] = {}
    for line in scent:
        material = materials[line.material]
        for constituent, percent in material.contains.items():
            shared, limit = _constituent_limit(constituent, material)
            holding.setdefault(shared, []).append(line)
            cured[shared] = cured.get(shared, 0.0) + line.percent_of_cured * percent / 100.0
            dry[shared] = dry.get(shared, 0.0) + line.percent_of_dry * percent / 100.0
            if limit is not None:
                limits[shared] = min(limit, limits.get(shared, limit))
    for constituent, (most, source) in limits.items():
        amount, once_dry = cured[constituent], dry[constituent]
        what = f"{constituent} is {amount:.3g} % of the cured bar{where}, over all scents"
        if amount > most * (1 + _TOLERANCE):
            do = _lower_all(amount / most if most > 0 else math.inf, holding[constituent])
            yield stop("constituent-limit", f"{what}; its limit is {most:g} %", f"{do} ({source})", locate("scent"))
        elif once_dry > most * (1 + _TOLERANCE):
            what += f", but {once_dry:.3g} % once the bar is quite dry; its limit is {most:g} %"
            do = _lower_all(once_dry / most, holding[constituent], dry=True)
            yield warn("constituent-limit-dry", what, f"{do} ({source})", locate("scent"))


def _constituent_limit(constituent: str, material: Material) -> tuple[str, tuple[float, str] | None]:
    """What a constituent counts as, and its lowest known limit with where it is from."""
    known = find_constituent_limit(constituent)
    shared = constituent if known is None else " and ".join(known.names)
    stated = material.limits.get(constituent)
    if known is not None and (stated is None or known.percent_of_product <= stated):
        return shared, (known.percent_of_product, known.source)
    return shared, None if stated is None else (stated, f"materials/{material.slug}.yaml")


def _all_constituents_limited(material: Material) -> bool:
    return bool(material.contains) and all(
        _constituent_limit(name, material)[1] is not None for name in material.contains
    )


def _check_names(names: Iterable[str], materials: Materials, locate: Locate) -> Iterable[Finding]:
    """A warning for each constituent whose limit may go unseen because of how its name is written."""
    for name in names:
        for slip in find_slips(materials[name].contains, materials[name].limits):
            what, do = say_slip(slip)
            yield warn("constituent-doubted", f"of {name}: {what}", do, locate("scent", name))


def _check_phenols(pot: Pot, materials: Materials, locate: Locate) -> Iterable[Finding]:
    for name in dict.fromkeys(line.material for line in pot.lines if line.role == "scent"):
        grams = sum(line.grams for line in pot.lines if line.role == "scent" and line.material == name)
        takes_mol = phenol_mol(grams, materials[name].contains)
        if takes_mol > 0:
            takes_g = alkali_mass_g(takes_mol, Alkali.SODIUM_HYDROXIDE)
            what = f"{name} may take up to {format_number(takes_g, 1)} g of sodium hydroxide (its phenols)"
            yield note("phenol-takes-alkali", what, "no change is needed; expect quicker trace", locate("scent", name))
