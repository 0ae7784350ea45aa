"""A sitting, and a weighing that went over, as text to work by."""

from __future__ import annotations

from dataclasses import replace

from formulary.batch.model import Batch
from formulary.batch.rescue import Rescue
from formulary.batch.sitting import Shared, Sitting
from formulary.batch.weigh_out_text import (
    CAUTIONS,
    CLOSING,
    format_weight,
    heading,
    remark,
    render_figures,
    render_findings,
    scent_lines,
    stage_lines,
    words,
)
from formulary.quantity import format_number
from formulary.text_table import Row, paragraph, render_rows

_STAGES = {"lye water": "In the jug", "oils": "In the pot", "trace": "At trace", "top": "On top"}


def render_sitting(sitting: Sitting, *, width: int = 80) -> str:
    """What to weigh together, then for each loaf what it gets, what is its own, its figures and all its findings."""
    all_g = sum(batch.batter_grams for batch in sitting.batches)
    names = ", ".join(batch.recipe_name for batch in sitting.batches)
    head = f"{len(sitting.batches)} loaves in one sitting: {names}; {format_number(all_g, 0)} g of batter in all."
    lines = [*paragraph(head, width=width), "", *paragraph(CAUTIONS, width=width, indent=2)]
    if sitting.jug is not None:
        rows = [Row("One jug of lye for all", ("g",), indent=0), *_rows(sitting.jug, sitting)]
        lines += ["", *render_rows(rows, width=width)]
    if sitting.pot is not None:
        rows = [Row("One pot of the oils that all share", ("g",), indent=0), *_rows(sitting.pot, sitting)]
        lines += ["", *render_rows(rows, width=width)]
    if sitting.jug is None and sitting.jug_reason:
        lines += ["", *paragraph(f"Each loaf has its own jug: {sitting.jug_reason}.", width=width)]
    if sitting.pot is None:
        lines += ["", *paragraph("The loaves share no oil that is melted, so each has its own pot.", width=width)]
    for number, batch in enumerate(sitting.batches):
        lines += ["", *_loaf(sitting, number, batch, width)]
    return "\n".join([*lines, "", *paragraph(CLOSING, width=width, indent=2)])


def _loaf(sitting: Sitting, number: int, batch: Batch, width: int) -> list[str]:
    rows: list[Row] = []
    own = replace(batch, pot=replace(batch.pot, lines=sitting.own[number]))
    for stage, title in _STAGES.items():
        step: list[Row] = []
        if stage == "lye water" and sitting.jug is not None:
            step.append(Row("of the lye in the one jug", (format_number(sitting.jug.each[number], 1),)))
        if stage == "oils" and sitting.pot is not None:
            step.append(Row("of the melted oils in the one pot", (format_number(sitting.pot.each[number], 1),)))
        for line, parts in stage_lines(own, stage):
            grams = sum(part.grams for part in parts)
            step.append(Row(words(line.material), (format_weight(line.role, grams),), remark(batch, line, parts)))
        if step:
            rows += [Row(title, ("g",)), *(Row(row.label, row.cells, row.note, 4) for row in step)]
    figures = render_figures(batch, width=width) + scent_lines(batch, width)
    findings = render_findings(batch.findings, width=width)
    return [*heading(batch, width), *render_rows(rows, width=width), *figures, *findings]


def _rows(shared: Shared, sitting: Sitting) -> list[Row]:
    alkalis = {alkali.material for batch in sitting.batches for alkali in batch.lye}
    # Water before alkali: lye goes into water, never the reverse.
    lines = sorted(shared.lines, key=lambda line: line[0] != "water")
    rows = [
        Row(words(material), (format_weight("alkali" if material in alkalis else "", grams),))
        for material, grams in lines
    ]
    return [*rows, Row("together", (format_number(shared.total_grams, 1),))]


def render_rescue(rescue: Rescue, *, width: int = 80) -> str:
    """How to go on after something went over: what still to weigh, beside the plan, with the cautions."""
    lines = [*paragraph(_WAYS[rescue.way], width=width), "", *paragraph(CAUTIONS, width=width, indent=2), ""]
    rows = [Row("", ("planned", "there now", "to add"), indent=2), Row("", ("g", "g", "g"), indent=2)]
    for line in rescue.remaining:
        grams = (line.planned_grams, line.weighed_grams, line.remaining_grams)
        rows.append(Row(words(line.material), tuple(format_weight(line.role, weight) for weight in grams)))
    lines += render_rows(rows, width=width)
    lines.append("")
    figures = (
        f"Superfat after it: {format_number(rescue.superfat_percent, 1)} %. Lye in the jug:"
        f" {format_number(rescue.in_jug_percent, 1)} %, with all water {format_number(rescue.effective_percent, 1)} %."
    )
    lines += paragraph(figures, width=width)
    for text in rescue.remarks:
        lines += paragraph(text, width=width)
    findings = render_findings(rescue.findings, width=width)
    return "\n".join([*lines, *([""] if findings else []), *findings, "", *paragraph(CLOSING, width=width, indent=2)])


_WAYS = {
    "new-alkali": "The lye is not in the oils yet: weigh what the alkali and water lack, and go on.",
    "more-oil": "Alkali that is in cannot be taken back: weigh more of every oil, and of all that follows the oils.",
    "as-it-is": "Oils and alkali are as planned: go on, with what went over as it is.",
}
