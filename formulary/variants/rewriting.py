"""A recipe's file made to say something else, unsaved: what bringing changes in and sending them back both do.

Such a file can be taken back with `restore NAME@latest --discard`; that is why unsaved changes are not mixed with it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from formulary.errors import ChangedError, InputError
from formulary.finding import Finding, Place, error, has_errors, warn
from formulary.recipes.edit import edit_recipe
from formulary.recipes.model import Recipe, comparable
from formulary.recipes.read import parse_recipe
from formulary.recipes.version import Version

if TYPE_CHECKING:
    from formulary.workshop.formulary_workshop import FormularyWorkshop


def rewrite(folder: FormularyWorkshop, version: Version, intended: Recipe) -> Version:
    """A version with its text made to say something else; itself where it says that already.

    Raises InputError where its file cannot be changed without risk, or would name what is not known here.
    """
    if comparable(intended) == comparable(version.recipe):
        return version
    path = f"recipes/{version.slug}.yaml"
    try:
        text = edit_recipe(version.text, intended)
    except InputError as fault:
        do = "make that change by hand, save it, and try again: what both have alike is no matter any more"
        raise InputError(
            replace(finding, do=f"{finding.do.partition(', then')[0]}; {do}") for finding in fault.findings
        ) from None
    recipe, findings = parse_recipe(text, version.slug, path, materials=folder.register)
    if recipe is None or has_errors(findings):
        # Not in the file, which does not say this yet.
        raise InputError(replace(each, place=Place(path, field=each.place.field)) for each in findings)
    return Version(recipe=recipe, text=text, is_saved=False, label="not saved yet")


def write_rewritten(folder: FormularyWorkshop, before: Version, after: Version) -> None:
    """Put what a version was rewritten to into its file, unsaved.

    Raises ChangedError when the file is no longer what it was when it was read.
    """
    path = f"recipes/{before.slug}.yaml"
    folder.store.write_working(path, after.text.encode("utf-8"), read=before.text.encode("utf-8"))
    folder.refresh()


def demand_saved(version: Version, other: str) -> None:
    """Raises ChangedError where a file has changes that were not saved. other: the recipe whose changes would come."""
    if version.is_saved:
        return
    path = f"recipes/{version.slug}.yaml"
    what = f"{path} has changes that were not saved, and they would be mixed with those of {other}"
    do = f"save them first, so that this can be taken back: formulary save {version.slug} -m WHY"
    raise ChangedError([error("unsaved-changes", what, do, Place(path))])


def check_purpose(before: Recipe, after: Recipe, other: str, do: str) -> Iterator[Finding]:
    """A soap for skin that is one no more: what stopped it before would only warn now. other: where that comes from."""
    if before.purpose == "skin" and after.purpose != "skin":
        what = f"{other} is {after.purpose} soap, and {before.slug} would be, too: never for use on skin"
        yield warn("purpose-changed", what, do)
