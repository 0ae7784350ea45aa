"""One change that a maker could make on purpose: put a suspect in, or take it out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType
from typing import TYPE_CHECKING

from formulary.materials.plain_name import material_words
from formulary.quantity import format_decimal
from formulary.recipes.model import Addition, Recipe, ScentLine
from trials.answer.answer import Answer
from trials.factors.factors import Factor
from trials.factors.steps import TENTH

if TYPE_CHECKING:
    from formulary.recipes.tweaks import Tweak

_MOST_AMOUNTS = 3
_BY_HAND = {
    "oil temperature": ("process.oil_temperature", "the oils at"),
    "lye temperature": ("process.lye_temperature", "the lye at"),
}
_DONE = {  # done, and not done
    "fan": ("a fan on it", "no fan"),
    "sprayed": ("its top sprayed", "its top left unsprayed"),
    "uncovered": ("nothing over it", "a cover over it"),
}
_COVERS = {
    "open": "no cover",
    "covered": "a cover over it",
    "insulated": "the loaf insulated",
    "fridge": "the loaf in the fridge",
    "oven": "the loaf in the oven",
}


@dataclass(frozen=True, slots=True)
class Change:
    """What to change. words: "2 % honey", "no clove bud oil". tweaks: the same for the recipe; none for handling.

    value: the factor's value afterwards where the recipe does not say it (lots, blending, temperatures). lots: material
    -> the lot to use. oil_mass_g: of a batch of another size.
    """

    factor: str
    words: str
    tweaks: tuple[Tweak, ...] = ()
    value: float | None = None
    lots: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    oil_mass_g: float | None = None


def find_changes(answer: Answer, name: str, start: Mapping[str, float], recipe: Recipe) -> Iterator[Change]:
    """The changes of one factor from a recipe, the usual amount first.

    start: where the recipe would stand, by factor. A factor that is off its usual value there goes back to it; else it
    takes values that it had elsewhere.
    """
    factor = answer.factor(name)
    here = start[name]
    if abs(here - factor.baseline) > TENTH * factor.step:
        yield from _one(answer, factor, factor.baseline, here, recipe)
        return
    values = [value for value in answer.table.column(name) if value is not None]
    moved = Counter(value for value in values if abs(value - factor.baseline) > TENTH * factor.step)
    ranked = sorted(moved, key=lambda value: (-moved[value], abs(value - factor.baseline), value))
    if factor.kind in ("condition", "blending", "handling", "size"):
        ranked = sorted(moved, key=lambda value: -abs(value - factor.baseline))
    for value in ranked[:_MOST_AMOUNTS]:
        yield from _one(answer, factor, value, factor.baseline, recipe)


def _one(answer: Answer, factor: Factor, value: float, here: float, recipe: Recipe) -> Iterator[Change]:
    from formulary.recipes.tweaks import add, drop, set_field, swap

    aspect = factor.aspects[0]
    amount = _exact(value)
    shown = f"{format_decimal(amount)} {factor.unit}"
    if factor.kind in ("addition", "scent"):
        present = any(line.material == aspect.subject for line in _lines(recipe))
        if value <= 0 and present:
            yield Change(factor.name, f"no {factor.name}", (drop(aspect.subject),))
        elif value > 0:
            line = _line(answer, aspect.subject, aspect.stage)
            gone = (drop(aspect.subject),) if present else ()
            water = line.water if isinstance(line, Addition) else None
            rate = f"{format_decimal(amount)} % of oils"
            words = f"{format_decimal(amount)} % {factor.name}"
            yield Change(factor.name, words, (*gone, add(aspect.subject, rate, at=aspect.stage, water=water)))
    elif factor.kind == "oil" and len(factor.aspects) == 2:
        rises, falls = factor.aspects[0].subject, factor.aspects[1].subject
        points = _exact(abs(value - here))
        before, after = (falls, rises) if value > here else (rises, falls)
        words = f"{format_decimal(points)} % {material_words(after)} for {material_words(before)}"
        if points > 0:
            yield Change(factor.name, words, (swap(f"{format_decimal(points)} %", before, after),))
    elif factor.kind == "water" and recipe.water.method == "lye_concentration":
        percent = _exact(round(value))
        words = f"a lye concentration of {format_decimal(percent)} %"
        yield Change(factor.name, words, (set_field("water.lye_concentration", percent),))
    elif factor.kind == "superfat":
        percent = _exact(round(value))
        yield Change(factor.name, f"a superfat of {format_decimal(percent)} %", (set_field("lye.superfat", percent),))
    elif factor.name in _BY_HAND:
        field, words = _BY_HAND[factor.name]
        yield Change(factor.name, f"{words} {shown}", (set_field(field, shown),), value)
    elif factor.name == "room":
        yield Change(factor.name, f"a room at {shown}", (), value)
    elif factor.kind == "size":
        yield Change(factor.name, shown, (), value, oil_mass_g=value)
    elif factor.kind == "blending":
        yield Change(factor.name, f"{shown} of {factor.name}", (), value)
    elif factor.kind == "handling" and aspect.step != "done":
        yield Change(factor.name, f"{factor.name.rpartition(' ')[2]} after {shown.replace(' h', ' hours')}", (), value)
    elif factor.kind == "handling":
        yield Change(factor.name, _DONE[factor.name][0 if value > 0 else 1], (), value)
    elif factor.kind == "vessel":
        taken, _, usual_one = factor.words.rpartition(" instead of ")
        this = taken if value > 0 else usual_one
        plain = _COVERS.get(this) if aspect.subject == "cover" else None
        yield Change(factor.name, plain or f"{aspect.subject} {this}", (), value)
    elif factor.kind == "lot":
        lot, _, usual = factor.words.removeprefix("lot ").rpartition(" instead of ")
        if aspect.subject in recipe.materials():
            taken = lot if value > 0 else usual
            words = factor.name if value > 0 else f"{usual} of {aspect.subject}"
            yield Change(factor.name, words, (), float(value > 0), MappingProxyType({aspect.subject: taken}))


def _lines(recipe: Recipe) -> tuple[Addition | ScentLine, ...]:
    return (*recipe.additions, *recipe.scent)


def _line(answer: Answer, material: str, stage: str) -> Addition | ScentLine | None:
    """How the material went in before: its line in the recipe of any of the trials."""
    lines = (line for trial in answer.trials for line in _lines(trial.plan.recipe))
    return next((line for line in lines if line.material == material and line.at == stage), None)


def _exact(value: float) -> Decimal:
    """A figure as one would write it: at most two decimals."""
    return Decimal(f"{value:.2f}").normalize() + Decimal(0)
