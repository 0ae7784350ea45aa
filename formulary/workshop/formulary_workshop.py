"""A formulary's files as a workshop: its recipes by name or by path, worked out and checked by what stands in them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from formulary.batch.checks import check_recipe
from formulary.batch.weigh_out import check_kilogram
from formulary.errors import InputError
from formulary.finding import Finding, Place, error, errors, has_errors, in_file_order, note, stops, warn
from formulary.given import as_name
from formulary.history.versions import is_recipe_file, slug_of, would_be_read_at
from formulary.names import SLUG
from formulary.recipes.version import Version
from formulary.settings import SETTINGS_FILE
from formulary.workshop.files import FormularyFiles, MaterialsRead, SettingsRead
from formulary.workshop.recipe_file import check_recipe_file, read_recipe_file
from formulary.workshop.workshop import Workshop

if TYPE_CHECKING:
    from formulary.materials.model import Material
    from formulary.recipes.model import Recipe
    from formulary.settings import Settings
    from formulary.store.store import Store


class FormularyWorkshop(FormularyFiles, Workshop):
    """What stands in a formulary's files, and what is worked out and checked by them."""

    def __init__(self, root: Path, store: Store, cache: Path | None = None) -> None:
        FormularyFiles.__init__(self, root, store, cache)
        Workshop.__init__(self)

    # -- which recipe ----------------------------------------------------------------------------

    def _materials_for(self, recipe: Recipe) -> Mapping[str, Material]:
        """Stop rather than weigh out by built-in values what the maker has a file for that cannot be read."""
        register, faults = self._materials_read
        found = errors(_faults_of(recipe, faults))
        if found:
            raise InputError(found)
        return register

    def find_recipe(self, reference: str) -> Version:
        """A version to look at or to weigh out: as in `find_version`, or a recipe's file by its path.

        A file of this formulary's own `recipes/` is the recipe of its name; any other is read as it is, by this
        formulary's materials. Raises InputError, StorageError.
        """
        reference = as_name(reference)
        if not is_recipe_file(reference):
            return self.find_version(reference)
        own = self._own_recipe(reference)
        return self.find_version(own) if own is not None else read_recipe_file(reference, self.register)

    def _own_recipe(self, reference: str) -> str | None:
        """The recipe of this formulary whose file this is."""
        path = Path(reference).absolute()
        is_own = path.parent.resolve() == (self.root / "recipes").resolve()
        return path.stem if is_own and path.suffix == ".yaml" and SLUG.fullmatch(path.stem) else None

    def remarks(self, version: Version) -> tuple[Finding, ...]:
        """That a recipe's file is none of this formulary's recipes."""
        if version.file is None:
            return ()
        what = f"{version.file} is no recipe of this formulary; the materials and settings here count"
        return (note("recipe-file", what, "to keep it, put it under recipes/ and save it", Place(version.file)),)

    def render_material(self, name: str, *, width: int = 80) -> str:
        """All that is known of a material as text, each value with where it is from. Raises as `find_material`."""
        from formulary.materials.text import render_material

        return render_material(self.find_material(name), width=width, told_in=self.settings.temperature)

    def check_recipe(self, reference: str) -> tuple[Finding, ...]:
        """Everything that is wrong or worth knowing in one recipe's file, in file order.

        reference: a recipe's name, or a file by its path. Raises InputError when there is no such recipe.
        """
        reference = as_name(reference)
        own = self._own_recipe(reference) if is_recipe_file(reference) else reference
        if own is None:
            return check_recipe_file(self, reference)
        if own not in self.recipes():
            version = self.find_version(own)  # says what is here instead
            what = f"{own} is an earlier version; a recipe is checked as it stands"
            raise InputError.of("not-a-version", what, f"name the recipe alone: {version.slug}")
        return self._check_own(own, self._materials_read, self._settings_read)

    def _check_own(self, slug: str, materials: MaterialsRead, settings: SettingsRead) -> tuple[Finding, ...]:
        """What is wrong in a recipe of this formulary, by one state of its materials and settings."""
        path, register = f"recipes/{slug}.yaml", materials[0]
        recipe, faults = self.read_recipe(slug, materials=register)
        of_materials = [] if recipe is None else _faults_of(recipe, materials[1])
        found = [*settings[1], *of_materials]
        usable = None if has_errors(found) else settings[0]
        return in_file_order([*found, *_check_read(path, recipe, faults, register, usable)])

    def find_stops(self, paths: Collection[str]) -> tuple[Finding, ...]:
        """The stops that stand against the recipes among some files, and against those that what is among them changes:
        by a material the recipes that hold it, by the settings all."""
        materials, settings = self._materials_read, self._settings_read
        changed = (slug for slug in self.recipes() if self._is_changed_by(slug, paths))
        found = (self._check_own(slug, materials, settings) for slug in changed)
        return tuple(finding for findings in found for finding in stops(findings))

    def _is_changed_by(self, slug: str, paths: Collection[str]) -> bool:
        path = f"recipes/{slug}.yaml"
        if path in paths or SETTINGS_FILE in paths:
            return True
        if not any(each.startswith("materials/") for each in paths):
            return False
        recipe = self.read_recipe(slug)[0]
        return recipe is not None and any(f"materials/{name}.yaml" in paths for name in recipe.materials())

    # -- checking --------------------------------------------------------------------------------

    def check(self) -> tuple[Finding, ...]:
        """Everything that is wrong or worth knowing in the folder's settings, materials and recipes, in file order."""
        from formulary.batch.settings_checks import check_settings

        # All recipes are held against one state of the materials and settings, which is looked up once.
        (register, of_materials), (read_settings, of_settings) = self._materials_read, self._settings_read
        findings: list[Finding] = list(of_settings)
        settings = None if has_errors(findings) else read_settings
        findings += [] if settings is None else check_settings(settings)
        for faults in of_materials.values():
            findings += faults
        for path in self.paths("materials") + self.paths("recipes"):
            if not SLUG.fullmatch(slug_of(path)):
                do = "rename the file to lower-case words joined by hyphens"
                findings.append(error("bad-name", f"{path!r} is not a name used here", do, Place(path)))
        for folder in ("materials/", "recipes/"):
            findings += _check_passed_over(self.store.working_paths(folder))
        read = {f"recipes/{slug}.yaml": self.read_recipe(slug, materials=register) for slug in self.recipes()}
        for path, (recipe, faults) in read.items():
            findings += _check_read(path, recipe, faults, register, settings)
        findings += self._check_lineages([recipe for recipe, _ in read.values() if recipe is not None])
        return in_file_order(findings)

    def _check_lineages(self, recipes: Collection[Recipe]) -> Iterable[Finding]:
        from formulary.history.lineage import check_lineage
        from formulary.workshop.parent import check_parents

        lives = self.lives()  # looks first where the branch stands now
        based_on = [recipe.based_on for recipe in recipes if recipe.based_on is not None]
        tip = self.store.tip_blobs("recipes/") if based_on else {}
        saved = {slug_of(path): blob for path, blob in tip.items()}
        names = {parent.recipe for parent in based_on} | {recipe.slug for recipe in recipes if recipe.formerly}
        ids = {parent.version for parent in based_on} | {saved[name] for name in names if name in saved}
        present = self.store.read_blobs(ids) if based_on else {}
        for recipe in recipes:
            path = f"recipes/{recipe.slug}.yaml"
            yield from (finding.at(path) for finding in check_lineage(recipe, lives.other_owner, present))
        yield from check_parents(recipes, saved.get, present.get)


