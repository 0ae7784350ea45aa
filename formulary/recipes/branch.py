"""A variant: a recipe's text with its comments, a remembered parent, and the tweaks that make it another bar."""

from __future__ import annotations

from dataclasses import replace

from formulary.errors import InputError
from formulary.finding import has_errors
from formulary.recipes.apply_tweaks import Materials, apply_tweaks
from formulary.recipes.edit import edit_recipe
from formulary.recipes.model import BasedOn
from formulary.recipes.read import check_name, parse_recipe
from formulary.recipes.tweaks import Tweak
from formulary.recipes.version import Version


def branch(
    version: Version, slug: str, *tweaks: Tweak, register: Materials | None = None, name: str | None = None
) -> Version:
    """A variant of a saved version, unsaved: the same text and comments with the tweaks made.

    slug: the variant's name on the command line, lower-case words joined by hyphens.
    tweaks: from `swap`, `add`, `drop` and `set_field`. register: the materials; the built-in ones unless given.
    name: what people call it; made of the slug unless given or set by a tweak.
    Raises InputError when the version is not saved (its id could not be found again), has an open conflict, or when the
    name or a tweak does not fit; with all findings together.
    """
    if not version.is_saved:
        what = f"{version.slug} has changes that are not saved; a variant remembers its parent by a saved version"
        do = f"save it first (`formulary save {version.slug} -m WHY`), or branch {version.slug}@latest"
        raise InputError.of("parent-unsaved", what, do)
    if version.recipe.conflicts:
        what = f"{version.slug} has an open conflict"
        raise InputError.of("conflict-open", what, "settle it in the file and remove `conflicts:`, then branch")
    problem = check_name(slug)
    if problem is None and slug == version.slug:
        what = f"{slug} is the recipe itself"
        raise InputError.of("name-taken", what, "give the variant another name")
    if register is None:
        from formulary.materials.register import read_builtin_register

        register = read_builtin_register()
    findings = [problem] if problem is not None else []
    recipe = version.recipe
    try:
        recipe = apply_tweaks(recipe, tweaks, register)
    except InputError as fault:
        findings += fault.findings
    if findings:
        raise InputError(findings)
    renamed = recipe.name if recipe.name != version.recipe.name else _name_from(slug)
    variant = replace(
        recipe,
        slug=slug,
        name=name if name is not None else renamed,
        formerly=(),
        based_on=BasedOn(version.slug, version.id),
    )
    return _version(edit_recipe(version.text, variant), slug, register)


def _version(text: str, slug: str, register: Materials) -> Version:
    recipe, findings = parse_recipe(text, slug, f"recipes/{slug}.yaml", materials=register)
    if recipe is None or has_errors(findings):
        raise InputError(findings)
    return Version(recipe=recipe, text=text, is_saved=False)


def _name_from(slug: str) -> str:
    """`midwinter-clove` -> `Midwinter clove`."""
    words = slug.replace("-", " ")
    return words[0].upper() + words[1:]
