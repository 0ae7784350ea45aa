"""Opens a formulary: its files, and everything that is done with them."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from formulary.batch.checks import check_recipe
from formulary.batch.weigh_out import check_kilogram
from formulary.errors import InputError, StorageError
from formulary.fields import SLUG
from formulary.files import SETTINGS_FILE, FormularyFiles
from formulary.finding import Finding, Place, Severity, error, has_errors, in_file_order, note
from formulary.recipe_file import check_recipe_file, read_recipe_file
from formulary.recipes.read import check_name, parse_recipe
from formulary.recipes.version import Version
from formulary.versions import is_recipe_file, slug_of
from formulary.workshop import Workshop

if TYPE_CHECKING:
    from datetime import datetime

    from formulary.changes.changes import Changes
    from formulary.recipes.model import Recipe
    from formulary.recipes.tweaks import Tweak
    from formulary.saving import CheckFiles, SaveReport
    from formulary.store.store import Store


def open_folder(root: Path | str, *, cache: Path | None = None) -> Folder:
    """The formulary in a folder, ready to read, work out and save.

    cache: the person's folder for what programs can work out again, outside the formulary; what is read of many
    versions is kept there, to be read sooner the next time. Nothing is kept without it.
    Raises InputError when the folder holds no formulary, StorageError when it is not under git or not readable.
    """
    path = Path(root).absolute()
    if not (path / SETTINGS_FILE).is_file():
        what = f"{root} is no formulary: it has no {SETTINGS_FILE}"
        raise InputError.of("not-a-formulary", what, "make one with `formulary init DIR`, or go to the folder of yours")
    from formulary.store.store import open_store

    if cache is not None and cache.resolve().is_relative_to(path.resolve()):
        cache = None  # nothing that reads changes anything in a formulary
    return Folder(path, open_store(path), cache)


class Folder(FormularyFiles, Workshop):
    """A formulary in its folder, to work out, check, branch and save."""

    def __init__(self, root: Path, store: Store, cache: Path | None = None) -> None:
        FormularyFiles.__init__(self, root, store, cache)
        Workshop.__init__(self)

    def __enter__(self) -> Folder:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End what the store may still hold open."""
        self.store.close()

    def refresh(self) -> None:
        """Forget what was read, to see files and saves that others have changed since."""
        super().refresh()
        self._compared.clear()

    # -- which recipe ----------------------------------------------------------------------------

    def _demand_materials(self, recipe: Recipe) -> None:
        """Stop rather than weigh out by built-in values what the maker has a file for that cannot be read."""
        found = self._material_faults(recipe)
        if has_errors(found):
            raise InputError(fault for fault in found if fault.severity is Severity.ERROR)

    def _material_faults(self, recipe: Recipe) -> list[Finding]:
        """What is wrong in the maker's own files of a recipe's materials."""
        faults = self.material_findings
        return [fault for name in recipe.materials() for fault in faults.get(f"materials/{name}.yaml", ())]

    def find_recipe(self, reference: str) -> Version:
        """A version to look at or to weigh out: as in `find_version`, or a recipe's file by its path.

        A file of this formulary's own `recipes/` is the recipe of its name; any other is read as it is, by this
        formulary's materials. Raises InputError, StorageError.
        """
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

    def check_recipe(self, reference: str) -> tuple[Finding, ...]:
        """Everything that is wrong or worth knowing in one recipe's file, in file order.

        reference: a recipe's name, or a file by its path. Raises InputError when there is no such recipe.
        """
        own = self._own_recipe(reference) if is_recipe_file(reference) else reference
        if own is None:
            return check_recipe_file(self, reference)
        if own not in self.recipes():
            version = self.find_version(own)  # says what is here instead
            what = f"{own} is an earlier version; a recipe is checked as it stands"
            raise InputError.of("not-a-version", what, f"name the recipe alone: {version.slug}")
        path = f"recipes/{own}.yaml"
        recipe, faults = parse_recipe(self.store.read_working(path), own, path, materials=self.register)
        of_materials = [] if recipe is None else self._material_faults(recipe)
        found = [*self.settings_findings, *of_materials]
        is_sound = not has_errors(found)
        return in_file_order([*found, *self._check_recipe(path, recipe, faults, work_out=is_sound)])

    # -- checking --------------------------------------------------------------------------------

    def check(self) -> tuple[Finding, ...]:
        """Everything that is wrong or worth knowing in the folder's settings, materials and recipes, in file order."""
        findings: list[Finding] = list(self.settings_findings)
        settings_broken = has_errors(findings)
        for faults in self.material_findings.values():
            findings += faults
        for path in self.paths("materials") + self.paths("recipes"):
            if not SLUG.fullmatch(slug_of(path)):
                do = "rename the file to lower-case words joined by hyphens"
                findings.append(error("bad-name", f"{path!r} is not a name used here", do, Place(path)))
        for path in self.store.working_paths("recipes/"):
            if not path.endswith(".yaml") or path.count("/") != 1:
                findings.append(note("not-a-recipe", "this file is no recipe and is passed over", "", Place(path)))
        read = {}
        for slug in self.recipes():
            path = f"recipes/{slug}.yaml"
            read[path] = parse_recipe(self.store.read_working(path), slug, path, materials=self.register)
        for path, (recipe, faults) in read.items():
            findings += self._check_recipe(path, recipe, faults, work_out=not settings_broken)
        findings += self._check_lineages([recipe for recipe, _ in read.values() if recipe is not None])
        return in_file_order(findings)

    def _check_lineages(self, recipes: Collection[Recipe]) -> Iterable[Finding]:
        from formulary.lineage import check_lineage
        from formulary.parent import check_parents

        based_on = [recipe.based_on for recipe in recipes if recipe.based_on is not None]
        tip = self.store.tip_blobs("recipes/") if based_on else {}
        saved = {slug_of(path): blob for path, blob in tip.items()}
        names = {parent.recipe for parent in based_on} | {recipe.slug for recipe in recipes if recipe.formerly}
        ids = {parent.version for parent in based_on} | {saved[name] for name in names if name in saved}
        present = self.store.read_blobs(ids) if based_on else {}
        lives = self.lives()
        for recipe in recipes:
            path = f"recipes/{recipe.slug}.yaml"
            yield from (finding.at(path) for finding in check_lineage(recipe, lives.other_owner, present))
        yield from check_parents(recipes, saved.get, present.get)

    def _check_recipe(
        self, path: str, recipe: Recipe | None, findings: tuple[Finding, ...], *, work_out: bool
    ) -> Iterable[Finding]:
        if recipe is None or has_errors(findings):
            return findings
        faults = (
            check_kilogram(recipe, self.register, self.settings) if work_out else check_recipe(recipe, self.register)
        )
        return [finding.at(path) for finding in (*findings, *faults)]

    # -- branching and saving --------------------------------------------------------------------

    def branch(self, reference: Version | str, slug: str, *tweaks: Tweak, name: str | None = None) -> Version:
        """A variant of a saved version with its tweaks, not written yet; `write` or `save` it.

        Raises InputError for a name that is taken or unusable, an unsaved parent, or a tweak that does not fit.
        """
        version = self.find_version(reference) if isinstance(reference, str) else reference
        self._demand_free(slug)
        return version.branch(slug, *tweaks, register=self.register, name=name)

    def compose(
        self,
        slug: str,
        weights: Iterable[str],
        *,
        name: str | None = None,
        superfat: str = "5",
        lye_concentration: str = "33",
    ) -> Version:
        """A new recipe from weights ("olive-oil 450 g"), in percentages that total exactly 100; not written yet.

        Raises InputError for a name that is taken, an oil that is not known, or a weight that is none.
        """
        from formulary.batch.from_weights import percentages_from_weights
        from formulary.recipes.compose import compose_recipe, parse_weights

        self._demand_free(slug)
        oils = [oil for oil, material in self.register.items() if material.kind.is_fat]
        percents = percentages_from_weights(parse_weights(weights, oils))
        return compose_recipe(slug, percents, name=name, superfat=superfat, lye_concentration=lye_concentration)

    def _demand_free(self, slug: str) -> None:
        fault = check_name(slug)
        if fault is not None:
            raise InputError([fault])
        if slug in self.recipes() or f"recipes/{slug}.yaml" in self.store.tip_blobs("recipes/"):
            raise InputError.of("name-taken", f"there is a recipe {slug!r} already", "choose another name")

    def write(self, version: Version) -> Path:
        """Write a new variant to its file, which must not exist. Raises InputError, StorageError."""
        path = self.root / "recipes" / f"{version.slug}.yaml"
        try:
            path.parent.mkdir(exist_ok=True)
            with path.open("x", encoding="utf-8", newline="") as file:
                file.write(version.text)
        except FileExistsError:
            raise InputError.of("name-taken", f"recipes/{path.name} exists already", "choose another name") from None
        except OSError as fault:
            what = f"recipes/{path.name} could not be written ({fault.strerror})"
            raise StorageError.of("not-written", what, "check the folder's permissions and the disk's space") from None
        return path

    def save(self, version: Version, *, why: str) -> Version:
        """Save one version, writing its file when it is new; returns it as saved."""
        path = f"recipes/{version.slug}.yaml"
        if path not in self.store.working_paths("recipes/"):
            self.write(version)
        elif self.store.read_working(path) != version.text.encode("utf-8"):
            what = f"{path} holds something else than this version"
            raise InputError.of("file-differs", what, "compare them; save the file, or give the version another name")
        self.save_changed([version.slug], why=why)
        return self.find_version(version.slug)

    def changed_paths(self) -> tuple[str, ...]:
        """The formulary's files that differ from the last save, new and deleted ones among them."""
        from formulary.saving import find_changed_paths

        return find_changed_paths(self)

    def save_changed(
        self,
        names: Iterable[str] = (),
        *,
        why: str,
        now: datetime | None = None,
        check: CheckFiles | None = None,
    ) -> SaveReport:
        """One commit of what changed, with the change in words in its message; `names` limits it to those recipes.

        now: when it is saved; the present unless given. check: finds what is wrong in trials' files, which this layer
        does not read: `Bench.check_files`.
        Raises InputError when nothing changed, or when a file to be saved cannot be read as meant (nothing is saved).
        """
        from formulary.saving import save_changed

        return save_changed(self, tuple(names), why=why, now=now, check=check)

    def unsaved_change(self, version: Version) -> Changes | None:
        """What saving a version would change in its recipe as last saved; None where nothing can be held against it."""
        from formulary.saving import find_unsaved_change

        return find_unsaved_change(self, version)
