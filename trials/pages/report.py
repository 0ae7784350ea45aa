"""A report: the story of recipes and their variants, of their trials and of what did it, as one HTML file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.finding import stops
from formulary.read_only import ReadOnly
from formulary.workshop.history_text import describe_history
from trials.charts.story import find_story
from trials.checks.sale_text import sale_words
from trials.files.within import find_within, names_today, recipes_within
from trials.outcomes.outcome import Outcome, Scale, outcome_label
from trials.pages.report_data import RecipeSaves, ReportData
from trials.pours.pour_book import PourBook
from trials.pours.seen import find_seen

if TYPE_CHECKING:
    from formulary.finding import Finding
    from trials.answer.answer import Answer
    from trials.files.trial_files import TrialFiles
    from trials.trial.model import Trial

_FIRST = "working time"  # what a maker asks for first


@dataclass(frozen=True, slots=True)
class Report(ReportData):
    """A report that is written to a file; `html` is its text."""

    def __repr__(self) -> str:
        return f"<Report of {', '.join(self.names)}>"

    @property
    def html(self) -> str:
        """The report as one HTML document, its charts drawn into it."""
        from trials.pages.report_page import render_report

        return render_report(self)

    def save(self, path: Path | str) -> None:
        """Write it to an .html file. Raises InputError for another ending, StorageError when the disk refuses."""
        from trials.pages.page import save_page

        save_page(self.html, Path(path))


def make_report(
    bench: TrialFiles,
    names: Sequence[str],
    *,
    on: date,
    asked: Sequence[tuple[Outcome, Decimal | None]],
    explain: Callable[[str], Answer],
    check: Callable[[Trial], Iterable[Finding]],
    tell: Callable[[str, int, int], None],
) -> Report:
    """The report on recipes and their variants.

    asked: the outcomes that are told and drawn; all that were observed, the first of them drawn, unless any is given.
    explain: the answer for an outcome by its label. check: what a trial has to say for itself. tell: is told which step
    is being done, as (what, step, of how many).
    Raises InputError for a recipe that is not there.
    """
    everyone = bench.trials()
    unread = bench.unread
    trials = find_within(everyone, names, bench.folder)
    recipes = recipes_within(everyone, names, bench.folder)
    told = list(asked) or list(_observed(trials, bench.outcomes))
    answers: list[Answer] = []
    for number, (outcome, age_days) in enumerate(told, 1):
        tell("weighing what did it", number, len(told))
        answers.append(explain(outcome_label(outcome, age_days)))
    drawn = told if asked else told[:1]
    today = names_today(trials, bench.folder)
    stories = {
        answer.label: find_story(trials, outcome, age_days, title=answer.label, explanation=answer, names=today)
        for answer, (outcome, age_days) in zip(answers, drawn, strict=False)
    }
    return Report(
        names=tuple(names),
        on=on,
        recipes=tuple(_saves(bench, recipe) for recipe in recipes),
        trials=tuple(sorted(trials, key=lambda trial: (trial.made, trial.id))),
        answers=tuple(answers),
        stories=ReadOnly(stories),
        stops=ReadOnly({trial.id: found for trial in trials if (found := stops(check(trial)))}),
        sale=ReadOnly({trial.id: sale_words(trial, bench.folder.register, on) for trial in trials}),
        unread=unread,
    )


def _observed(trials: Sequence[Trial], outcomes: Mapping[str, Outcome]) -> Iterable[tuple[Outcome, Decimal | None]]:
    """Every outcome that any trial shows, at the first of its ages at which one does."""
    book = PourBook(trials)
    ordered = [outcome for outcome in outcomes.values() if outcome.scale is not Scale.COLOUR]  # its change is told
    for outcome in sorted(ordered, key=lambda outcome: outcome.name != _FIRST):
        for age_days in outcome.ages_days or (None,):
            if find_seen(book, outcome, age_days)[0]:
                yield outcome, age_days
                break


def _saves(bench: TrialFiles, recipe: str) -> RecipeSaves:
    folder = bench.folder
    try:
        entries = describe_history(folder, recipe)
    except InputError:
        entries = ()  # it was never saved, or is in no history of this clone
    remark = "" if entries else "It was never saved."
    if recipe not in folder.recipes():
        return RecipeSaves(recipe, entries, "Its file is not there any more." if entries else remark)
    try:
        is_saved = folder.find_version(recipe).is_saved
    except InputError:
        return RecipeSaves(recipe, entries, "Its file cannot be read as it is now; `formulary check` says why.")
    if entries and not is_saved:
        remark = "Its file has changes that are not saved, and are not told here."
    return RecipeSaves(recipe, entries, remark)
