"""What a report tells, as the objects that it shows: saves, trials, answers, and stories to draw."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from formulary.finding import Finding
from formulary.read_only import ReadOnly
from formulary.workshop.history_text import HistoryEntry
from trials.answer.answer import Answer
from trials.charts.story import Story
from trials.trial.model import Trial


@dataclass(frozen=True, slots=True)
class RecipeSaves:
    """A recipe by today's name, and its saves, newest first. remark: what is to be known beside them."""

    slug: str
    entries: tuple[HistoryEntry, ...]
    remark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportData:
    """A report. names: the recipes asked for. on: the day that it tells of.

    answers: one an outcome that was observed, in the order in which they are told. stories: an outcome's label -> its
    story, for those that are drawn. stops: trial id -> what stands against the batch as it was made. sale: trial id ->
    whether it is fit to sell, in words. unread: trials of the formulary that could not be read, and so are left out.
    """

    names: tuple[str, ...]
    on: date
    recipes: tuple[RecipeSaves, ...]
    trials: tuple[Trial, ...]
    answers: tuple[Answer, ...]
    stories: Mapping[str, Story] = field(default_factory=lambda: ReadOnly({}))
    stops: Mapping[str, tuple[Finding, ...]] = field(default_factory=lambda: ReadOnly({}))
    sale: Mapping[str, str] = field(default_factory=lambda: ReadOnly({}))
    unread: tuple[Finding, ...] = ()
