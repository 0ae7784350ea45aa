"""What changed as text: the sentence first, then the lines that changed, then what is to be known."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from formulary.batch.weigh_out_text import render_findings
from formulary.changes.batch_changes import FIGURES, NOT_KNOWN, BatchChanges, CostChange, Figure, RegisterChange
from formulary.changes.recipe_changes import (
    BY_EYE,
    SHARE,
    FieldChange,
    LineChange,
    OilChange,
    PortionChange,
    PortionPart,
    alkalis_text,
    water_of,
    water_text,
)
from formulary.changes.sentence import is_brought_up, process_words, render_sentence
from formulary.finding import Finding
from formulary.materials.plain_name import material_words
from formulary.quantity import format_decimal
from formulary.recipes.model import BasedOn, OilLine
from formulary.text_table import Row, paragraph, render_rows

_STAGE = {"lye water": "in the jug", "oils": "in the oils", "trace": "at trace", "top": "on top"}
_FATTY_ACIDS = "fatty acids"


def render_changes(changes: BatchChanges, *, width: int = 80, show_all: bool = False) -> str:
    """The sentence, the changed lines with units in the headings, and findings that appear or vanish.

    width: columns, 60 or more. show_all: the lines that are the same as well.
    """
    lines = [
        *paragraph(render_sentence(changes), width=width),
        *render_details(changes, width=width, show_all=show_all),
    ]
    if changes.hidden and not show_all:
        count = f"{changes.hidden} line{'s' if changes.hidden != 1 else ''} unchanged"
        lines += ["", f"  {count} (--all shows them)"]
    return "\n".join(lines)


def render_details(changes: BatchChanges, *, width: int = 80, show_all: bool = False) -> list[str]:
    """What stands below the sentence, as lines."""
    lines: list[str] = []
    if changes.before.id is not None or changes.after.id is not None:
        lines += ["", *_sides(changes, width)]
    rows = _rows(changes, show_all)
    if rows:
        lines += ["", *render_rows([Row("", ("before", "after", "change")), *rows], width=width)]
    texts = _texts(changes, show_all, width)
    lines += ["", *texts] if texts else []
    for title, findings in (("appeared", changes.appeared), ("vanished", changes.vanished)):
        lines += ["", *_findings(title, findings, width)] if findings else []
    if changes.register:
        lines += ["", *_register(changes, width)]
    return lines


def _sides(changes: BatchChanges, width: int) -> list[str]:
    lines: list[str] = []
    for title, side in (("before", changes.before), ("after", changes.after)):
        portion = f"the {side.portion} portion" if side.portion else ""
        label = ", ".join(part for part in (side.label, portion) if part)
        label = f" ({label})" if label else ""
        lines += paragraph(f"{title:<6}  {side.reference}{label}", width=width, indent=2)
    return lines


def _rows(changes: BatchChanges, show_all: bool) -> list[Row]:
    """What a recipe states in numbers, and below it what is worked out."""
    return [*_stated_rows(changes, show_all), *_worked_out_rows(changes, show_all)]


def _stated_rows(changes: BatchChanges, show_all: bool) -> list[Row]:
    """Oils, additions and scent by the unit of their rates, portions."""
    alike = changes.alike
    oils = [*changes.recipe.oils, *(alike.oils if show_all else ())]
    lines = [*changes.recipe.lines, *(alike.lines if show_all else ())]
    rows: list[Row] = []
    if oils:
        rows.append(Row("oils", ("%", "%", "points")))
        rows += [_oil_row(change) for change in oils]
    for part, title in (("additions", "additions"), ("scent", "scent")):
        for unit in dict.fromkeys(change.unit for change in lines if change.part == part):
            mine = [change for change in lines if (change.part, change.unit) == (part, unit)]
            rows.append(Row(f"{title}, {unit}", ("", "", "")))
            rows += [_line_row(change) for change in mine]
    portions = [*changes.recipe.portions, *(alike.portions if show_all else ())]
    if portions:
        rows.append(Row("portions", ("%", "%", "points")))
        rows += [row for change in portions for row in _portion_rows(change, show_all)]
    return rows


def _worked_out_rows(changes: BatchChanges, show_all: bool) -> list[Row]:
    """Weights for the same mass of oils, concentrations, scent, fatty acids, cost."""
    figures = [figure for figure in changes.figures if show_all or figure.is_change]
    rows = _figure_rows(f"for {changes.oil_mass_g:.0f} g of oils", "g", figures)
    percents = [figure for figure in figures if figure.unit == "%"]
    scent = {figure.key for figure in changes.scent}
    acids = {figure.key for figure in changes.fatty_acids}
    rows += _figure_rows("", "%", [figure for figure in percents if figure.key not in scent | acids])
    rows += _figure_rows("scent in the cured bar", "%", [figure for figure in percents if figure.key in scent])
    rows += _figure_rows(_FATTY_ACIDS, "%", [figure for figure in percents if figure.key in acids])
    if changes.cost is not None:
        rows += _figure_rows(f"for {changes.oil_mass_g:.0f} g of oils", changes.cost.figure.unit, figures)
    return rows


def _figure_rows(title: str, unit: str, figures: Iterable[Figure]) -> list[Row]:
    mine = [figure for figure in figures if figure.unit == unit]
    if not mine:
        return []
    heading = Row(title or "concentrations", (unit, unit, "points" if unit == "%" else unit))
    return [
        heading,
        *(
            Row(
                _figure_name(figure.key, title),
                (figure.shown(figure.before), figure.shown(figure.after), figure.shown_difference()),
                indent=4,
            )
            for figure in mine
        ),
    ]


def _figure_name(key: str, title: str) -> str:
    if title != _FATTY_ACIDS or key == NOT_KNOWN:
        return FIGURES.get(key, material_words(key))
    from formulary.chemistry.fatty_acids import parse_fatty_acid

    name = parse_fatty_acid(key).name
    return key if name == key else f"{name}, {key}"


def _oil_row(change: OilChange) -> Row:
    cells = _cells(change.before_percent, change.after_percent)
    before, after = change.before, change.after
    if before is None or after is None:
        note = "" if after is None else _when(after)
    elif before.parts or after.parts:
        notes = [_when(after) or "all in the oils"]
        if before.parts or before.at != "oils":
            notes.append(f"before {_when(before) if before.parts else f'all of it {_STAGE[before.at]}'}")
        note = "; ".join(notes)
    else:
        note = _when(after) or ("no longer held back" if before.at == "trace" else "")
    return Row(material_words(change.material), cells, note, indent=4)


def _when(oil: OilLine) -> str:
    """When an oil goes in, as far as that is not with the others."""
    if oil.parts:
        late = [
            f"{format_decimal(percent.normalize())} of it {_STAGE[at]}" for at, percent in oil.parts if at != "oils"
        ]
        return " and ".join(late)
    return {"oils": "", "trace": "held back to trace"}.get(oil.at, _STAGE[oil.at])


def _line_row(change: LineChange) -> Row:
    notes: list[str] = []
    before, after = change.before_amount, change.after_amount
    if before is None or after is None:
        cells = ("?" if before is None else format_decimal(before), "?" if after is None else format_decimal(after), "")
        assert change.before is not None
        notes.append(f"before: {change.before.rate}")
    else:
        cells = _cells(before, after)
    old, new = water_of(change.before), water_of(change.after)
    if new is not None and (old is None or old == new):
        notes.append("replaces water" if new == "replaces" else "its water is extra")
    elif new is not None:
        notes.append("its water now comes off" if new == "replaces" else "its water is now extra")
    return Row(f"{material_words(change.material)}, {_STAGE[change.at]}", cells, "; ".join(notes), indent=4)


def _portion_rows(change: PortionChange, show_all: bool) -> list[Row]:
    """The portion with its share, and below it what it gets of a line, where that changed."""
    share, *others = sorted(change.parts, key=lambda part: part.what != SHARE)
    gone = "gone" if change.after is None else ""
    rows = [Row(change.name, _part_cells(share), gone, indent=4)]
    for part in others:
        if show_all or part.is_change:
            label = part.what if part.what == BY_EYE else f"of the {material_words(part.what)}"
            rows.append(Row(label, _part_cells(part), indent=6))
    return rows


def _part_cells(part: PortionPart) -> tuple[str, str, str]:
    if part.before is not None and part.after is not None:
        return _cells(part.before, part.after)
    one, two = (f"{side:f}" if side is not None else "-" for side in (part.before, part.after))
    return one, two, ""


def _cells(before: Decimal, after: Decimal) -> tuple[str, str, str]:
    """Both amounts with as many decimals as the finer of them was written with, at least one."""
    places = min(-1, *(_exponent(number) for number in (before, after)))
    one, two = (number.quantize(Decimal(1).scaleb(places)) for number in (before, after))
    difference = two - one
    return f"{one:f}", f"{two:f}", f"{difference:+f}" if difference else "0"


def _exponent(number: Decimal) -> int:
    exponent = number.normalize().as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0


def _texts(changes: BatchChanges, show_all: bool, width: int) -> list[str]:
    """What is not a number, with what is to be said of the cost."""
    lines: list[str] = []
    if changes.cost is not None and (show_all or changes.cost.figure.is_change):
        for text in _cost_sentences(changes.cost):
            lines += paragraph(text, width=width, indent=2)
    for label, before, after in _words(changes, show_all):
        sides = [side if side is not None else "not stated" for side in (before, after)]
        text = sides[0] if before == after else f"{sides[0]} -> {sides[1]}"
        lines += paragraph(f"{label}: {text}", width=width, indent=2)
    if changes.recipe.notes is not None:
        lines.append(f"  notes changed ({_changed_lines(changes.recipe.notes)})")
    elif show_all and changes.alike.notes is not None:
        lines.append("  notes are the same")
    return lines


def _words(changes: BatchChanges, show_all: bool) -> list[tuple[str, str | None, str | None]]:
    """The water's rule, alkali, purpose, process, name and parent: what each is called, and both sides of it."""
    recipe, alike = changes.recipe, changes.alike
    told: list[tuple[str, str | None, str | None]] = [
        (f"lot of {material_words(change.field)}", change.before, change.after) for change in changes.lots
    ]
    if recipe.water is not None and recipe.water.before.method != recipe.water.after.method:
        told.append(("water", water_text(recipe.water.before), water_text(recipe.water.after)))
    if recipe.alkali is not None:
        told.append(("alkali", alkalis_text(recipe.alkali.before), alkalis_text(recipe.alkali.after)))
    purpose = recipe.purpose or (alike.purpose if show_all else None)
    if purpose is not None:
        told.append(("purpose", purpose.before, purpose.after))
    process = [*recipe.process, *(alike.process if show_all else ())]
    told += [process_words(change, changes.told_in) for change in process]
    if recipe.name is not None:
        told.append(("name", recipe.name.before, recipe.name.after))
    if is_brought_up(recipe) and recipe.based_on is not None:
        told.append(("based on", _reference(recipe.based_on.before), _reference(recipe.based_on.after)))
    return told


