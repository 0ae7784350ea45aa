"""A sitting, and a weighing that went over, as text to work by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from formulary.batch.lot_shares import lot_words
from formulary.batch.model import Batch
from formulary.batch.rescue import Rescue
from formulary.batch.scale import format_shown
from formulary.batch.sitting_model import Sitting
from formulary.batch.sitting_weights import LoafWeights, find_alkalis, weigh_sitting
from formulary.batch.superfat_checks import LOW_SUPERFAT_PERCENT
from formulary.batch.weigh_out_text import (
    CAUTIONS,
    CLOSING,
    cured_lines,
    findings_beside,
    format_weight,
    heading,
    jug_warning,
    measured_words,
    portion_rows,
    prepared_words,
    render_figures,
    render_findings,
    scent_lines,
    scent_sentences,
    stage_is_jug,
    step_rows,
    step_warning,
)
from formulary.batch.working_steps import find_steps
from formulary.chemistry.alkali import rounded_down_g
from formulary.finding import Finding
from formulary.materials.plain_name import material_words
from formulary.quantity import format_number
from formulary.temperature import say_written
from formulary.text_table import Row, paragraph, render_rows


def render_sitting(sitting: Sitting, *, width: int = 80) -> str:
    """What to weigh together, then for each loaf what it gets, what is its own, its figures and all its findings."""
    if sitting.is_stopped:
        lines = paragraph("STOP: nothing may be weighed out until this is settled.", width=width)
        lines += ["", *render_findings(sitting.findings, width=width)]
        return "\n".join([*lines, "", *paragraph(CLOSING, width=width, indent=2)])
    weights = weigh_sitting(sitting)
    head = (
        f"{len(sitting.batches)} loaves in one sitting: {loaves_words(sitting)};"
        f" {format_shown(sum(loaf.batter_g for loaf in weights.loaves))} g of batter in all."
    )
    lines = [*paragraph(head, width=width), "", *paragraph(CAUTIONS, width=width, indent=2)]
    if weights.jug is not None:
        warning = shared_jug_warning(sitting)
        rows = [Row("One jug of lye for all", ("g",), warning, indent=0), *_rows(weights.jug, sitting)]
        left_g = sum(weights.jug.values()) - sum(loaf.of_jug_g for loaf in weights.loaves if loaf.of_jug_g is not None)
        note = f"{format_shown(left_g)} g stay in the jug" if left_g > 0.001 else ""
        lines += ["", *render_rows([*rows[:-1], replace(rows[-1], note=note)], width=width)]
    if weights.pot is not None:
        rows = [Row("One pot of the fats to melt that all share", ("g",), indent=0), *_rows(weights.pot, sitting)]
        lines += ["", *render_rows(rows, width=width)]
    for text in unshared_sentences(sitting):
        lines += ["", *paragraph(text, width=width)]
    common, own = sort_findings(sitting)
    if sitting.findings or common:
        lines += ["", *render_findings([*sitting.findings, *common], width=width)]
    for number, batch in enumerate(sitting.batches):
        lines += ["", *_loaf(sitting, number, replace(batch, findings=own[number]), weights.loaves[number], width)]
    return "\n".join([*lines, "", *paragraph(CLOSING, width=width, indent=2)])


def unshared_sentences(sitting: Sitting) -> list[str]:
    """Why each loaf has a jug, or a pot, of its own."""
    jug = [f"Each loaf has its own jug: {sitting.jug_reason}."] if sitting.jug_reason is not None else []
    pot = ["The loaves share no oil that is melted, so each has its own pot."] if sitting.pot is None else []
    return jug + pot


def loaves_words(sitting: Sitting) -> str:
    """The recipes by name, and which loaves each has where it has several."""
    numbers: dict[str, list[int]] = {}
    for number, batch in enumerate(sitting.batches, 1):
        numbers.setdefault(batch.recipe_name, []).append(number)
    return ", ".join(
        f"{name} ({_which(own, len(sitting.batches))})" if len(own) > 1 else name for name, own in numbers.items()
    )


def _which(numbers: Sequence[int], of: int) -> str:
    if len(numbers) == of:
        return "both loaves" if of == 2 else "all loaves"
    *first, last = map(str, numbers)
    return f"loaf {last}" if not first else f"loaves {', '.join(first)} and {last}"


def sort_findings(sitting: Sitting) -> tuple[list[Finding], list[tuple[Finding, ...]]]:
    """What is to be known of several loaves alike, said once and with their numbers; then what is left for each.

    What is said at a jug is in neither.
    """
    loaves: dict[tuple[object, ...], list[int]] = {}
    for number, batch in enumerate(sitting.batches, 1):
        for finding in dict.fromkeys(findings_beside(batch.findings)):
            loaves.setdefault(_said(finding), []).append(number)
    seen: set[tuple[object, ...]] = set()
    common: list[Finding] = []
    own: list[tuple[Finding, ...]] = []
    for batch in sitting.batches:
        beside = findings_beside(batch.findings)
        own.append(tuple(finding for finding in beside if len(loaves[_said(finding)]) == 1))
        for finding in beside:
            if len(loaves[_said(finding)]) > 1 and _said(finding) not in seen:
                seen.add(_said(finding))
                which = _which(loaves[_said(finding)], len(sitting.batches))
                common.append(replace(finding, what=f"{which}: {finding.what}"))
    return common, own


def _said(finding: Finding) -> tuple[object, ...]:
    return finding.severity, finding.code, finding.what, finding.do


def _loaf(sitting: Sitting, number: int, batch: Batch, weights: LoafWeights, width: int) -> list[str]:
    rows: list[Row] = []
    for working in find_steps(batch.pot, batch.scale, weights.own, weights.batter_g, lines=sitting.own[number]):
        step: list[Row] = []
        if working.stage == "lye water" and weights.of_jug_g is not None:
            ounces = batch.scale.in_ounces("alkali", weights.of_jug_g)
            step.append(Row("of the lye in the one jug", (format_shown(weights.of_jug_g),), ounces))
        if working.stage == "oils" and weights.of_pot_g is not None:
            ounces = batch.scale.in_ounces("", weights.of_pot_g)
            step.append(Row("of the melted oils in the one pot", (format_shown(weights.of_pot_g),), ounces))
        step += step_rows(batch, working)
        if step:
            warning = step_warning(working, sitting.batches[number].findings) if weights.of_jug_g is None else ""
            rows += [Row(working.title, ("g",), warning), *(Row(row.label, row.cells, row.note, 4) for row in step)]
    figures = render_figures(batch, width=width) + scent_lines(batch.portions, width) + cured_lines(batch, width)
    findings = render_findings(batch.findings, width=width)
    head = heading(batch, width, weights.oils_g, weights.batter_g, lead=f"Loaf {number + 1}: ")
    return [*head, *render_rows(rows, width=width), *figures, *findings]


def shared_jug_warning(sitting: Sitting) -> str:
    """What may happen while the lye of all loaves is mixed."""
    return jug_warning(finding for batch in sitting.batches for finding in batch.findings)


def cooling_words(sitting: Sitting) -> str:
    """To what the lye of all is to cool: as one recipe says, or each loaf's own."""
    temperatures = [
        say_written(batch.process.get("lye_temperature", ""), batch.scale.temperature) for batch in sitting.batches
    ]
    if not any(temperatures):
        return "then let it clear and cool"
    if len(set(temperatures)) == 1:
        return f"then let it clear and cool to {temperatures[0]}"
    each = ", ".join(f"loaf {number} {said}" for number, said in enumerate(temperatures, 1) if said)
    return f"then let it clear and cool: {each}"


