"""A recipe's file by itself, such as one that came by mail: read, checked and worked out outside of any formulary."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from formulary.batch.weigh_out import check_kilogram
from formulary.document.parse import MAX_BYTES
from formulary.errors import InputError, StorageError
from formulary.finding import Finding, Place, has_errors, in_file_order, note, warn
from formulary.history.versions import is_recipe_file
from formulary.materials.register import Register, read_builtin_register
from formulary.names import suggest
from formulary.recipes.read import parse_recipe
from formulary.recipes.version import Version
from formulary.settings import Settings
from formulary.workshop.workshop import Workshop

if TYPE_CHECKING:
    from collections.abc import Collection

    from formulary.recipes.model import Recipe

LABEL = "a file by itself"


def read_recipe_file(reference: str, materials: Collection[str]) -> Version:
    """The recipe in a file, unsaved and of no formulary.

    reference: the file's path. materials: the names that are known.
    Raises InputError when there is no such file or with every fault in it, StorageError when it may not be read.
    """
    version, findings = _read_version(reference, materials)
    if version is None:
        raise InputError(in_file_order(findings))
    return version


def check_recipe_file(workshop: Workshop, reference: str) -> tuple[Finding, ...]:
    """Everything that is wrong or worth knowing in a recipe's file, in file order, by a workshop's materials.

    Raises InputError when there is no such file, StorageError when it may not be read.
    """
    version, findings = _read_version(reference, workshop.register)
    found = [*findings]
    if version is not None:
        found += workshop.remarks(version)
        found += check_kilogram(version.recipe, workshop.register, workshop.settings)
    return in_file_order(finding.at(reference) for finding in found)


def _read_version(reference: str, materials: Collection[str]) -> tuple[Version | None, tuple[Finding, ...]]:
    data = _read(reference)
    slug = re.sub(r"[^a-z0-9]+", "-", Path(reference).stem.lower()).strip("-") or "recipe"
    recipe, findings = parse_recipe(data, slug, reference, materials=materials)
    if recipe is None:
        return None, findings
    return Version(recipe=recipe, text=data.decode("utf-8"), is_saved=False, label=LABEL, file=reference), findings


def _read(reference: str) -> bytes:
    path = Path(reference)
    do = "name the recipe's file by its path"
    try:
        if path.is_file():
            with path.open("rb") as file:
                return file.read(MAX_BYTES + 1)  # the reader says of a larger one that it is too large
        if path.exists():
            raise InputError.of("no-recipe", f"there is no file {reference}, only something else of that name", do)
        beside = sorted(each.name for each in path.parent.iterdir() if is_recipe_file(each.name))
    except (FileNotFoundError, NotADirectoryError):
        beside = []
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or fault
        raise StorageError.of("not-read", f"{reference} cannot be read ({why})", "check its permissions") from None
    what = f"there is no file {reference}"
    raise InputError.of("no-recipe", what, suggest(path.name, beside, do))


class RecipeFiles(Workshop):
    """Recipes in files by themselves, worked out by the built-in materials and the usual settings."""

    @property
    def register(self) -> Register:
        """The built-in materials."""
        return read_builtin_register()

    @property
    def settings(self) -> Settings:
        """The usual settings."""
        return Settings()

    def find_recipe(self, reference: str) -> Version:
        """The recipe in a file.

        Raises InputError when there is no such file, or with every fault in it; StorageError when it may not be read.
        """
        try:
            return read_recipe_file(reference, self.register)
        except InputError as fault:
            raise InputError(_with_hint(fault.findings)) from None

    def check_recipe(self, reference: str) -> tuple[Finding, ...]:
        """Everything that is wrong or worth knowing in a recipe's file, in file order. Raises as `find_recipe`."""
        return _with_hint(check_recipe_file(self, reference))

    def remarks(self, version: Version) -> tuple[Finding, ...]:
        """That none of the values of whoever wrote the recipe is known here."""
        what = (
            "this is worked out outside of any formulary, by built-in values of its materials and the usual settings;"
            " materials, certificates and limits of whoever wrote the recipe are not known here"
        )
        do = "hold it against your own certificates; for values of your own `formulary init` makes a formulary"
        return (warn("recipe-file", what, do, Place(version.file)),)

    def _materials_for(self, recipe: Recipe) -> Register:  # noqa: ARG002
        """Built-in ones can always be relied on."""
        return self.register


def _with_hint(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Findings, with a word on what to do about materials that only whoever wrote the recipe has."""
    if not has_errors(findings) or all(finding.code != "unknown-material" for finding in findings):
        return findings
    what = "outside of a formulary only built-in materials are known"
    do = "make one with `formulary init`, put the recipe under its recipes/, and the material's file under materials/"
    return (*findings, note("recipe-file", what, do))
