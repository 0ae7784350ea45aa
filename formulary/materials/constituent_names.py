"""What a constituent of a scent may be called, so that a slip does not become a name that no limit knows."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from typing import NamedTuple

from formulary.chemistry.constituents import CONSTITUENT_LIMITS, PHENOLS
from formulary.quantity import NotAQuantity

# A number that ends at a blank, a sign or the end, as no locant does: 1,8-cineole and 2-phenylethanol are names.
_NUMBER = re.compile(r"(?<![0-9.,])(?P<number>[0-9]+(?:[.,][0-9]+)*)(?=\s|[;%:=/+]|$)")
_SIGN = re.compile(r"[;%:=]")


def check_constituent(text: str) -> str:
    """The name of a constituent, in lower case. Raises NotAQuantity for a list run together, with what to write."""
    name = " ".join(text.split()).casefold()
    slip = _NUMBER.search(name)
    is_end = slip is not None and slip.end() == len(name)
    if _SIGN.search(name) is None and (slip is None or (is_end and name[slip.start() - 1] not in " ,")):
        return name
    return _refuse(name, slip)


class Slip(NamedTuple):
    """A name that nothing is known of, and the one that it reads like."""

    written: str
    meant: str


def find_slips(contains: Collection[str], limits: Collection[str]) -> Iterator[Slip]:
    """Names under which a limit, or a phenol, would go unseen, each with the one that was probably meant.

    contains: the constituents of a scent. limits: those that its maker states a limit of. A name that stands in both
    is meant, and so are two alike in one list.
    """
    told: set[frozenset[str]] = set()
    for names, others in ((contains, limits), (limits, contains)):
        for name in names:
            if name in others or name in _KNOWN:
                continue
            meant = next(
                (other for other in (*_SINGLED_OUT, *others) if other not in names and _is_like(name, other)), ""
            )
            if meant and frozenset((name, meant)) not in told:
                told.add(frozenset((name, meant)))
                yield Slip(name, meant)


def say_slip(slip: Slip) -> tuple[str, str]:
    """What is doubtful of a name, and what to do about it."""
    what = (
        f"no constituent called {slip.written[:60]} is known here: is it {slip.meant}, which has a limit or takes lye?"
    )
    do = f"write {slip.meant} if that is meant; else give {slip.written[:60]} a limit of its own under `limits`"
    return what, do


# What is looked for by its name: a limit, or what takes alkali.
_SINGLED_OUT = (*(name for limit in CONSTITUENT_LIMITS for name in limit.names), *PHENOLS)
# Constituents of their own that read like one of those (general chemistry, from memory).
_KNOWN = frozenset((*_SINGLED_OUT, "citronellol", "methyl isoeugenol", "acetyl eugenol", "eugenyl acetate"))
_ALIKE = 0.83  # of 1: a letter or two in a word, "eugenole", "carvacol"; not "isoeugenol" for "eugenol"


def _is_like(name: str, other: str) -> bool:
    from difflib import SequenceMatcher

    bare, other_bare = (re.sub(r"[\s_-]+", "", each) for each in (name, other))
    stem = other_bare.removesuffix("extracts")  # "oakmoss absolute" is an extract, too
    if stem != other_bare and stem in bare:
        return True
    return SequenceMatcher(None, bare, other_bare).ratio() >= _ALIKE


def _refuse(name: str, slip: re.Match[str] | None) -> str:
    what = f"{name[:40]!r} is not the name of a constituent: a comma is missing, or a percent stands in it"
    meant = [part.strip(" ,;:=%") for part in _NUMBER.split(name)[:4]] if slip is not None else []
    if len(meant) >= 3 and meant[0] and meant[2]:
        do = f"write each with its own percent and a comma between them: {meant[0]}: {meant[1]}, {meant[2]}: ..."
    else:
        do = "write each name with its own percent and a comma between them: eugenol: 82, linalool: 3"
    raise NotAQuantity(what, do)
