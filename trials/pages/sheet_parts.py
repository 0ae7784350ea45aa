"""What a sheet says of a batch and of a sitting, taken from what their weigh-outs say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from formulary.batch.model import Batch
from formulary.batch.scale import format_shown
from formulary.batch.sheet_weights import batter_of, oils_of, shown_weights
from formulary.batch.sitting_model import Sitting
from formulary.batch.sitting_text import shared_jug_warning, shared_remark, sort_findings
from formulary.batch.sitting_weights import LoafWeights, find_alkalis, weigh_sitting
from formulary.batch.weigh_out_text import (
    HOUSEHOLD,
    cured_sentences,
    figure_sentences,
    findings_beside,
    format_weight,
    portion_rows,
    remark,
    scent_sentences,
    step_warning,
)
from formulary.batch.working_steps import StepLine, WorkingStep, find_steps
from formulary.finding import Finding
from formulary.materials.plain_name import material_words
from trials.pages.sheet_data import SheetPart, SheetStep, ToWeigh

Lots = Mapping[str, str]


def batch_part(batch: Batch, lots: Lots) -> SheetPart:
    """A batch by itself. lots: material -> its lots in words, where they are known."""
    weights = shown_weights(batch.pot.lines, batch.scale)
    oils_g = oils_of(weights)
    batter_g = batter_of(weights)
    numbered = tuple(
        SheetStep(f"{number}  {step.title}", tuple(_step(batch, step, lots)), step_warning(step, batch.findings))
        for number, step in enumerate(find_steps(batch.pot, batch.scale, weights, batter_g), 1)
    )
    return _described(SheetPart("", _size(oils_g, batter_g), numbered), batch, findings_beside(batch.findings))


def sitting_parts(sitting: Sitting, lots: Lots) -> tuple[tuple[SheetPart, ...], tuple[Finding, ...]]:
    """The vessels that the loaves share, then each loaf; and what is to be known of several loaves alike."""
    weights = weigh_sitting(sitting)
    shared: list[SheetStep] = []
    if weights.jug is not None:
        left_g = sum(weights.jug.values()) - sum(loaf.of_jug_g or 0.0 for loaf in weights.loaves)
        note = f"{format_shown(left_g)} g stay in the jug" if left_g > 0.001 else ""
        lines = tuple(_shared(sitting, weights.jug, lots, note))
        shared.append(SheetStep("One jug of lye for all", lines, shared_jug_warning(sitting)))
    if weights.pot is not None:
        title = "One pot of the fats to melt that all share"
        shared.append(SheetStep(title, tuple(_shared(sitting, weights.pot, lots))))
    common, own = sort_findings(sitting)
    parts = [SheetPart("For all loaves", "", tuple(shared))] if shared else []
    for number, batch in enumerate(sitting.batches):
        loaf = weights.loaves[number]
        steps = tuple(_loaf(sitting, number, loaf, lots))
        name = f"Loaf {number + 1}: {batch.recipe_name}{f', {batch.version_id[:8]}' if batch.version_id else ''}"
        parts.append(_described(SheetPart(name, _size(loaf.oils_g, loaf.batter_g), steps), batch, own[number]))
    return tuple(parts), (*sitting.findings, *common)


def _size(oils_g: float, batter_g: float) -> str:
    return f"{format_shown(oils_g)} g of oils, {format_shown(batter_g)} g of batter"


def _described(part: SheetPart, batch: Batch, findings: Iterable[Finding]) -> SheetPart:
    return replace(
        part,
        figures=(*figure_sentences(batch), *scent_sentences(batch.portions), *cured_sentences(batch)),
        findings=tuple(findings),
        warning="" if batch.purpose == "skin" else HOUSEHOLD,
    )


def _step(batch: Batch, step: WorkingStep, lots: Lots) -> Iterable[ToWeigh]:
    for each in step.lines:
        yield _to_weigh(batch, each, lots)
    for row in portion_rows(step.portions, batch.scale):
        yield ToWeigh(row.label, row.cells[0], row.note, has_lot=False)


def _to_weigh(batch: Batch, each: StepLine, lots: Lots) -> ToWeigh:
    line, grams = each.line, format_weight(each.line.role, each.grams)
    words, lot = material_words(line.material), lots.get(line.material, "")
    return ToWeigh(words, grams, remark(batch, each), lot, line.role != "water")


def _shared(sitting: Sitting, vessel: Mapping[str, float], lots: Lots, left: str = "") -> Iterable[ToWeigh]:
    alkalis = find_alkalis(sitting)
    for material, grams in sorted(vessel.items(), key=lambda line: line[0] != "water"):  # lye goes into water
        yield ToWeigh(
            material_words(material),
            format_weight("alkali" if material in alkalis else "", grams),
            shared_remark(sitting, material, grams),
            lots.get(material, ""),
            material != "water",
        )
    yield ToWeigh("together", format_shown(sum(vessel.values())), left, has_lot=False)


def _loaf(sitting: Sitting, number: int, loaf: LoafWeights, lots: Lots) -> Iterable[SheetStep]:
    batch = sitting.batches[number]
    for step in find_steps(batch.pot, batch.scale, loaf.own, loaf.batter_g, lines=sitting.own[number]):
        lines: list[ToWeigh] = []
        if step.stage == "lye water" and loaf.of_jug_g is not None:
            ounces = batch.scale.in_ounces("alkali", loaf.of_jug_g)
            lines.append(ToWeigh("of the lye in the one jug", format_shown(loaf.of_jug_g), ounces, has_lot=False))
        if step.stage == "oils" and loaf.of_pot_g is not None:
            words, ounces = "of the melted oils in the one pot", batch.scale.in_ounces("", loaf.of_pot_g)
            lines.append(ToWeigh(words, format_shown(loaf.of_pot_g), ounces, has_lot=False))
        lines += _step(batch, step, lots)
        if lines:
            warning = step_warning(step, batch.findings) if loaf.of_jug_g is None else ""
            yield SheetStep(step.title, tuple(lines), warning)
