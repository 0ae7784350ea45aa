"""Saving what changed in a formulary: one commit, with the change in words in its message."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from formulary.batch.checks import check_recipe
from formulary.batch.settings_checks import check_settings
from formulary.batch.weigh_out import work_out_batch
from formulary.errors import FormularyError, InputError
from formulary.finding import Finding, has_errors, in_file_order
from formulary.given import is_text
from formulary.history.versions import demand_whole, list_recipes, slug_of
from formulary.materials.read import parse_material
from formulary.names import suggest
from formulary.read_only import ReadOnly
from formulary.recipes.model import Recipe
from formulary.recipes.read import parse_recipe
from formulary.settings import SETTINGS_FILE, parse_settings
from formulary.shown_as_text import ShownAsText
from formulary.workshop.files import FormularyFiles

if TYPE_CHECKING:
    from datetime import datetime

    from formulary.changes.changes import Changes
    from formulary.recipes.version import Version

ONLY_LAYOUT = "only its layout or comments"
_PARTS = ("materials/", "recipes/", "trials/")
CheckFiles = Callable[[tuple[str, ...]], tuple[Finding, ...]]  # paths -> what is wrong in them


@dataclass(frozen=True, slots=True, repr=False)
class SaveReport(ShownAsText):
    """What one save recorded: the commit, the files and the message, and what else to know.

    beside_bytes: photos and other files that are not read, and their size. unchanged: recipes that were named and had
    nothing to save. recipes: those whose change the message tells.
    """

    commit: str
    paths: tuple[str, ...]
    message: str
    findings: tuple[Finding, ...] = ()
    beside_bytes: Mapping[str, int] = field(default_factory=dict)
    unchanged: tuple[str, ...] = ()
    recipes: tuple[str, ...] = ()

    def __str__(self) -> str:
        return "\n".join([self.message.rstrip(), *(f"  {path}" for path in self.paths)])


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class PreparedSave(ShownAsText):
    """What a save would record, as it was read: `save_prepared` saves that and nothing else.

    files: path -> bytes, None for a file that is deleted. read_from: the commit that it was held against. before: the
    blob that each path had there. changes: recipe -> what changed in it. new: recipes that are based on none. others:
    a line on each of the other files. unchanged: recipes that were named and have nothing to save.
    """

    files: Mapping[str, bytes | None]
    read_from: str | None
    before: Mapping[str, str | None]
    changes: tuple[tuple[str, Changes], ...]
    new: tuple[Recipe, ...]
    others: tuple[str, ...]
    unchanged: tuple[str, ...] = ()

    def __str__(self) -> str:
        return self.change_in_words

    @property
    def recipes(self) -> tuple[str, ...]:
        """The recipes whose change is told, the changed ones first."""
        return (*(slug for slug, _ in self.changes), *(recipe.slug for recipe in self.new))

    @property
    def change_in_words(self) -> str:
        """What is said of it below the reason."""
        from formulary.changes.message import change_in_words

        return change_in_words(self.changes, self.others, new=self.new)

    @property
    def in_short(self) -> str:
        """The same without the figures of each recipe, for a save of many."""
        from formulary.changes.message import change_in_words

        return change_in_words(self.changes, self.others, new=self.new, in_short=True)

    @property
    def proposed_why(self) -> str:
        """A line on what it is about, for somebody to take or to put better."""
        from formulary.changes.message import propose_why

        return propose_why(self.changes, self.others, new=self.new)


def check_trial_files(check: CheckFiles | None, paths: Sequence[str]) -> tuple[Finding, ...]:
    """What `check` finds in those of the files that are trials'; where none is, it is not asked, nor loaded."""
    of_trials = tuple(path for path in paths if path.startswith("trials/"))
    return check(of_trials) if check is not None and of_trials else ()


def find_changed_paths(folder: FormularyFiles) -> tuple[str, ...]:
    """The formulary's files that differ from the last save, new and deleted ones among them."""
    folder.store.refresh()
    return tuple(path for path in folder.store.working_changes() if _is_ours(path))


def save_changed(
    folder: FormularyFiles,
    names: tuple[str, ...],
    *,
    why: str,
    now: datetime | None = None,
    check: CheckFiles | None = None,
) -> SaveReport:
    """One commit of every changed file, or of the recipes named and the maker's materials that they use.

    names: those of them that have not changed are told in the report, and left.
    check: finds what is wrong in those of the files to be saved that are not the formulary's own (trials).
    Raises InputError when nothing changed, when a file to be saved cannot be read as meant, or is too large; with all
    that is wrong, and nothing is saved then. Raises StorageError when git is in the middle of a merge or the like.
    """
    _demand_why(why)
    return save_prepared(folder, prepare_save(folder, names, check=check), why=why, now=now)


