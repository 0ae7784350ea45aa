"""How much of each lot a batch takes where a material comes from several: in the proportion of the weights given."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import NamedTuple

from formulary.batch.model import Batch, PotLine
from formulary.batch.scale import Scale, format_shown, share_out
from formulary.batch.sheet_weights import Weighing
from formulary.finding import Finding, Severity, note, stop
from formulary.materials.chosen_lots import GivenLots, has_rest, lot_shares, with_rest
from formulary.quantity import format_number

LOT_CODES = ("lots-short", "lots-in-proportion")


def check_lots(lines: Iterable[PotLine], lots: GivenLots, scale: Scale) -> Iterable[Finding]:
    """A stop where the lots of a material weigh less than what it takes: what would fill the rest up is another lot's,
    with another certificate. A note where several weigh more, since they are taken in that proportion.

    lines: what is weighed of a batch, or of all loaves of a sitting.
    """
    for unlike in _find_unlike(lines, lots, scale):
        if unlike.is_short:
            what = f"{unlike.makes}, and {unlike.takes} are to be weighed: what lacks is of no lot"
            yield stop("lots-short", what, f"give weights that make {unlike.takes}, of more lots too, or make less")
            continue
        shares = lot_shares(lots[unlike.material]).items()
        parts = ", ".join(f"{format_number(100.0 * share, 0)} % lot {lot}" for lot, share in shares)
        what = f"the lots of {unlike.material} are taken in the proportion of the weights given: {parts}"
        do = f"weigh each as the sheet says, all is worked out for that; or give weights that make {unlike.takes}"
        yield note("lots-in-proportion", what, do)


def check_lots_of_rescue(lines: Iterable[PotLine], lots: GivenLots, scale: Scale) -> Iterable[Finding]:
    """A warning where there will be more of a material than its lots weigh: what is over is taken to be like them.

    lines: what will be in the pot.
    """
    for unlike in _find_unlike(lines, lots, scale):
        if unlike.is_short:
            what = f"{unlike.makes}, and {unlike.takes} will be in: what lacks is taken to be like them"
            do = "work it out again with the weights of its lots as they are in the vessels and as you will add them"
            yield Finding(Severity.WARN, "lots-short", what, do)


def settle_rests(lots: GivenLots, lines: Iterable[PotLine]) -> dict[str, Mapping[str, float | None]]:
    """The lots with the grams of each that is what the others of its material leave of all that is weighed.

    lines: as in `check_lots`. Raises InputError where they leave nothing.
    """
    grams = _grams_of(lines)
    return {
        name: with_rest(name, of_it, grams[name]) if has_rest(of_it) and name in grams else of_it
        for name, of_it in lots.items()
    }


def weigh_lots(
    lots: Mapping[str, float | None], material: str, weighed: Mapping[Weighing, float], scale: Scale
) -> dict[str, float]:
    """Lot -> grams of it in all weighings of a material, which add up to what a sheet says of these.

    weighed: what it says of each weighing.
    """
    grams: dict[str, float] = {}
    for (name, role, _), shown_g in weighed.items():
        if name == material:
            for lot, part_g in _shown_lots(lots, role, shown_g, scale).items():
                grams[lot] = grams.get(lot, 0.0) + part_g
    return grams


class _Unlike(NamedTuple):
    """A material whose lots weigh less than what is taken of it, or several that weigh more, with both in words."""

    material: str
    makes: str
    takes: str
    is_short: bool


def _find_unlike(lines: Iterable[PotLine], lots: GivenLots, scale: Scale) -> Iterable[_Unlike]:
    lines = tuple(lines)
    grams = _grams_of(lines)
    roles = {line.material: line.role for line in reversed(lines)}
    for material, given in lots.items():
        weights_g = [weight_g for weight_g in given.values() if weight_g is not None]
        if not weights_g or material not in grams:
            continue
        given_g, takes_g = sum(weights_g), grams[material]
        # A weight that was read off a sheet is as good as the scale that the sheet is for.
        step_g = _step_g(roles[material], takes_g, scale)
        if abs(given_g - takes_g) > step_g and (given_g < takes_g or len(given) > 1):
            which = f"the lots of {material} make" if len(given) > 1 else f"the lot of {material} makes"
            takes = f"{format_shown(scale.shown(roles[material], takes_g))} g"
            yield _Unlike(material, f"{which} {format_shown(given_g)} g", takes, given_g < takes_g)


def check_lots_of_cost(batch: Batch) -> Iterable[Finding]:
    """The same where nothing is weighed out: what the lots are taken for stops nothing."""
    for finding in batch.findings:
        if finding.code in LOT_CODES:
            yield replace(finding, severity=Severity.WARN) if finding.severity is Severity.STOP else finding


def lot_words(lots: GivenLots, material: str, role: str, shown_g: float, scale: Scale) -> str:
    """What to weigh of each lot, in grams that add up to what a sheet says: `300 g of lot OL-7, 155 g of lot OL-8`.

    Empty for a material of one lot, or of none that is known.
    """
    given = lots.get(material, {})
    if len(given) < 2:
        return ""
    parts = _shown_lots(given, role, shown_g, scale)
    return ", ".join(f"{format_shown(grams)} g of lot {lot}" for lot, grams in parts.items())


def _shown_lots(given: Mapping[str, float | None], role: str, shown_g: float, scale: Scale) -> dict[str, float]:
    exact = {lot: share * shown_g for lot, share in lot_shares(given).items()}
    return share_out(exact, shown_g, min(_step_g(role, grams, scale) for grams in exact.values()))


def _grams_of(lines: Iterable[PotLine]) -> dict[str, float]:
    grams: dict[str, float] = {}
    for line in lines:
        grams[line.material] = grams.get(line.material, 0.0) + line.grams
    return grams


def _step_g(role: str, grams: float, scale: Scale) -> float:
    return scale.finest_g if role in ("alkali", "scent") else scale.step_for(grams)
