"""What a base's later saves make of a variant, as a person reads it before and after it is written, and as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from formulary.batch.weigh_out_text import render_findings
from formulary.changes.changes import Changes
from formulary.changes.decision import Decision, MergeOutcome
from formulary.changes.text import render_details
from formulary.finding import Finding
from formulary.recipes.version import Version
from formulary.shown_as_text import ShownAsText
from formulary.text_table import paragraph, wrap
from formulary.workshop.history_text import HistoryEntry, render_entries
from formulary.workshop.parent import OWN, Parent

_TIMES = {1: "once", 2: "twice"}


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Update(ShownAsText):
    """What the later saves of a base bring into a variant, decision by decision; printing it shows it.

    variant: as it stands. start: the saved version that the update begins from. after: what it becomes. saves: the
    later ones of the base, newest first. changes: from `start` to `after`, in percentages and recalculated lye; None
    when nothing in the variant changes. is_applied: whether `after` was written to the file.
    """

    variant: Version
    start: Version
    after: Version
    parent: Parent
    saves: tuple[HistoryEntry, ...]
    decisions: tuple[Decision, ...]
    changes: Changes | None
    findings: tuple[Finding, ...] = ()
    is_applied: bool = False

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to write."""
        return self.after.text == self.variant.text

    @property
    def conflicts(self) -> tuple[Decision, ...]:
        """What a person must settle before any lye is worked out."""
        return self._of(MergeOutcome.CONFLICT)

    @property
    def sentence(self) -> str:
        """What a person would say aloud first."""
        variant, base = self.variant.slug, self.parent.slug
        if not self.saves:
            return f"{variant} is up to date: nothing of {base} was saved after {self.parent.before.short_id}."
        times = _TIMES.get(len(self.saves), f"{len(self.saves)} times")
        said = f"{base} was saved {times} since the version that {variant} is based on"
        counts = (
            (len(self._of(MergeOutcome.TAKEN, MergeOutcome.ADDED)), "comes in", "come in"),
            (len(self._of(MergeOutcome.ALIKE)), "is here already", "are here already"),
            (len(self._of(MergeOutcome.SETTLED)), "is settled", "are settled"),
            (len(self.conflicts), "is to be settled", "are to be settled"),
        )
        parts = [(count, one if count == 1 else more) for count, one, more in counts if count]
        if not parts:
            return f"{said}, and nothing of that concerns {variant}."
        (count, words), *rest = parts
        first = f"{count} {'change' if count == 1 else 'changes'} {words}"
        return f"{said}: {', '.join([first, *(f'{number} {told}' for number, told in rest)])}."

    def _of(self, *outcomes: MergeOutcome) -> tuple[Decision, ...]:
        return tuple(decision for decision in self.decisions if decision.outcome in outcomes)

    def to_json(self) -> dict[str, object]:
        """The update with stable keys; `changes` as `diff` tells them."""
        parent = self.parent
        return {
            "recipe": self.variant.slug,
            "version": {"id": self.variant.id, "label": self.variant.label},
            "sentence": self.sentence,
            "base": {
                "recipe": parent.slug,
                "before": {"id": parent.before.id, "label": parent.before.label},
                "after": {"id": parent.now.id, "label": parent.now.label},
                "is_unsaved": parent.is_unsaved,
            },
            "saves": [entry.to_json() for entry in self.saves],
            "decisions": [
                {
                    "field": decision.field,
                    "outcome": decision.outcome.value,
                    "before": decision.before,
                    "mine": decision.mine,
                    "base": decision.theirs,
                    "merged": decision.merged,
                    "both": decision.together,
                }
                for decision in self.decisions
            ],
            "changes": None if self.changes is None else self.changes.to_json(),
            "conflicts": list(self.after.recipe.conflicts),
            "findings": [finding.to_json() for finding in self.findings],
            "applied": self.is_applied,
        }

    def __str__(self) -> str:
        return render_update(self)


