"""One saved (or not yet saved) content of a recipe, named by its bytes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from formulary.identity import blob_id
from formulary.recipes.model import Recipe

if TYPE_CHECKING:
    from formulary.recipes.apply_tweaks import Materials
    from formulary.recipes.tweaks import Tweak


@dataclass(frozen=True, slots=True, kw_only=True)
class Version:
    """A recipe's exact text and what it says.

    text: the file, character for character. label: what a person calls it ("the 4th saved", "shop-2026").
    is_saved: whether git holds it; a working file that differs from the last save, or a new variant, is not.
    """

    recipe: Recipe
    text: str
    is_saved: bool
    label: str | None = None

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
        """A variant of this version with its tweaks, unsaved; see `formulary.recipes.branch.branch`."""
        from formulary.recipes.branch import branch

        return branch(self, slug, *tweaks, register=register, name=name)
