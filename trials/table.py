"""One row a trial, or a portion, with everything that varied and every outcome, for other programs to go on with."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Literal

from formulary.batch.model import WHOLE
from formulary.data_table import Cell, Table, TableColumn, free_name
from formulary.errors import InputError
from formulary.materials.plain_name import material_words
from formulary.names import suggest
from trials.factors.portion_facts import STAGE_WORDS, Aspect, Pour, find_facts, find_pours, shown_fact
from trials.outcomes.find import find_values
from trials.outcomes.outcome import Outcome, Scale, outcome_label
from trials.outcomes.value import OutcomeValue
from trials.trial.model import Trial

_BY = ("portion", "trial")
_BOUNDS = ("exact", "above", "below", "between")
_ENDINGS = ("", "_bound", "_low", "_high", "_n", "_spread")  # of the columns of one outcome


def make_table(
    trials: Sequence[Trial], outcomes: Mapping[str, Outcome], *, by: Literal["portion", "trial"] = "portion"
) -> Table:
    """One row a portion (or a trial): who and when, every fact of how it was made, every outcome with its bound.

    by: "trial" gives divided trials one row, with the figures of the whole pot and the values of the whole trial.
    Raises InputError for another.
    """
    if by not in _BY:
        do = suggest(str(by), _BY, "write portion or trial")
        raise InputError.of("not-a-choice", f"{by!r:.40} is no kind of row", do)
    pours = find_pours(trials) if by == "portion" else _whole(trials)
    columns: list[TableColumn] = list(_IDENTITY)
    cells: list[list[Cell]] = [list(_identity(pour)) for pour in pours]
    taken = {column.name for column in columns}
    for aspect in sorted({aspect for pour in pours for aspect in pour.facts}, key=lambda aspect: aspect.place):
        facts = [shown_fact(pour.weighed_fact(aspect)) for pour in pours]
        column = _fact_column(aspect, facts, taken)
        columns.append(column)
        for row, fact in zip(cells, facts, strict=True):
            row.append(str(fact) if fact is not None and column.kind == "string" else fact)
    for outcome in outcomes.values():
        if outcome.scale is Scale.COLOUR:
            continue
        for age in _ages(outcome, trials):
            values = [_value(pour, outcome, age) for pour in pours]
            if all(value is None for value in values):
                continue
            columns += _outcome_columns(outcome, age, taken)
            for row, value in zip(cells, values, strict=True):
                row += _outcome_cells(value)
    return Table(tuple(columns), tuple(tuple(row) for row in cells), key=("trial", "portion"))


_IDENTITY = (
    TableColumn(name="trial", title="trial", kind="string", is_required=True),
    TableColumn(name="portion", title="portion", kind="string", is_required=True),
    TableColumn(name="recipe", title="recipe", kind="string", is_required=True),
    TableColumn(name="version", title="version", kind="string", is_required=True),
    TableColumn(name="made", title="made", kind="date", is_required=True),
    TableColumn(name="sitting", title="sitting", kind="string"),
    TableColumn(name="share_percent", title="share of the batter", kind="number", unit="%", low=0.0, high=100.0),
)


def _identity(pour: Pour) -> Iterable[Cell]:
    trial = pour.trial
    part = trial.part(pour.portion or WHOLE)
    share = 100.0 if pour.portion is None or part is None else float(part.share)
    portion = pour.portion or WHOLE
    return trial.id, portion, trial.recipe, trial.version, trial.made.isoformat(), trial.sitting, share


def _whole(trials: Sequence[Trial]) -> tuple[Pour, ...]:
    ordered = sorted(trials, key=lambda trial: (trial.made, trial.id))
    return tuple(find_facts(trial, None) for trial in ordered)


def _fact_column(aspect: Aspect, facts: Sequence[float | str | None], taken: set[str]) -> TableColumn:
    words = material_words(aspect.subject)
    stage = STAGE_WORDS.get(aspect.stage, aspect.stage)
    is_text = any(isinstance(fact, str) for fact in facts)
    kind_word = "" if aspect.kind in ("water", "superfat", "condition", "vessel", "size", "blending") else aspect.kind
    title = " ".join(part for part in (f"{kind_word}:" if kind_word else "", words, stage) if part)
    unit = "" if is_text or aspect.step in ("instead", "done") else aspect.step_of.unit
    name = free_name(" ".join(part for part in (kind_word, words, stage, unit) if part), taken)
    return TableColumn(name=name, title=title, kind="string" if is_text else "number", unit=unit)


def _ages(outcome: Outcome, trials: Sequence[Trial]) -> tuple[Decimal | None, ...]:
    """The ages of its definition, and those at which anybody looked."""
    if not outcome.ages_days or outcome.at_any_age:
        return (None,)
    seen = {item.age_days for trial in trials for item in trial.observations if item.outcome == outcome.name}
    return tuple(sorted({*outcome.ages_days, *seen}))


def _value(pour: Pour, outcome: Outcome, age: Decimal | None) -> OutcomeValue | None:
    """The portion's own value, else that of the whole trial."""
    found = [value for value in find_values(pour.trial, outcome, age) if isinstance(value, OutcomeValue)]
    own = [value for value in found if value.portion == pour.portion]
    whole = [value for value in found if value.portion is None]
    return next(iter(own or whole), None)


def _outcome_columns(outcome: Outcome, age: Decimal | None, taken: set[str]) -> tuple[TableColumn, ...]:
    title = outcome_label(outcome, age)
    unit = outcome.unit
    base = free_name(f"{title} {unit}", taken, endings=_ENDINGS)
    low = None if outcome.low is None else float(outcome.low)
    high = None if outcome.high is None else float(outcome.high)
    if outcome.scale is Scale.GRADED:
        low, high = 0.0, float(len(outcome.grades) - 1)
        unit = ", ".join(f"{step} {grade}" for step, grade in enumerate(outcome.grades))
    elif outcome.scale is Scale.YES_NO:
        low, high, unit = 0.0, 1.0, "0 no, 1 yes"
    elif outcome.scale in (Scale.LOG_TIME, Scale.COUNT):
        low = 0.0 if low is None else low
    figure = {"kind": "number", "unit": unit, "scale": outcome.scale.value, "low": low, "high": high}
    return (
        TableColumn(name=base, title=title, **figure),  # type: ignore[arg-type]
        TableColumn(name=f"{base}_bound", title=f"{title}, bound", kind="string", options=_BOUNDS),
        TableColumn(name=f"{base}_low", title=f"{title}, at least", **figure),  # type: ignore[arg-type]
        TableColumn(name=f"{base}_high", title=f"{title}, at most", **figure),  # type: ignore[arg-type]
        TableColumn(name=f"{base}_n", title=f"{title}, readings", kind="integer", low=1.0),
        TableColumn(name=f"{base}_spread", title=f"{title}, spread", kind="number", unit=outcome.unit, low=0.0),
    )


def _outcome_cells(value: OutcomeValue | None) -> tuple[Cell, ...]:
    if value is None:
        return (None,) * 6
    return value.value, value.bound, value.low, value.high, value.n, value.spread
