"""A report as an HTML page that prints well: what did it, the saves, the trials, then each outcome by itself."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable, Iterable, Sequence
from xml.etree.ElementTree import Element

from formulary.batch.weigh_out_text import CLOSING
from formulary.finding import Finding
from formulary.quantity import format_decimal
from formulary.text_table import Row
from trials.answer.answer import SEVERAL_AT_WORK, Answer
from trials.answer.sentence import over_all_sentence
from trials.answer.text import (
    FOR_AND_AGAINST,
    basis_sentences,
    candidate_rows,
    remark_sentences,
    rest_words,
    shown_causes,
)
from trials.charts.story import Story
from trials.checks.free_alkali import FREE_ALKALI
from trials.checks.sale_text import decision_words, free_alkali_words
from trials.pages.page import Content, element, render_page
from trials.pages.report_data import RecipeSaves, ReportData
from trials.pours.pour_book import short_names
from trials.pours.sentences import NOT_SEEN, capital, count, noise_size, say_list, say_value, unit_label
from trials.trial.model import REBATCHED, Trial
from trials.trial.on_day import as_it_stood
from trials.trial.words import as_made_words, divided_words, handling_words
from trials.trial_text import condition_words, lot_words

_STYLE = """
.facts { margin: 0 0 2mm; }
.facts div { display: flex; gap: 3mm; margin-bottom: 0.5mm; }
.facts dt { flex: 0 0 22mm; color: #444; }
.facts dd { margin: 0; }
.listing { margin-bottom: 2mm; font-size: 9pt; line-height: 1.25; }
.listing th { overflow-wrap: break-word; border-bottom: 0.3mm solid #000; vertical-align: bottom; }
.listing td { border-bottom: 0.15mm solid #999; }
.listing th.number { white-space: normal; }
.listing .short { white-space: nowrap; overflow-wrap: normal; }
.listing thead { display: table-header-group; }
.noise { font-weight: normal; }
figure { margin: 2mm 0; break-inside: avoid; }
figure img { width: 100%; }
.said { font-weight: bold; break-inside: avoid; break-after: avoid; }
"""
_MOST_COLUMNS = 5  # outcomes beside one another on a sheet of paper
_CHART_MM = 180.0
# Widths of the columns of words, all of a table: one without would be left what is over.
_SAVES = ("", "", "", "26%", "48%")
_TRIALS = ("", "", "14%", "26%", "20%", "22%")
_CANDIDATES = ("38%",)


def render_report(report: ReportData) -> str:
    """The report as one HTML document."""
    has_variants = len(report.recipes) > len(report.names)
    title = f"{say_list(report.names)}{' and variants' if has_variants else ''}"
    content: list[Content] = [element("h1", title), _facts(report)]
    content += [element("p", element("b", "left out: "), finding.what) for finding in report.unread]
    content.append(element("h2", "What did it"))
    content += _in_short(report)
    content.append(element("h2", "What was saved"))
    for recipe in report.recipes:
        content += _saves(recipe)
    content.append(element("h2", "The trials, as they were made"))
    content += _trials(report)
    content.append(element("h2", "What was observed, beside how far repeats differ"))
    content += _observed(report)
    untold: list[Answer] = []
    for answer in report.answers:
        if answer.causes or answer.label in report.stories:
            content += _answer(answer, report.stories.get(answer.label))
        else:
            untold.append(answer)
    content += _untold(untold)
    content.append(element("p", element("b", CLOSING)))
    return render_page(title, content, style=_STYLE)


def _facts(report: ReportData) -> Element:
    saves = sum(len(recipe.entries) for recipe in report.recipes)
    trials, days = report.trials, sorted(trial.made.isoformat() for trial in report.trials)
    span = f", made {days[0]}" + (f" to {days[-1]}" if days[-1] != days[0] else "") if days else ""
    unread = (
        f"{count(len(report.unread), 'trial')} of this formulary could not be read" if report.unread else "no trial"
    )
    facts = (
        ("as of", report.on.isoformat()),
        ("recipes", ", ".join(recipe.slug for recipe in report.recipes)),
        ("versions", f"{count(saves, 'save')}, each with its id below"),
        ("trials", f"{count(len(trials), 'trial')} of these recipes{span}"),
        ("left out", f"{unread}; what is left out of one answer stands beside it"),
        ("outcomes", say_list([answer.label for answer in report.answers]) or "none was observed yet"),
    )
    rows = (element("div", element("dt", what), element("dd", text)) for what, text in facts)
    return element("dl", rows, class_="facts")


def _in_short(report: ReportData) -> Iterable[Content]:
    if not report.answers:
        yield element("p", "No outcome was observed yet, so nothing can be told.")
        return
    for sentence, answers in _alike(report.answers, over_all_sentence):
        yield element("p", element("b", f"{_labels(answers)}. "), sentence)


def _alike(answers: Iterable[Answer], say: Callable[[Answer], str]) -> Iterable[tuple[str, list[Answer]]]:
    """The answers of which the same is said, put together where the first of them stands."""
    found: dict[str, list[Answer]] = {}
    for answer in answers:
        found.setdefault(say(answer), []).append(answer)
    return found.items()


def _labels(answers: Sequence[Answer]) -> str:
    return capital(say_list([answer.label for answer in answers]))


def _table(
    heads: Sequence[Content],
    rows: Iterable[Sequence[Content]],
    *,
    short: int = 0,
    numbers_from: int = 99,
    widths: Sequence[str] = (),
) -> Element:
    """A table. short: so many first columns are not broken. numbers_from: the first column of numbers. widths: of the
    columns, empty where what is in them decides; without one a column of words beside long ones breaks within words."""

    def cell(tag: str, place: int, content: Content) -> Element:
        return element(tag, content, class_="short" if place < short else "number" if place >= numbers_from else "")

    head = element("tr", [cell("th", place, content) for place, content in enumerate(heads)])
    body = [element("tr", [cell("td", place, content) for place, content in enumerate(row)]) for row in rows]
    columns = element("colgroup", (element("col", **({"style": f"width: {each}"} if each else {})) for each in widths))
    return element(
        "table", columns if widths else None, element("thead", head), element("tbody", body), class_="listing"
    )


def _saves(recipe: RecipeSaves) -> Iterable[Content]:
    yield element("h3", recipe.slug)
    if recipe.remark:
        yield element("p", recipe.remark)
    if recipe.entries:
        rows = [
            (str(entry.saved.number), entry.saved.id[:8], f"{entry.saved.when.date()}", entry.saved.why, entry.changed)
            for entry in reversed(recipe.entries)
        ]
        yield _table(("", "version", "saved", "why", "what changed"), rows, short=3, widths=_SAVES)


def _trials(report: ReportData) -> Iterable[Content]:
    if not report.trials:
        yield element("p", "No trial of these recipes was started yet.")
        return
    names = short_names([trial.id for trial in report.trials])
    rows = [
        (
            trial.made.isoformat(),
            names[trial.id],
            f"{trial.recipe} {trial.version[:8]}",
            _how(trial),
            _made(trial, report.stops.get(trial.id, ())),
            _sale(trial, report.sale.get(trial.id, "")),
        )
        for trial in report.trials
    ]
    heads = ("made", "trial", "recipe, version", "how it was", "made otherwise than planned", "fit to sell?")
    yield _table(heads, rows, short=2, widths=_TRIALS)


def _how(trial: Trial) -> str:
    """Conditions, portions with their shares, and lots."""
    portions = [
        f"{each.name} {format_decimal(each.share)} %{f' ± {format_decimal(each.by_eye)}' if each.by_eye else ''}"
        for each in trial.portions
    ]
    listed = (", ".join(condition_words(trial)), ", ".join(portions), ", ".join(lot_words(trial)))
    titles = ("", "portions: ", "lots: ")
    return "; ".join(f"{title}{words}" for title, words in zip(titles, listed, strict=True) if words)


def _made(trial: Trial, standing: Iterable[Finding]) -> Content:
    rebatches = [handling_words(step) for step in trial.after_pour if step.what == REBATCHED]
    otherwise = "; ".join(filter(None, [*map(as_made_words, trial.as_made), divided_words(trial), *rebatches]))
    warnings = [element("b", f"STOP: {finding.what}. ") for finding in standing]
    return element("span", warnings, otherwise) if warnings else otherwise or "as planned"


def _sale(trial: Trial, words: str) -> Content:
    """Whether the bars are fit to sell; of what is decided and yet must not be sold the reason is printed boldly."""
    decision = trial.release
    if decision is None or decision.decision != "sell":
        return words or decision_words(trial)
    against = words.startswith("not fit")
    return element(
        "span", f"{decision_words(trial)}. ", element("b", f"{capital(words)}.") if against else capital(words)
    )


def _observed(report: ReportData) -> Iterable[Content]:
    """One row a trial, so many outcomes at a time as fit on paper; below each how far repeats differ."""
    names = short_names([trial.id for trial in report.trials])
    shown = [answer for answer in report.answers if answer.outcome.name != FREE_ALKALI]
    for start in range(0, len(shown), _MOST_COLUMNS):
        block = shown[start : start + _MOST_COLUMNS]
        values = [_by_trial(answer) for answer in block]
        rows = [
            (names[trial.id], *(column.get(trial.id, NOT_SEEN) for column in values))
            for trial in report.trials
            if any(trial.id in column for column in values)
        ]
        yield _table(("trial", *(_outcome_head(answer) for answer in block)), rows, short=1, numbers_from=1)
    if shown:
        yield element(
            "p",
            "Below each outcome: how far repeats of one recipe differ in it, as a standard deviation; in brackets where"
            " no two repeats were measured and a usual value is assumed.",
            class_="small",
        )
    tested = [
        (names[trial.id], "; ".join(tests))
        for trial in report.trials
        if (tests := free_alkali_words(as_it_stood(trial, report.on)))
    ]
    if tested:
        yield _table(("trial", "tests for free alkali, each at its own age"), tested, short=1)


def _by_trial(answer: Answer) -> dict[str, Content]:
    """What each trial showed, each of its portions in a line."""
    lines: dict[str, list[Content]] = {}
    for item in answer.seen:
        words = f"{item.pour.portion or ''} {say_value(answer.outcome, item.value)}".strip()
        lines.setdefault(item.pour.trial.id, []).append(element("div", words))
    return {trial_id: element("div", shown) for trial_id, shown in lines.items()}


def _outcome_head(answer: Answer) -> Content:
    label = unit_label(answer.label, answer.outcome.told_unit)
    if answer.noise is None or not answer.seen:
        return label
    size = noise_size(answer.outcome, answer.noise, answer.level).partition(",")[0]  # the part of it is no column's
    words = f"(± {size})" if answer.noise.is_assumed else f"± {size}"
    return element("div", label, element("div", words, class_="noise"))


def _answer(answer: Answer, story: Story | None) -> Iterable[Content]:
    """What is said of one outcome, with all that an explanation says of how sure it is."""
    yield element("h2", capital(answer.label))
    yield element("p", over_all_sentence(answer), class_="said")
    if story is not None:
        yield _drawing(story)
    shown = shown_causes(answer)
    if answer.causes:
        head, *rows = candidate_rows(answer, shown)
        yield _table(_texts(head), [_texts(row) for row in rows], numbers_from=1, widths=_CANDIDATES)
        sentences = [f"{text}." for text in [rest_words(answer, shown)] if text]
        if any(cause.speaks_for or cause.speaks_against for cause in shown):
            sentences.append(FOR_AND_AGAINST)
        if answer.adds_to_more_than_all:
            sentences.append(SEVERAL_AT_WORK)
        yield element("p", capital(" ".join(sentences)), class_="small")
    yield element("p", " ".join(basis_sentences(answer)))
    yield from (element("p", text) for text in remark_sentences(answer, show_all=True))
    if advice := _advice(answer):
        yield element("p", advice)


def _untold(answers: Sequence[Answer]) -> Iterable[Content]:
    """Outcomes of which nothing can be told yet: why, once for all of which it is the same, and on what each rests."""
    for sentence, alike in _alike(answers, over_all_sentence):
        yield element("h2", _labels(alike))
        yield element("p", sentence, class_="said")
        for answer in alike:
            said = [*basis_sentences(answer), *remark_sentences(answer, show_all=True)]
            yield element("p", element("b", f"{capital(answer.label)}: ") if len(alike) > 1 else "", " ".join(said))
        for advice, of in _alike(alike, _advice):
            if advice:
                yield element("p", advice if len(of) == len(alike) else f"{_labels(of)}: {advice}")


def _advice(answer: Answer) -> str:
    """What to pour next; empty where there is none."""
    if answer.to_tell_apart is not None:
        return f"What to pour next: {answer.to_tell_apart}."
    return answer.advice or ""


def _texts(row: Row) -> tuple[str, ...]:
    return (row.label, *row.cells)


def _drawing(story: Story) -> Element:
    """The chart as a picture within the page; what it shows stands in the tables, too."""
    picture = b64encode(story.draw(width_mm=_CHART_MM).to_bytes("svg")).decode("ascii")
    words = f"{capital(story.label)} of every pour, version after version in the order of their first pours"
    image = element("img", src=f"data:image/svg+xml;base64,{picture}", alt=words)
    return element("figure", image, element("figcaption", f"{words}.", class_="small"))
