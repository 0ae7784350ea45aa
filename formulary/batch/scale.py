"""Weights as the maker's scales can show them. Only sheets are rounded so; every calculation keeps the exact grams.

Lye and scent are rounded down on the finer scale, since more of them can hurt; the rest goes to the nearest step, and
oils so that they still total what the batch asks for.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from decimal import Decimal
from typing import NamedTuple, TypeVar

from formulary.settings import Settings
from formulary.temperature import CELSIUS

# A weighing within a twentieth is good enough for what is no lye (common practice, no source).
SMALL_WEIGHT_PART = 0.05
# A sum of floats may stand a hair below the step that it is meant to be.
_HAIR = 1e-6

OUNCE_G = 28.349523125  # the avoirdupois ounce, by definition
_MOST_PLACES = 3  # of ounces that a scale shows

_Key = TypeVar("_Key", bound=Hashable)


class Scale(NamedTuple):
    """What the maker's scales resolve, in grams: the one for oils and the rest, and the one for alkali; and the unit
    that the thermometer shows."""

    step_g: float = 1.0
    alkali_step_g: float = 0.1
    temperature: str = CELSIUS

    @classmethod
    def of(cls, settings: Settings) -> Scale:
        """The scales that the settings name."""
        return cls(float(settings.scale_step_g), float(settings.alkali_step_g), settings.temperature)

    def is_too_coarse(self, grams: float) -> bool:
        """Whether the scale for oils cannot weigh so little to a twentieth."""
        return 0 < grams * SMALL_WEIGHT_PART < self.step_g / 2

    @property
    def finest_g(self) -> float:
        """The step of the finer scale."""
        return min(self.step_g, self.alkali_step_g)

    def step_for(self, grams: float) -> float:
        """The step of the scale to use for such a weight: little is weighed on the finer one."""
        return self.finest_g if self.is_too_coarse(grams) else self.step_g

    def in_ounces(self, role: str, grams: float) -> str:
        """What a scale in ounces shows for such a weight of a sheet: `4.45 oz`; empty where it is one in grams, and
        for what it shows as nothing."""
        step_g = self.alkali_step_g if role == "alkali" else self.finest_g if role == "scent" else self.step_for(grams)
        places = _places_of_ounces(step_g)
        return "" if places is None or 0.0 < grams < step_g / 2 else f"{grams / OUNCE_G:.{places}f} oz"

    def shown(self, role: str, grams: float) -> float:
        """Grams as a scale shows them. Alkali is taken as it is, rounded down already; what is finer than any scale
        stays as calculated, rather than nothing."""
        if role == "alkali":
            return grams
        step_g = self.finest_g if role == "scent" else self.step_for(grams)
        steps = grams / step_g
        shown_g = step_g * math.floor(steps + (_HAIR if role == "scent" else 0.5))
        return shown_g if shown_g > 0 else grams

    def there(self, grams: float) -> float:
        """Grams that are in a vessel as the finer scale shows them: what was typed in ounces has no end of digits."""
        shown_g = self.finest_g * round(grams / self.finest_g)
        return shown_g if shown_g > 0 else grams


def format_step(step_g: float) -> str:
    """A scale's step as it is written on it: `0.1 g`, `0.05 oz`."""
    places = _places_of_ounces(step_g)
    return f"{step_g:g} g" if places is None else f"{step_g / OUNCE_G:.{places}f} oz"


def _places_of_ounces(step_g: float) -> int | None:
    """In how many places a scale shows ounces; None where its step is a plain figure in grams and none in ounces."""
    for places in range(_MOST_PLACES + 1):
        ounces = step_g / OUNCE_G * 10**places
        if ounces >= 0.5 and abs(ounces - round(ounces)) < _HAIR:
            return None if abs(step_g - round(step_g, 2)) < _HAIR else places
    return None


def told_g(grams: float) -> float:
    """Grams as they are written: what no scale in grams shows, since it was weighed in ounces, in hundredths that are
    no more than there are."""
    is_of_no_scale = grams >= 1 and abs(grams - round(grams, 3)) > _HAIR
    return math.floor(100.0 * grams) / 100.0 if is_of_no_scale else grams


def format_shown(grams: float) -> str:
    """Grams that a scale shows, in as many digits as they have: `450`, `9.6`, `139.45`."""
    grams = told_g(grams)
    digits = repr(round(grams, 4)) if abs(grams) >= 0.001 else f"{grams:.1g}"
    text = f"{Decimal(digits):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def share_out(grams: Mapping[_Key, float], total_g: float, step_g: float) -> dict[_Key, float]:
    """The grams in whole steps, each less than a step off, that add up to `total_g` where that can be (largest
    remainder)."""
    floors = {key: math.floor(each / step_g + _HAIR) for key, each in grams.items()}
    lacking = round(total_g / step_g) - sum(floors.values())
    by_remainder = sorted(grams, key=lambda key: floors[key] - grams[key] / step_g)
    raised = set(by_remainder[: max(0, lacking)])
    return {key: step_g * (steps + (key in raised)) for key, steps in floors.items()}
