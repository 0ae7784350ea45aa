"""The register of all materials: built-in reference values, and the maker's own files over them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from functools import lru_cache

from formulary.materials.model import Material
from formulary.materials.working_value import with_working_value
from formulary.names import nearest
from formulary.shown_as_text import ShownAsText


class Register(ShownAsText, Mapping[str, Material]):
    """Materials by slug. It never changes: `combined_with` gives another.

    Built-in materials are put together when they are first asked for, so that a batch pays only for its own.
    """

    __slots__ = ("_builders", "_materials")

    def __init__(
        self, materials: Iterable[Material], builders: Mapping[str, Callable[[str], Material]] | None = None
    ) -> None:
        self._materials = {material.slug: material for material in materials}
        self._builders = builders or {}

    def __getitem__(self, slug: str) -> Material:
        if slug not in self._materials:
            self._materials[slug] = self._builders[slug](slug)
        return self._materials[slug]

    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys((*self._builders, *self._materials)))

    def __len__(self) -> int:
        return len(self._builders.keys() | self._materials.keys())

    def __contains__(self, slug: object) -> bool:
        return slug in self._materials or slug in self._builders

    def __str__(self) -> str:
        from formulary.materials.text import render_materials

        return render_materials(self)

    def find(self, slug: str) -> Material | None:
        """The material of that slug, or None."""
        return self.get(slug)

    def nearest(self, slug: str, n: int = 3) -> tuple[str, ...]:
        """The slugs that a person most likely meant: those that hold the words, shortest first, then those alike."""
        words = [word for word in slug.replace("_", "-").replace(" ", "-").casefold().split("-") if word]
        holding = [other for other in sorted(self, key=len) if words and all(word in other for word in words)]
        return tuple(dict.fromkeys((*holding, *nearest(slug, self, n))))[:n]

    def combined_with(self, makers: Iterable[Material]) -> Register:
        """This register with the maker's materials over it.

        A file of a built-in material's slug and kind overrides what it states; what it does not state stays
        as built in. A file of another kind takes the built-in one's place altogether.
        """
        over = {material.slug: self._over(material) for material in makers}
        return Register({**self._materials, **over}.values(), self._builders)

    def _over(self, makers: Material) -> Material:
        below = self.find(makers.slug)
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
    from formulary.materials.builtin import read_builtin_tables

    tables = read_builtin_tables()
    return Register((), dict.fromkeys(tables.slugs, tables.build))
