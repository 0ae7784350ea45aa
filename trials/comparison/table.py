"""A comparison as plain text: the sentence, what differed, what each did, and what was hidden."""

from __future__ import annotations

import re
from collections.abc import Sequence

from formulary.finding import Finding
from formulary.quantity import format_number
from formulary.text_table import Row, render_rows
from trials.comparison.compared import ComparedFactor, ComparedLye, ComparedOutcome, ComparedTrials
from trials.comparison.sentence import column_note, comparison_sentence, headline, say_briefly, say_fact
from trials.pours.sentences import NOT_SEEN, capital, count, places, say_list, say_value, unit_label, wrap_words

_LABEL = 30
_RANGE = re.compile(r"(?<=\d) to (?=-?\d)")  # between two figures, and not in a grade such as "up to a quarter"
_MORE = re.compile(r" \+(\d+)\b")  # in the name of pours that are put together
_NOISE = "repeats ±"


def render_comparison(comparison: ComparedTrials, width: int = 80, *, show_all: bool = False) -> str:
    """The comparison as text of at most `width` columns; show_all: also what is alike."""
    lines = [line for trial, finding in comparison.stops for line in _stop(trial, finding, width)]
    lines += wrap_words(comparison_sentence(comparison), width)
    if not comparison.columns:
        return "\n".join(lines)
    lines += _controls(comparison, width)
    lines += _one_changes(comparison, width)
    lines += ["", *_legend(comparison, width)]
    for block, with_noise in _blocks(comparison, width):
        lines += ["", *_table(comparison, block, width, with_noise=with_noise, show_all=show_all)]
    lines += _noise_key(comparison, width)
    lines += [""] if comparison.remarks else []
    for remark in comparison.remarks:
        lines += wrap_words(f"{capital(remark)}.", width, indent=2)
    untold = sum(not comparison.is_told(outcome) for outcome in comparison.outcomes)
    if any(len(column.pours) > 1 for column in comparison.columns):
        lines += wrap_words("pours that repeat one another are put together (--each shows them apart)", width, indent=2)
    if (comparison.hidden or untold) and not show_all:
        more = f", and {count(untold, 'more line')} of outcomes, at other ages or as limits," if untold else ""
        lines += wrap_words(f"{comparison.hidden} alike{more} hidden (--all shows them)", width, indent=2)
    return "\n".join(lines)


def _stop(trial: str, finding: Finding, width: int) -> list[str]:
    skin = "" if "on skin" in finding.do else "do not use it on skin: "
    return [
        *wrap_words(f"STOP {trial}: {finding.what}", width),
        *wrap_words(f"{skin}{finding.do}", width, indent=5),
        "",
    ]


def _blocks(comparison: ComparedTrials, width: int) -> list[tuple[list[int], bool]]:
    """Column numbers by the page, as many as fit beside the labels, and whether the noise stands there too.

    The noise stands once: on the first page that has room for it, else on the first with fewer columns.
    """
    widths = [_cell_width(comparison, number) + 3 for number in range(len(comparison.columns))]
    room, noise = width - _LABEL, _noise_width(comparison)
    pages = _pages(widths, room)
    with_room = [place for place, page in enumerate(pages) if sum(widths[number] for number in page) + noise <= room]
    if not with_room:
        pages = _pages(widths, room, on_first=noise)
    chosen = with_room[0] if with_room else 0
    return [(page, place == chosen) for place, page in enumerate(pages)]


def _pages(widths: Sequence[int], room: int, *, on_first: int = 0) -> list[list[int]]:
    pages: list[list[int]] = [[0]]
    used = widths[0] + on_first
    for number in range(1, len(widths)):
        if used + widths[number] > room:
            pages.append([])
            used = 0
        pages[-1].append(number)
        used += widths[number]
    return pages


def _cell_width(comparison: ComparedTrials, number: int) -> int:
    cells = [comparison.columns[number].label]
    cells += [_cell(comparison, outcome, number) for outcome in comparison.outcomes if comparison.is_told(outcome)]
    cells += [say_fact(factor, factor.values[number]) for factor in comparison.factors]
    return max(len(cell) for cell in cells)


def _table(
    comparison: ComparedTrials, block: Sequence[int], width: int, *, with_noise: bool, show_all: bool
) -> list[str]:
    columns = [comparison.columns[number] for number in block]
    has_noise = with_noise and any(outcome.noise is not None for outcome in comparison.outcomes)
    rows = [Row("", (*(column.label for column in columns), *((_NOISE,) if has_noise else ())), indent=2)]
    rows.append(Row("what differed", indent=2))
    rows += [_factor_row(factor, block) for factor in comparison.factors] or [Row("nothing that is recorded", indent=4)]
    if show_all and comparison.alike:
        rows.append(Row("what was alike", indent=2))
        rows += [_factor_row(factor, block) for factor in comparison.alike]
    lye = [row for row in comparison.lye if show_all or row.differs]
    if lye:
        rows.append(Row("lye for 1000 g of oils", indent=2))
        rows += [_lye_row(row, block) for row in lye]
    rows.append(Row("what each did", indent=2))
    told = (
        comparison.outcomes if show_all else [outcome for outcome in comparison.outcomes if comparison.is_told(outcome)]
    )
    shown = [outcome for outcome in told if any(outcome.values[number] is not None for number in block)]
    for outcome in shown:
        cells = tuple(_cell(comparison, outcome, number) for number in block)
        noise = (_noise_cell(outcome),) if has_noise else ()
        rows.append(Row(unit_label(outcome.label, outcome.outcome.told_unit), (*cells, *noise), indent=4))
    if not shown:
        rows.append(Row("nothing was recorded yet", indent=4))
    return render_rows(rows, width=width, label_width=_LABEL)


