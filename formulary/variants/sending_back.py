"""Sending what proved better in a variant back to its base: found and shown first, written when asked.

What is sent is what is saved of the variant, last or as a version is named, to its own base and no further up. The
base's file is written and not saved, so that `restore NAME@latest --discard` takes it back; that is why a base with
unsaved changes is not written. What the base changed, too, is settled by an update of the variant first: the base then
gets what was made and tried.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from formulary.changes.decision import EVERYTHING, Choice, Decision, MergeOutcome, conflict_field, find_choice
from formulary.changes.merge import Merge, merge_recipes
from formulary.errors import InputError, StopError
from formulary.finding import Finding, note, stop
from formulary.names import suggest
from formulary.recipes.model import Recipe, RecipePortion
from formulary.recipes.read import parse_recipe
from formulary.recipes.version import Version
from formulary.variants.rewriting import check_purpose, demand_saved, rewrite, write_rewritten
from formulary.variants.send_back_text import SendBack, Standing, VariantChange, VariantToUpdate
from formulary.workshop.parent import OWN, Parent, brings_something, find_named_parent, merge_later_saves, read_variants

if TYPE_CHECKING:
    from formulary.workshop.formulary_workshop import FormularyWorkshop


def find_send_back(folder: FormularyWorkshop, variant: str, *fields: str) -> SendBack:
    """What a variant has otherwise than its base, and what the base becomes when fields of it are sent back.

    variant: a recipe, as it was saved last, or an earlier version of it, such as that of the trial that proved better.
    fields: as `VariantChange.field` names them, or the beginning of several (`lye`, `scent`); `all` is everything but
    what is a variant's own. None: nothing is sent, and only shown what can be. Nothing is written.
    Raises InputError for a recipe that is based on none, a base that is gone or not clear, a field in which nothing
    differs, and one that needs another that is not sent; StopError for an open conflict, and for what the base
    changed, too.
    """
    standing = None if "@" in variant else _find_variant(folder, variant)
    sent = _find_save(folder, variant, standing)
    parent = find_named_parent(folder, sent.recipe)
    base = _find_base(folder, parent, sent)
    sides = _compare_sides(parent.before.recipe, base.recipe, sent.recipe)
    chosen = _choose(tuple(dict.fromkeys(fields)), sides)
    _demand_whole(sides, chosen)
    merge = sides.merge(chosen)
    is_earlier = folder.store.tip_blob(f"recipes/{sent.slug}.yaml") != sent.id
    both = sides.changed_by_both(merge, chosen)
    if both:
        raise _changed_by_both(both, standing, sent, base, is_earlier=is_earlier)
    after = rewrite(folder, base, merge.recipe) if chosen else base
    is_moved = after is not base
    return SendBack(
        variant=sent,
        base=base,
        after=after,
        parent=parent,
        variant_changes=sides.variant_changes(),
        sent=chosen,
        is_earlier=is_earlier,
        changes=folder.diff(base, after) if is_moved else None,
        to_update=tuple(_find_to_update(folder, parent, base.recipe, after.recipe)) if is_moved else (),
        findings=(
            *check_purpose(base.recipe, after.recipe, sent.slug, "to keep it for skin, leave out `purpose`"),
            *_remarks(folder, parent, standing, sent, base, is_earlier=is_earlier),
        ),
    )


def apply_send_back(folder: FormularyWorkshop, found: SendBack) -> SendBack:
    """Write what is sent back into the base's file, unsaved; comments and all that does not change stay as they are.

    What changes nothing writes nothing. `restore_version(folder, "NAME@latest", discard=True)` takes it back.
    Raises ChangedError when the base has unsaved changes, which could not be brought back then, or when its file is no
    longer what this was found for.
    """
    if found.is_empty:
        return found
    demand_saved(found.base, found.variant.slug)
    write_rewritten(folder, found.base, found.after)
    return replace(found, is_applied=True)


def _find_variant(folder: FormularyWorkshop, variant: str) -> Version:
    """A variant as its file stands."""
    standing = folder.find_version(variant)
    _demand_settled(standing, f"formulary update {standing.slug} shows how to settle it; save it, then send back")
    return standing


def _find_save(folder: FormularyWorkshop, variant: str, standing: Version | None) -> Version:
    """The version that is sent: that which is named, or the last."""
    sent = folder.find_version(variant if standing is None else f"{variant}@latest")
    do = "name a version without one"
    if standing is not None:
        do = f"it is settled in the file, which is not saved yet: formulary save {sent.slug} -m WHY"
    _demand_settled(sent, do)
    return sent


def _find_base(folder: FormularyWorkshop, parent: Parent, sent: Version) -> Version:
    """The base as its file stands, which is what would be written."""
    if parent.is_gone:
        what = f"{parent.slug}, which {sent.slug} is based on, was deleted"
        raise InputError.of("base-gone", what, f"formulary restore {parent.slug}@latest brings it back")
    base = folder.find_version(parent.slug)
    _demand_settled(base, f"settle it first: by hand, as it says in recipes/{base.slug}.yaml, or with formulary update")
    return base


def _demand_settled(version: Version, do: str) -> None:
    if version.recipe.conflicts:
        fields = ", ".join(dict.fromkeys(conflict_field(each)[:60] for each in version.recipe.conflicts[:6]))
        what = f"{version.slug} has an open conflict: {fields}"
        raise StopError([stop("conflict-open", what, do, version.recipe.place("conflicts"))])


@dataclass(frozen=True, slots=True)
class _Sides:
    """The version that a variant is based on, the base as it stands, the variant, and what that changed."""

    before: Recipe
    base: Recipe
    variant: Recipe
    made: tuple[Decision, ...]

    @property
    def fields(self) -> tuple[str, ...]:
        """What the variant changed."""
        return tuple(each.field for each in self.made)

    def variant_changes(self) -> tuple[VariantChange, ...]:
        """What the variant changed, and how each stands to the base."""
        changes = []
        for each in self.made:
            needs = self.needs([each.field])
            standing = self._standing([each.field, *needs], each.field)
            changes.append(VariantChange(each.field, each.before, each.theirs, standing, needs))
        return tuple(changes)

    def _standing(self, fields: Collection[str], field: str) -> Standing:
        merge = self.merge(fields)
        if self.changed_by_both(merge, [field]):
            return Standing.BOTH
        outcomes = {each.outcome for each in merge.decisions if _is_part(each, field)}
        return Standing.THERE if outcomes == {MergeOutcome.ALIKE} else Standing.NEW

    def merge(self, fields: Collection[str]) -> Merge:
        """The base with these fields of the variant; a conflict where the base changed one, too."""
        return merge_recipes(self.before, self.base, self._with_alone(fields))

    def _with_alone(self, fields: Collection[str]) -> Recipe:
        """The version that the variant is based on with these fields of the variant, and nothing else of it."""
        choices = {field: Choice.THEIRS if field in fields else Choice.MINE for field in self.fields}
        return merge_recipes(self.before, self.before, self.variant, choices=choices).recipe

    def needs(self, fields: Collection[str]) -> tuple[str, ...]:
        """What else has to be sent, so that no portion gets a part of a line that is not there."""
        needed: list[str] = []
        while more := self._missing([*fields, *needed]):
            needed += more
        return tuple(needed)

    def _missing(self, fields: Collection[str]) -> list[str]:
        wanted = self.variant if "portions" in fields else self.before
        missing = _parts_of(wanted.portions) - _parts_of(self._with_alone(fields).portions)
        if missing and "portions" not in fields and "portions" in self.fields:
            return ["portions"]
        lines = {f"{part}.{name}": Choice.THEIRS for name in missing for part in ("additions", "scent")}
        return [each for each in self.fields if each not in fields and find_choice(lines, each) is not None]

    def changed_by_both(self, merge: Merge, fields: Collection[str]) -> tuple[str, ...]:
        """Of these fields, merged, what the base changed, too, and otherwise; and what that leaves unsettled beside.

        Oils that the base changed besides would give a mixture that nobody poured, so they are not added up.
        """
        taken = {MergeOutcome.TAKEN, MergeOutcome.ALIKE}
        both = [
            field
            for field in fields
            if not {each.outcome for each in merge.decisions if _is_part(each, field)} <= taken
        ]
        beside = [each.field for each in merge.conflicts if not any(_is_part(each, field) for field in both)]
        return (*both, *beside)


def _compare_sides(before: Recipe, base: Recipe, variant: Recipe) -> _Sides:
    made = merge_recipes(before, before, variant)
    if made.decisions:  # chosen, the oils are one thing
        made = merge_recipes(before, before, variant, choices={EVERYTHING: Choice.THEIRS})
    return _Sides(before, base, variant, made.decisions)


def _is_part(decision: Decision, field: str) -> bool:
    """Whether a decision is about a field, a part of it, or all that it is a part of."""
    return (
        find_choice({field: Choice.THEIRS}, decision.field) is not None
        or find_choice({decision.field: Choice.THEIRS}, field) is not None
    )


def _parts_of(portions: Iterable[RecipePortion]) -> set[str]:
    """The lines that portions divide."""
    return {material for portion in portions for material, _ in portion.gets}


def _choose(typed: tuple[str, ...], sides: _Sides) -> tuple[str, ...]:
    """The fields that a person chose, in the order of the recipe."""
    meant = {name: _meant_by(name, sides) for name in typed}
    for name, fields in meant.items():
        if not fields and name != EVERYTHING:
            raise _not_changed(name, sides)
    return tuple(field for field in sides.fields if any(field in fields for fields in meant.values()))


def _meant_by(name: str, sides: _Sides) -> tuple[str, ...]:
    """The fields of which this is the name, or the beginning of it."""
    named = (field for field in sides.fields if find_choice({name: Choice.THEIRS}, field) is not None)
    return tuple(field for field in named if not (name == EVERYTHING and field in OWN))


def _not_changed(name: str, sides: _Sides) -> InputError:
    whole = name.partition(".")[0]
    if whole in ("oils", "portions") and whole in sides.fields:
        what = f"the {whole} are one thing, since they total 100: `{name[:60]}` cannot be sent by itself"
        return InputError.of("nothing-to-send", what, f"send all of them: {whole}")
    what = f"{sides.variant.slug} has not changed `{name[:60]}` of {sides.base.slug}"
    listed = f"what it changed: {', '.join(sides.fields)}" if sides.fields else "it changed nothing"
    return InputError.of("nothing-to-send", what, suggest(name, sides.fields, listed))


def _demand_whole(sides: _Sides, chosen: tuple[str, ...]) -> None:
    """Raises InputError where what is sent needs something that is not."""
    more = sides.needs(chosen)
    if not more:
        return
    if "portions" in chosen:
        what = f"the portions of {sides.variant.slug} divide what {sides.base.slug} would not have"
    else:
        what = f"the portions of {sides.base.slug} divide what would not be there to be divided any more"
    raise InputError.of("needs-more", what, f"send together: {' '.join((*chosen, *more))}")


def _changed_by_both(
    both: Iterable[str], standing: Version | None, sent: Version, base: Version, *, is_earlier: bool
) -> StopError:
    what = f"{base.slug} changed {', '.join(both)}, too, since the version that {sent.slug} is based on"
    do = f"update {sent.slug} first, settle it there, and save it: formulary update {sent.slug}"
    if not base.is_saved:
        do = f"save {base.slug} first (formulary save {base.slug} -m WHY); then {do}"
    elif is_earlier:
        do = f"formulary restore {sent.name} makes it the last save again; then {do}"
    elif standing is not None and standing.recipe.based_on != sent.recipe.based_on:
        do = f"the update of {sent.slug} is not saved yet: formulary save {sent.slug} -m WHY"
    return StopError([stop("changed-by-both", what, do)])


def _find_to_update(
    folder: FormularyWorkshop, parent: Parent, before: Recipe, after: Recipe
) -> Iterator[VariantToUpdate]:
    """The variants of the base in which an update would change something that it does not change now."""
    names = {parent.slug, *parent.now.recipe.formerly}
    saved = {save.blob for save in folder.lives().saves(parent.slug)}
    variants = [
        (each, each.based_on.version)
        for each in read_variants(folder)
        if not each.conflicts and each.based_on is not None and each.based_on.recipe in names
    ]
    texts = folder.store.read_blobs({version for _, version in variants if version in saved})
    for variant, version in variants:
        start = parse_recipe(texts[version], parent.slug)[0] if version in texts else None
        if start is None or start.conflicts:
            continue
        now = merge_later_saves(start, variant, before).decisions
        then = [each for each in merge_later_saves(start, variant, after).decisions if each not in now]
        fields = tuple(each.field for each in then if each.outcome in (MergeOutcome.TAKEN, MergeOutcome.ADDED))
        conflicts = tuple(each.field for each in then if each.is_conflict)
        if fields or conflicts:
            yield VariantToUpdate(variant.slug, fields, conflicts)


def _remarks(
    folder: FormularyWorkshop,
    parent: Parent,
    standing: Version | None,
    sent: Version,
    base: Version,
    *,
    is_earlier: bool,
) -> Iterator[Finding]:
    """What is worth knowing of how the two stand."""
    if is_earlier:
        what = f"{sent.slug} was saved otherwise after {sent.name}, which is what is sent"
        yield note("earlier-version", what, f"to send its last save, name {sent.slug} alone")
    if standing is not None and not standing.is_saved:
        what = f"{sent.slug} has changes that are not saved; only what is saved of it is sent"
        yield note("variant-unsaved", what, f"to send them too, save them first: formulary save {sent.slug} -m WHY")
    if not base.is_saved:
        what = f"{base.slug} has changes that are not saved; they are counted in here"
        do = f"it is written only when they are saved: formulary save {base.slug} -m WHY"
        yield note("base-unsaved", what, do)
    if parent.saves and standing is not None and brings_something(parent.merge_into(sent.recipe), sent.recipe):
        what = f"{base.slug} has changed since {sent.slug} was last brought up to it"
        yield note("parent-moved-on", what, f"`formulary update {sent.slug}` shows what that would bring")
    further = base.recipe.based_on
    if further is not None:
        its_base = folder.now_called(further.recipe) or further.recipe
        what = f"{base.slug} is itself a variant, of {its_base}; what is sent back goes one step"
        yield note("one-step", what, f"for the next, once it is saved: formulary send-back {base.slug}")