def _demand_why(why: str) -> None:
    if not is_text(why) or not why.strip():
        raise InputError.of("why-missing", "a save says why", "add -m and a few words, for example -m 'less clove'")


def prepare_save(
    folder: FormularyFiles, names: tuple[str, ...] = (), *, check: CheckFiles | None = None
) -> PreparedSave:
    """What a save would record, read and found sound, and what it changes in words; nothing is saved.

    names, check: as in `save_changed`. Raises InputError as it does.
    """
    changed = find_changed_paths(folder)  # looks first where the branch stands now
    tip, read_from = folder.store.tip_blobs(""), folder.store.tip
    unchanged: tuple[str, ...] = ()
    if names:
        changed, unchanged = _only(folder, names, changed, tip)
    if not changed:
        folder.store.demand_branch()  # a merge that was settled to one's own lines leaves nothing changed
        raise InputError.of("nothing-changed", "nothing has changed since the last save", "edit a file first")
    working = set(folder.store.working_paths(""))
    large = [fault for path in changed if path in working for fault in folder.store.check_size(path)]
    left_out = {fault.place.path for fault in large}
    files = {
        path: folder.store.read_working(path) if path in working else None for path in changed if path not in left_out
    }
    faults = [fault for path, data in files.items() if data is not None for fault in _faults(folder, path, data)]
    faults += [*large, *check_trial_files(check, changed)]
    if has_errors(faults):
        raise InputError(in_file_order(faults))
    changes, new, others = _told(folder, files, tip)
    return PreparedSave(
        files=files,
        read_from=read_from,
        before={path: tip.get(path) for path in changed},
        changes=changes,
        new=new,
        others=others,
        unchanged=unchanged,
    )


def save_prepared(
    folder: FormularyFiles, prepared: PreparedSave, *, why: str, now: datetime | None = None
) -> SaveReport:
    """One commit of what was prepared, as it was read then, whatever was edited since.

    Raises ChangedError, with nothing saved, when somebody saved one of these files meanwhile.
    """
    from formulary.changes.message import save_message

    _demand_why(why)
    message = save_message(why, prepared.changes, prepared.others, new=prepared.new)
    result = folder.store.save(
        prepared.files, message=message, read_from=prepared.read_from, expected=prepared.before, now=now
    )
    folder.refresh()
    beside = {path: len(data) for path, data in prepared.files.items() if data is not None and not is_read(path)}
    return SaveReport(
        result.commit,
        tuple(prepared.files),
        message,
        result.warnings,
        ReadOnly(beside),
        prepared.unchanged,
        prepared.recipes,
    )


