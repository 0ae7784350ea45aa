"""A comparison as a table for other programs: one row a factor or outcome, one column a pour."""

from __future__ import annotations

from formulary.data_table import Cell, Table, TableColumn, free_name
from trials.comparison.compared import ComparedTrials
from trials.outcomes.outcome import Outcome
from trials.outcomes.value import OutcomeValue
from trials.pours.sentences import say_value

_REPEATS = "repeats_differ_by"


def comparison_table(comparison: ComparedTrials, *, show_all: bool = False) -> Table:
    """What differed above, what each did below; show_all: what is alike, and every age of an outcome, too.

    A figure stands unrounded; what is known within bounds alone, and a grade, in words.
    """
    taken = {"part", "what", "unit", _REPEATS}
    columns = [
        TableColumn(name="part", title="part", kind="string", is_required=True),
        TableColumn(name="what", title="what", kind="string", is_required=True),
        TableColumn(name="unit", title="unit", kind="string"),
        *(
            TableColumn(name=free_name(column.label, taken), title=column.label, kind="string")
            for column in comparison.columns
        ),
        TableColumn(name=_REPEATS, title="repeats ±", kind="number"),
    ]
    rows: list[tuple[Cell, ...]] = [
        (part, factor.factor, factor.unit or None, *factor.values, None)
        for part, factors in (("what differed", comparison.factors), ("what was alike", comparison.alike))
        for factor in factors
        if show_all or part == "what differed"
    ]
    rows += [
        ("lye for 1000 g of oils", row.weighed, "g", *row.values, None)
        for row in comparison.lye
        if show_all or row.differs
    ]
    for outcome in comparison.outcomes:
        if show_all or comparison.is_told(outcome):
            noise = None if outcome.noise is None else outcome.noise.in_unit(outcome.level)
            cells = (_cell(outcome.outcome, value) for value in outcome.values)
            rows.append(("what each did", outcome.label, outcome.outcome.unit or None, *cells, noise))
    return Table(tuple(columns), tuple(rows))


def _cell(outcome: Outcome, value: OutcomeValue | None) -> Cell:
    if value is None:
        return None
    is_figure = value.bound == "exact" and not outcome.scale.is_ordinal
    return value.value if is_figure else say_value(outcome.as_kept, value)
