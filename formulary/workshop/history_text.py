"""A recipe's history as a person reads it: each save with when, why and what it changed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from formulary.data_table import Table, TableColumn
from formulary.errors import InputError
from formulary.history.lineage import SavedVersion, ordinal_ending
from formulary.recipes.version import Version
from formulary.shown_as_text import ShownAsText
from formulary.text_table import paragraph
from formulary.workshop.parent import find_parent

if TYPE_CHECKING:
    from formulary.workshop.formulary_workshop import FormularyWorkshop


@dataclass(frozen=True, slots=True, repr=False)
class HistoryEntry(ShownAsText):
    """One save of a recipe, what it changed against the one before, and a line on each trial of it."""

    saved: SavedVersion
    changed: str
    trials: tuple[str, ...] = ()

    def __str__(self) -> str:
        return "\n".join(render_entries([self])[1:])

    def to_json(self) -> dict[str, object]:
        saved = self.saved
        return {
            "number": saved.number,
            "id": saved.id,
            "when": saved.when.isoformat(),
            "author": saved.author,
            "why": saved.why,
            "changed": self.changed,
            "returns_to": saved.returns_to,
            "trials": list(self.trials),
            "findings": [finding.to_json() for finding in saved.findings],
        }


def history_table(entries: Iterable[HistoryEntry]) -> Table:
    """The saves of a recipe as a table for other programs, newest first."""
    columns = (
        TableColumn(name="number", title="save", kind="integer", is_required=True),
        TableColumn(name="version", title="version", kind="string", is_required=True),
        TableColumn(name="saved", title="saved", kind="string", is_required=True),
        TableColumn(name="author", title="by", kind="string"),
        TableColumn(name="why", title="why", kind="string"),
        TableColumn(name="changed", title="what changed", kind="string"),
        TableColumn(name="trials", title="trials", kind="string"),
    )
    rows = tuple(
        (
            entry.saved.number,
            entry.saved.id,
            entry.saved.when.isoformat(),
            entry.saved.author,
            entry.saved.why,
            entry.changed,
            "; ".join(entry.trials) or None,
        )
        for entry in entries
    )
    return Table(columns, rows, key=("number",))


def describe_history(folder: FormularyWorkshop, slug: str) -> tuple[HistoryEntry, ...]:
    """Every save of a recipe, newest first, with what each changed, under today's register.

    Raises InputError for a name that no recipe has or had.
    """
    return describe_saves(folder, folder.history(slug))


def describe_saves(
    folder: FormularyWorkshop, saves: Iterable[SavedVersion], *, before: SavedVersion | None = None
) -> tuple[HistoryEntry, ...]:
    """Some saves of a recipe, newest first, with what each changed; `saves` and the one `before` them oldest first."""
    entries: list[HistoryEntry] = []
    with folder.looking_once():
        for saved in saves:
            entries.append(HistoryEntry(saved, _changed(folder, before, saved)))
            before = saved
    return tuple(reversed(entries))


def with_trials(entries: Sequence[HistoryEntry], trials: Mapping[str, Sequence[str]]) -> tuple[HistoryEntry, ...]:
    """The entries with a line on each trial; `trials` is full version id -> lines.

    A content that was saved twice has its trials at the newest save, so that each is told once.
    """
    told: set[str] = set()
    described = []
    for entry in entries:
        lines = () if entry.saved.id in told else tuple(trials.get(entry.saved.id, ()))
        told.add(entry.saved.id)
        described.append(replace(entry, trials=lines))
    return tuple(described)


def _changed(folder: FormularyWorkshop, before: SavedVersion | None, after: SavedVersion) -> str:
    if after.version is None:
        return f"cannot be read: {after.findings[0].what}" if after.findings else "cannot be read"
    if after.returns_to is not None:
        return f"the same again as the {after.returns_to}{ordinal_ending(after.returns_to)}"
    if before is None and after.is_cut_short:
        return "what came before it is not in this copy"
    if before is None:
        return _since_parent(folder, after.version)
    if before.version is None:
        return "the one before cannot be read"
    try:
        return folder.diff(before.version, after.version).sentence
    except InputError as fault:
        return f"cannot be compared: {fault.findings[0].what}"


def _since_parent(folder: FormularyWorkshop, version: Version) -> str:
    parent = version.recipe.based_on
    if parent is None:
        return "the first"
    branched = f"branched from {parent.name}"
    try:
        return f"{branched}: {folder.diff(find_parent(folder, version.recipe).before, version).sentence}"
    except InputError:
        return branched  # the parent is not in this clone or not clear, or does not fit today's register


def render_history(slug: str, entries: Sequence[HistoryEntry], *, width: int = 80) -> str:
    """The saves as text, newest first; dates are the machine's own."""
    if not entries:
        return f"{slug} was never saved."
    count = len(entries)
    latest = entries[0].saved.when.astimezone().date()
    saves = "once" if count == 1 else f"{count} times"
    here = " here" if entries[0].saved.is_cut_short else ""
    lines = paragraph(f"{slug} was saved {saves}{here}, last on {latest}.", width=width)
    if here:
        told = (
            "This copy holds only the newest part of the history (a shallow clone), and the numbers count from there."
        )
        lines += paragraph(f"{told} `git fetch --unshallow` brings the rest.", width=width)
    return "\n".join([*lines, *render_entries(entries, width=width)])


def render_entries(entries: Sequence[HistoryEntry], *, width: int = 80) -> list[str]:
    """The saves as lines, a blank one above each."""
    lines: list[str] = []
    number_width = max((len(str(entry.saved.number)) for entry in entries), default=1)
    for entry in entries:
        saved = entry.saved
        head = f"{saved.number:>{number_width}}  {saved.id[:8]}  {saved.when.astimezone().date()}  "
        indent = 2 + number_width + 2
        first, *rest = paragraph(f"{head}{saved.why}", width=width, indent=2)
        lines += ["", first, *(" " * (indent - 2) + part for part in rest)]
        lines += paragraph(entry.changed, width=width, indent=indent)
        for trial in entry.trials:
            lines += paragraph(trial, width=width, indent=indent)
    return lines
