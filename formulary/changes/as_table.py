"""What changed as a table for other programs: one row a line, numbers unrounded."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from formulary.changes.batch_changes import FIGURES, BatchChanges, Figure
from formulary.changes.recipe_changes import RecipeChanges, alkalis_text, water_text
from formulary.data_table import Cell, Table, TableColumn

_COLUMNS = (
    TableColumn(name="part", title="part", kind="string", is_required=True),
    TableColumn(name="what", title="what", kind="string", is_required=True),
    TableColumn(name="at", title="when", kind="string"),
    TableColumn(name="unit", title="unit", kind="string"),
    TableColumn(name="before", title="before", kind="number"),
    TableColumn(name="after", title="after", kind="number"),
    TableColumn(name="change", title="change", kind="number"),
    TableColumn(name="before_text", title="before, in words", kind="string"),
    TableColumn(name="after_text", title="after, in words", kind="string"),
)


def changes_table(changes: BatchChanges, *, show_all: bool = False) -> Table:
    """What changed, a line each; show_all: what is the same, too. A side that has no figure is empty."""
    rows = [*_recipe_rows(changes.recipe, show_all=show_all)]
    if show_all:
        rows += _recipe_rows(changes.alike, show_all=True)
    rows += [
        _row(
            _part_of(figure, changes),
            FIGURES.get(figure.key, figure.key),
            None,
            figure.unit,
            figure.before,
            figure.after,
        )
        for figure in changes.figures
        if show_all or figure.is_change
    ]
    rows += [_words("lots", each.field, each.before, each.after) for each in changes.lots]
    rows += [
        _words("lots" if each.is_of_lots else "register", f"{each.material}, {each.field}", each.before, each.after)
        for each in changes.register
    ]
    rows += [_words("appeared", finding.code, None, finding.what) for finding in changes.appeared]
    rows += [_words("vanished", finding.code, finding.what, None) for finding in changes.vanished]
    return Table(_COLUMNS, tuple(rows))


def _part_of(figure: Figure, changes: BatchChanges) -> str:
    parts = {
        "lye": changes.lye,
        "water": changes.water,
        "superfat": changes.superfat,
        "scent in the cured bar": changes.scent,
        "fatty acids": changes.fatty_acids,
    }
    return next((part for part, figures in parts.items() if figure in figures), "batch")


def _recipe_rows(recipe: RecipeChanges, *, show_all: bool) -> Iterable[tuple[Cell, ...]]:
    for oil in recipe.oils:
        line = oil.after or oil.before
        at = " and ".join(stage for stage, _ in line.stages) if line is not None else None
        yield _row("oils", oil.material, at, "% of oils", oil.before_percent, oil.after_percent)
    for change in recipe.lines:
        yield _row(change.part, change.material, change.at, change.unit, change.before_amount, change.after_amount)
    for portion in recipe.portions:
        for part in portion.parts:
            if show_all or part.is_change:
                yield _row("portions", f"{portion.name}, {part.what}", None, "%", part.before, part.after)
    if recipe.superfat is not None:
        yield _row("rules", "superfat", None, "%", recipe.superfat.before, recipe.superfat.after)
    if recipe.water is not None:
        yield _words("rules", "water", water_text(recipe.water.before), water_text(recipe.water.after))
    if recipe.alkali is not None:
        yield _words("rules", "alkali", alkalis_text(recipe.alkali.before), alkalis_text(recipe.alkali.after))
    for name, pair in (("purpose", recipe.purpose), ("name", recipe.name), ("notes", recipe.notes)):
        if pair is not None:
            yield _words("rules", name, pair.before, pair.after)
    for field in recipe.process:
        yield _words("process", field.field.removeprefix("process."), field.before, field.after)


def _row(
    part: str, what: str, at: str | None, unit: str, before: Decimal | float | None, after: Decimal | float | None
) -> tuple[Cell, ...]:
    difference = None if before is None or after is None else float(Decimal(str(after)) - Decimal(str(before)))
    return part, what, at, unit, _number(before), _number(after), difference, None, None


def _words(part: str, what: str, before: object, after: object) -> tuple[Cell, ...]:
    one, two = (None if side is None else str(side) for side in (before, after))
    return part, what, None, None, None, None, None, one, two


def _number(number: Decimal | float | None) -> float | None:
    return None if number is None else float(number)