def _legend(comparison: ComparedTrials, width: int) -> list[str]:
    longest = max(len(column.label) for column in comparison.columns)
    lines: list[str] = []
    for column in comparison.columns:
        first, *more = wrap_words(column_note(column), width, indent=longest + 4)
        lines += [f"  {column.label:<{longest}}  {first.lstrip()}", *more]
    return lines


def _factor_row(factor: ComparedFactor, block: Sequence[int]) -> Row:
    cells = tuple(say_fact(factor, factor.values[number]) for number in block)
    return Row(unit_label(factor.factor, factor.unit_words), cells, indent=4)


def _lye_row(row: ComparedLye, block: Sequence[int]) -> Row:
    values = [row.values[number] for number in block]
    return Row(
        f"{row.weighed}, g", tuple(NOT_SEEN if value is None else format_number(value, 1) for value in values), indent=4
    )


def _cell(comparison: ComparedTrials, outcome: ComparedOutcome, number: int) -> str:
    """A value; of two columns in words and with its readings, of more in signs and with what is put together only."""
    value = outcome.values[number]
    if value is None:
        return NOT_SEEN
    text = say_value(outcome.outcome, value)
    if len(comparison.columns) > 2:
        text = text.replace("later than ", "> ").replace("before ", "< ")
        text = _RANGE.sub("-", text)
        if len(comparison.columns[number].pours) < 2:
            return text
    if value.n > 1 and value.spread is not None and outcome.noise is not None:
        return (
            f"{text} ± {format_number(outcome.outcome.told_apart(value.spread), places(outcome.outcome))} n {value.n}"
        )
    return f"{text} n {value.n}" if value.n > 1 else text


def _controls(comparison: ComparedTrials, width: int) -> list[str]:
    """Every scented portion against its own control, one line each, before anything else."""
    lines: list[str] = []
    for control, scented, contrasts in comparison.controls[1:]:
        did = say_briefly(headline(contrasts)) if contrasts else "nothing was measured of each by itself"
        lines += wrap_words(f"{scented.label} beside {control.label}: {did}", width, indent=2)
    return lines


def _noise_cell(outcome: ComparedOutcome) -> str:
    if outcome.noise is None:
        return ""
    sd = format_number(
        outcome.outcome.told_apart(outcome.noise.in_unit(outcome.level)), max(places(outcome.outcome), 1)
    )
    return f"({sd})" if outcome.noise.is_assumed else f"{sd} n {outcome.noise.repeats}"


def _noise_width(comparison: ComparedTrials) -> int:
    cells = [_noise_cell(outcome) for outcome in comparison.outcomes if outcome.noise is not None]
    return max([len(_NOISE), *map(len, cells)]) + 3 if cells else 0


def _noise_key(comparison: ComparedTrials, width: int) -> list[str]:
    """What the last column of the table says."""
    shown = [outcome.noise for outcome in comparison.outcomes if outcome.noise is not None and outcome.tells]
    if not shown:
        return []
    text = f"{_NOISE}: how far repeats of one recipe differ here, as a standard deviation"
    if any(not noise.is_assumed for noise in shown):
        text += " from n repeats"
    if any(noise.is_assumed for noise in shown):
        text += "; in brackets where no two repeats were measured and a usual value is assumed"
    return ["", *wrap_words(f"{text}.", width, indent=2)]


def _one_changes(comparison: ComparedTrials, width: int) -> list[str]:
    if not comparison.one_changes:
        return []
    nearly = ", or nearly so" if any(pair.slight for pair in comparison.one_changes) else ""
    lines = ["", *wrap_words(f"Pours that differ in one recorded thing alone{nearly}", width, indent=2)]
    for pair in comparison.one_changes:
        did = say_briefly(headline(pair.contrasts))
        text = f"{pair.before}, {pair.after}: {_from_to(pair.factor)}; the second {did}"
        if pair.slight:
            text += f"; besides, {say_list([_from_to(factor) for factor in pair.slight])}"
        lines += wrap_words(text, width, indent=4)
    shown = " ".join(name for pair in comparison.one_changes for name in (pair.before, pair.after))
    if found := _MORE.search(shown):
        more = count(int(found[1]), "more pour that repeats it", "more pours that repeat it")
        lines += wrap_words(f"+{found[1]} beside a name: put together with {more}.", width, indent=4)
    return lines


def _from_to(factor: ComparedFactor) -> str:
    """`room 19 to 21 °C`."""
    values = " to ".join(say_fact(factor, value) for value in factor.values)
    return f"{factor.factor} {values}{f' {factor.unit_words}' if factor.unit_words else ''}"
