"""Where a recipe comes from: its saves in order, numbered; and what it says of its earlier names and its parent."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from formulary.finding import Finding, Place, error, note
from formulary.recipes.model import Recipe
from formulary.recipes.version import Version

if TYPE_CHECKING:
    from formulary.history.kept import ReadVersion
    from formulary.store.saved import Saved

_FETCH = "`formulary doctor` tells more; `git fetch` from another copy brings what is missing"
_ORDINALS = {1: "st", 2: "nd", 3: "rd"}


@dataclass(frozen=True, slots=True)
class SavedVersion:
    """One save of a recipe, oldest first counted from 1; `version` is None when its text cannot be read any more.

    is_cut_short: whether older saves are not in this copy, which the numbers then do not count.
    """

    number: int
    version: Version | None
    id: str
    when: datetime
    author: str
    why: str
    returns_to: int | None = None  # the earlier number whose content this is again
    findings: tuple[Finding, ...] = ()
    commit: str = ""
    path: str = ""  # of its file then
    is_cut_short: bool = False

    def __repr__(self) -> str:
        return f"<SavedVersion {self.number}, {self.id[:8]}: {self.why}>"


def number_saves(
    saves: Iterable[Saved],
    slug: str,
    read: ReadVersion,
    *,
    cut: Container[str] = (),
    returns: Container[str] = (),
) -> Iterator[SavedVersion]:
    """The saves of a recipe, counted from 1; saves that changed nothing in it are passed over.

    saves: oldest first. read: an id's content; what is missing there is said to be missing. cut: the commits before
    which this copy holds nothing. returns: those in which the recipe came back after it had been deleted.
    """
    listed = tuple(saves)
    is_cut_short = any(save.commit in cut for save in listed)
    first_seen: dict[str, int] = {}
    previous: str | None = None
    number = 0
    for save in listed:
        if save.blob is None or (save.blob == previous and save.commit not in returns):
            continue  # a deletion, a rename, or a merge that brought nothing new
        number += 1
        previous = save.blob
        version, findings = read_numbered(save.blob, slug, save.path, number, read, is_cut_short=is_cut_short)
        returns_to = first_seen.get(save.blob)
        yield SavedVersion(
            number,
            version,
            save.blob,
            save.when,
            save.author,
            save.subject,
            returns_to,
            findings,
            save.commit,
            save.path,
            is_cut_short,
        )
        first_seen.setdefault(save.blob, number)


def read_numbered(
    identifier: str, slug: str, path: str, number: int, read: ReadVersion, *, is_cut_short: bool = False
) -> tuple[Version | None, tuple[Finding, ...]]:
    """A saved version, by what `read` says of it; None and what is wrong where it cannot be read."""
    content = read(identifier, slug, path)
    if content is None:
        missing = error("content-missing", "this content is missing or damaged in this clone", _FETCH, Place(path))
        return None, (missing,)
    if content.recipe is None:
        return None, content.findings
    label = f"the {number}{ordinal_ending(number)} saved{' in this copy' if is_cut_short else ''}"
    return Version(recipe=content.recipe, text=content.text, is_saved=True, label=label), content.findings


def check_lineage(
    recipe: Recipe, other_owner: Callable[[str, str], str | None], present: Container[str]
) -> Iterator[Finding]:
    """What is wrong with a recipe's earlier names and with the version that it is based on.

    other_owner: (recipe, earlier name) -> the other recipe that has the saves under it, None where this one has them.
    present: the ids of saved files that this clone holds.
    """
    for name in recipe.formerly:
        do = f"take {name} out of `formerly`, which names what this recipe was called before"
        owner = recipe.slug if name == recipe.slug else other_owner(recipe.slug, name)
        if owner is None:
            continue
        if owner == name:
            itself = name == recipe.slug
            what = f"{name} is its name now" if itself else f"{name} is a recipe of its own, with a history of its own"
            yield error("formerly-live", what, do, recipe.place("formerly", name))
        else:
            what = f"the saves under {name} are those of {owner}, which was called so before this recipe was"
            yield error("formerly-taken", what, do, recipe.place("formerly", name))
    parent = recipe.based_on
    if parent is None:
        return
    place = recipe.place("based_on")
    if parent.recipe == recipe.slug:
        what = "the recipe says that it is based on itself"
        yield error("based-on-itself", what, "name the recipe that it was branched from, or remove `based_on`", place)
    elif parent.version not in present:
        what = f"the version that it is based on, {parent.name}, is not in this clone"
        do = "fetch the full history, or remove `based_on` if the parent was never here"
        yield note("parent-missing", what, do, place)


def ordinal_ending(number: int) -> str:
    """`st`, `nd`, `rd` or `th`."""
    return "th" if 10 <= number % 100 <= 20 else _ORDINALS.get(number % 10, "th")
