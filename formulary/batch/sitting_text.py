"""A sitting, and a weighing that went over, as text to work by."""

from __future__ import annotations

from formulary.batch.rescue import Rescue
from formulary.batch.sitting import Shared, Sitting
from formulary.batch.weigh_out_text import CAUTIONS, CLOSING, words
from formulary.quantity import format_number
from formulary.text_table import Row, paragraph, render_rows

_STAGES = {"lye water": "jug", "oils": "pot", "trace": "at trace", "top": "on top"}


def render_sitting(sitting: Sitting, *, width: int = 80) -> str:
    """What to weigh together, then what each loaf gets of it and what is its own."""
    names = [batch.recipe_name for batch in sitting.batches]
    all_g = sum(batch.batter_grams for batch in sitting.batches)
    head = f"{len(names)} loaves in one sitting: {', '.join(names)}; {format_number(all_g, 0)} g of batter in all."
    lines = [*paragraph(head, width=width), "", *paragraph(CAUTIONS, width=width, indent=2), ""]
    rows: list[Row] = []
    if sitting.jug is not None:
        rows += [Row("One jug of lye for all", ("g",), indent=0), *_rows(sitting.jug)]
    if sitting.pot is not None:
        rows += [Row("", indent=0), Row("One pot of the oils that all share", ("g",), indent=0), *_rows(sitting.pot)]
    for number, batch in enumerate(sitting.batches):
        rows += [Row("", indent=0), Row(batch.recipe_name, ("g",), indent=0)]
        if sitting.jug is not None:
            rows.append(Row("of the lye in the jug", (format_number(sitting.jug.each[number], 1),)))
        if sitting.pot is not None:
            rows.append(Row("of the melted oils in the pot", (format_number(sitting.pot.each[number], 1),)))
        for line in sitting.own[number]:
            note = _STAGES[line.at] + (f", all in the {line.portion} portion" if line.portion else "")
            rows.append(Row(words(line.material), (format_number(line.grams, 1),), note))
    lines += render_rows(rows, width=width)
    if sitting.jug is None and sitting.jug_reason:
        lines += ["", *paragraph(f"Each loaf has its own jug: {sitting.jug_reason}.", width=width)]
    if sitting.pot is None:
        lines += ["", *paragraph("The loaves share no oil that is melted, so each has its own pot.", width=width)]
    warnings = [
        f"{batch.recipe_name}: {finding.what}  [{finding.code}]"
        for batch in sitting.batches
        for finding in batch.findings
        if finding.severity.value == "warn"
    ]
    if warnings:
        lines.append("")
    for text in warnings:
        lines += paragraph(f"warn   {text}", width=width, indent=2)
    return "\n".join([*lines, "", *paragraph(CLOSING, width=width, indent=2)])


def _rows(shared: Shared) -> list[Row]:
    rows = [Row(words(material), (format_number(grams, 1),)) for material, grams in shared.lines]
    return [*rows, Row("together", (format_number(shared.total_grams, 1),))]


def render_rescue(rescue: Rescue, *, width: int = 80) -> str:
    """How to go on after something went over: what still to weigh, beside the plan."""
    if rescue.way == "new-alkali":
        text = "The lye is not mixed with the oils yet: weigh the alkali and water anew, and go on."
    else:
        text = "Alkali that is in cannot be taken back: weigh more of every oil (and of what follows the oils) instead."
    rows = [Row("", ("planned", "there now", "to add"), indent=2), Row("", ("g", "g", "g"), indent=2)]
    for line in rescue.remaining:
        grams = (line.planned_grams, line.weighed_grams, line.remaining_grams)
        rows.append(Row(words(line.material), tuple(format_number(weight, 1) for weight in grams)))
    after = f"Superfat after it: {format_number(rescue.superfat_percent, 1)} %."
    caution = "Additions and scent that are rates of the oils grow with them: check the vessel and the mould for size."
    return "\n".join(
        [*paragraph(text, width=width), "", *render_rows(rows, width=width), "", *paragraph(after, width=width)]
        + ([] if rescue.way == "new-alkali" else paragraph(caution, width=width))
    )
