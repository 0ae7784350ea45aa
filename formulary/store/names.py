"""Lasting names: annotated tags, which neither a rebase nor a rename takes away."""

from __future__ import annotations

import re
from datetime import datetime

from formulary.errors import InputError
from formulary.store.branch import create_tag
from formulary.store.objects import named, write_loose
from formulary.store.person import Person
from formulary.store.process import Git
from formulary.store.reading import find_objects
from formulary.store.repository import Repository

_NAME = re.compile(r"(?=[^-./])(?!.*(?:\.\.|//|/\.|\.lock(?:/|\Z)|\./|\.\Z|/\Z))[\w./+=-]{1,100}\Z")

# The number of a save, or the beginning of an id: what is called so would never be found by it.
_MEANS_A_SAVE = re.compile(r"[0-9]+|[0-9a-f]{4,40}")


def demand_lasting_name(name: str) -> str:
    """`name` itself when it can be a lasting name; `InputError` otherwise."""
    if not _NAME.match(name) or _MEANS_A_SAVE.fullmatch(name) or name in ("HEAD", "latest"):
        raise InputError.of(
            "name-unusable",
            f"“{name[:60]}” cannot be a lasting name.",
            "Use letters, digits, hyphens and dots, such as shop-2026; not a number or the beginning of an id.",
        )
    return name


def create_tag_of(
    repository: Repository, git: Git, tag: str, commit: str, person: Person, now: datetime, message: str
) -> bool:
    """Writes the tag of a commit; False when the name is taken. Raises `InputError` for what is no commit here."""
    if find_objects(git, [commit]).get(commit) != (commit, "commit"):
        raise InputError.of("revision", f"“{commit[:60]}” is not a commit of this formulary.", "Give its 40 digits.")
    text = message.replace("\0", "").strip() or tag
    name = tag.removeprefix("refs/tags/")
    head = f"object {commit}\ntype commit\ntag {name}\ntagger {person.signature(now)}\n"
    identifier, body = named("tag", f"{head}\n{text}\n".encode("utf-8", "replace"))
    write_loose(repository.common_dir / "objects", {identifier: body})
    return create_tag(repository, tag, identifier)