def render_update(update: Update, *, width: int = 80, show_all: bool = False) -> str:
    """The sentence, the base's later saves, every decision, and what they come to in percentages and lye.

    width: columns, 60 or more. show_all: what stays as it is as well.
    """
    base = update.parent.slug
    lines = [*paragraph(update.sentence, width=width), *render_entries(update.saves, width=width)]
    taken = [f"{each.field}: {each.mine} -> {each.merged}" for each in update._of(MergeOutcome.TAKEN)]
    lines += render_section(f"taken from {base}", taken, width)
    added = [
        f"{each.field}: {each.mine} here, {each.theirs} there, {each.before} before -> {each.merged}"
        for each in update._of(MergeOutcome.ADDED)
    ]
    lines += render_section("changed by both in opposite directions, so added up", added, width)
    alike = [f"{each.field}: {each.merged}" for each in update._of(MergeOutcome.ALIKE)]
    lines += render_section("changed by both alike", alike, width)
    settled = [
        f"{each.field}: {each.mine} here, {each.theirs} there -> {each.merged}"
        for each in update._of(MergeOutcome.SETTLED)
    ]
    lines += render_section("settled by you", settled, width)
    lines += _kept(update, width, show_all=show_all) if update.saves else []
    if update.conflicts:
        lines += ["", "  changed by both differently, to be settled"]
        lines += [line for decision in update.conflicts for line in _conflict(decision, width)]
    if update.changes is not None:
        title = f"what that {'did' if update.is_applied or update.is_empty else 'would do'} to {update.variant.slug}"
        lines += render_effect(title, update.changes, width=width, show_all=show_all)
    if update.findings:
        lines += ["", *render_findings(update.findings, width=width)]
    return "\n".join(lines)


def render_effect(title: str, changes: Changes, *, width: int, show_all: bool) -> list[str]:
    """What a recipe's file would say otherwise, in percentages and recalculated lye, under a title, as lines."""
    details = render_details(changes, width=width - 2, show_all=show_all)
    lines = ["", *paragraph(title, width=width, indent=2), *paragraph(changes.sentence, width=width, indent=4)]
    lines += [f"  {line}".rstrip() for line in details]
    if changes.hidden and not show_all:
        lines += ["", f"    {changes.hidden} lines unchanged (--all shows them)"]
    return lines


def render_section(title: str, texts: Iterable[str], width: int) -> list[str]:
    """Texts under a title, as lines; nothing where there are none."""
    lines = [part for text in texts for part in _hanging(text, width)]
    return ["", *paragraph(title, width=width, indent=2), *lines] if lines else []


def _hanging(text: str, width: int) -> list[str]:
    first, *rest = wrap(text, width - 6)
    return [f"    {first}", *(f"      {line}" for line in rest)]


def _conflict(decision: Decision, width: int) -> list[str]:
    sides = [("mine", decision.mine), ("base", decision.theirs), ("both", decision.together)]
    words = [f"={word}" for word, text in sides if text is not None]
    typed = f"--settle {decision.field}{', '.join(words[:-1])} or {words[-1]}"
    lines = _hanging(f"{decision.field}: {typed}", width)
    for word, text in (*sides, ("before", decision.before)):
        if text is not None:
            first, *rest = wrap(text, width - 14)
            lines += [f"      {word:<6}  {first}", *(f"{'':14}{line}" for line in rest)]
    return lines


def _kept(update: Update, width: int, *, show_all: bool) -> list[str]:
    """What the variant has of its own: by name alone, unless all is asked for."""
    kept = [
        each
        for each in update._of(MergeOutcome.KEPT)
        if show_all or each.theirs != each.before or each.field not in OWN
    ]
    if show_all:
        return render_section("kept as here", (f"{each.field}: {each.mine}" for each in kept), width)
    own = [each.field for each in kept if each.theirs != each.before]
    names = ", ".join(each.field for each in kept)
    also = f" ({update.parent.slug} changed its {' and '.join(own)}: a variant keeps its own)" if own else ""
    return render_section("kept as here", [names + also] if kept else [], width)
