"""Whether a save was found without an error or a stop before, so that its checks need not be made again.

Only that nothing was found is ever kept, in the person's cache folder: under the commit, whose id stands for every file
of it, and for this edition of the whole program and its tables. Anything else means that the checks are made.

Whoever can write in that folder can put such a word there for a save with a stop. So it is asked for in a formulary of
very many recipes alone, where the checks take longer than git, and by the status alone: `check`, a batch, a trial and
a save never ask.
"""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path

from formulary.document.parse import parser_edition
from formulary.store.cache import BlobCache

MOST_CHECKED_ANEW = 500  # recipes; so many are checked at every status, which takes 0.4 ms each
_PROGRAM = Path(__file__).parents[1]  # formulary, with its tables
_SOUND = b"nothing grave"


def is_worth_knowing(recipes: int) -> bool:
    """Whether a formulary has so many recipes that checking them all at every status would take long."""
    return recipes > MOST_CHECKED_ANEW


def program_edition() -> str | None:
    """What stands for all code and tables that a check rests on; None where they cannot be read."""
    digest = sha256(parser_edition().encode("utf-8"))
    try:
        for path in sorted(path for path in _PROGRAM.rglob("*") if path.suffix in (".py", ".csv")):
            digest.update(str(path.relative_to(_PROGRAM)).encode("utf-8") + b"\0" + path.read_bytes() + b"\0")
    except OSError:
        return None
    return digest.hexdigest()[:16]


def is_known_sound(cache: Path | None, commit: str | None) -> bool:
    """Whether the files of a commit were checked before by this program and nothing grave was found."""
    edition = program_edition() if cache is not None and commit is not None else None
    if cache is None or commit is None or edition is None:
        return False
    with BlobCache(cache, f"sound-{edition}") as kept:
        return kept.read([commit]).get(commit) == _SOUND


def keep_sound(cache: Path | None, commit: str | None) -> None:
    """Keeps that nothing grave was found in the files of a commit."""
    edition = program_edition() if cache is not None and commit is not None else None
    if cache is not None and commit is not None and edition is not None:
        with BlobCache(cache, f"sound-{edition}") as kept:
            kept.write({commit: _SOUND})
