"""The register of all materials: built-in reference values, and the maker's own files over them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from functools import lru_cache

from formulary.fields import nearest
from formulary.materials.model import Material
from formulary.materials.working_value import with_working_value


class Register(Mapping[str, Material]):
    """Materials by slug. It never changes: `combined_with` gives another."""

    __slots__ = ("_materials",)

    def __init__(self, materials: Iterable[Material]) -> None:
        self._materials = {material.slug: material for material in materials}

    def __getitem__(self, slug: str) -> Material:
        return self._materials[slug]

    def __iter__(self) -> Iterator[str]:
        return iter(self._materials)

    def __len__(self) -> int:
        return len(self._materials)

    def find(self, slug: str) -> Material | None:
        """The material of that slug, or None."""
        return self._materials.get(slug)

    def nearest(self, slug: str, n: int = 3) -> tuple[str, ...]:
        """The slugs that a person most likely meant: those that hold the words, shortest first, then those alike."""
        words = [word for word in slug.replace("_", "-").replace(" ", "-").casefold().split("-") if word]
        holding = [
            other for other in sorted(self._materials, key=len) if words and all(word in other for word in words)
        ]
        return tuple(dict.fromkeys((*holding, *nearest(slug, self._materials, n))))[:n]

    def combined_with(self, makers: Iterable[Material]) -> Register:
        """This register with the maker's materials over it.

        A file of a built-in material's slug and kind overrides what it states; what it does not state stays
        as built in. A file of another kind takes the built-in one's place altogether.
        """
        return Register({**self._materials, **{material.slug: self._over(material) for material in makers}}.values())

    def _over(self, makers: Material) -> Material:
        below = self._materials.get(makers.slug)
        if below is None or below.kind is not makers.kind:
            return makers
        merged = replace(
            below,
            name=makers.name,
            stated=makers.stated,
            builtin=False,
            sources={**below.sources, **makers.sources},
            **{attribute: getattr(makers, attribute) for attribute in makers.stated},
        )
        return with_working_value(replace(merged, stated_working_value=makers.stated_working_value))


@lru_cache(maxsize=1)
def read_builtin_register() -> Register:
    """The built-in materials, read from the data files on first use and kept."""
    from formulary.materials.builtin import read_builtin_materials

    return Register(read_builtin_materials())
