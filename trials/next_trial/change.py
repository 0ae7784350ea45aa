"""One change that a maker could make on purpose: put a suspect in, or take it out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

from formulary.materials.plain_name import material_words
from formulary.quantity import Kind, Quantity, format_decimal, parse_quantity
from formulary.read_only import ReadOnly
from formulary.recipes.model import Addition, Recipe, ScentLine
from formulary.temperature import FAHRENHEIT, say_degrees
from trials.answer.answer import Answer
from trials.factors.factors import Factor, instead_of
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
    lots: Mapping[str, str] = field(default_factory=lambda: ReadOnly({}))
    oil_mass_g: float | None = None


def find_changes(answer: Answer, name: str, start: Mapping[str, float], recipe: Recipe) -> Iterator[Change]:
    """The changes of one factor from a recipe, the usual amount first.

    start: where the recipe would stand, by factor. A factor that is off its usual value there goes back to it; else it
    takes values that it had elsewhere.
    """
    factor = answer.factor(name)
    here = start[name]
    wanted = [factor.baseline]
    if abs(here - factor.baseline) <= TENTH * factor.step:
        here, wanted = factor.baseline, _values_elsewhere(answer, factor)[:_MOST_AMOUNTS]
    for value in wanted:
        change = _change_to(answer, factor, value, here, recipe)
        if change is not None:
            yield change


def _values_elsewhere(answer: Answer, factor: Factor) -> list[float]:
    """Where a factor stood when it was off its usual value: the usual amount first; of a setting, the farthest."""
    values = [value for value in answer.table.column(factor.name) if value is not None]
    moved = Counter(value for value in values if abs(value - factor.baseline) > TENTH * factor.step)
    if factor.kind in ("condition", "blending", "handling", "size"):
        return sorted(moved, key=lambda value: -abs(value - factor.baseline))
    return sorted(moved, key=lambda value: (-moved[value], abs(value - factor.baseline), value))


def _change_to(answer: Answer, factor: Factor, value: float, here: float, recipe: Recipe) -> Change | None:
    """The change that brings a factor from where it is to a value; None where nobody could make it on purpose."""
    if factor.kind in ("addition", "scent"):
        return _put_in(answer, factor, value, recipe)
    if factor.kind == "oil":
        return _swap_oils(factor, value, here)
    if factor.kind in ("water", "superfat"):
        return _set_field(factor, value, recipe)
    if factor.kind in ("condition", "blending", "size"):
        return _do_otherwise(factor, value, recipe)
    if factor.kind == "handling":
        return _handle(factor, value)
    if factor.kind == "vessel":
        return _use_vessel(factor, value)
    if factor.kind == "lot":
        return _use_lot(factor, value, recipe)
    return None


def _put_in(answer: Answer, factor: Factor, value: float, recipe: Recipe) -> Change | None:
    from formulary.recipes.tweaks import add, drop

    aspect = factor.aspects[0]
    present = any(line.material == aspect.subject for line in _lines(recipe))
    gone = (drop(aspect.subject),) if present else ()
    if value <= 0:
        return Change(factor.name, f"no {factor.name}", gone) if present else None
    line = _line(answer, aspect.subject, aspect.stage)
    water = line.water if isinstance(line, Addition) else None
    percent = f"{format_decimal(_exact(value))} %"
    added = add(aspect.subject, f"{percent} of oils", at=aspect.stage, water=water)
    return Change(factor.name, f"{percent} {factor.name}", (*gone, added))


def _swap_oils(factor: Factor, value: float, here: float) -> Change | None:
    from formulary.recipes.tweaks import swap

    points = _exact(abs(value - here))
    if len(factor.aspects) != 2 or points <= 0:
        return None
    rises, falls = factor.aspects[0].subject, factor.aspects[1].subject
    before, after = (falls, rises) if value > here else (rises, falls)
    percent = f"{format_decimal(points)} %"
    words = f"{percent} {material_words(after)} for {material_words(before)}"
    return Change(factor.name, words, (swap(percent, before, after),))


def _set_field(factor: Factor, value: float, recipe: Recipe) -> Change | None:
    from formulary.recipes.tweaks import set_field

    percent = _exact(round(value))
    if factor.kind == "superfat":
        return Change(factor.name, f"a superfat of {format_decimal(percent)} %", (set_field("lye.superfat", percent),))
    if recipe.water.method != "lye_concentration":
        return None
    tweak = set_field("water.lye_concentration", percent)
    return Change(factor.name, f"a lye concentration of {format_decimal(percent)} %", (tweak,))


def _do_otherwise(factor: Factor, value: float, recipe: Recipe) -> Change | None:
    from formulary.recipes.tweaks import set_field

    shown = f"{format_decimal(_exact(value))} {factor.unit}"
    if factor.unit == "°C":
        set_to = _as_set(value, recipe, factor.told_unit)
        shown, value = str(set_to), float(set_to.to("°C"))
    if factor.name in _BY_HAND:
        field, words = _BY_HAND[factor.name]
        return Change(factor.name, f"{words} {shown}", (set_field(field, shown),), value)
    if factor.name == "room":
        return Change(factor.name, f"a room at {shown}", (), value)
    if factor.kind == "size":
        return Change(factor.name, shown, (), value, oil_mass_g=value)
    if factor.kind == "blending":
        return Change(factor.name, f"{shown} of {factor.name}", (), value)
    return None


def _as_set(celsius: float, recipe: Recipe, told_in: str) -> Quantity:
    """A temperature as finely as a bench is set, in whole degrees of °F where the maker reads that or the recipe states
    its own in it, else of °C."""
    stated = [text for key, text in recipe.process.items() if key.endswith("temperature")]
    unit = FAHRENHEIT if any("F" in text.upper() for text in stated) else told_in
    return parse_quantity(say_degrees(celsius, unit, 0), Kind.TEMPERATURE)


def _handle(factor: Factor, value: float) -> Change | None:
    if factor.aspects[0].step == "done":
        words = _DONE.get(factor.name)  # none for a rebatch: nobody pours a loaf to work it through anew
        return Change(factor.name, words[0 if value > 0 else 1], (), value) if words else None
    hours = f"{format_decimal(_exact(value))} {factor.unit}".replace(" h", " hours")
    return Change(factor.name, f"{factor.name.rpartition(' ')[2]} after {hours}", (), value)


def _use_vessel(factor: Factor, value: float) -> Change:
    subject = factor.aspects[0].subject
    taken, usual = instead_of(factor)
    this = taken if value > 0 else usual
    plain = _COVERS.get(this) if subject == "cover" else None
    return Change(factor.name, plain or f"{subject} {this}", (), value)


def _use_lot(factor: Factor, value: float, recipe: Recipe) -> Change | None:
    subject = factor.aspects[0].subject
    if subject not in recipe.materials():
        return None
    lot, usual = instead_of(factor)
    taken, words = (lot, factor.name) if value > 0 else (usual, f"lot {usual} of {material_words(subject)}")
    return Change(factor.name, words, (), float(value > 0), ReadOnly({subject: taken}))


def _lines(recipe: Recipe) -> tuple[Addition | ScentLine, ...]:
    return (*recipe.additions, *recipe.scent)


def _line(answer: Answer, material: str, stage: str) -> Addition | ScentLine | None:
    """How the material went in before: its line in the recipe of any of the trials."""
    lines = (line for trial in answer.trials for line in _lines(trial.plan.recipe))
    return next((line for line in lines if line.material == material and line.at == stage), None)


def _exact(value: float) -> Decimal:
    """A figure as one would write it: at most two decimals."""
    return Decimal(f"{value:.2f}").normalize() + Decimal(0)
