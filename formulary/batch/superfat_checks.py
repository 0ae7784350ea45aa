"""Checks of the superfat: lye excess, a superfat that is low or high, its band, and each portion's own."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping

from formulary.batch.figures import certain_saponification_value
from formulary.batch.model import WHOLE, PortionFigures, Pot
from formulary.finding import Finding, Place, note, stop, warn
from formulary.materials.model import Material
from formulary.quantity import format_number

LOW_SUPERFAT_PERCENT = 2.0
HIGH_SUPERFAT_PERCENT = 20.0
_MOST_ROUNDED_POINTS = 0.5  # of superfat, that rounding the alkali down may add to the highest without a word
NO_SOAP_SUPERFAT_PERCENT = 30.0  # a third of the fat is left as it was (common practice, no source)
LOW_BAND_PERCENT = -2.0
_ALIKE_POINTS = 0.05  # of superfat, within which a portion is as the whole is
# A rounding of the last digit is no excess of lye.
_TOLERANCE = 1e-9

Materials = Mapping[str, Material]
Locate = Callable[..., Place]

_RAISE = f"raise the superfat to {LOW_SUPERFAT_PERCENT:g} % or more"
_REWORK = "correct the record if a weight is a slip; else do not use it on skin: rework it with more oil, or discard it"
_NOT_SOAP = "correct the record if a weight is a slip; else rework it with the lye that it lacks, or discard it"
_TEST_IT = "test a fresh cut for free alkali before anyone uses it"
_HOUSEHOLD = "never use it on skin; label it for household cleaning"


def check_superfat(
    *,
    nominal: float | None,
    effective: float,
    low: float,
    pot: Pot,
    materials: Materials,
    purpose: str,
    locate: Locate,
    alkali_step_g: float = 0.0,
) -> Iterable[Finding]:
    """Lye excess, a superfat that is low or high, and what the band says. `nominal` None: a batch as made.

    What is still to be weighed is mended in the recipe; what is in the pot already is not, and the words say so.
    alkali_step_g: what the alkali was rounded down to.
    """
    place = locate("lye", "superfat")
    on_skin = purpose == "skin"
    is_stated_high = nominal is not None and nominal > HIGH_SUPERFAT_PERCENT
    rounded = min((100.0 - effective) * _rounded_off(pot, alkali_step_g), _MOST_ROUNDED_POINTS)
    if nominal is not None and nominal < 0:
        what = f"the superfat is {format_number(nominal, 1)} %: more lye than the oils can take"
        if on_skin:
            yield stop("superfat-negative", what, f"{_RAISE}; 5 % is usual", place)
        else:
            yield warn("superfat-negative", what, _HOUSEHOLD, place)
    if effective < -_TOLERANCE and (nominal is None or nominal >= 0 or on_skin):
        what = f"the effective superfat is {format_number(effective, 1)} %: free lye stays in the bar"
        if on_skin:
            yield stop("lye-excess", what, _REWORK if nominal is None else _RAISE, place)
        else:
            yield warn("lye-excess", what, _HOUSEHOLD, place)
    elif on_skin and effective < LOW_SUPERFAT_PERCENT - _TOLERANCE:
        what = f"the effective superfat is only {format_number(effective, 1)} %"
        do = _TEST_IT if nominal is None else f"{_RAISE}; 5 % leaves room for what is not known of the oils"
        yield warn("superfat-low", what, do, place)
    elif nominal is None and effective > NO_SOAP_SUPERFAT_PERCENT + _TOLERANCE:
        what = f"the effective superfat is {format_number(effective, 1)} %: this is not soap as meant"
        yield stop("superfat-high", what, _NOT_SOAP, place)
    elif is_stated_high or effective > HIGH_SUPERFAT_PERCENT + rounded + _TOLERANCE:
        what = f"the effective superfat is {format_number(effective, 1)} %: expect a soft bar that may go rancid early"
        do = "lower the superfat, or what brings fat besides the oils, until it is 20 % or less; 5 to 8 % is usual"
        yield warn("superfat-high", what, "sell and use it early" if nominal is None else do, place)
    if on_skin and effective >= -_TOLERANCE and low < -_TOLERANCE:
        what = f"with what is known of these oils the superfat may be as low as {format_number(low, 1)} %"
        make = warn if low < LOW_BAND_PERCENT else note
        yield make("superfat-band", what, _narrow_the_band(nominal, low, pot, materials, alkali_step_g), place)


def _narrow_the_band(nominal: float | None, low: float, pot: Pot, materials: Materials, alkali_step_g: float) -> str:
    """What lifts the band's low end to nothing: a certificate of what is known least, or a superfat that is enough."""
    widest = _widest_oil(pot, materials)
    is_wax = widest is not None and materials[widest].kind == "wax"
    narrow = f"give the saponification value of your {widest} from its certificate (`formulary materials lot`)"
    if is_wax:
        narrow = f"use less {widest}, which takes up alkali only in part"
    if nominal is None:
        return _TEST_IT if widest is None or is_wax else f"{narrow}, or {_TEST_IT}"
    # The band is in proportion to the alkali, so that much less of it is enough. What rounding down took off it here it
    # may not take off there.
    not_rounded = 1.0 + _rounded_off(pot, alkali_step_g)
    enough = math.ceil(1000.0 - 1000.0 * (100.0 - nominal) / ((100.0 - low) * not_rounded)) / 10.0
    do = f"raise the superfat to {enough:g} % or more"
    if widest is None or enough > HIGH_SUPERFAT_PERCENT:
        return do if widest is None else narrow
    return f"{narrow}, or {do}"