def shared_remark(sitting: Sitting, material: str, shown_g: float) -> str:
    """What a maker should know of what goes into a vessel for all loaves."""
    is_alkali = material in find_alkalis(sitting)
    role = "alkali" if is_alkali else ""
    scale = sitting.batches[0].scale
    lots = lot_words(sitting.lots, material, role, shown_g, scale)
    ounces = scale.in_ounces(role, shown_g)
    is_last = material == sitting.batches[0].lye[-1].material  # of two alkalis it is said once, when both are in
    return "; ".join(filter(None, (ounces, lots, cooling_words(sitting) if is_last else "")))


def _rows(shared: Mapping[str, float], sitting: Sitting) -> list[Row]:
    alkalis = find_alkalis(sitting)
    # Water before alkali: lye goes into water, never the reverse.
    lines = sorted(shared.items(), key=lambda line: line[0] != "water")
    rows = [
        Row(
            material_words(material),
            (format_weight("alkali" if material in alkalis else "", grams),),
            shared_remark(sitting, material, grams),
        )
        for material, grams in lines
    ]
    return [*rows, Row("together", (format_shown(sum(shared.values())),))]


def render_rescue(rescue: Rescue, *, width: int = 80) -> str:
    """How to go on after something went over: what still to weigh, beside the plan, with the cautions; while a
    finding stops it, the way out and no gram to weigh."""
    if rescue.is_stopped:
        return _render_stopped(rescue, width)
    lead = "The lye is in the oils:" if rescue.lye_is_in else "As long as the lye is not in the oils:"
    way = _WAYS[rescue.way]
    if rescue.superfat_if_left_percent is not None:
        left = rescue.superfat_if_left_percent
        way = (_A_LITTLE_MORE if left >= LOW_SUPERFAT_PERCENT else way).format(left=format_number(left, 1))
    if rescue.lye_is_in and rescue.way == "as-it-is":
        way = "weigh what is still to add; what went over stays as it is."
    lines = [*paragraph(f"{lead} {way}", width=width), "", *paragraph(CAUTIONS, width=width, indent=2), ""]
    rows = [Row("", ("planned", "there now", "to add")), Row("", ("g", "g", "g"))]
    for line in rescue.remaining:
        planned_g = line.planned_grams
        if line.role == "alkali":
            planned_g = rounded_down_g(planned_g, rescue.scale.alkali_step_g)
        else:
            planned_g = rescue.scale.shown(line.role, planned_g)
        to_add_g = line.shown_g(rescue.scale)
        # What nobody named is there as planned, and so as a scale shows it.
        is_as_planned = line.weighed_grams == line.planned_grams
        there = (
            format_weight(line.role, planned_g)
            if is_as_planned
            else format_shown(rescue.scale.there(line.weighed_grams))
        )
        cells = (format_weight(line.role, planned_g), there, format_weight(line.role, to_add_g))
        rows.append(Row(material_words(line.material), cells, _how_to_add(rescue, line.material, line.role, to_add_g)))
    lines += [*render_rows(rows, width=width), ""]
    if rescue.division:
        lines += [*_division(rescue, width), ""]
    figures = (
        f"Superfat after it: {format_number(rescue.superfat_percent, 1)} %. Lye in the jug:"
        f" {format_number(rescue.in_jug_percent, 1)} %, with all water {format_number(rescue.effective_percent, 1)} %."
    )
    lines += paragraph(figures, width=width)
    for text in scent_sentences(rescue.portions):
        lines += paragraph(f"{text}.", width=width)
    for text in rescue.remarks:
        lines += paragraph(text, width=width)
    if rescue.lye_to_pour_percent is not None:
        lines += ["", *paragraph(_less_lye(rescue, rescue.lye_to_pour_percent), width=width)]
    findings = render_findings(rescue.findings, width=width)
    return "\n".join([*lines, *([""] if findings else []), *findings, "", *paragraph(CLOSING, width=width, indent=2)])


