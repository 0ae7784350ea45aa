"""Checks of what is known of a batch's materials, told where they are weighed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from formulary.batch.model import Pot
from formulary.finding import Finding, Place, warn
from formulary.materials.model import Material
from formulary.materials.plausible_values import find_doubts, lye_of
from formulary.materials.register import read_builtin_register


def check_stated_values(pot: Pot, materials: Mapping[str, Material], locate: Callable[..., Place]) -> Iterable[Finding]:
    """A warning for each oil whose stated saponification value is hard to believe: its lye would be wrong."""
    builtin = read_builtin_register()
    for name in dict.fromkeys(line.material for line in pot.lines if line.role == "oil"):
        for value, whose, why in find_doubts(materials[name], builtin.find(name)):
            lot = materials[name].lot
            of = whose or (f" of lot {lot}" if lot is not None else "")
            what = f"the saponification value of {name}{of} is given as {value:g}, though {why}"
            do = f"read its certificate again before you weigh any lye: {value:g} means {lye_of(value)} of the oil"
            yield warn("saponification-doubted", what, do, locate("oils", name))
