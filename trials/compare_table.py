"""A comparison as plain text: the sentence, what differed, what each did, and what was hidden."""

from __future__ import annotations

from collections.abc import Sequence

from formulary.quantity import format_number
from formulary.text_table import Row, paragraph, render_rows
from trials.compare_sentence import column_note, headline, say_contrast, say_fact, say_noise
from trials.comparison import ComparedFactor, ComparedOutcome, Comparison
from trials.outcomes_values import OutcomeValue
from trials.sentences import NOT_SEEN, count, places, say_value, unit_label

_LABEL = 30


def render_comparison(comparison: Comparison, width: int = 80, *, show_all: bool = False) -> str:
    """The comparison as text of at most `width` columns; show_all: also what is alike."""
    lines = paragraph(comparison.sentence, width=width)
    if not comparison.columns:
        return "\n".join(lines)
    lines += _controls(comparison, width)
    lines += _one_changes(comparison, width)
    lines += ["", *_legend(comparison, width)]
    for block in _blocks(comparison, width):
        lines += ["", *_table(comparison, block, width, show_all=show_all)]
    lines += _noise(comparison, width)
    if comparison.remarks:
        lines += ["", *paragraph("; ".join(comparison.remarks) + ".", width=width, indent=2)]
    limits = sum(not outcome.tells for outcome in comparison.outcomes)
    if (comparison.hidden or limits) and not show_all:
        only = f" and {count(limits, 'outcome')} known only as limits" if limits else ""
        lines += paragraph(f"{comparison.hidden} alike{only} (--all shows them)", width=width, indent=2)
    return "\n".join(lines)


def _blocks(comparison: Comparison, width: int) -> list[list[int]]:
    """Column numbers by the page: as many as fit beside the labels, the first column again on each."""
    widths = [_cell_width(comparison, number) + 3 for number in range(len(comparison.columns))]
    room = max(width - _LABEL, widths[0] + 1)
    blocks: list[list[int]] = [[0]]
    used = widths[0]
    for number in range(1, len(widths)):
        if used + widths[number] > room and (len(blocks[-1]) > 1 or number == 1):
            blocks.append([0])
            used = widths[0]
        blocks[-1].append(number)
        used += widths[number]
    return blocks


def _cell_width(comparison: Comparison, number: int) -> int:
    cells = [comparison.columns[number].label]
    cells += [_cell(outcome, outcome.values[number]) for outcome in comparison.outcomes]
    cells += [say_fact(factor, factor.values[number]) for factor in comparison.factors]
    return max(len(cell) for cell in cells)


def _table(comparison: Comparison, block: Sequence[int], width: int, *, show_all: bool) -> list[str]:
    columns = [comparison.columns[number] for number in block]
    rows = [Row("", tuple(column.label for column in columns), indent=2)]
    rows.append(Row("what differed", indent=2))
    rows += [_factor_row(factor, block) for factor in comparison.factors] or [Row("nothing that is recorded", indent=4)]
    if show_all and comparison.alike:
        rows.append(Row("what was alike", indent=2))
        rows += [_factor_row(factor, block) for factor in comparison.alike]
    rows.append(Row("what each did", indent=2))
    told = comparison.outcomes if show_all else [outcome for outcome in comparison.outcomes if outcome.tells]
    shown = [outcome for outcome in told if any(outcome.values[number] is not None for number in block)]
    for outcome in shown:
        cells = tuple(_cell(outcome, outcome.values[number]) for number in block)
        rows.append(Row(unit_label(outcome.label, outcome.outcome.unit), cells, indent=4))
    if not shown:
        rows.append(Row("nothing was recorded yet", indent=4))
    return render_rows(rows, width=width, label_width=_LABEL)


def _legend(comparison: Comparison, width: int) -> list[str]:
    rows = [Row(column.label, (), note=column_note(column)) for column in comparison.columns]
    longest = max(len(column.label) for column in comparison.columns)
    return [f"  {row.label:<{longest}}  {row.note}"[:width] for row in rows]


def _factor_row(factor: ComparedFactor, block: Sequence[int]) -> Row:
    unit = "" if factor.unit == "1 if done" else factor.unit
    cells = tuple(say_fact(factor, factor.values[number]) for number in block)
    return Row(unit_label(factor.factor, unit), cells, indent=4)


def _cell(outcome: ComparedOutcome, value: OutcomeValue | None) -> str:
    if value is None:
        return NOT_SEEN
    text = say_value(outcome.outcome, value)
    if value.n > 1 and value.spread is not None and outcome.noise is not None:
        return f"{text} ± {format_number(value.spread, places(outcome.outcome))} n {value.n}"
    return f"{text} n {value.n}" if value.n > 1 else text


def _controls(comparison: Comparison, width: int) -> list[str]:
    """Every scented portion against its own control, one line each, before anything else."""
    lines: list[str] = []
    for control, scented, contrasts in comparison.controls[1:]:
        did = say_contrast(headline(contrasts)) if contrasts else "nothing was measured of both"
        lines += paragraph(f"{scented.label} beside {control.label}: {did}", width=width, indent=2)
    return lines


def _noise(comparison: Comparison, width: int) -> list[str]:
    telling = [outcome for outcome in comparison.outcomes if outcome.noise is not None and outcome.tells]
    known = [outcome for outcome in telling if outcome.noise is not None and not outcome.noise.is_assumed]
    assumed = [outcome for outcome in telling if outcome.noise is not None and outcome.noise.is_assumed]
    said: list[str] = []
    if known:
        told = "; ".join(
            f"{outcome.label} {say_noise(outcome).removeprefix('repeats here differ by about ')}" for outcome in known
        )
        said.append(f"Repeats here differ by about: {told}.")
    if assumed:
        said.append(f"No repeats yet, so the noise is assumed: {', '.join(outcome.label for outcome in assumed)}.")
    return ["", *paragraph(" ".join(said), width=width, indent=2)] if said else []


def _one_changes(comparison: Comparison, width: int) -> list[str]:
    if not comparison.one_changes:
        return []
    lines = ["", "  Pours that differ in one thing alone"]
    for pair in comparison.one_changes:
        values = " to ".join(say_fact(pair.factor, value) for value in pair.factor.values)
        unit = f" {pair.factor.unit}" if pair.factor.unit else ""
        did = say_contrast(headline(pair.contrasts))
        text = f"{pair.before}, {pair.after}: {pair.factor.factor} {values}{unit}; the second {did}"
        lines += paragraph(text, width=width, indent=4)
    return lines
