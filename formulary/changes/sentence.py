"""The one sentence that a person would say aloud first of what changed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import TypeVar

from formulary.changes.batch_changes import BatchChanges, Figure
from formulary.changes.recipe_changes import (
    Alkalis,
    FieldChange,
    LineChange,
    OilChange,
    Pair,
    RecipeChanges,
    rate_unit,
    stage_percents,
    water_of,
    water_text,
)
from formulary.materials.plain_name import material_words
from formulary.quantity import format_decimal
from formulary.recipes.model import Addition
from formulary.temperature import CELSIUS, say_written

MOST_CLAUSES = 6
_MOST_LOTS = 2
# Percentages worked out from weights are off by less than that.
_ROUNDED = Decimal("0.02")
# How the label of a side begins that is a trial's pot and not a recipe.
AS_MADE = "as made"
_WHERE = {"lye water": "the jug", "oils": "the oils", "trace": "trace", "top": "the top"}
_WHEN = {"lye water": "in the jug", "trace": "at trace", "top": "on top"}

_T = TypeVar("_T")


def render_sentence(changes: BatchChanges) -> str:
    """What changed in the recipe, then what it does to the lye; a stop that stands is said as well."""
    clauses = [*recipe_clauses(changes.recipe, changes.told_in), *_lot_clauses(changes)]
    if clauses:
        said = f"{_join(clauses)}; {_lye(changes)}"
    elif changes.recipe.notes is not None or changes.recipe.name is not None:
        parts = [part for part in (changes.recipe.name, changes.recipe.notes) if part is not None]
        what = " and the ".join("name" if part is changes.recipe.name else "notes" for part in parts)
        said = f"only the {what} changed; {_lye(changes)}"
    elif changes.is_empty:
        said = "nothing changed"
    elif is_brought_up(changes.recipe):
        same = "" if changes.recipe.conflicts else " and otherwise the same"
        said = f"it is based on a later version of its base{same}; {_lye(changes)}"
    elif changes.recipe.is_empty and changes.register:
        said = (
            f"the recipe is the same, and what is known of its materials is not; {_as_made(changes) or _lye(changes)}"
        )
    elif changes.recipe.is_empty:
        said = f"the recipe is the same; {_as_made(changes) or _lye(changes)}"
    else:
        said = f"nothing that goes into the pot changed; {_lye(changes)}"
    said += _lye_excess(changes, said)
    text = said[0].upper() + said[1:] + "."
    text += _open_conflicts(changes.recipe)
    if changes.stops:
        is_made = (changes.after.label or "").startswith(AS_MADE)
        told = "Do not use it on skin" if is_made else "As it stands it must not be weighed out"
        text += f" {told} ({changes.stops[0].what})."
    return text


def _lot_clauses(changes: BatchChanges) -> list[str]:
    lots = changes.lots
    if len(lots) > _MOST_LOTS:
        return [f"{len(lots)} materials are of other lots"]
    return [f"{material_words(each.field)} is of lot {each.after} instead of {each.before}" for each in lots]


def _open_conflicts(recipe: RecipeChanges) -> str:
    """What an update left open in the later side."""
    left = recipe.conflicts.after if recipe.conflicts is not None else None
    if not left:
        return ""
    are = "One conflict is" if len(left) == 1 else f"{len(left)} conflicts are"
    return f" {are} open in it, to be settled before it is weighed out."


def is_brought_up(recipe: RecipeChanges) -> bool:
    """Whether one recipe was brought up to another version of its base."""
    pair = recipe.based_on
    return recipe.slug.before == recipe.slug.after and pair is not None and None not in (pair.before, pair.after)


def recipe_clauses(recipe: RecipeChanges, told_in: str = CELSIUS) -> list[str]:
    """One clause a change, what matters most first; past MOST_CLAUSES the rest is counted.

    told_in: what people are told temperatures in.
    """
    clauses = [
        *_oil_clauses(recipe.oils),
        *_line_clauses(recipe.lines),
        *_rule_clauses(recipe),
        *_portion_clauses(recipe),
        *_process_clauses(recipe, told_in),
    ]
    if len(clauses) > MOST_CLAUSES:
        rest = len(clauses) - MOST_CLAUSES + 1
        clauses = [*clauses[: MOST_CLAUSES - 1], f"{rest} more things changed"]
    return clauses


def _oil_clauses(oils: Iterable[OilChange]) -> list[str]:
    moved = [change for change in oils if change.points]
    givers = [change for change in moved if change.points < 0]
    takers = [change for change in moved if change.points > 0]
    clauses: list[str] = []
    total = sum((change.points for change in takers), Decimal(0))
    if (alone := _moved_alone(moved)) is not None:
        others = "less" if alone.points > 0 else "more"
        told = _moved(
            material_words(alone.material), _short(alone.before_percent), _short(alone.after_percent), "% of the oils"
        )
        clauses.append(f"{told} (the others in proportion {others})")
    elif len(givers) == 1 and len(takers) == 1:
        clauses.append(f"{_given(givers[0])} became {material_words(takers[0].material)}")
    elif len(takers) == 1:
        clauses.append(f"{_and(_given(change) for change in givers)} became {material_words(takers[0].material)}")
    elif len(givers) == 1:
        taken = _and(f"{material_words(change.material)} ({_percent(change.points)})" for change in takers)
        clauses.append(f"{_given(givers[0])} became {taken}")
    elif moved and len(moved) <= 4:
        signed = ", ".join(f"{material_words(change.material)} {_signed(change.points)}" for change in moved)
        clauses.append(f"{_percent(total)} of the oils were exchanged ({signed})")
    elif moved:
        most = sorted(moved, key=lambda change: -abs(change.points))[:3]
        signed = ", ".join(f"{material_words(change.material)} {_signed(change.points)}" for change in most)
        rest = len(moved) - len(most)
        clauses.append(f"{len(moved)} oils changed, {_percent(total)} of all ({signed} and {rest} others)")
    return [*clauses, *(clause for change in oils for clause in _stage_clauses(change))]


def _moved_alone(moved: Sequence[OilChange]) -> OilChange | None:
    """The one oil of which there was more or less, where all others only kept their proportions to one another.

    Nobody exchanged anything then: a bit more of one oil was weighed, and every other is a smaller part of the whole.
    """
    if len(moved) < 3 or sum(change.before_percent for change in moved) != 100:
        return None
    for alone in moved:
        others = [change for change in moved if change is not alone]
        if any(change.points.is_signed() == alone.points.is_signed() for change in others):
            continue
        if not all(other.before_percent and other.after_percent for other in others):
            continue  # one that came in or is gone kept no proportion
        before, after = (sum(side) for side in zip(*((o.before_percent, o.after_percent) for o in others), strict=True))
        if all(
            abs(other.after_percent * before - other.before_percent * after) <= _ROUNDED * before for other in others
        ):
            return alone
    return None


def _stage_clauses(change: OilChange) -> list[str]:
    """When an oil went in: all of it as a rule, a part of it where it was weighed twice."""
    before, after = change.before, change.after
    if before is None or after is None:
        return []
    name = material_words(change.material)
    if not before.parts and not after.parts:
        if before.at == after.at:
            return []
        if after.at == "trace":
            return [f"{name} is held back to trace"]
        if before.at == "trace" and after.at == "oils":
            return [f"{name} is no longer held back"]
        return [f"{name} moved from {_WHERE[before.at]} to {_WHERE[after.at]}"]
    return [
        _moved(f"{name} {_WHEN[at]}", _short(one), _short(two), "% of the oils")
        for at, (one, two) in stage_percents(before, after).items()
        if at != "oils" and one != two
    ]


def _given(change: OilChange) -> str:
    name = material_words(change.material)
    if change.after is None:
        return f"all the {name} ({_percent(-change.points)})"
    return f"{_percent(-change.points)} of {name}"


def _line_clauses(lines: tuple[LineChange, ...]) -> list[str]:
    left = list(lines)
    clauses: list[str] = []
    for old, new in _moves(lines):
        left = [change for change in left if change not in (old, new)]
        amount = "" if _rate(old.before) == _rate(new.after) else f", now {_rate(new.after)}"
        clauses.append(f"{material_words(old.material)} moved from {_WHERE[old.at]} to {_WHERE[new.at]}{amount}")
    replaced = [change for change in left if change.before is None and water_of(change.after) == "replaces"]
    came = [change for change in left if change.before is None and change not in replaced]
    gone = [change for change in left if change.after is None]
    if replaced:
        clauses.append(f"{_names(replaced)} came in for part of the water")
    if came:
        clauses.append(f"{_names(came)} {'is' if len(came) == 1 else 'are'} new")
    if gone:
        clauses.append(f"{_names(gone)} {'is' if len(gone) == 1 else 'are'} gone")
    for change in left:
        if change.before is not None and change.after is not None:
            clauses += _line_clause(change)
    return clauses


def _line_clause(change: LineChange) -> list[str]:
    assert change.before is not None
    assert change.after is not None
    name = material_words(change.material)
    clauses = []
    before, after = change.before_amount, change.after_amount
    if before is None or after is None:
        clauses.append(f"{name} went from {change.before.rate} to {change.after.rate}")
    elif before != after:
        verb = "rose" if after > before else "fell"
        clauses.append(f"{name} {verb} from {format_decimal(before)} to {format_decimal(after)} {change.unit}")
    elif change.before.rate != change.after.rate:
        clauses.append(f"{name} is the same, given in {rate_unit(change.after.rate)}")
    if water_of(change.before) != water_of(change.after):
        off = "now comes off the water weighed" if water_of(change.after) == "replaces" else "is now extra"
        clauses.append(f"the water of {name} {off}")
    if isinstance(change.before, Addition) and isinstance(change.after, Addition):
        prepared = _and(change.after.prepared) or "as it is"
        if change.before.prepared != change.after.prepared:
            clauses.append(f"{name} goes in {prepared}")
    return clauses


def _moves(lines: Iterable[LineChange]) -> list[tuple[LineChange, LineChange]]:
    """Lines that went from one stage to another."""
    moves = []
    for old in lines:
        same = [other for other in lines if (other.part, other.material) == (old.part, old.material)]
        if old.after is None and len(same) == 2:
            moves += [(old, new) for new in same if new.before is None]
    return moves


def _rule_clauses(recipe: RecipeChanges) -> list[str]:
    clauses = []
    if recipe.alkali is not None:
        clauses.append(_alkali_clause(recipe.alkali))
    if recipe.superfat is not None:
        clauses.append(_moved("the superfat", recipe.superfat.before, recipe.superfat.after, "%"))
    if recipe.water is not None:
        one, two = recipe.water.before, recipe.water.after
        names = {"lye_concentration": ("the lye concentration", "%"), "percent_of_oils": ("the water", "% of oils")}
        if one.method == two.method and one.method in names:
            name, unit = names[one.method]
            clauses.append(_moved(name, one.value, two.value, unit))
        elif one.method == two.method:
            clauses.append(_moved("water to lye", one.value, two.value, "to 1"))
        else:
            clauses.append(f"the water is now {water_text(two)} (before: {water_text(one)})")
    if recipe.purpose is not None:
        clauses.append(f"it is for {recipe.purpose.after} use, before for {recipe.purpose.before}")
    return clauses


def _alkali_clause(alkali: Pair[Alkalis]) -> str:
    before, after = ([name for name, _ in shares] for shares, _ in (alkali.before, alkali.after))
    came = [material_words(name) for name in after if name not in before]
    gone = [material_words(name) for name in before if name not in after]
    if came and gone:
        return f"{_and(map(material_words, after))} took the place of {_and(map(material_words, before))}"
    if came:
        return f"{_and(came)} joined {_and(map(material_words, before))}"
    return f"{_and(gone)} left the alkalis" if gone else f"the shares of {_and(map(material_words, after))} changed"


def _portion_clauses(recipe: RecipeChanges) -> list[str]:
    if not recipe.portions:
        return []
    if all(change.before is None for change in recipe.portions):
        return [f"the batter is divided into {_and(change.name for change in recipe.portions)}"]
    if all(change.after is None for change in recipe.portions):
        return ["the batter is no longer divided" if len(recipe.portions) > 1 else "a portion went"]
    return [f"the division over {_and(change.name for change in recipe.portions)} changed"]


def _process_clauses(recipe: RecipeChanges, told_in: str) -> list[str]:
    clauses = []
    for change in recipe.process:
        name, before, after = process_words(change, told_in)
        if before is None:
            clauses.append(f"{name} is set to {after}")
        elif after is None:
            clauses.append(f"{name} is no longer stated")
        else:
            clauses.append(f"{name} went from {before} to {after}")
    return clauses


def process_words(change: FieldChange, told_in: str) -> tuple[str, str | None, str | None]:
    """What is said of a field of the process: its name, and both sides, temperatures as they are told."""
    name = change.field.removeprefix("process.").replace("_", " ")
    before, after = (None if side is None else say_written(side, told_in) for side in (change.before, change.after))
    return name, before, after


def _lye(changes: BatchChanges) -> str:
    """What it does to the lye, for the oil mass compared."""
    size = f"for {changes.oil_mass_g:.0f} g of oils"
    told = [clause for figure in changes.lye if (clause := _lye_clause(figure))]
    if any(figure.before is None or figure.after is None for figure in changes.lye) and not told:
        return "the lye cannot be compared while a stop stands"
    return f"{_and(told)} {size}" if told else "the lye stays the same"


def _lye_clause(figure: Figure) -> str:
    name = material_words(figure.key)
    if not figure.is_change or figure.before is None or figure.after is None:
        return ""
    verb = "rises" if figure.after > figure.before else "falls"
    return f"{name} {verb} by {figure.shown_difference().lstrip('+-')} g"


def _as_made(changes: BatchChanges) -> str:
    """What was weighed otherwise than the same recipe has it, when a side is a trial as it was made."""
    is_before, is_after = ((side.label or "").startswith(AS_MADE) for side in (changes.before, changes.after))
    if not (is_before or is_after):
        return ""
    weighed = [
        f"{'more' if (figure.difference or 0.0) > 0 else 'less'} {name} ({figure.shown_difference()} g)"
        for name, figure in (
            *((material_words(figure.key), figure) for figure in changes.lye),
            *(("water", figure) for figure in changes.water if figure.key == "weigh_grams"),
        )
        if figure.is_change and figure.difference is not None
    ]
    told = f"{_and(weighed)} for {changes.oil_mass_g:.0f} g of oils"
    clauses = [f"as made there was {told}" if is_after else f"the recipe asks for {told} than was weighed"]
    if not weighed:
        clauses = ["as made the lye was the same"]
    clauses += [
        _superfat_moved(figure) for figure in changes.superfat if figure.key == "effective" and figure.is_change
    ]
    return ", and ".join(clauses)


def _lye_excess(changes: BatchChanges, said: str) -> str:
    """A superfat below nothing on either side, unless it is said already."""
    for figure in changes.superfat:
        below = [figure.shown(side) for side in (figure.before, figure.after) if side is not None and side < 0]
        if figure.key == "effective" and any(float(side) < 0 for side in below) and _superfat_moved(figure) not in said:
            return f", and {_superfat_moved(figure)}"
    return ""


def _superfat_moved(figure: Figure) -> str:
    before, after = figure.shown(figure.before), figure.shown(figure.after)
    if before == after:
        return f"the effective superfat is {after} %"
    verb = "rose" if (figure.difference or 0.0) > 0 else "fell"
    return f"the effective superfat {verb} from {before} to {after} %"


def _rate(line: object) -> str:
    return str(getattr(line, "rate", ""))


def _moved(name: str, before: Decimal, after: Decimal, unit: str) -> str:
    verb = "rose" if after > before else "fell"
    return f"{name} {verb} from {format_decimal(before)} to {format_decimal(after)} {unit}"


def _names(changes: Iterable[LineChange]) -> str:
    return _and(dict.fromkeys(material_words(change.material) for change in changes))


def _percent(number: Decimal) -> str:
    return f"{format_decimal(_short(number))} %"


def _signed(number: Decimal) -> str:
    return f"{_short(number):+f}"


def _short(number: Decimal) -> Decimal:
    """Without zeros that say nothing."""
    return number.quantize(Decimal(1)) if number == number.to_integral_value() else number.normalize()


def _join(clauses: list[str]) -> str:
    """Clauses as one sentence; a comma before the last where `and` alone would mislead."""
    if len(clauses) == 2 and not any(" and " in clause or "(" in clause for clause in clauses):
        return " and ".join(clauses)
    *first, last = clauses
    return f"{', '.join(first)}, and {last}" if first else last


def _and(parts: Iterable[str]) -> str:
    *first, last = [*parts] or [""]
    return f"{', '.join(first)} and {last}" if first else last
