"""One rule, in one place, for the saponification value that a material is worked with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

from formulary.chemistry.alkali import UNKNOWN_ASSAY_PERCENT, Alkali
from formulary.chemistry.fatty_acids import calculated_saponification_value
from formulary.materials.model import ASSAY_NOT_STATED, Known, Material, MaterialKind, ValueRange

# A single published value says nothing of how far lots differ. It is given the half-width that is usual
# among the ranges of the standards (a test takes the median over them: about 3 % of the middle).
SINGLE_VALUE_HALF_WIDTH_PERCENT = 3.0

# A reference value that differs by more than this from what the fatty acids imply gives way to the lower of
# the two.
DISAGREEMENT_PERCENT = 1.0

# A profile that names less of the fat says too little of the rest to hold a value against it.
WHOLE_PROFILE_PERCENT = 80.0
# To work lye out from it alone it must name more: should all of the unnamed tenth be of the longest acids (erucic,
# about 160), the value is 1.6 % too high, within the band. Profiles are of the acids: unsaponifiables do not shorten
# them.
PROFILE_FOR_LYE_PERCENT = 90.0


class WorkingValue(NamedTuple):
    """A saponification value with its band, and one sentence on how it was chosen; None when nothing is known."""

    value: ValueRange | None
    how: str


def choose_saponification_value(
    low: float | None,
    high: float | None,
    fatty_acids_percent: Mapping[str, float],
    kind: MaterialKind,
    known: Known,
    *,
    stated_working: float | None = None,
    acid_value_low: float | None = None,
) -> WorkingValue:
    """The saponification value to work with, mg KOH per g.

    A lot's certificate comes before all this (`Material.with_lot`). Else the middle of the reference range;
    where that differs by more than 1 % from the value that the fatty-acid profile implies, the lower of the
    two: too little lye is a softer bar, too much is a burn.

    Parameters
    ----------
    low, high: the reference range; equal for a single published value; None when there is none.
    fatty_acids_percent: the profile; may be empty.
        Of a profile that names less than 90 % no lye is worked out, and below 80 % nothing is held against it.
    kind: for free fatty acids the profile is of the acids themselves; for waxes it says nothing.
    known: where the range is from.
    stated_working: a working value that the maker's file states, which is then kept.
    acid_value_low: for waxes, the low end of the acid value: the low end of the band, since esters react only partly.

    Returns
    -------
    the value with its band, and the sentence.
    """
    if low is None or high is None:
        return _from_profile_alone(fatty_acids_percent, kind)
    middle = (low + high) / 2.0
    start = f"The middle of {low:g} to {high:g} is {middle:g}"
    if low == high:
        low, high = _usual_band(middle)
        good_to = f"{SINGLE_VALUE_HALF_WIDTH_PERCENT:g} %"
        start = f"A single published value, {middle:g}, taken as good to {good_to}, which is usual"
    if stated_working is not None:
        working, how = stated_working, f"The file says {stated_working:g}."
    else:
        working, how = _middle_or_implied(middle, start, fatty_acids_percent, kind)
    if kind is MaterialKind.WAX:
        low = min(low, acid_value_low or 0.0)
        how += " Esters of waxes react only partly, so the band begins at the acid value alone."
    return WorkingValue(ValueRange(min(low, working), max(high, working), working, known), how)


def _implied_value(
    fatty_acids_percent: Mapping[str, float], kind: MaterialKind, *, at_least_percent: float
) -> float | None:
    """What a profile implies, where it names enough of the fat; nothing for a wax, which is little of its acids."""
    if kind is MaterialKind.WAX or sum(fatty_acids_percent.values()) < at_least_percent:
        return None
    return calculated_saponification_value(fatty_acids_percent, as_free_acids=kind is MaterialKind.FATTY_ACID)


def _from_profile_alone(fatty_acids_percent: Mapping[str, float], kind: MaterialKind) -> WorkingValue:
    """Of a fat that nobody has measured."""
    implied = _implied_value(fatty_acids_percent, kind, at_least_percent=PROFILE_FOR_LYE_PERCENT)
    if implied is None:
        named_percent = sum(fatty_acids_percent.values())
        why = f", and fatty acids of {named_percent:g} % in all say too little" if fatty_acids_percent else ""
        return WorkingValue(None, f"No saponification value is known{why}.")
    value = ValueRange(*_usual_band(implied), implied, Known("computed", "from the fatty acids, AOCS Cd 3a-94"))
    return WorkingValue(value, "Calculated from the fatty acids, since no measured value is known.")


def _middle_or_implied(
    middle: float, start: str, fatty_acids_percent: Mapping[str, float], kind: MaterialKind
) -> tuple[float, str]:
    """The middle of what was measured, or the lower one that the fatty acids imply, and why; start: what it is of."""
    implied = _implied_value(fatty_acids_percent, kind, at_least_percent=WHOLE_PROFILE_PERCENT)
    if implied is None:
        return middle, start + (
            "; a wax's profile says little, so there is nothing to compare it with."
            if kind is MaterialKind.WAX
            else "; no fatty-acid profile is known to compare it with."
        )
    if abs(middle - implied) <= middle * DISAGREEMENT_PERCENT / 100.0:
        agrees = f"the fatty acids imply {implied:.1f}, which agrees within {DISAGREEMENT_PERCENT:g} %."
        return middle, f"{start}; {agrees}"
    lower = min(middle, implied)
    return lower, (
        f"{start}, the fatty acids imply {implied:.1f}: they differ by more than {DISAGREEMENT_PERCENT:g} %, so the"
        f" lower, {lower:.1f}, is used."
    )


def _usual_band(value: float) -> tuple[float, float]:
    half = value * SINGLE_VALUE_HALF_WIDTH_PERCENT / 100.0
    return value - half, value + half


def unknown_assay(alkali: Alkali | None) -> ValueRange:
    """A product whose purity is not stated: worked with as 100 %, with its band by alkali."""
    low, high = UNKNOWN_ASSAY_PERCENT[alkali] if alkali is not None else (95.0, 100.0)
    return ValueRange(low, high, 100.0, ASSAY_NOT_STATED)


def with_working_value(material: Material) -> Material:
    """The material with its saponification value chosen by the one rule; what is no fat keeps the stated one."""
    value = material.reference_saponification_value
    if not material.kind.is_fat:
        return replace(material, saponification_value=value)
    chosen = choose_saponification_value(
        None if value is None else value.low,
        None if value is None else value.high,
        material.fatty_acids,
        material.kind,
        value.known if value is not None else Known("computed", "from the fatty acids"),
        stated_working=material.stated_working_value,
        acid_value_low=material.acid_value.low if material.acid_value is not None else None,
    )
    return replace(material, saponification_value=chosen.value, how_working_value=chosen.how)
