"""How names are written here, and which of them somebody most likely meant."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")

# What the alkalis are called at the bench, and their names here.
_ALSO_CALLED = {
    "naoh": "sodium-hydroxide",
    "caustic-soda": "sodium-hydroxide",
    "lye": "sodium-hydroxide",
    "soda-lye": "sodium-hydroxide",
    "koh": "potassium-hydroxide",
    "caustic-potash": "potassium-hydroxide",
    "potash-lye": "potassium-hydroxide",
}


@lru_cache(maxsize=4096)
def is_slug(text: str) -> bool:
    """Whether a text is a name in plain lower-case words joined by hyphens."""
    return SLUG.fullmatch(text) is not None


def nearest(word: str, words: Iterable[str], count: int = 3) -> tuple[str, ...]:
    """The names that a person most likely meant: those that hold its words, then those written much alike.

    `olive oil` means olive-oil, `shea` shea-butter, `NaOH` sodium-hydroxide. Names that have only an ending such as
    `-oil` in common are not alike.
    """
    from difflib import get_close_matches

    known: dict[str, str] = {}  # as it is compared -> as it is written, such as a lot's capitals
    for name in words:
        known.setdefault(hyphenate(name), name)
    slug = hyphenate(word)
    parts = [part for part in slug.split("-") if len(part) > 1]
    meant = [name for name in (slug, _ALSO_CALLED.get(slug)) if name in known]
    holding = [name for name in sorted(known, key=len) if parts and all(part in name.split("-") for part in parts)]
    alike = [name for name in get_close_matches(slug, known, n=4 * count, cutoff=0.6) if _is_alike(slug, name)]
    return tuple(dict.fromkeys(known[name] for name in (*meant, *holding, *alike)))[:count]


def hyphenate(text: str) -> str:
    """Words as a name is written here: `Olive oil` becomes olive-oil."""
    return "-".join(re.split(r"[\s_-]+", text.strip())).casefold()


def _is_alike(word: str, name: str) -> bool:
    """Whether two names are alike in what is their own, not in an ending that both have."""
    from difflib import SequenceMatcher

    (own, _, ending), (other, _, other_ending) = word.rpartition("-"), name.rpartition("-")
    if not own or not other or ending != other_ending or not ending.isalpha():
        return True
    return SequenceMatcher(None, own, other).ratio() >= 0.6


def suggest(word: str, words: Iterable[str], otherwise: str) -> str:
    """What to write instead of a word that is not among `words`."""
    near = nearest(word, words)
    return f"did you mean {' or '.join(near)}?" if near else otherwise
