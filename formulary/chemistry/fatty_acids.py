"""Fatty acids: what a profile says about saponification value, iodine value and kind of fat."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

from formulary.chemistry.molar_mass import (
    ATOMIC_WEIGHT_G_PER_MOL,
    GLYCEROL_G_PER_MOL,
    POTASSIUM_HYDROXIDE_G_PER_MOL,
    WATER_G_PER_MOL,
    molar_mass_g_per_mol,
)

_SHORTHAND = re.compile(r"C(\d{1,2}):(\d)(?:n\d)?(-OH)?")

_NAMES = {
    "C4:0": "butyric",
    "C6:0": "caproic",
    "C8:0": "caprylic",
    "C10:0": "capric",
    "C12:0": "lauric",
    "C13:0": "tridecanoic",
    "C14:0": "myristic",
    "C14:1": "myristoleic",
    "C15:0": "pentadecanoic",
    "C16:0": "palmitic",
    "C16:1": "palmitoleic",
    "C17:0": "margaric",
    "C17:1": "heptadecenoic",
    "C18:0": "stearic",
    "C18:1": "oleic",
    "C18:1-OH": "ricinoleic",
    "C18:2": "linoleic",
    "C18:3": "linolenic",
    "C18:3n6": "gamma-linolenic",
    "C18:4": "stearidonic",
    "C20:0": "arachidic",
    "C20:1": "gondoic",
    "C20:2": "eicosadienoic",
    "C20:3": "eicosatrienoic",
    "C20:4": "arachidonic",
    "C22:0": "behenic",
    "C22:1": "erucic",
    "C22:2": "docosadienoic",
    "C24:0": "lignoceric",
    "C24:1": "nervonic",
}

# AOCS Official Method Cd 1c-85, Calculated Iodine Value: g I2 per g for each acid, as triglyceride and as
# free acid.
_CD_1C_85_TRIGLYCERIDE = {
    "C16:1": 0.950,
    "C18:1": 0.860,
    "C18:2": 1.732,
    "C18:3": 2.616,
    "C20:1": 0.785,
    "C22:1": 0.723,
}
_CD_1C_85_FREE_ACID = {
    "C16:1": 0.9976,
    "C18:1": 0.8986,
    "C18:2": 1.810,
    "C18:3": 2.735,
    "C20:1": 0.8175,
    "C22:1": 0.7497,
}


class FattyAcid(NamedTuple):
    """One fatty acid, read from its shorthand."""

    shorthand: str
    name: str
    carbons: int
    double_bonds: int
    is_hydroxy: bool

    @property
    def molar_mass_g_per_mol(self) -> float:
        """g/mol of the free acid."""
        hydrogens = 2 * self.carbons - 2 * self.double_bonds
        oxygens = 3 if self.is_hydroxy else 2
        return molar_mass_g_per_mol(f"C{self.carbons}H{hydrogens}O{oxygens}")

    @property
    def triglyceride_g_per_mol(self) -> float:
        """g/mol of the triglyceride of this acid alone."""
        return 3.0 * self.molar_mass_g_per_mol + GLYCEROL_G_PER_MOL - 3.0 * WATER_G_PER_MOL


@lru_cache(maxsize=128)
def parse_fatty_acid(shorthand: str) -> FattyAcid:
    """The fatty acid of a shorthand: ``C18:1`` oleic, ``C18:1-OH`` ricinoleic, ``C18:3n6`` gamma-linolenic.

    Raises
    ------
    ValueError: not a shorthand of carbons and double bonds that can exist.

    >>> parse_fatty_acid("C18:1").name
    'oleic'
    """
    matched = _SHORTHAND.fullmatch(shorthand)
    if matched is None:
        raise ValueError(f"{shorthand!r} is not a fatty acid such as C18:1 or C18:1-OH")
    carbons, double_bonds = int(matched[1]), int(matched[2])
    if carbons < 2 or double_bonds > max(0, carbons - 1) // 2:
        raise ValueError(f"{shorthand!r} has more double bonds than its carbons allow")
    return FattyAcid(shorthand, _NAMES.get(shorthand, shorthand), carbons, double_bonds, matched[3] is not None)


def mean_molar_mass_g_per_mol(fatty_acids_percent: Mapping[str, float]) -> float:
    """The mole-correct mean molar mass of a fat's acids: the harmonic mean over mass fractions.

    The arithmetic mean over mass fractions overstates it and so understates the saponification value, by up
    to 3 % for lauric oils (coconut 247 instead of 254 to 256).

    Parameters
    ----------
    fatty_acids_percent: percent by mass of each acid by shorthand; any total (only the ratios count).

    Returns
    -------
    g/mol.

    Raises
    ------
    ValueError: the profile is empty.

    >>> round(mean_molar_mass_g_per_mol({"C12:0": 50, "C18:1": 50}), 1)
    234.4
    """
    total = sum(fatty_acids_percent.values())
    if total <= 0:
        raise ValueError("a fatty-acid profile needs at least one acid")
    moles = sum(
        percent / parse_fatty_acid(shorthand).molar_mass_g_per_mol for shorthand, percent in fatty_acids_percent.items()
    )
    return total / moles


def calculated_saponification_value(fatty_acids_percent: Mapping[str, float], *, as_free_acids: bool = False) -> float:
    """The saponification value that a fatty-acid profile implies, mg KOH per g.

    Parameters
    ----------
    fatty_acids_percent: percent by mass of each acid; any total.
    as_free_acids: whether the material is the acids themselves rather than their triglycerides.

    Returns
    -------
    mg KOH per g. Unsaponifiable matter, mono- and diglycerides are not in it: for shea butter it reads high.

    Source: AOCS Cd 3a-94 (formula from memory) with the harmonic instead of the arithmetic mean.

    >>> round(calculated_saponification_value({"C18:1": 100}), 2)
    190.09
    """
    mean = mean_molar_mass_g_per_mol(fatty_acids_percent)
    if as_free_acids:
        return 1000.0 * POTASSIUM_HYDROXIDE_G_PER_MOL / mean
    triglyceride = 3.0 * mean + GLYCEROL_G_PER_MOL - 3.0 * WATER_G_PER_MOL
    return 3.0 * 1000.0 * POTASSIUM_HYDROXIDE_G_PER_MOL / triglyceride


def iodine_value_factor(shorthand: str, *, as_free_acid: bool = False) -> float:
    """g of iodine that 1 g of an acid's triglyceride (or of the acid itself) takes up.

    The factors of AOCS Cd 1c-85 where the method has one; else the theoretical factor from the molar mass,
    which the method's own factors agree with to a unit of the last digit. Ricinoleic acid (0.816) is such a
    computed one.

    Source: AOCS Official Method Cd 1c-85.

    >>> iodine_value_factor("C18:2")
    1.732
    """
    table = _CD_1C_85_FREE_ACID if as_free_acid else _CD_1C_85_TRIGLYCERIDE
    if shorthand in table:
        return table[shorthand]
    acid = parse_fatty_acid(shorthand)
    iodine_g = 2.0 * ATOMIC_WEIGHT_G_PER_MOL["I"] * acid.double_bonds
    if as_free_acid:
        return iodine_g / acid.molar_mass_g_per_mol
    return 3.0 * iodine_g / acid.triglyceride_g_per_mol


def calculated_iodine_value(fatty_acids_percent: Mapping[str, float], *, as_free_acids: bool = False) -> float:
    """The iodine value that a fatty-acid profile implies, g I2 per 100 g.

    Parameters
    ----------
    fatty_acids_percent: percent by mass of each acid; a profile that does not total 100 is scaled to it.
    as_free_acids: whether the material is the acids themselves.

    Returns
    -------
    g of iodine per 100 g. Reads low for fats of low iodine value (AOCS's own remark).

    Raises
    ------
    ValueError: there is no acid in it.

    Source: AOCS Cd 1c-85, with computed factors for acids that it does not list.

    >>> round(calculated_iodine_value({"C18:1": 100}), 1)
    86.0
    """
    total = sum(fatty_acids_percent.values())
    if total <= 0:
        raise ValueError("a fatty-acid profile needs at least one acid")
    return (
        sum(
            percent * iodine_value_factor(shorthand, as_free_acid=as_free_acids)
            for shorthand, percent in fatty_acids_percent.items()
        )
        * 100.0
        / total
    )


def blended_fatty_acids_percent(
    parts: Mapping[str, tuple[float, Mapping[str, float]]],
) -> dict[str, float]:
    """The profile of a blend in percent of the acids that are known, in order of chain and bonds.

    Parameters
    ----------
    parts: for each material its mass (any unit) and its profile; a material without a profile is left out.

    Returns
    -------
    percent by acid, totalling 100; empty when no profile is known.

    >>> blended_fatty_acids_percent({"a": (1, {"C12:0": 50}), "b": (3, {"C18:1": 100})})
    {'C12:0': 25.0, 'C18:1': 75.0}
    """
    amounts: dict[str, float] = {}
    for mass, profile in parts.values():
        total = sum(profile.values())
        for shorthand, percent in profile.items():
            amounts[shorthand] = amounts.get(shorthand, 0.0) + mass * percent / total
    whole = sum(amounts.values())
    return {acid: amounts[acid] * 100.0 / whole for acid in sorted(amounts, key=_chain_order)} if whole else {}


def _chain_order(shorthand: str) -> tuple[int, int, str]:
    acid = parse_fatty_acid(shorthand)
    return (acid.carbons, acid.double_bonds, shorthand)


class Saturation(NamedTuple):
    """Percent of the acids without, with one and with more double bonds; together 100."""

    saturated_percent: float
    monounsaturated_percent: float
    polyunsaturated_percent: float


def find_saturation(fatty_acids_percent: Mapping[str, float]) -> Saturation:
    """Saturated, mono- and polyunsaturated acids in percent of the known profile.

    fatty_acids_percent: percent by mass of each acid; need not total 100. Raises ValueError where there is none.

    >>> find_saturation({"C16:0": 1, "C18:1": 2, "C18:2": 1})
    Saturation(saturated_percent=25.0, monounsaturated_percent=50.0, polyunsaturated_percent=25.0)
    """
    total = sum(fatty_acids_percent.values())
    if total <= 0:
        raise ValueError("a fatty-acid profile needs at least one acid")
    sums = [0.0, 0.0, 0.0]
    for shorthand, percent in fatty_acids_percent.items():
        sums[min(parse_fatty_acid(shorthand).double_bonds, 2)] += percent
    return Saturation(*(part * 100.0 / total for part in sums))


class ChainGroup(NamedTuple):
    """Acids that behave alike in soap, named chemically, with one fact of solubility or oxidation."""

    name: str
    fact: str


# Facts of solubility and oxidation, general soap chemistry, from memory. The temperatures are Krafft temperatures,
# above which a sodium soap dissolves well; oxidation is compared with oleic acid.
CHAIN_GROUPS: tuple[ChainGroup, ...] = (
    ChainGroup("short saturated (C4 to C10)", "their sodium soaps dissolve easily in cold water"),
    ChainGroup("medium saturated (C12, C14)", "their sodium soaps dissolve well from about 25 to 45 °C (77 to 113 °F)"),
    ChainGroup("long saturated (C16 and longer)", "their sodium soaps dissolve well only from about 60 °C (140 °F)"),
    ChainGroup("monounsaturated", "sodium oleate dissolves well from about 25 °C (77 °F); they oxidise slowly"),
    ChainGroup("hydroxy (ricinoleic)", "a hydroxyl group makes its soaps very soluble in water"),
    ChainGroup("polyunsaturated", "they oxidise ten times as fast as oleic acid and faster"),
)


def find_chain_group(shorthand: str) -> ChainGroup:
    """The group of `CHAIN_GROUPS` that an acid belongs to.

    >>> find_chain_group("C12:0").name
    'medium saturated (C12, C14)'
    """
    acid = parse_fatty_acid(shorthand)
    if acid.is_hydroxy:
        return CHAIN_GROUPS[4]
    if acid.double_bonds:
        return CHAIN_GROUPS[3] if acid.double_bonds == 1 else CHAIN_GROUPS[5]
    if acid.carbons <= 11:
        return CHAIN_GROUPS[0]
    return CHAIN_GROUPS[1] if acid.carbons <= 15 else CHAIN_GROUPS[2]


def chain_groups_percent(fatty_acids_percent: Mapping[str, float]) -> dict[str, float]:
    """Percent of the known profile in each group of `CHAIN_GROUPS`, in that order, empty groups left out.

    fatty_acids_percent: percent by mass of each acid; need not total 100. Raises ValueError where there is none.

    >>> chain_groups_percent({"C12:0": 1, "C18:1": 3})
    {'medium saturated (C12, C14)': 25.0, 'monounsaturated': 75.0}
    """
    total = sum(fatty_acids_percent.values())
    if total <= 0:
        raise ValueError("a fatty-acid profile needs at least one acid")
    sums = dict.fromkeys((group.name for group in CHAIN_GROUPS), 0.0)
    for shorthand, percent in fatty_acids_percent.items():
        sums[find_chain_group(shorthand).name] += percent * 100.0 / total
    return {name: percent for name, percent in sums.items() if percent > 0}
