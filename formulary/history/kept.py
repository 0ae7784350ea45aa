"""Reads many saved versions at once: those that were read before from the person's cache folder, the rest from git.

The cache is a convenience and never a source: an entry counts only with its check sum, from the same edition of this
program's reader, and when its text is the one that its id stands for; whatever is wrong with it means that git is
asked, and it can be deleted at any time. That its record is the one of its text is believed, so this is for histories
that are looked at: nothing is made by what is read here.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple, TypeAlias

from formulary.document.parse import parser_edition
from formulary.finding import Finding, Place
from formulary.identity import blob_id
from formulary.recipes.kept_recipe import parse_kept_recipe, render_kept_recipe
from formulary.recipes.model import Recipe
from formulary.recipes.read import parse_recipe
from formulary.store.cache import BlobCache

WORTH_KEEPING = 40  # versions; fewer are read sooner than the cache is opened
_READERS = (
    "formulary.document.fields",
    "formulary.document.merge_marks",
    "formulary.document.parse",
    "formulary.document.tree",
    "formulary.errors",
    "formulary.given",
    "formulary.history.kept",
    "formulary.names",
    "formulary.quantity",
    "formulary.rate",
    "formulary.read_only",
    "formulary.recipes.kept_recipe",
    "formulary.recipes.model",
    "formulary.recipes.read",
    "formulary.recipes.read_portions",
    "formulary.store.cache",
)


class ReadContent(NamedTuple):
    """What one saved content says: no recipe when it has faults, and then the findings that say which."""

    recipe: Recipe | None
    text: str
    findings: tuple[Finding, ...]


# id, recipe's name, path -> its content; None for what is not in this clone
ReadVersion: TypeAlias = Callable[[str, str, str], ReadContent | None]


def reader_edition() -> str | None:
    """What stands for the code that reads recipes: another edition never sees what this one kept; None if unknown."""
    digest = sha256(parser_edition().encode("utf-8"))
    try:
        for name in _READERS:
            digest.update(Path(sys.modules[name].__file__ or "").read_bytes())
    except OSError:
        return None
    return digest.hexdigest()[:16]


@contextmanager
def reading_versions(
    ids: Collection[str], read_blobs: Callable[[Iterable[str]], Mapping[str, bytes]], folder: Path | None
) -> Iterator[ReadVersion]:
    """A way to read these saved contents; what was read anew is kept for the next time when this ends.

    read_blobs: ids -> bytes, of those that there are. folder: the person's cache folder, None to keep nothing.
    """
    edition = reader_edition() if folder is not None and len(ids) >= WORTH_KEEPING else None
    if folder is None or edition is None:
        blobs = read_blobs(ids)
        yield lambda identifier, slug, path: _read(blobs.get(identifier), slug, path)
        return
    with BlobCache(folder, edition) as cache, without_collecting():
        kept = cache.read(ids)
        blobs = dict(read_blobs([identifier for identifier in ids if identifier not in kept]))
        fresh: dict[str, bytes] = {}

        def read_version(identifier: str, slug: str, path: str) -> ReadContent | None:
            entry = kept.get(identifier)
            if entry is not None:
                content = _parse_entry(entry, identifier, slug, path)
                if content is not None:
                    return content
                blobs.update(read_blobs([identifier]))
            content = _read(blobs.get(identifier), slug, path)
            if content is not None and content.recipe is not None and not content.findings:
                made = render_kept_recipe(content.recipe)
                if made:
                    fresh[identifier] = made + b"\0" + blobs[identifier]
            return content

        yield read_version
        cache.write(fresh)


def _parse_entry(entry: bytes, identifier: str, slug: str, path: str) -> ReadContent | None:
    parts, _, data = entry.rpartition(b"\0")
    if blob_id(data) != identifier:
        return None
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        return None
    recipe = parse_kept_recipe(parts, slug, path, partial(_read_places, text, slug, path))
    return None if recipe is None else ReadContent(recipe, text, ())


def _read_places(text: str, slug: str, path: str) -> Mapping[str, Place]:
    recipe, _ = parse_recipe(text, slug, path)
    return recipe.places if recipe is not None else {}


def _read(data: bytes | None, slug: str, path: str) -> ReadContent | None:
    if data is None:
        return None
    recipe, findings = parse_recipe(data, slug, path)
    return ReadContent(recipe, data.decode("utf-8", "replace"), findings)


@contextmanager
def without_collecting() -> Iterator[None]:
    """Spares the search for rings of garbage while very many small things are made that stay."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
