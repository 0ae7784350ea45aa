"""Whether what a sheet prints, rounded to the maker's scales, still leaves the superfat that was worked out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from formulary.batch.figures import superfat_band
from formulary.batch.model import Pot
from formulary.batch.scale import Scale, format_step
from formulary.batch.sheet_weights import grams_by_weighing, shown_weights
from formulary.finding import Finding, Place, stop, warn
from formulary.materials.model import Material
from formulary.quantity import format_number
from formulary.settings import Settings

# Half a point is what the scale for alkali may take, too.
LOST_SUPERFAT_PERCENT = 0.5
_STEPS_G = (5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)
# A rounding of the last digit is no excess of lye.
_TOLERANCE = 1e-9

Materials = Mapping[str, Material]


def printed_superfat(pot: Pot, scale: Scale, materials: Materials, settings: Settings) -> float:
    """The effective superfat of the weights as a sheet prints them, in percent."""
    exact = grams_by_weighing(pot.lines)
    shown = shown_weights(pot.lines, scale)
    lines = [
        replace(line, grams=line.grams * shown[line.material, line.role, line.at] / whole_g) if whole_g else line
        for line in pot.lines
        for whole_g in (exact[line.material, line.role, line.at],)
    ]
    return superfat_band(replace(pot, lines=tuple(lines)), materials, settings).working


def check_printed_superfat(
    pot: Pot, effective: float, purpose: str, materials: Materials, settings: Settings, locate: Callable[..., Place]
) -> Iterable[Finding]:
    """A stop where the scale for oils is so coarse that its weights leave free lye, a warning where they take half a
    point of the superfat.

    effective: the superfat of the exact grams, percent.
    """
    scale = Scale.of(settings)
    printed = printed_superfat(pot, scale, materials, settings)
    if _is_lost(printed, effective):
        fine_g = _fine_enough(pot, effective, scale, materials, settings)
        yield _tell(printed, effective, purpose, scale, fine_g, locate("oils"))


def check_printed_pot(
    pot: Pot, effective: float, purpose: str, materials: Materials, settings: Settings
) -> Iterable[Finding]:
    """The same of a pot whose grams are those that the sheet of a rescue or of a sitting comes to.

    effective: the superfat without that rounding, percent.
    """
    scale = Scale.of(settings)
    printed = superfat_band(pot, materials, settings).working
    if _is_lost(printed, effective):
        yield _tell(printed, effective, purpose, scale, scale.step_g / 10.0, Place())


def _is_lost(printed: float, effective: float) -> bool:
    return printed < -_TOLERANCE <= effective or effective - printed > LOST_SUPERFAT_PERCENT


def _tell(printed: float, effective: float, purpose: str, scale: Scale, fine_g: float, place: Place) -> Finding:
    what = (
        f"weighed in steps of {format_step(scale.step_g)} the superfat is {format_number(printed, 1)} %, not"
        f" {format_number(effective, 1)} %"
    )
    do = f"use a scale for the oils that shows {fine_g:g} g (and set `scale`), or make a larger batch"
    if not printed < -_TOLERANCE <= effective:
        return warn("oils-rounded", what, do, place)
    if purpose == "skin":
        return stop("oils-rounded", f"{what}: free lye stays in the bar", do, place)
    return warn("oils-rounded", f"{what}: free lye stays in it", f"never use it on skin; {do}", place)


def _fine_enough(pot: Pot, effective: float, scale: Scale, materials: Materials, settings: Settings) -> float:
    """The coarsest step of a scale in the shops that keeps the superfat."""
    for step_g in _STEPS_G:
        if step_g < scale.step_g:
            printed = printed_superfat(pot, scale._replace(step_g=step_g), materials, settings)
            if not _is_lost(printed, effective):
                return step_g
    return _STEPS_G[-1]
