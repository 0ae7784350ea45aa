"""Whether what a maker states of an oil or an alkali can be true, as far as the lye is worked out from it.

A saponification value is held against real fats, the register and the profile; an assay against what is sold.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from formulary.chemistry.alkali import UNKNOWN_ASSAY_PERCENT, Alkali, alkali_mass_g
from formulary.chemistry.fatty_acids import calculated_saponification_value
from formulary.chemistry.molar_mass import POTASSIUM_HYDROXIDE_G_PER_MOL
from formulary.materials.model import CERTIFICATE_HALF_WIDTH, Material, MaterialKind, ValueRange
from formulary.materials.working_value import WHOLE_PROFILE_PERCENT

# Among the fats of the Codex standards coconut oil is highest, 265, and rapeseed of high erucic acid lowest, 168; the
# bounds leave room on both sides. What only short acids explain (medium-chain triglycerides, about 310 to 360, from
# memory) must state them.
LOWEST_FAT = 100.0
HIGHEST_FAT = 280.0
# How far a lot may lie from what its fatty acids imply, and below the reference range, before it is warned of: more
# than any two lots differ in practice. Above the range every further percent of lye comes off the superfat, so that it
# is warned of at once, and by this much, a usual superfat, it is too much (common practice, no source).
OUTSIDE_REFERENCE_PERCENT = 5.0
FROM_PROFILE_PERCENT = 8.0


def is_no_fat(value: ValueRange, kind: MaterialKind, fatty_acids: Mapping[str, float]) -> bool:
    """Whether no fat or wax has such a value; stated fatty acids that imply it bear it out."""
    low = LOWEST_FAT if kind is MaterialKind.OIL else 0.0
    if kind not in (MaterialKind.OIL, MaterialKind.WAX) or low <= value.low <= value.high <= HIGHEST_FAT:
        return False
    implied = _implied(fatty_acids, kind)
    return implied is None or any(
        abs(end - implied) > implied * FROM_PROFILE_PERCENT / 100.0 for end in (value.low, value.working, value.high)
    )


class Reason(NamedTuple):
    """Why a value is hard to believe, in words; is_far: by more than what is stated may err."""

    why: str
    is_far: bool


def find_doubt(
    value: ValueRange,
    *,
    kind: MaterialKind,
    builtin: Material | None,
    fatty_acids: Mapping[str, float],
    is_own_profile: bool,
) -> Reason | None:
    """Why a maker's saponification value is hard to believe; None when nothing speaks against it.

    builtin: the built-in material of the same slug. fatty_acids: the profile to hold it against; is_own_profile:
    whether the maker states it. The register's own profile is only asked where the register's range does not hold the
    value: unsaponifiable matter, as in shea butter, lowers the one and not the other.
    """
    reference = None
    if builtin is not None and builtin.kind is kind:
        reference = builtin.reference_saponification_value
    known_as = f"it is known as {reference.low:g} to {reference.high:g}" if reference is not None else ""
    if reference is not None:
        part = OUTSIDE_REFERENCE_PERCENT / 100.0
        if not reference.low * (1 - part) <= value.working <= reference.high * (1 + part):
            return Reason(known_as, is_far=True)
        if reference.low <= value.working <= reference.high and not is_own_profile:
            return None
    implied = _implied(fatty_acids, kind)
    if implied is not None and abs(value.working - implied) > implied * FROM_PROFILE_PERCENT / 100.0:
        return Reason(f"its fatty acids imply {implied:.0f}", is_far=True)
    if reference is not None and value.working > reference.high + CERTIFICATE_HALF_WIDTH:
        return Reason(known_as, is_far=False)
    return None


class Doubt(NamedTuple):
    """A stated value that is hard to believe. whose: ` of lot OL-7` where one of several states it.

    is_too_much: the batch is worked with it and it is far from what is known, so that there would be too much lye.
    """

    value: float
    whose: str
    why: str
    is_too_much: bool


def find_doubts(material: Material, builtin: Material | None) -> Iterator[Doubt]:
    """Of a material as a batch uses it: each stated value that is hard to believe."""
    used = material.lots_used
    is_of_lot = any("saponification_value" in material.lots[name].overrides for name in used if name in material.lots)
    # Without a certificate the value as stated: the rule for the working value may have chosen a lower one.
    value = material.saponification_value if is_of_lot else material.reference_saponification_value
    values = [(value, material.fatty_acids, "")]
    # A mean may hide one certificate that cannot be true.
    for name in used if len(used) > 1 else ():
        stated = material.lots[name].overrides if name in material.lots else {}
        profile = stated.get("fatty_acids", material.fatty_acids)
        values.append((stated.get("saponification_value"), profile, f" of lot {name}"))
    profile_source = material.sources.get("fatty_acids")
    for value, profile, whose in values:
        if value is None or value.known.obtained != "maker":
            continue
        own = profile_source is not None and profile_source.obtained == "maker"
        reason = find_doubt(value, kind=material.kind, builtin=builtin, fatty_acids=profile, is_own_profile=own)
        if reason is not None:
            is_worked_with = material.saponification_value is not None and (
                value.working <= material.saponification_value.working
            )
            is_above = value.working > (_known(material, builtin) or value.working)
            yield Doubt(value.working, whose, reason.why, reason.is_far and is_worked_with and is_above)


def _known(material: Material, builtin: Material | None) -> float | None:
    """What speaks against a doubted value: the register's, else what the fatty acids imply."""
    if builtin is not None and builtin.kind is material.kind and builtin.saponification_value is not None:
        return builtin.saponification_value.working
    return _implied(material.fatty_acids, material.kind)