def _only(
    folder: FormularyFiles, names: tuple[str, ...], changed: tuple[str, ...], tip: Mapping[str, str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The files to save for the recipes named, and the names of those that have not changed."""
    known = {*folder.recipes(), *(slug_of(path) for path in tip if path.startswith("recipes/"))}
    for name in names:
        if name not in known:
            demand_whole(name)
            do = suggest(name, folder.recipes(), list_recipes(folder.recipes()))
            raise InputError.of("no-recipe", f"there is no recipe {name!r} here", do)
    unchanged = tuple(name for name in dict.fromkeys(names) if f"recipes/{name}.yaml" not in changed)
    recipes = {f"recipes/{name}.yaml" for name in names if name not in unchanged}
    if not recipes:
        folder.store.demand_branch()
        what = say_unchanged(unchanged)
        do = "`formulary status` tells what has; name that, or save all of it without a name"
        raise InputError.of("nothing-changed", what, do)
    # What a recipe is made of is saved with it, or the lye of what is saved could not be worked out again.
    working = set(folder.store.working_paths(""))
    used = {f"materials/{name}.yaml" for path in recipes & working for name in _materials_in(folder, path)}
    return tuple(path for path in changed if path in recipes or path in used), unchanged


def say_unchanged(names: Sequence[str]) -> str:
    """That recipes have nothing to save, in words."""
    return f"{', '.join(names)} {'has' if len(names) == 1 else 'have'} not changed since the last save"


def _materials_in(folder: FormularyFiles, path: str) -> frozenset[str]:
    recipe, _ = parse_recipe(folder.store.read_working(path), slug_of(path), path)
    return frozenset() if recipe is None else frozenset(recipe.materials())


def _faults(folder: FormularyFiles, path: str, data: bytes) -> tuple[Finding, ...]:
    slug = slug_of(path)
    if path == SETTINGS_FILE:
        settings, findings = parse_settings(data, path)
        return findings if has_errors(findings) else (*findings, *check_settings(settings))
    if path.startswith("materials/"):
        return parse_material(data, path, slug)[1]
    if path.startswith("recipes/"):
        recipe, findings = parse_recipe(data, slug, path, materials=folder.register)
        if recipe is None:
            return findings
        return tuple(finding.at(path) for finding in (*findings, *check_recipe(recipe, folder.register)))
    return ()


def _told(
    folder: FormularyFiles, files: Mapping[str, bytes | None], tip: Mapping[str, str]
) -> tuple[tuple[tuple[str, Changes], ...], tuple[Recipe, ...], tuple[str, ...]]:
    """What is said of a save: the changes by recipe, the recipes that are new, and a line on every other file."""
    changes: list[tuple[str, Changes]] = []
    new: list[Recipe] = []
    others: list[str] = []
    earlier = folder.store.read_blobs(tip[path] for path in files if path in tip and is_read(path))
    for path, data in files.items():
        before = earlier.get(tip.get(path, ""))
        change = _change(folder, path, before, data)
        begun = _begun(path, data) if path not in tip else None
        if change is not None and not change.is_empty:
            changes.append((slug_of(path), change))
        elif begun is not None and change is None:
            new.append(begun)
        else:
            others.append(_of_other(path, data, is_new=path not in tip, is_same=change is not None))
    return tuple(changes), tuple(new), tuple(others)


def _begun(path: str, data: bytes | None) -> Recipe | None:
    """A recipe that is based on none."""
    recipe = parse_recipe(data, slug_of(path), path)[0] if data is not None and path.startswith("recipes/") else None
    return recipe if recipe is not None and recipe.based_on is None else None


def _of_other(path: str, data: bytes | None, *, is_new: bool, is_same: bool) -> str:
    if data is None:
        return f"{path} deleted"
    size = "" if is_read(path) else f" ({describe_size(len(data))})"
    return f"{path}{' new' if is_new else ''}{size}{': ' + ONLY_LAYOUT if is_same and not is_new else ''}"


def find_unsaved_change(folder: FormularyFiles, version: Version) -> Changes | None:
    """What saving a version would change in its recipe as last saved; a new variant is held against its parent.

    None where there is nothing to hold it against, or one of the two cannot be worked out.
    """
    path = f"recipes/{version.slug}.yaml"
    saved = folder.store.tip_blobs("recipes/").get(path)
    before = folder.store.read_blobs([saved]).get(saved) if saved is not None else None
    return _change(folder, path, before, version.text.encode("utf-8"))


def _change(folder: FormularyFiles, path: str, before: bytes | None, after: bytes | None) -> Changes | None:
    sides = _recipes(folder, path, before, after)
    if sides is None or any(check_recipe(side, folder.register) for side in sides):
        return None
    return compare_recipe_batches(folder, *sides)


def _recipes(
    folder: FormularyFiles, path: str, before: bytes | None, after: bytes | None
) -> tuple[Recipe, Recipe] | None:
    """A recipe before and after; a new variant is compared with the parent that it remembers."""
    if not path.startswith("recipes/") or after is None:
        return None
    slug = slug_of(path)
    recipe, _ = parse_recipe(after, slug, path)
    if recipe is not None and before is None and recipe.based_on is not None:
        parent = recipe.based_on
        before, slug = folder.store.read_blobs([parent.version]).get(parent.version), parent.recipe
    earlier = parse_recipe(before, slug, path)[0] if before is not None else None
    return (earlier, recipe) if earlier is not None and recipe is not None else None


def compare_recipe_batches(
    folder: FormularyFiles, before: Recipe, after: Recipe, *, oil_mass_g: float = 1000.0
) -> Changes:
    """What changed between two recipes, worked out under today's register for the same mass of oils."""
    from formulary.changes.compare import compare_sides  # a status of files that are saved needs none of it
    from formulary.changes.compared_side import ComparedSide

    def side(recipe: Recipe) -> ComparedSide:
        batch = work_out_batch(recipe, folder.register, folder.settings, oil_mass_g=oil_mass_g)
        return ComparedSide(recipe=recipe, batch=batch)

    return compare_sides(side(before), side(after))


def describe_difference(folder: FormularyFiles, path: str, before: bytes, after: bytes) -> str | None:
    """What differs between two texts of a recipe's file, in words; None where one of them cannot be worked out."""
    slug = slug_of(path)
    sides = [parse_recipe(text, slug, path)[0] for text in (before, after)]
    if sides[0] is None or sides[1] is None:
        return None
    try:
        changes = compare_recipe_batches(folder, sides[0], sides[1])
    except FormularyError:
        return None
    return ONLY_LAYOUT if changes.is_empty else changes.sentence


def is_read(path: str) -> bool:
    """Whether this program reads the file; photos and a logger's files beside a trial are only kept."""
    return path.endswith(".yaml")


def describe_size(size_bytes: int) -> str:
    """`3.1 MB`."""
    return f"{size_bytes / 1e6:.1f} MB" if size_bytes >= 100_000 else f"{max(1, round(size_bytes / 1000))} kB"


def _is_ours(path: str) -> bool:
    return path == SETTINGS_FILE or path.startswith(_PARTS)
