"""The recipe that a variant was branched from: what it is called now, what was saved of it since, and what that brings.

A parent is never guessed: what counts is the save that the variant remembers, and whose it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from formulary.changes.decision import Choice
from formulary.changes.merge import Merge, merge_recipes
from formulary.errors import InputError
from formulary.finding import Finding, error, note
from formulary.identity import blob_id
from formulary.recipes.model import BasedOn, Recipe, comparable
from formulary.recipes.read import parse_recipe
from formulary.recipes.version import Version

if TYPE_CHECKING:
    from formulary.history.lineage import SavedVersion
    from formulary.workshop.files import FormularyFiles

# What a variant has of its own: where both changed it, it stays the variant's.
OWN = ("name", "notes")


@dataclass(frozen=True, slots=True)
class Parent:
    """A variant's parent by its present name.

    before: the version that the variant is based on. now: the last save. base: the save that `before` is. saves:
    those after it, oldest first.
    is_unsaved: whether its file holds something that was not saved. is_gone: whether its file was deleted.
    """

    slug: str
    before: Version
    now: Version
    base: SavedVersion
    saves: tuple[SavedVersion, ...]
    is_unsaved: bool
    is_gone: bool

    def merge_into(self, variant: Recipe, choices: Mapping[str, Choice] | None = None) -> Merge:
        """What the parent's later saves make of a variant. Raises InputError as `merge_recipes`."""
        return merge_later_saves(self.before.recipe, variant, self.now.recipe, choices)


def merge_later_saves(
    before: Recipe, variant: Recipe, now: Recipe, choices: Mapping[str, Choice] | None = None
) -> Merge:
    """What a parent's way from `before` to `now` makes of a variant. Raises InputError as `merge_recipes`."""
    return merge_recipes(before, variant, now, choices=choices or {}, own=OWN)


def brings_something(merge: Merge, variant: Recipe) -> bool:
    """Whether a merge changes the variant, or leaves something to settle."""
    return comparable(merge.recipe) != comparable(variant)


def find_parent(folder: FormularyFiles, recipe: Recipe) -> Parent:
    """Where the parent of a variant stands.

    Raises InputError when the recipe has none, when the version that it remembers is not in this clone or is no save
    of the recipe that it names, and with every fault of a version that cannot be read.
    """
    based_on = recipe.based_on
    if based_on is None:
        what = f"{recipe.slug} is based on no other recipe, so it has no base"
        raise InputError.of("no-parent", what, "name a variant, which `formulary branch` made")
    lives = folder.lives()
    owners = {
        lives.owner(life)
        for life in lives.under(based_on.recipe)
        if any(save.blob == based_on.version for save in life.saves)
    }
    if not owners and any(save.blob == based_on.version for save in lives.saves(based_on.recipe)):
        owners = {based_on.recipe}  # a save under an earlier name of it
    if len(owners) != 1 or recipe.slug in owners:
        raise InputError([_unclear(folder, recipe, based_on, owners)])
    (slug,) = owners
    saves = folder.history(slug)
    # A content that was saved twice: what came after it stood there last.
    last = max(number for number, save in enumerate(saves) if save.id == based_on.version)
    path = f"recipes/{slug}.yaml"
    is_gone = slug not in folder.recipes()
    held = None if is_gone else blob_id(folder.store.read_working(path))
    return Parent(
        slug=slug,
        before=folder.read_save(slug, saves[last]),
        now=folder.read_save(slug, saves[-1]),
        base=saves[last],
        saves=saves[last + 1 :],
        is_unsaved=held is not None and held != folder.store.tip_blob(path),
        is_gone=is_gone,
    )


def _unclear(folder: FormularyFiles, recipe: Recipe, based_on: BasedOn, owners: set[str]) -> Finding:
    place = recipe.place("based_on")
    if not owners and not folder.store.read_blobs([based_on.version]):
        what = f"{recipe.slug} is based on {based_on.name}, which is not in this clone"
        return error("parent-missing", what, "fetch the full history (git fetch --unshallow), then try again", place)
    if recipe.slug in owners:
        said = f"which is a save of {recipe.slug} itself"
    elif owners:
        said = f"which {' and '.join(sorted(owners))} were both saved as"
    else:
        said = "which is no save of that recipe"
    what = f"{recipe.slug} says that it is based on {based_on.name}, {said}"
    do = "write into `based_on` the recipe that it was branched from, and the full id of that version"
    return error("parent-unclear", what, do, place)


def find_named_parent(folder: FormularyFiles, recipe: Recipe) -> Parent:
    """As `find_parent`, of a recipe that a person named.

    Raises InputError as that does; for a recipe that is no variant itself it names the variants of it.
    """
    try:
        return find_parent(folder, recipe)
    except InputError as fault:
        if [finding.code for finding in fault.findings] != ["no-parent"]:
            raise
        variants = [
            each.slug for each in read_variants(folder) if each.based_on and each.based_on.recipe == recipe.slug
        ]
        if not variants:
            raise
        do = f"name the variant that is meant: {', '.join(variants)}"
        raise InputError(replace(finding, do=do) for finding in fault.findings) from None


def read_variants(folder: FormularyFiles) -> Iterator[Recipe]:
    """Every recipe that is based on another and can be read, as its file stands, in order."""
    for slug in folder.recipes():
        recipe, _ = folder.read_recipe(slug)
        if recipe is not None and recipe.based_on is not None:
            yield recipe


def check_parents(
    recipes: Iterable[Recipe], saved_as: Callable[[str], str | None], read: Callable[[str], bytes | None]
) -> Iterator[Finding]:
    """Notes of the variants whose parent was saved since in a way that would change them.

    Looks at no history: a parent that has another name now is known by its `formerly`, and where two recipes lay claim
    to a name nothing is told. saved_as: recipe -> the id of its last save. read: id -> the text.
    """
    listed = tuple(recipes)
    names = {recipe.slug for recipe in listed}
    renamed: dict[str, list[str]] = {}
    for recipe in listed:
        for name in recipe.formerly:
            renamed.setdefault(name, []).append(recipe.slug)
    contents: dict[str, Recipe | None] = {}

    def content(blob: str, slug: str) -> Recipe | None:
        if blob not in contents:
            text = read(blob)
            contents[blob] = None if text is None else parse_recipe(text, slug)[0]
        return contents[blob]

    for recipe in listed:
        parent = recipe.based_on
        if parent is None or recipe.conflicts:
            continue
        called = [*([parent.recipe] if parent.recipe in names else []), *renamed.get(parent.recipe, ())]
        latest = saved_as(called[0]) if len(called) == 1 and called[0] != recipe.slug else None
        if latest is None or latest == parent.version:
            continue
        before, now = content(parent.version, called[0]), content(latest, called[0])
        if before is None or now is None or before.conflicts or now.conflicts:
            continue
        if brings_something(merge_later_saves(before, recipe, now), recipe):
            what = f"{called[0]} has changed since {recipe.slug} was last brought up to it"
            do = f"`formulary update {recipe.slug}` shows what that would bring"
            yield note("parent-moved-on", what, do, recipe.place("based_on"))