def find_assay_doubt(assay: ValueRange, alkali: Alkali | None) -> Reason | None:
    """Why the assay that a maker states of a solid alkali is hard to believe; None when it is sold so.

    The weakest that is sold is the pharmacopoeial minimum. Less of it would be more to weigh: a figure too low makes
    lye that the oils cannot take, one too high only a softer bar.
    """
    if alkali is None or assay.known.obtained != "maker":
        return None
    low, _ = UNKNOWN_ASSAY_PERCENT[alkali]
    if assay.working >= low:
        return None
    is_far = assay.working * (1 + OUTSIDE_REFERENCE_PERCENT / 100.0) < low
    return Reason(f"what is sold as {alkali.value.replace('-', ' ')} holds {low:g} % or more", is_far)


def find_assay_doubts(material: Material) -> Iterator[Doubt]:
    """Of a solid alkali as a batch uses it: its assay, and that of each of several lots, where hard to believe."""
    if material.group == "lye-solution":
        return
    used = material.lots_used
    values = [(material.assay_percent, "")]
    for name in used if len(used) > 1 else ():
        stated = material.lots[name].overrides if name in material.lots else {}
        values.append((stated.get("assay_percent"), f" of lot {name}"))
    for assay, whose in values:
        reason = find_assay_doubt(assay, material.alkali) if assay is not None else None
        if assay is not None and reason is not None:
            yield Doubt(assay.working, whose, reason.why, reason.is_far and not whose)


def weighed_at(assay_percent: float, alkali: Alkali) -> str:
    """What such an assay means at the scale: grams in the place of 100 g of the weakest that is sold."""
    low, _ = UNKNOWN_ASSAY_PERCENT[alkali]
    return f"{100.0 * low / assay_percent:.0f} g for every 100 g of one of {low:g} %"


def lye_of(saponification_value: float) -> str:
    """What such a value means at the scale: grams of sodium hydroxide for a kilogram."""
    mol = saponification_value / POTASSIUM_HYDROXIDE_G_PER_MOL  # mg per g is g per kg
    return f"{alkali_mass_g(mol, Alkali.SODIUM_HYDROXIDE):.0f} g of NaOH for 1 kg"


def _implied(fatty_acids: Mapping[str, float], kind: MaterialKind) -> float | None:
    if kind is MaterialKind.WAX or sum(fatty_acids.values()) < WHOLE_PROFILE_PERCENT:
        return None
    return calculated_saponification_value(fatty_acids, as_free_acids=kind is MaterialKind.FATTY_ACID)
