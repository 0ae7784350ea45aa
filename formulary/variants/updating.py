"""Bringing a base recipe's later saves into a variant: found and shown first, written into its file when asked.

Only what is saved of the base is brought, from its own parent and no further up. The file is written and not saved, so
that `restore NAME@latest --discard` takes an update back; that is why a variant with unsaved changes is not written.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from formulary.changes.decision import Choice, Decision, MergeOutcome, conflict_field, find_choice
from formulary.changes.merge import merge_recipes
from formulary.errors import InputError, StopError
from formulary.finding import MAX_FINDINGS, Finding, error, note, stop
from formulary.recipes.model import BasedOn, comparable
from formulary.recipes.version import Version
from formulary.variants.rewriting import check_purpose, demand_saved, rewrite, write_rewritten
from formulary.variants.update_text import Update
from formulary.workshop.history_text import describe_saves
from formulary.workshop.parent import Parent, brings_something, find_named_parent, find_parent

if TYPE_CHECKING:
    from formulary.workshop.formulary_workshop import FormularyWorkshop

CHOICES = {"mine": Choice.MINE, "base": Choice.THEIRS, "both": Choice.BOTH}


def find_update(folder: FormularyWorkshop, variant: str, *, settle: Mapping[str, str] | None = None) -> Update:
    """What the base's later saves would make of a variant; nothing is written.

    settle: field, or `all`, -> `mine`, `base`, or for the oils `both`: how what the base changed is settled. A variant
    with open conflicts is shown with the update that left them, and these are what can be settled.
    Raises InputError for a recipe that is based on none, a parent that is not in this clone or not clear, and a choice
    that fits nothing; StopError for open conflicts that no update left, which are settled by hand.
    """
    choices = parse_choices(settle or {})
    standing = _find_variant(folder, variant)
    if standing.recipe.conflicts:
        return _settle_open(folder, standing, choices)
    parent = find_named_parent(folder, standing.recipe)
    merge = parent.merge_into(standing.recipe, choices)
    intended = replace(merge.recipe, based_on=BasedOn(parent.slug, parent.now.id)) if parent.saves else merge.recipe
    after = rewrite(folder, standing, intended)
    return _shown(folder, standing, standing, after, parent, merge.decisions)


def apply_update(folder: FormularyWorkshop, update: Update) -> Update:
    """Write an update into the variant's file, unsaved; comments and all that does not change stay as they are.

    An update that changes nothing writes nothing. `restore_version(folder, "NAME@latest", discard=True)` takes it back.
    Raises ChangedError when the variant has unsaved changes, which could not be brought back then, or when its file
    is no longer what the update was found for.
    """
    if update.is_empty:
        return update
    if update.start is update.variant:  # else what is unsaved is an update with a conflict, to be settled
        demand_saved(update.variant, update.parent.slug)
    write_rewritten(folder, update.variant, update.after)
    return replace(update, is_applied=True)


def parse_choices(settle: Mapping[str, str]) -> dict[str, Choice]:
    """Choices from the words that a person writes. Raises InputError for a word that is none."""
    for field, word in settle.items():
        if word not in CHOICES:
            what = f"{word[:40]!r} does not say how `{field[:60]}` is settled"
            raise InputError.of("not-a-choice", what, "write mine, base, or for the oils both: --settle oils=both")
    return {field: CHOICES[word] for field, word in settle.items()}


def _find_variant(folder: FormularyWorkshop, variant: str) -> Version:
    if "@" in variant:
        what = f"{variant[:60]} is an earlier version; a recipe is brought up to its base as it stands"
        raise InputError.of("not-a-version", what, f"name the recipe alone: {variant.partition('@')[0][:60]}")
    return folder.find_version(variant)


def _shown(
    folder: FormularyWorkshop,
    variant: Version,
    start: Version,
    after: Version,
    parent: Parent,
    decisions: tuple[Decision, ...],
) -> Update:
    is_moved = comparable(replace(after.recipe, based_on=None)) != comparable(replace(start.recipe, based_on=None))
    return Update(
        variant=variant,
        start=start,
        after=after,
        parent=parent,
        saves=describe_saves(folder, parent.saves, before=parent.base),
        decisions=decisions,
        changes=folder.diff(start, after) if is_moved else None,
        findings=(
            *_remarks_on_variant(variant, start),
            *check_purpose(start.recipe, after.recipe, parent.slug, "to keep it for skin: --settle purpose=mine"),
            *_remarks(folder, parent),
        ),
    )


def _remarks_on_variant(variant: Version, start: Version) -> list[Finding]:
    if variant.is_saved or start is not variant:
        return []
    what = f"{variant.slug} has changes that are not saved; they are counted in here"
    do = f"an update is written only when they are saved: formulary save {variant.slug} -m WHY"
    return [note("variant-unsaved", what, do)]


def _remarks(folder: FormularyWorkshop, parent: Parent) -> list[Finding]:
    """What is worth knowing of the parent itself."""
    found = []
    base = parent.slug
    if parent.is_unsaved:
        what = f"{base} has changes that are not saved; only what is saved of it is brought"
        found.append(note("base-unsaved", what, f"to bring them too, save them first: formulary save {base} -m WHY"))
    if parent.is_gone:
        what = f"{base} was deleted; this is from what was saved of it before"
        found.append(note("base-gone", what, f"formulary restore {base}@latest brings it back, if it is missed"))
    own = parent.now.recipe
    if own.based_on is not None and not own.conflicts:
        try:
            further = find_parent(folder, own)
            if brings_something(further.merge_into(own), own):
                what = f"{base} itself has not been brought up to {further.slug}; an update goes one step"
                do = f"for that too, first: formulary update {base}, and save it"
                found.append(note("base-behind", what, do))
        except InputError:
            pass  # how the parent stands to its own parent is told when that is asked for
    return found


def _settle_open(folder: FormularyWorkshop, variant: Version, choices: Mapping[str, Choice]) -> Update:
    """A variant with open conflicts, some of them settled: the update that left them is worked out once more."""
    words = {conflict_field(each): each for each in variant.recipe.conflicts}
    chosen = {field: name for field in words if (name := find_choice(choices, field)) is not None}
    unused = [name for name in choices if name not in chosen.values()]
    if unused:
        what = f"`{unused[0][:60]}` is no open conflict of {variant.slug}"
        raise InputError.of("nothing-to-settle", what, f"open are: {', '.join(words)}")
    start, parent = _before_update(folder, variant)
    untouched = parent.merge_into(start.recipe)
    settled = parent.merge_into(start.recipe, {field: choices[name] for field, name in chosen.items()})
    # What was edited by hand meanwhile is the third side.
    sides = (replace(each, conflicts=()) for each in (untouched.recipe, variant.recipe, settled.recipe))
    by_hand = merge_recipes(*sides)
    # Oils and portions are merged part by part: an edit of one part beside what was chosen would make neither side's.
    replaced = {field: Choice.THEIRS for field, name in chosen.items() if choices[name] is not Choice.MINE}
    beside = (MergeOutcome.KEPT, MergeOutcome.ADDED)
    mixed = [each for each in by_hand.decisions if each.outcome in beside and find_choice(replaced, each.field)]
    edited = [*by_hand.conflicts, *mixed]
    if edited:
        what = f"`{edited[0].field}` was edited since, and is neither what it was here nor in {parent.slug}"
        do = "to keep what stands there, delete its line under `conflicts:` by hand"
        raise InputError([error("settled-by-hand", what, do, variant.recipe.place("conflicts"))])
    left = {field: each for field, each in words.items() if field not in chosen}
    after = rewrite(folder, variant, replace(by_hand.recipe, conflicts=tuple(left.values())))
    told = (each for each in settled.decisions if not each.is_conflict or each.field in left)
    return _shown(folder, variant, start, after, parent, tuple(_as_edited(each, by_hand.decisions) for each in told))


def _as_edited(decision: Decision, by_hand: Iterable[Decision]) -> Decision:
    """A decision, told as it stands where the file was edited since."""
    part_of = {decision.field: Choice.MINE}
    edited = [each for each in by_hand if each.outcome is MergeOutcome.KEPT and find_choice(part_of, each.field)]
    if not edited or decision.outcome in (MergeOutcome.KEPT, MergeOutcome.CONFLICT):
        return decision
    stands = f"{edited[0].merged}, " if edited[0].field == decision.field else ""
    return replace(decision, merged=f"{stands}as edited here since")


def _before_update(folder: FormularyWorkshop, variant: Version) -> tuple[Version, Parent]:
    """The last save without a conflict, and the parent as it was between that and the update that left one."""
    based_on = variant.recipe.based_on
    saves = [save for save in folder.history(variant.slug) if save.version and not save.version.recipe.conflicts]
    start = folder.read_save(variant.slug, saves[-1]) if saves else None
    if start is not None and start.recipe.based_on is not None and based_on is not None:
        parent = find_parent(folder, start.recipe)
        numbers = [number for number, save in enumerate(parent.saves) if save.id == based_on.version]
        if numbers:
            later = parent.saves[: numbers[-1] + 1]
            return start, replace(parent, now=folder.read_save(parent.slug, later[-1]), saves=later)
    do = "edit the line that it names, or leave it, then delete it under `conflicts:` by hand"
    place = variant.recipe.place("conflicts")
    raise StopError([stop("conflict-open", each[:500], do, place) for each in variant.recipe.conflicts[:MAX_FINDINGS]])