def _cost_sentences(cost: CostChange) -> Iterable[str]:
    """What is in neither side's cost, which side has no price of it, and where one stands."""
    if cost.before is None:
        yield "the cost is not compared: most of the materials have no price on both sides"
    one, two = set(cost.before_unpriced), set(cost.after_unpriced)
    for where, names in (("", one & two), (" before", one - two), (" after", two - one)):
        if names:
            unpriced = ", ".join(material_words(name) for name in cost.unpriced if name in names)
            yield f"without a price{where}, and so in neither cost: {unpriced}"
    at_lots = ", ".join(f"{material_words(name)} at {' and '.join(lots[:3])}" for name, lots in cost.at_lots)
    if at_lots:
        yield f"a price stands at a lot, for batches of it alone: {at_lots}"


def _reference(parent: BasedOn | None) -> str | None:
    return None if parent is None else parent.name


def _changed_lines(change: FieldChange) -> str:
    from difflib import SequenceMatcher

    before, after = (change.before or "").splitlines(), (change.after or "").splitlines()
    blocks = SequenceMatcher(None, before, after, autojunk=False).get_opcodes()
    count = sum(max(i2 - i1, j2 - j1) for tag, i1, i2, j1, j2 in blocks if tag != "equal")
    return f"{count} line{'s' if count != 1 else ''}"


def _findings(title: str, findings: tuple[Finding, ...], width: int) -> list[str]:
    return [f"  {title}", *("  " + line for line in render_findings(findings, width=width - 2))]


def _register(changes: BatchChanges, width: int) -> list[str]:
    lines: list[str] = []
    for title, told in (
        ("by the certificates of lots", [each for each in changes.register if each.is_of_lots]),
        ("the register itself changed", [each for each in changes.register if not each.is_of_lots]),
    ):
        lines += [*([""] if lines and told else []), *_known_otherwise(title, told, width)]
    return lines


def _known_otherwise(title: str, told: list[RegisterChange], width: int) -> list[str]:
    lines = [f"  {title}"] if told else []
    for change in told:
        name = change.field.replace("_", " ")
        sides = [("unknown" if side is None else f"{side:g}") for side in (change.before, change.after)]
        lines += paragraph(
            f"{material_words(change.material)}, {name}: {sides[0]} -> {sides[1]}", width=width, indent=4
        )
    return lines
