"""What to mind while going on after something went over: water before lye, slips, what no longer is as planned."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from formulary.batch.figures import water_in
from formulary.batch.lye_checks import check_jug, check_strong_jug
from formulary.batch.model import Batch, Pot, PotFigures
from formulary.batch.remaining import Remaining
from formulary.batch.rescue_weights import LineKey, RescueWeights
from formulary.batch.scale import format_shown
from formulary.finding import Finding, Severity, locate_nowhere
from formulary.materials.model import Material
from formulary.materials.plain_name import material_words
from formulary.quantity import format_number

# A difference of the superfat that is worth a word: it moves it by a digit that a sheet shows.
_SUPERFAT_TOLD_PERCENT = 0.2
_SLIP_TIMES = 2.0
_LARGER_TIMES = 1.05
# No kitchen scale shows less.
_TOLD_G = 0.05


def find_remarks(
    batch: Batch,
    wanted: RescueWeights,
    remaining: tuple[Remaining, ...],
    figures: PotFigures,
    *,
    lye_is_in: bool,
) -> Iterable[str]:
    """What to mind, the lye first.

    wanted: what the pot should hold before what cannot be taken out is counted. figures: of the pot as it will be.
    """
    if lye_is_in:
        yield from _about_the_batter(batch, remaining)
    else:
        yield from _about_the_jug(remaining)
    found, stated = figures.superfat_effective, batch.superfat.effective
    if abs(found - stated) >= _SUPERFAT_TOLD_PERCENT:
        yield (
            f"The superfat will be {format_number(found, 1)} %, and no longer the {format_number(stated, 1)} % that"
            " was planned."
        )
    for line in remaining:
        due_g = line.planned_grams if lye_is_in else wanted.grams[LineKey(line.material, line.role)]
        if line.role == "water" and line.weighed_grams > due_g + _TOLD_G:
            yield "Water that is in cannot be taken out: the lye is weaker than stated, so expect slower trace."
    for line in remaining:
        if line.planned_grams > 0 and line.weighed_grams >= _SLIP_TIMES * line.planned_grams:
            times = format_number(line.weighed_grams / line.planned_grams, 1)
            weighed_g = round(line.weighed_grams, 1) or line.weighed_grams
            yield (
                f"{material_words(line.material).capitalize()}: {format_shown(weighed_g)} g is {times}"
                " times what was planned. Is that a slip of the pen?"
            )
    if wanted.way == "new-alkali" and batch.scent:
        yield "Scent and additions stay as planned; in a larger batch they are a little less than the recipe states."
    if wanted.way == "more-oil" or figures.batter_grams > _LARGER_TIMES * batch.batter_grams:
        yield "The batch is larger now: check the vessels and the mould for size."


def _about_the_batter(batch: Batch, remaining: tuple[Remaining, ...]) -> Iterable[str]:
    """What still helps once the lye is in the oils (common practice, no source)."""
    melted = {line.material for line in batch.pot.lines if line.role == "oil" and line.at == "oils"}
    if any(line.role == "oil" and line.material in melted and line.remaining_grams >= _TOLD_G for line in remaining):
        yield (
            "Warm the oils that lack until they are clear, and stir them in at once, before the batter thickens, with"
            " goggles and gloves on. A batter that is too thick to take them in evenly holds free lye: do not use it."
        )
    yield "Put no more alkali and no lye into the batter: it cannot be mixed in evenly."


def _about_the_jug(lines: tuple[Remaining, ...]) -> Iterable[str]:
    """Water is poured first and lye into it, whatever is in the jug already."""
    alkali = [line for line in lines if line.role == "alkali" and line.weighed_grams > 0]
    water = [line for line in lines if line.role == "water"]
    water_lacks = any(line.remaining_grams >= _TOLD_G for line in water)
    if alkali and water_lacks and not any(line.weighed_grams > 0 for line in water):
        yield (
            "Never pour water onto the alkali that is weighed already: weigh all of the water into another jug, then"
            " put the alkali into it, little by little, stirring."
        )
    elif alkali and water_lacks:
        yield (
            "Never pour water onto alkali or lye. If the alkali is still dry, add the water that lacks to the water"
            " first, then the alkali to it, little by little. If it is in the water already, let it cool, weigh the"
            " water that lacks into a second tall vessel, and pour the lye slowly into that, stirring."
        )
    if any(line.remaining_grams >= _TOLD_G for line in alkali):
        yield (
            "Alkali added to lye that is made already heats it again: let it cool first, add it in small amounts,"
            " stirring, with goggles on; or dissolve it in the water that is still to add."
        )


def check_jug_as_it_is(
    there: Pot, remaining: Iterable[Remaining], materials: Mapping[str, Material]
) -> Iterable[Finding]:
    """A warning when what is in the jug by now is too strong a lye, though water is still to come.

    there: what is in the vessels by now.
    """
    jug = Pot(tuple(line for line in there.lines if line.at == "lye water"))
    is_dry = sum(water_in(line, materials) for line in jug.lines) <= 0
    if not is_dry and any(line.role == "water" and line.remaining_grams >= _TOLD_G for line in remaining):
        found = (
            *check_jug(jug, materials, locate_nowhere, is_planned=False),
            *check_strong_jug(jug, materials, locate_nowhere),
        )
        do = "if it is mixed already: keep away until it is cool, then pour it into the water that lacks"
        for finding in found:
            what = finding.what.replace("the jug would hold", "the jug as it is now holds")
            what = what.replace("the lye in the jug is strong", "the lye that is in the jug now is strong")
            yield replace(finding, severity=Severity.WARN, what=what, do=do)
