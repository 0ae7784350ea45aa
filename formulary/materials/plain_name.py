"""A material's name as people say it, in every sentence and on every sheet."""

from __future__ import annotations


def material_words(slug: str) -> str:
    """A material's name as a person says it: `olive-oil` is olive oil."""
    return slug.replace("-", " ")
