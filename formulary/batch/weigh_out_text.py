"""A batch as text to weigh out by, in working order, with the cautions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from formulary.batch.lot_shares import lot_words
from formulary.batch.model import WHOLE, Batch, PortionFigures, PotLine
from formulary.batch.portion_weights import PortionWeights
from formulary.batch.scale import Scale, format_shown, told_g
from formulary.batch.sheet_weights import batter_of, oils_of, shown_weights
from formulary.batch.working_steps import StepLine, WorkingStep, find_steps
from formulary.finding import Finding, Severity
from formulary.materials.plain_name import material_words
from formulary.quantity import SPOON_UNITS, format_number, format_plain_number
from formulary.temperature import say_written
from formulary.text_table import Row, paragraph, render_rows

# Common practice, no source; said on every weigh-out. What first aid does is that of safety data sheets for
# sodium hydroxide (from memory).
CAUTIONS = (
    "Goggles, gloves, long sleeves, fresh air. Lye into water, never water into lye. No aluminium or zinc:"
    " stainless steel or polypropylene, not glass. Splash: rinse under plenty of running water for 15 minutes"
    " and more, no vinegar, seek medical help. Keep children and animals out."
)
# Whoever reads it at the foot has mixed the lye by then.
_SAID_AT_THE_JUG = ("jug-strong",)
# A level spoon is no finer measure (common practice, no source); and what two decimals would not show.
QUARTER_WITHIN_PART = 0.15
SAME_SPOON = 0.005
# Sums of floats differ by less.
_HAIR_G = 1e-6
CLOSING = "Local rules and a qualified safety assessor decide what may be sold."
HOUSEHOLD = "Household soap: for cleaning things. Never use it on skin."


def render_batch(batch: Batch, *, width: int = 80, show_all: bool = False) -> str:
    """What to weigh, step by step, then superfat, water, scent and findings; `show_all` adds the worst case.

    While a finding stops the batch, it shows the findings and no gram.
    """
    weights = shown_weights(batch.pot.lines, batch.scale)
    oils_g = oils_of(weights)
    batter_g = batter_of(weights)
    lines = [*heading(batch, width, oils_g, batter_g), ""]
    lines += paragraph(CAUTIONS, width=width, indent=2)
    lines.append("")
    if batch.is_stopped:
        lines += paragraph("STOP: nothing may be weighed out until this is settled.", width=width)
        lines += ["", *render_findings(batch.findings, width=width)]
        return "\n".join([*lines, "", *paragraph(CLOSING, width=width, indent=2)])
    rows: list[Row] = []
    for number, step in enumerate(find_steps(batch.pot, batch.scale, weights, batter_g), 1):
        if rows:
            rows.append(Row(""))
        rows.append(Row(f"{number}  {step.title}", ("g",), step_warning(step, batch.findings)))
        rows += [Row(row.label, row.cells, row.note, 5) for row in step_rows(batch, step)]
    lines += render_rows(rows, width=width)
    lines += ["", *render_figures(batch, width=width, show_all=show_all), *scent_lines(batch.portions, width)]
    lines += cured_lines(batch, width)
    findings = findings_beside(batch.findings)
    if findings:
        lines += ["", *render_findings(findings, width=width)]
    return "\n".join([*lines, "", *paragraph(CLOSING, width=width, indent=2)])


def heading(batch: Batch, width: int, oils_g: float, batter_g: float, *, lead: str = "") -> list[str]:
    """What the sheet is of: name, version, and its size as the sheet's own weights total; and that a household soap is
    not for skin."""
    identity = " ".join(
        part
        for part in (
            f"{lead}{batch.recipe_name}",
            f" {batch.version_id[:8]}" if batch.version_id else "",
            f"({batch.version_label})" if batch.version_label else "",
        )
        if part
    )
    warning = [] if batch.purpose == "skin" else paragraph(HOUSEHOLD, width=width)
    if batch.is_stopped:
        return [*paragraph(identity, width=width), *warning]
    oils, batter = (
        f"{format_shown(grams)} g" + (f" ({ounces})" if (ounces := batch.scale.in_ounces("", grams)) else "")
        for grams in (oils_g, batter_g)
    )
    size = f"{oils} of oils, {batter} of batter"
    if len(identity) + len(size) + 4 <= width:
        return [identity + " " * (width - len(identity) - len(size)) + size, *warning]
    return [*paragraph(identity, width=width), *paragraph(size, width=width), *warning]


def step_warning(step: WorkingStep, findings: Iterable[Finding]) -> str:
    """What to know before the first thing of a step is weighed; empty but where lye is mixed."""
    return jug_warning(findings) if step.stage == "lye water" else ""


def jug_warning(findings: Iterable[Finding]) -> str:
    """What may happen while the lye is mixed, for the head of what goes into the jug."""
    said = [f"{each.what}; {each.do} [{each.code}]" for each in findings if each.code in _SAID_AT_THE_JUG]
    return "; ".join(dict.fromkeys(said))


def findings_beside(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """What is not said where it is weighed already."""
    return tuple(each for each in findings if each.code not in _SAID_AT_THE_JUG)


def step_rows(batch: Batch, step: WorkingStep) -> Iterable[Row]:
    """What to weigh, or to pour off for each portion, at a step, as rows."""
    for each in step.lines:
        grams = format_weight(each.line.role, each.grams)
        yield Row(material_words(each.line.material), (grams,), remark(batch, each))
    yield from portion_rows(step.portions, batch.scale)


def portion_rows(portions: Iterable[PortionWeights], scale: Scale) -> Iterable[Row]:
    """How the batter is divided, as rows: what to pour off for each portion, and what it is with what is its own."""
    for portion in portions:
        ounces = scale.in_ounces("", portion.of_batter_g)
        note = f"{ounces}; " if ounces else ""
        note += f"{format_plain_number(portion.share_percent, 2)} %"
        if portion.by_eye_percent:
            note += f", give or take {format_plain_number(portion.by_eye_percent, 2)}"
        if portion.own_g > 0:
            note += f"; {format_shown(portion.total_g)} g with what goes into it alone"
        yield Row(portion.name, (format_shown(portion.of_batter_g),), note)


def format_weight(role: str, shown_g: float) -> str:
    """Grams as a scale shows them: alkali with every digit of its scale, so that it is never shown rounded up."""
    if role != "alkali":
        return format_shown(shown_g)
    text = f"{told_g(shown_g):.4f}".rstrip("0")
    return text + "0" if text.endswith(".") else text


def remark(batch: Batch, weighed: StepLine) -> str:
    """What a maker should know of a line while weighing it."""
    line, remarks = weighed.line, list[str]()
    ounces = batch.scale.in_ounces(line.role, weighed.grams)
    if ounces:
        remarks.append(ounces)
    lots = lot_words(batch.lots, line.material, line.role, weighed.grams, batch.scale)
    if lots:
        remarks.append(lots)
    if line.role == "alkali":
        if line.material == batch.lye[-1].material:  # of two it is said once, when both are in
            temperature = say_written(batch.process.get("lye_temperature", ""), batch.scale.temperature)
            remarks.append(f"then let it clear and cool{f' to {temperature}' if temperature else ''}")
        acids = sum(alkali.for_acids_grams for alkali in batch.lye if alkali.material == line.material)
        if acids >= 0.05:
            remarks.append(f"{format_number(acids, 1)} g of it for the acids")
    if line.role == "addition":
        remarks += _addition_remarks(batch, weighed)
    if line.role == "oil" and abs(weighed.grams - line.grams) > batch.scale.step_for(line.grams) / 2 + _HAIR_G:
        exact = format_number(line.grams, 2)
        remarks.append(f"{exact} g, rounded so that the oils add up")
    if weighed.parts:
        remarks.append(_division(weighed.parts))
    return "; ".join(remarks)


def _addition_remarks(batch: Batch, weighed: StepLine) -> Iterable[str]:
    """Whose water an addition brings, how it is measured, and how it goes in."""
    line = weighed.line
    for addition in batch.additions:
        if (addition.material, addition.at) != (line.material, line.at):
            continue
        water_g = addition.water_grams * weighed.part
        if water_g > 0.5:
            whose = "brings {} g of the water" if addition.water == "replaces" else "adds {} g of water"
            yield whose.format(format_number(water_g, 0))
        if addition.measured_unit is not None:
            yield measured_words(addition.measured_amount * weighed.part, addition.measured_unit)
        if addition.prepared:
            yield prepared_words(addition.prepared, is_in_jug=stage_is_jug(line))


def measured_words(amount: float, unit: str) -> str:
    """An amount that is measured by volume, as a maker measures it: `2 1/2 level tsp`, `about 1 1/4 level tsp`."""
    level = " level" if unit in SPOON_UNITS else ""
    said = _in_quarters(amount) if unit in SPOON_UNITS else format_plain_number(amount, 2)
    return f"{said}{level} {unit.replace('_', ' ')}"


def _in_quarters(amount: float) -> str:
    """Spoons as there are any; the number itself where the nearest quarter is too far off, since it may be weighed."""
    quarters = round(amount * 4)
    if abs(quarters / 4 - amount) > QUARTER_WITHIN_PART * amount:
        return format_plain_number(amount, 2)
    whole, part = divmod(quarters, 4)
    about = "" if abs(quarters / 4 - amount) < SAME_SPOON else "about "
    return about + " ".join(filter(None, (str(whole) if whole or not part else "", ("", "1/4", "1/2", "3/4")[part])))


def prepared_words(prepared: Iterable[str], *, is_in_jug: bool) -> str:
    """How an addition goes in, and what that asks of the lye."""
    return " and ".join(prepared) + (", lye in slowly" if is_in_jug else "")


def stage_is_jug(line: PotLine) -> bool:
    """Whether a line goes into the lye vessel."""
    return line.at == "lye water"


def _division(parts: Sequence[tuple[str, float]]) -> str:
    if len(parts) == 1:
        return f"all of it in the {parts[0][0]} portion"
    return ", ".join(f"{format_shown(grams)} in the {portion} portion" for portion, grams in parts)


def render_figures(batch: Batch, *, width: int = 80, show_all: bool = False) -> list[str]:
    """The superfat with its band and the lye concentrations, as lines; `show_all` adds the worst case."""
    sentences = figure_sentences(batch, show_all=show_all)
    return [line for text in sentences for line in paragraph(text, width=width, indent=2)]


def figure_sentences(batch: Batch, *, show_all: bool = False) -> list[str]:
    """The superfat with its band and the lye concentrations, a sentence each; `show_all` adds the worst case."""
    superfat, water = batch.superfat, batch.water
    effective = format_number(superfat.effective, 1)
    stated = format_number(superfat.nominal, 1)
    lead = f"{effective} %" if effective == stated else f"{stated} % stated, {effective} % effective"
    low, high = format_number(superfat.low, 1), format_number(superfat.high, 1)
    sentences = [f"Superfat {lead} ({low} to {high} with what is known of these oils)"]
    if show_all:
        worst = f"{format_number(superfat.worst_low, 1)} to {format_number(superfat.worst_high, 1)}"
        sentences.append(f"Worst case of the superfat, everything at its bad end at once: {worst} %")
    lye = f"Lye concentration {format_number(water.nominal_percent, 1)} %"
    if abs(water.in_jug_percent - water.nominal_percent) >= 0.05:
        lye += f", in the jug {format_number(water.in_jug_percent, 1)} %"
    if abs(water.effective_percent - water.nominal_percent) >= 0.05:
        lye += f", with all water {format_number(water.effective_percent, 1)} %"
    return [*sentences, lye]


def scent_lines(portions: Iterable[PortionFigures], width: int) -> list[str]:
    """How much of the cured bar is scent, by portion, beside the limits, as lines."""
    return [line for text in scent_sentences(portions) for line in paragraph(text, width=width, indent=2)]


def scent_sentences(portions: Iterable[PortionFigures]) -> list[str]:
    """How much of the cured bar is scent, by portion, beside the limits, a sentence each."""
    sentences: list[str] = []
    for portion in portions:
        name = "Scent" if portion.name == WHOLE else f"{portion.name.capitalize()} portion: scent"
        total = sum(line.percent_of_cured for line in portion.scent)
        if not portion.scent or total <= 0:
            continue
        limits = [line for line in portion.scent if line.limit_percent is not None]
        text = f"{name} {format_number(total, 2)} % of the cured bar"
        if limits:
            text += "; " + ", ".join(
                f"{material_words(line.material)} {format_number(line.percent_of_cured, 2)} %,"
                f" limit {line.limit_percent:g} %"
                for line in limits
            )
        sentences.append(text)
    return sentences


def cured_lines(batch: Batch, width: int) -> list[str]:
    """What is left of the batch after the cure, and on what assumption, as lines."""
    return [line for text in cured_sentences(batch) for line in paragraph(text, width=width, indent=2)]


def cured_sentences(batch: Batch) -> list[str]:
    """What is left of the batch after the cure, and on what assumption; nothing where that is not known."""
    cured = batch.cured
    if cured is None:
        return []
    loss, left = (format_number(number, 1) for number in (cured.mass_loss_percent, 100.0 - cured.mass_loss_percent))
    return [
        f"After {cured.days:g} days about {format_number(cured.grams, 0)} g of bars, {loss} % lighter than poured"
        f" (100 g become {left} g), if {cured.water_lost_percent:g} % of the water is lost, as `cure` in the"
        " settings expects"
    ]


def render_findings(findings: Iterable[Finding], *, width: int = 80) -> list[str]:
    """Findings as lines for people: severity, what, code, and what to do; no file positions."""
    lines: list[str] = []
    for severity in (Severity.ERROR, Severity.STOP, Severity.WARN, Severity.NOTE):
        for finding in findings:
            if finding.severity is not severity:
                continue
            label = severity.value.upper() if severity.rank < Severity.WARN.rank else severity.value
            head = paragraph(f"{finding.what}  [{finding.code}]", width=width, indent=9)
            lines += [f"  {label:<6} " + head[0].lstrip(), *head[1:]]
            lines += paragraph(finding.do, width=width, indent=9) if finding.do else []
    return lines