def _less_lye(rescue: Rescue, percent: float) -> str:
    """The other way with too much alkali, with the water without which what is mixed is too strong."""
    water_g = sum(line.shown_g(rescue.scale) for line in rescue.remaining if line.role == "water")
    first = "once it is clear and cool,"
    if water_g > 0:
        first = (
            f"let it clear and cool, pour it slowly into the {format_shown(water_g)} g of water that lack, in a second"
            " tall vessel, stirring, and let it cool again; then"
        )
    return _LESS_LYE.format(first=first, percent=percent)


def _division(rescue: Rescue, width: int) -> list[str]:
    """What is still to be done with the batter: pour off each portion, then give it what it gets alone."""
    rows: list[Row] = []
    for step in rescue.division:
        rows.append(Row(step.title, ("g",), indent=0))
        for each in step.lines:
            note = _how_to_add(rescue, each.line.material, each.line.role, each.grams)
            rows.append(Row(material_words(each.line.material), (format_weight(each.line.role, each.grams),), note))
        rows += portion_rows(step.portions, rescue.scale)
    return render_rows(rows, width=width)


def _how_to_add(rescue: Rescue, material: str, role: str, to_add_g: float) -> str:
    """How much of each lot it is, how many spoons, and how it is prepared, as on the sheet that it was begun by."""
    if to_add_g <= 0:
        return ""
    parts = [rescue.scale.in_ounces(role, to_add_g), lot_words(rescue.lots, material, role, to_add_g, rescue.scale)]
    for line in rescue.remaining:
        if (line.material, line.role) != (material, role):
            continue
        if line.measured_unit is not None:
            parts.append(measured_words(to_add_g * line.measured_per_gram, line.measured_unit))
        if line.prepared:
            in_jug = any(each.material == material and stage_is_jug(each) for each in rescue.pot.lines)
            parts.append(prepared_words(line.prepared, is_in_jug=in_jug))
    return "; ".join(filter(None, parts))


def _render_stopped(rescue: Rescue, width: int) -> str:
    lines = paragraph("STOP: with what is in the vessels the batch may not go on as it is.", width=width)
    lines += [*paragraph(rescue.way_out, width=width), "", *paragraph(CAUTIONS, width=width, indent=2)]
    for text in rescue.remarks:
        lines += ["", *paragraph(text, width=width)]
    lines += ["", *render_findings(rescue.findings, width=width)]
    return "\n".join([*lines, "", *paragraph(CLOSING, width=width, indent=2)])


_WAYS = {
    "new-alkali": "weigh what the alkali and the water lack, and go on.",
    "more-oil": "there is more alkali than all the oils are due, and left as it is the superfat would be {left} %:"
    " weigh more of the oils, and of all that follows them.",
    "as-it-is": "oils and alkali need no change: weigh what is still to add; what else went over stays as it is.",
}
_A_LITTLE_MORE = (
    "there is a little more alkali than the stated superfat leaves. Left as it is, and all else as planned, the"
    " superfat will be {left} %. To keep it as stated, weigh more of the oils, and of all that follows them."
)
_LESS_LYE = (
    "Or leave the oils as they are and take less lye. While the alkali is dry, take out what is over, and weigh the"
    " water as planned. If it is mixed: {first} weigh the lye and pour {percent:g} % of it into the oils. What is left"
    " over is lye still: keep it closed, labelled and away from children, or discard it by local rules."
)
