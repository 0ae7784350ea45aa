"""A variant's changes sent back to its base, as a person reads them before and after they are written, and as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum

from formulary.batch.weigh_out_text import render_findings
from formulary.changes.changes import Changes
from formulary.finding import Finding
from formulary.recipes.version import Version
from formulary.shown_as_text import ShownAsText
from formulary.text_table import paragraph
from formulary.variants.update_text import render_effect, render_section
from formulary.workshop.parent import OWN, Parent


class Standing(Enum):
    """How a change of a variant stands to its base as that is now."""

    NEW = "new"  # the base has not changed it: it can be sent
    THERE = "there"  # the base has it like that already
    BOTH = "both"  # the base changed it, too: an update settles that first


@dataclass(frozen=True, slots=True)
class VariantChange:
    """One thing that a variant has otherwise than the version that it is based on.

    field: as a person types it, as in an update; the oils, which total 100, are one, and so are the portions.
    before: in the version that the variant is based on. after: in the variant. needs: the fields that it can only be
    sent together with.
    """

    field: str
    before: str
    after: str
    standing: Standing
    needs: tuple[str, ...] = ()

    @property
    def is_own(self) -> bool:
        """Whether it is what a variant has of its own, which is sent only when it is named."""
        return self.field in OWN

    @property
    def text(self) -> str:
        """`lye.superfat: 5 % -> 6 %`."""
        return f"{self.field}: {self.before} -> {self.after}"


@dataclass(frozen=True, slots=True)
class VariantToUpdate:
    """A variant of the base, and the fields that an update would then change in it, or leave to settle."""

    recipe: str
    fields: tuple[str, ...]
    conflicts: tuple[str, ...]

    @property
    def text(self) -> str:
        """`spring-bar: lye.superfat; to be settled: oils`."""
        parts = [", ".join(self.fields)] if self.fields else []
        parts += [f"to be settled: {', '.join(self.conflicts)}"] if self.conflicts else []
        return f"{self.recipe}: {'; '.join(parts)}"


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class SendBack(ShownAsText):
    """What a variant has otherwise than its base, and what the base becomes when some of it is sent back.

    variant: the version that is sent. is_earlier: whether the variant was saved otherwise since. base: as its file
    stands. after: what it becomes; the base itself where nothing is sent, or nothing new. sent: the fields that are.
    changes: from `base` to `after`, in percentages and recalculated lye; None when the base does not change. to_update:
    variants that an update would change once that is saved. is_applied: whether `after` was written to the base's file.
    """

    variant: Version
    base: Version
    after: Version
    parent: Parent
    variant_changes: tuple[VariantChange, ...]
    sent: tuple[str, ...]
    is_earlier: bool
    changes: Changes | None
    to_update: tuple[VariantToUpdate, ...]
    findings: tuple[Finding, ...] = ()
    is_applied: bool = False

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to write."""
        return self.after.text == self.base.text

    @property
    def can_be_sent(self) -> tuple[VariantChange, ...]:
        """What the base could get, but for what is the variant's own."""
        return tuple(each for each in self._that_are(Standing.NEW) if not each.is_own)

    @property
    def sentence(self) -> str:
        """What a person would say aloud first."""
        variant, base = self.variant.slug, self.base.slug
        if not self.is_empty:
            return f"{base} {'gets' if self.is_applied else 'would get'} from {variant}: {', '.join(self.sent)}."
        if self.sent:
            return f"{base} has that already, as {variant} has it: {', '.join(self.sent)}."
        counts = (
            (len(self.can_be_sent), f"can be sent back to {base}"),
            (len(self._that_are(Standing.BOTH)), f"{base} changed, too"),
            (len(self._that_are(Standing.THERE)), f"{base} has already"),
        )
        (count, words), *rest = counts
        first = f"{count or 'no'} change{'' if count == 1 else 's'} that {words}"
        told = [first, *(f"{number} that {words}" for number, words in rest if number)]
        listed = told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"
        return f"{variant} has {listed}."

    def _that_are(self, standing: Standing) -> tuple[VariantChange, ...]:
        return tuple(each for each in self.variant_changes if each.standing is standing)

    def to_json(self) -> dict[str, object]:
        """What is sent with stable keys; `changes` as `diff` tells them."""
        parent = self.parent
        return {
            "recipe": self.variant.slug,
            "version": _version(self.variant),
            "sentence": self.sentence,
            "base": {
                "recipe": self.base.slug,
                "before": _version(parent.before),
                "after": _version(self.base),
                "is_unsaved": not self.base.is_saved,
            },
            "fields": [
                {
                    "field": each.field,
                    "before": each.before,
                    "after": each.after,
                    "standing": each.standing.value,
                    "own": each.is_own,
                    "needs": list(each.needs),
                    "sent": each.field in self.sent,
                }
                for each in self.variant_changes
            ],
            "changes": None if self.changes is None else self.changes.to_json(),
            "to_update": [
                {"recipe": each.recipe, "fields": list(each.fields), "conflicts": list(each.conflicts)}
                for each in self.to_update
            ],
            "findings": [finding.to_json() for finding in self.findings],
            "applied": self.is_applied,
        }

    def __str__(self) -> str:
        return render_send_back(self)


def _version(version: Version) -> dict[str, object]:
    return {"id": version.id, "label": version.label}


def render_send_back(found: SendBack, *, width: int = 80, show_all: bool = False) -> str:
    """The sentence, every change of the variant by how it stands, and what the base becomes in percentages and lye.

    width: columns, 50 or more. show_all: what stays as it is as well.
    """
    base, variant = found.base.slug, found.variant
    label = f" ({variant.label})" if variant.label else ""
    lines = paragraph(found.sentence, width=width)
    lines += paragraph(f"{variant.name}{label}, based on {found.parent.before.name}", width=width, indent=2)
    sent = [each for each in found.variant_changes if each.field in found.sent]
    lines += render_section(f"sent to {base}", (each.text for each in sent if each.standing is Standing.NEW), width)
    if found.sent and not show_all:
        left = [each.field for each in found.variant_changes if each not in sent]
        lines += render_section(f"left in {variant.slug}", [", ".join(left)] if left else [], width)
    else:
        lines += _left(found, [each for each in found.variant_changes if each not in sent], width)
    if found.changes is not None:
        title = f"what that {'did' if found.is_applied else 'would do'} to {base}"
        lines += render_effect(title, found.changes, width=width, show_all=show_all)
    to_update = (each.text for each in found.to_update)
    lines += render_section(f"variants of {base} that an update would then change", to_update, width)
    if found.findings:
        lines += ["", *render_findings(found.findings, width=width)]
    return "\n".join(lines)


def _left(found: SendBack, left: Iterable[VariantChange], width: int) -> list[str]:
    """What is not sent, by how it stands to the base."""
    base, variant = found.base.slug, found.variant.slug
    changes = tuple(left)
    new = [each for each in changes if each.standing is Standing.NEW]
    told = (
        each.text + (f" (only with {', '.join(each.needs)})" if each.needs else "") for each in new if not each.is_own
    )
    lines = render_section(f"can be sent to {base}", told, width)
    own = (each.text for each in new if each.is_own)
    lines += render_section(f"{variant}'s own, sent only when named", own, width)
    for standing, title in (
        (Standing.BOTH, f"changed in {base}, too: update {variant} first"),
        (Standing.THERE, f"in {base} already"),
    ):
        lines += render_section(title, (each.text for each in changes if each.standing is standing), width)
    return lines
