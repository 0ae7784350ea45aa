"""A sheet for the bench as an HTML page that prints well: large weights, boxes to tick, lines to write on."""

from __future__ import annotations

from collections.abc import Iterable
from xml.etree.ElementTree import Element

from formulary.batch.weigh_out_text import CAUTIONS, CLOSING
from formulary.finding import Finding, Severity
from trials.pages.page import Content, element, render_page
from trials.pages.sheet_data import SheetData, SheetPart, SheetStep, ToNote, ToWeigh

_STYLE = """
.facts { margin: 0 0 2mm; }
.facts div { display: inline-block; margin: 0 8mm 1mm 0; }
.facts dt, .facts dd { display: inline; margin: 0; }
.facts dt { margin-right: 2mm; color: #444; }
.facts dd { font-weight: bold; }
.facts .line { width: 45mm; }
.size { font-weight: bold; break-after: avoid; }
.cautions { margin: 0 0 2mm; padding: 1.5mm 3mm; border: 0.7mm solid #000; font-weight: bold; }
.line { display: inline-block; min-width: 18mm; border-bottom: 0.3mm solid #000; }
.line::before { content: "\\00a0"; }
.box { display: block; width: 5.5mm; height: 5.5mm; margin-top: 0.8mm; border: 0.5mm solid #000; }
.weigh { table-layout: fixed; margin-bottom: 2mm; }
.weigh tbody { break-inside: avoid; }
.weigh .step th { padding-top: 1.8mm; border-bottom: 0.3mm solid #000; vertical-align: bottom; }
.weigh td { border-bottom: 0.15mm solid #999; }
.weigh .what { font-size: 13pt; }
.weigh .grams { font-size: 18pt; line-height: 1.1; font-weight: bold; }
.weigh .line { width: 100%; min-width: 0; margin-top: 1.5mm; }
.small-head { font-weight: normal; font-size: 9pt; }
.figure { margin: 0 0 0.8mm; font-size: 9.5pt; }
.fill td { padding: 1.4mm 1.5mm 0.3mm; }
.fill .line { width: 100%; min-width: 0; }
.times { table-layout: fixed; }
.times th:first-child { width: 44mm; }
.beside { display: flex; gap: 6mm; }
.beside div { flex: 1 1 36%; }
.beside div:first-child { flex-basis: 64%; }
.loaf, .fill, .keep, .beside, .notes { break-inside: avoid; }
.notes div { height: 8mm; border-bottom: 0.3mm solid #000; }
"""
_NOTE_LINES = 3
_COLUMNS = ("9mm", "auto", "29mm", "30mm", "34mm")


def render_sheet(sheet: SheetData) -> str:
    """The sheet as one HTML document."""
    content: list[Content] = [element("h1", sheet.title), _facts(sheet)]
    content.append(element("p", CAUTIONS, class_="cautions"))
    content += _findings(sheet.findings)
    content += [element("p", text) for text in sheet.remarks]
    for part in sheet.parts:
        content += [element("div", _part(part), class_="loaf")] if part.title else _part(part)
    content += _making_day(sheet)
    rests = element("ul", (element("li", text) for text in sheet.assumed), class_="small")
    closing = element("p", element("b", CLOSING))
    content.append(element("div", element("h2", "What this rests on"), rests, closing, class_="keep"))
    return render_page(sheet.title, content, style=_STYLE)


def _facts(sheet: SheetData) -> Element:
    return element(
        "dl",
        (element("div", element("dt", what), element("dd", text or _line())) for what, text in sheet.facts),
        class_="facts",
    )


def _line() -> Element:
    return element("span", class_="line")


def _findings(findings: Iterable[Finding]) -> list[Content]:
    """The most urgent first, each with what to do."""
    in_order = sorted(findings, key=lambda finding: finding.severity.rank)
    return [
        element(
            "p",
            element("b", finding.severity.value.upper() if finding.severity is not Severity.NOTE else "note"),
            f"{finding.what}{f' ({finding.do})' if finding.do else ''} [{finding.code}]",
            class_="finding" if finding.severity is not Severity.NOTE else "finding small",
        )
        for finding in in_order
    ]


def _part(part: SheetPart) -> Iterable[Content]:
    """What is urgent before the weights, what is only worth knowing after them."""
    if part.title:
        yield element("h2", part.title)
    if part.title and part.size:
        yield element("p", part.size, class_="size")
    if part.warning:
        yield element("p", part.warning, class_="cautions")
    yield from _findings(each for each in part.findings if each.severity is not Severity.NOTE)
    columns = element("colgroup", (element("col", style=f"width: {width}") for width in _COLUMNS))
    yield element("table", columns, (_step(step) for step in part.steps), class_="weigh")
    yield from (element("p", text, class_="figure") for text in part.figures)
    yield from _findings(each for each in part.findings if each.severity is Severity.NOTE)


def _step(step: SheetStep) -> Element:
    head = element(
        "tr",
        element("th", step.title, colspan="2"),
        element("th", "g", class_="number"),
        element("th", "weighed, g", class_="small-head"),
        element("th", "lot" if any(line.has_lot for line in step.lines) else "", class_="small-head"),
        class_="step",
    )
    warning = element("tr", element("td", element("b", step.warning), colspan="5")) if step.warning else None
    return element("tbody", head, warning, (_weigh(line) for line in step.lines))


def _weigh(line: ToWeigh) -> Element:
    note = element("div", line.note, class_="small") if line.note else None
    lot: Content = line.lot or (_line() if line.has_lot else None)
    return element(
        "tr",
        element("td", element("span", class_="box")),
        element("td", line.what, note, class_="what"),
        element("td", line.grams, class_="number grams"),
        element("td", _line()),
        element("td", lot),
    )


def _making_day(sheet: SheetData) -> Iterable[Content]:
    if sheet.conditions or sheet.handling:
        how = _fill_table(("", "planned", "measured"), sheet.conditions, with_planned=True)
        after = _fill_table(("", "hours since then"), sheet.handling)
        yield element(
            "div",
            element("div", element("h2", f"How it was: {sheet.title}"), how),
            element("div", element("h2", "After pouring"), after),
            class_="beside",
        )
    for times in sheet.times:
        table = _fill_table(("", *times.columns), times.events, class_="fill times")
        note = "Minutes and seconds since the lye went into the oils, which is 0:00."
        yield element("div", element("h2", times.title), element("p", note, class_="small"), table, class_="keep")
    lines = (element("div") for _ in range(_NOTE_LINES))
    yield element("div", element("h2", "Notes"), lines, class_="notes")


def _fill_table(
    heads: tuple[str, ...], rows: Iterable[ToNote], *, with_planned: bool = False, class_: str = "fill"
) -> Element:
    body = [
        element(
            "tr",
            element("td", row.what),
            element("td", row.planned) if with_planned else None,
            (element("td", _line() if noted == "" else noted) for noted in row.noted),
        )
        for row in rows
    ]
    head = element("tr", (element("th", text, class_="small-head") for text in heads))
    return element("table", element("thead", head), element("tbody", body), class_=class_)