def _rounded_off(pot: Pot, alkali_step_g: float) -> float:
    """The most that rounding each alkali down to a step takes away, as a part of what is left."""
    alkalis_g = [line.grams for line in pot.lines if line.role == "alkali"]
    return len(alkalis_g) * alkali_step_g / sum(alkalis_g) if sum(alkalis_g) > 0 else 0.0


def check_alkali_on_top(pot: Pot, purpose: str, locate: Locate) -> Iterable[Finding]:
    """Alkali that lies on the bars, where no fat takes it up, however much the batter has to spare."""
    for line in pot.lines:
        if line.role == "alkali" and line.at == "top" and line.grams > 0:
            what = f"{format_number(line.grams, 1)} g of {line.material} lies on top, where it stays caustic"
            if purpose == "skin":
                yield stop("lye-excess", what, _REWORK, locate("lye", line.material))
            else:
                yield warn("lye-excess", what, _HOUSEHOLD, locate("lye", line.material))


def check_portion_superfat(
    portions: Iterable[PortionFigures],
    whole: float,
    purpose: str,
    locate: Locate,
    *,
    is_planned: bool,
    whole_low: float | None = None,
) -> Iterable[Finding]:
    """A portion whose own acid, fat or alkali leaves it with an excess of lye, or little superfat, at its worst end.

    whole, whole_low: the superfat of all of the batter, and the low end of its band.
    """
    for portion in portions:
        found = portion.superfat_percent
        if portion.name == WHOLE or found is None:
            continue
        place = locate("portions", portion.name)
        do = "take acids, fats and alkali out of `gets`, or make each portion a recipe of its own"
        if not is_planned:
            do = _REWORK if found < -_TOLERANCE and purpose == "skin" else _TEST_IT
        yield from _check_portion_band(portion, purpose, do, place, whole_low)
        # What the whole is told is not told again, but an excess that only a portion has always is.
        is_told = found >= -_TOLERANCE or whole < -_TOLERANCE
        if found >= LOW_SUPERFAT_PERCENT or (is_told and abs(found - whole) < _ALIKE_POINTS):
            continue
        what = f"the effective superfat of the {portion.name} portion may be {format_number(found, 1)} %"
        if found >= -_TOLERANCE:
            if purpose == "skin":
                yield warn("superfat-low", what, do, place)
        elif purpose == "skin":
            yield stop("lye-excess", f"{what}: free lye stays in it", do, place)
        else:
            yield warn("lye-excess", f"{what}: free lye stays in it", f"never use it on skin; {do}", place)


def _check_portion_band(
    portion: PortionFigures, purpose: str, do: str, place: Place, whole_low: float | None
) -> Iterable[Finding]:
    """That a portion on skin may have an excess of lye, with what is known of its oils, where not all has as much."""
    found, low = portion.superfat_percent, portion.superfat_low_percent
    if purpose != "skin" or found is None or low is None or found < -_TOLERANCE or low >= -_TOLERANCE:
        return
    if whole_low is not None and whole_low < -_TOLERANCE and low > whole_low - _ALIKE_POINTS:
        return
    what = f"with what is known of its oils the superfat of the {portion.name} portion may be as low as"
    make = warn if low < LOW_BAND_PERCENT else note
    yield make("superfat-band", f"{what} {format_number(low, 1)} %", do, place)


def _widest_oil(pot: Pot, materials: Materials) -> str | None:
    """The oil whose doubt may lower the superfat most."""
    widths: dict[str, float] = {}
    for line in pot.lines:
        value = materials[line.material].saponification_value
        if line.role == "oil" and value is not None:
            doubt = value.working - certain_saponification_value(materials[line.material])
            widths[line.material] = widths.get(line.material, 0.0) + line.grams * doubt
    widest = max(widths, key=lambda name: widths[name], default=None)
    return widest if widest is not None and widths[widest] > 0 else None
