"""How large a batch is to be: so much oil or batter, a mould as filled, or bars by weight."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

from formulary.batch.mould import Mould, parse_mould
from formulary.batch.volume import cured_mass_g, pot_volume_ml
from formulary.batch.weigh_out import work_out_batch
from formulary.errors import InputError
from formulary.given import Figure, is_number
from formulary.materials.model import Material
from formulary.names import nearest
from formulary.quantity import NotAQuantity, parse_mass_g
from formulary.recipes.version import Version
from formulary.settings import Settings

LARGEST_BATCH_G = 1_000_000.0  # a slip of the finger, not a bench, asks for more

Materials = Mapping[str, Material]


def find_mould(text: str, settings: Settings) -> Mould:
    """A mould as a person names it: by its name in the settings, or by its inside.

    Raises InputError, with the nearest names where it is neither.
    """
    try:
        return parse_mould(settings.moulds.get(str(text).strip(), text))
    except InputError:
        near = nearest(str(text), settings.moulds)
        if not near or text.strip() in settings.moulds:
            raise
        what = f"{text.strip()[:40]!r} is neither a mould of the settings nor the inside of one"
        raise InputError.of("bad-mould", what, f"did you mean {' or '.join(near)}?") from None


def is_mould(text: str, settings: Settings) -> bool:
    """Whether a text says how large a mould is: by its inside, or as one of the settings."""
    try:
        find_mould(text, settings)
    except InputError:
        return False
    return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How large a batch is to be, in one of four ways, as typed.

    oils, total: masses. mould: its inside as filled, or a name from the settings. bars of `bar` each, as poured, or
    after the cure with `cured`.
    """

    oils: str | None = None
    total: str | None = None
    mould: str | None = None
    bars: int | None = None
    bar: str | None = None
    cured: bool = False

    @property
    def is_said(self) -> bool:
        """Whether it is said in any way."""
        return any(said is not None for said in (self.oils, self.total, self.mould, self.bars, self.bar))


Masses: TypeAlias = dict[Literal["oil_mass_g", "batter_mass_g"], float]


def find_masses(size: Size, version: Version, register: Materials, settings: Settings) -> Masses:
    """The mass of oils or of batter that a size asks for, as `work_out_batch` takes it.

    Raises InputError unless the size is said in exactly one way that can be read.
    """
    given = [said is not None for said in (size.oils, size.total, size.mould, size.bars)]
    if sum(given) == 1 and size.bars is not None:
        _demand_bars(size)
    if sum(given) != 1 or (size.bars is None) != (size.bar is None):
        do = 'say one: the oils ("1000 g"), the batter in all, a mould by its size, or bars and what one weighs'
        raise InputError.of("size", "a batch needs one size", do)
    masses = _masses(size, version, register, settings)
    for mass_g in masses.values():
        demand_sensible(mass_g, size.mould or size.bar or "this size")
    return masses


def _demand_bars(size: Size) -> None:
    """That so many bars are a whole number of some, and that it is said what one weighs."""
    if not is_number(size.bars) or int(size.bars or 0) != size.bars or size.bars < 1:
        raise InputError.of("size", f"{size.bars!r:.40} is no number of bars", "write 1 or more")
    if size.bar is None:
        raise InputError.of("size", f"what each of {size.bars} bars weighs is not said", "say it, such as 100 g")


def _masses(size: Size, version: Version, register: Materials, settings: Settings) -> Masses:
    if size.oils is not None:
        return {"oil_mass_g": parse_size_g(size.oils)}
    if size.total is not None:
        return {"batter_mass_g": parse_size_g(size.total)}
    kilogram = work_out_batch(version, register, settings, oil_mass_g=1000.0)
    materials = {line.material: register[line.material] for line in kilogram.pot.lines}
    if size.mould is not None:
        inside = find_mould(size.mould, settings)
        return {"oil_mass_g": 1000.0 * inside.volume_ml / pot_volume_ml(kilogram.pot, materials)}
    wanted_g = (size.bars or 0) * parse_size_g(size.bar or "")
    if not size.cured:
        return {"batter_mass_g": wanted_g}
    return {"oil_mass_g": 1000.0 * wanted_g / cured_mass_g(kilogram.pot, materials, settings)}


def demand_sensible(mass_g: float, said: str) -> None:
    """Raises InputError for a batch larger than any pot that this is meant for."""
    if mass_g > LARGEST_BATCH_G:
        what = f"{said.strip()[:40]} is more than any pot here is meant for"
        raise InputError.of("bad-size", what, f"make at most {LARGEST_BATCH_G / 1000:g} kg; check the unit")


def parse_size_g(text: Figure) -> float:
    """Grams of a size typed by a person, more than nothing. Raises InputError."""
    try:
        mass_g = float(parse_mass_g(text))
    except NotAQuantity as problem:
        raise InputError.of("bad-size", problem.what, problem.do) from None
    demand_sensible(mass_g, str(text))
    return mass_g
