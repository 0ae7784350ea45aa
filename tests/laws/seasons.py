"""A base, a variant of it, and the base as it was saved later: drawn, and saved in a formulary."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import count

from hypothesis import Phase
from hypothesis import strategies as st

from formulary import Folder, Version
from formulary.recipes.model import BasedOn, Recipe
from tests.changes.test_merging import changed
from tests.laws.strategies import recipe_texts, recipes

NUMBERS = count(1)
PHASES = [Phase.explicit, Phase.reuse, Phase.generate, Phase.shrink]  # not the slow search for an explanation


def save(folder: Folder, slug: str, text: str) -> Version:
    path = f"recipes/{slug}.yaml"
    folder.store.save(
        {path: text.encode()}, message=f"save {slug}", read_from=folder.store.tip, expected={}, write_working=True
    )
    folder.refresh()
    return folder.find_version(slug)


@st.composite
def seasons(draw: st.DrawFn) -> tuple[Recipe, str, Recipe, str, Recipe, str]:
    """A base, a variant of it, and the base as it was saved later, each with a text that says it."""
    base = replace(draw(recipes(awkward_texts=False)), based_on=None, formerly=())
    variant = replace(draw(changed(draw(changed(base)))), name="The variant", based_on=BasedOn("base", "0" * 40))
    later = draw(changed(draw(changed(base))))
    return base, draw(recipe_texts(base)), variant, draw(recipe_texts(variant)), later, draw(recipe_texts(later))


def set_up(folder: Folder, season: tuple[Recipe, str, Recipe, str, Recipe, str]) -> str:
    """Saves the three; gives the variant's name back."""
    _, base_text, _, variant_text, _, later_text = season
    number = next(NUMBERS)
    base = save(folder, f"base-{number}", base_text)
    variant = re.sub(r"(recipe: *)base\b", rf"\1base-{number}", variant_text.replace("0" * 40, base.id))
    save(folder, f"variant-{number}", variant)
    if later_text != base_text:
        save(folder, f"base-{number}", later_text)
    return f"variant-{number}"
