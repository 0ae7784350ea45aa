"""Checks of what is known of a batch's materials, told where they are weighed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from formulary.batch.figures import alkali_of
from formulary.batch.model import Pot
from formulary.finding import Finding, Place, stop, warn
from formulary.materials.model import Material
from formulary.materials.plain_name import material_words
from formulary.materials.plausible_values import Doubt, find_assay_doubts, find_doubts, lye_of, weighed_at
from formulary.materials.register import read_builtin_register


def check_stated_assays(
    pot: Pot, materials: Mapping[str, Material], locate: Callable[..., Place], *, is_planned: bool
) -> Iterable[Finding]:
    """What is doubtful of each solid alkali's stated assay, since all of its lye is weighed by it.

    A stop where so much more would be weighed than of the weakest that is sold that a usual superfat is gone.
    """
    for name in dict.fromkeys(line.material for line in pot.lines if line.role == "alkali"):
        material = materials[name]
        for doubt in find_assay_doubts(material):
            whose = f"{material_words(name)}{_of_lot(doubt, material)}"
            what = f"the assay of the {whose} is given as {doubt.value:g} %, though {doubt.why}"
            means = f"it means {weighed_at(doubt.value, alkali_of(material))}"
            do = f"read its label again before {_in_time(is_planned)}: {means}"
            place = locate("lye", "alkali")
            if doubt.is_too_much:
                yield stop("assay-doubted", what, do, place)
            else:
                yield warn("assay-doubted", what, do, place)


def check_stated_values(
    pot: Pot, materials: Mapping[str, Material], locate: Callable[..., Place], *, is_planned: bool
) -> Iterable[Finding]:
    """What is doubtful of each oil's stated saponification value, since its lye would be wrong.

    A stop where the batch is worked with one that is far above what is known: a certificate comes before every table,
    so a slip in it would all be lye. Below it is a warning: the bar gets softer than stated.
    """
    builtin = read_builtin_register()
    for name in dict.fromkeys(line.material for line in pot.lines if line.role == "oil"):
        material = materials[name]
        for doubt in find_doubts(material, builtin.find(name)):
            whose = f"{name}{_of_lot(doubt, material)}"
            what = f"the saponification value of {whose} is given as {doubt.value:g}, though {doubt.why}"
            means = f"{doubt.value:g} means {lye_of(doubt.value)} of the oil"
            do = f"read its certificate again before {_in_time(is_planned)}: {means}"
            place = locate("oils", name)
            if doubt.is_too_much:
                yield stop("saponification-doubted", what, do, place)
            else:
                yield warn("saponification-doubted", what, do, place)


def _in_time(is_planned: bool) -> str:
    return "you weigh any lye" if is_planned else "you weigh any more, or anyone uses the bars"


def _of_lot(doubt: Doubt, material: Material) -> str:
    """Whose value it is: one of several lots', else that of the one lot; empty where none is chosen."""
    return doubt.whose or (f" of lot {' + '.join(material.lots_used)}" if material.lots_used else "")