def _faults_of(recipe: Recipe, faults: Mapping[str, tuple[Finding, ...]]) -> list[Finding]:
    """What is wrong in the maker's own files of a recipe's materials. faults: path -> what is wrong in that file."""
    return [fault for name in recipe.materials() for fault in faults.get(f"materials/{name}.yaml", ())]


def _check_passed_over(paths: Collection[str]) -> Iterable[Finding]:
    """What beside the recipes and materials is none; by its ending or its place it may be meant as one."""
    for path in paths:
        kind, name = path.split("/", 1)[0].removesuffix("s"), path.split("/", 1)[1]
        meant = would_be_read_at(path)
        if meant == path:
            continue
        if meant is not None:
            what, do = f"{name} is no {kind} here and is passed over", f"if it is to be one, call it {meant}"
            if meant in paths:
                do = f"leave it if {meant} is what counts; else give it a name of its own beside that"
            yield warn(f"not-a-{kind}", what, do, Place(path))
        elif kind == "recipe":
            yield note("not-a-recipe", "this file is no recipe and is passed over", "", Place(path))


def _check_read(
    path: str,
    recipe: Recipe | None,
    findings: tuple[Finding, ...],
    register: Mapping[str, Material],
    settings: Settings | None,
) -> Iterable[Finding]:
    """What is wrong in a recipe as it was read. settings: None where nothing can be worked out by them."""
    if recipe is None or has_errors(findings):
        return findings
    faults = check_recipe(recipe, register) if settings is None else check_kilogram(recipe, register, settings)
    return [finding.at(path) for finding in (*findings, *faults)]
