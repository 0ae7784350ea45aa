"""One saved (or not yet saved) content of a recipe, named by its bytes; and the variants branched from it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from formulary.errors import InputError
from formulary.finding import Finding, error, has_errors
from formulary.given import as_name
from formulary.identity import blob_id
from formulary.recipes.model import BasedOn, Recipe

if TYPE_CHECKING:
    from formulary.recipes.apply_tweaks import Materials
    from formulary.recipes.tweaks import Tweak


@dataclass(frozen=True, slots=True, kw_only=True)
class Version:
    """A recipe's exact text and what it says.

    text: the file, character for character. label: what a person calls it ("the 4th saved", "shop-2026").
    is_saved: whether git holds it; a working file that differs from the last save, or a new variant, is not.
    file: the path that it was read from, where that is no file of a formulary.
    """

    recipe: Recipe
    text: str
    is_saved: bool
    label: str | None = None
    file: str | None = None

    def __repr__(self) -> str:
        return f"<Version {self.name}{f', {self.label}' if self.label else ''}>"

    def __str__(self) -> str:
        return self.text

    @property
    def slug(self) -> str:
        """The recipe's name on the command line."""
        return self.recipe.slug

    @property
    def id(self) -> str:
        """The full id: the git blob id of the text."""
        return blob_id(self.text.encode("utf-8"))

    @property
    def short_id(self) -> str:
        """The first eight digits of the id, for people."""
        return self.id[:8]

    @property
    def name(self) -> str:
        """`recipe@id` with the short id, as it can be typed."""
        return f"{self.slug}@{self.short_id}"

    def branch(self, slug: str, *tweaks: Tweak, register: Materials | None = None, name: str | None = None) -> Version:
        """A variant of this version, unsaved: the same text and comments with the tweaks made, its parent remembered.

        slug: the variant's name on the command line, lower-case words joined by hyphens.
        tweaks: from `swap`, `add`, `drop` and `set_field`. register: the materials; the built-in ones unless given, so
        that `Folder.branch`, which knows the maker's own, is what a recipe of a formulary is branched with.
        name: what people call it; made of the slug unless given or set by a tweak.
        Raises InputError when the version is not saved (its id could not be found again), has an open conflict, or when
        the name or a tweak does not fit; with all findings together.
        """
        from formulary.recipes.apply_tweaks import apply_tweaks
        from formulary.recipes.edit import edit_recipe
        from formulary.recipes.read import check_name, parse_recipe

        self._demand_fit_for_a_parent()
        problem = check_name(slug)
        if problem is None and slug == self.slug:
            problem = error("name-taken", f"{slug} is the recipe itself", "give the variant another name")
        if register is None:
            from formulary.materials.register import read_builtin_register

            try:
                return self.branch(slug, *tweaks, register=read_builtin_register(), name=name)
            except InputError as fault:
                raise InputError(map(_with_own_materials, fault.findings)) from None
        findings = [problem] if problem is not None else []
        recipe = self.recipe
        try:
            recipe = apply_tweaks(recipe, tweaks, register)
        except InputError as fault:
            findings += fault.findings
        if findings:
            raise InputError(findings)
        if name is None:
            name = recipe.name if recipe.name != self.recipe.name else name_from(slug)
        variant = replace(recipe, slug=slug, name=name, formerly=(), based_on=BasedOn(self.slug, self.id))
        text = edit_recipe(self.text, variant)
        again, faults = parse_recipe(text, slug, f"recipes/{slug}.yaml", materials=register)
        if again is None or has_errors(faults):
            raise InputError(faults)
        return Version(recipe=again, text=text, is_saved=False)

    def _demand_fit_for_a_parent(self) -> None:
        if self.file is not None:
            raise outside_formulary(self.file, "a variant remembers its parent by a saved version")
        if not self.is_saved:
            what = f"{self.slug} has changes that are not saved; a variant remembers its parent by a saved version"
            do = f"save it first (`formulary save {self.slug} -m WHY`), or branch {self.slug}@latest"
            raise InputError.of("parent-unsaved", what, do)
        if self.recipe.conflicts:
            what = f"{self.slug} has an open conflict"
            raise InputError.of("conflict-open", what, "settle it in the file and remove `conflicts:`, then branch")


def recipe_named(given: Version | str) -> str:
    """The name of a recipe, or that of a version's. Raises InputError for what is neither."""
    return given.slug if isinstance(given, Version) else as_name(given)


def version_named(given: Version | str) -> str:
    """What a version is called, or is to be found by. Raises InputError for what is neither."""
    return given.name if isinstance(given, Version) else as_name(given)


def outside_formulary(file: str, why: str) -> InputError:
    """That a recipe's file can be looked at and weighed out only. why: what else it would have to be saved for."""
    what = f"{file} is no recipe of a formulary, and {why}"
    return InputError.of("recipe-file", what, "put it under recipes/, save it, and name it without its ending")


def name_from(slug: str) -> str:
    """What people call a recipe of that file, unless somebody said another: `midwinter-clove` -> `Midwinter clove`."""
    words = slug.replace("-", " ")
    return words[0].upper() + words[1:]


def _with_own_materials(fault: Finding) -> Finding:
    """A fault as it is; of a material that is not built in, with how a formulary's own are known."""
    if fault.code != "unknown-material":
        return fault
    return replace(fault, do=f"{fault.do}; a material of the formulary's own is known to folder.branch(...)")
