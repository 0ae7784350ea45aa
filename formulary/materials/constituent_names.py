"""What a constituent of a scent may be called, so that a slip does not become a name that no limit knows."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from itertools import islice
from typing import NamedTuple

from formulary.chemistry.constituents import CONSTITUENT_LIMITS, PHENOLS
from formulary.quantity import NotAQuantity

# A number that ends at a blank, a sign or the end, as no locant does: 1,8-cineole and 2-phenylethanol are names.
_NUMBER = re.compile(r"(?<![0-9.,])(?P<number>[0-9]+(?:[.,][0-9]+)*)(?=\s|[;%:=/+]|$)")
_SIGN = re.compile(r"[;%:=]")


def parse_constituent(text: str) -> str:
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
        looked_for = {other: _bare(other) for other in (*_SINGLED_OUT, *islice(others, _MOST_COMPARED))}
        for name in names:
            if name in others or name in _KNOWN:
                continue
            bare = _bare(name)
            like = (other for other, other_bare in looked_for.items() if _is_like(bare, other_bare))
            meant = next((other for other in like if other not in names), None)
            if meant is not None and frozenset((name, meant)) not in told:
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
_KNOWN = frozenset((*_SINGLED_OUT, "citronellol"))
# Limits of the maker's own: a certificate names fewer, and a file that somebody sent may name 10,000.
_MOST_COMPARED = 40
_MOST_LETTERS = 2  # in one place of a name of some length: "eugenole", "carvacol", "eugneol"; not "isoeugenol"
_SHORTEST = 5


def _bare(name: str) -> str:
    return name.replace(" ", "").replace("-", "").replace("_", "")


def _is_like(bare: str, other: str) -> bool:
    """Whether two names without blanks are one but for a letter or two, or both are extracts of the same."""
    if other.endswith("extracts") and other.removesuffix("extracts") in bare:
        return True  # "oakmoss absolute" is an extract, too
    shorter, longer = sorted((len(bare), len(other)))
    if shorter < _SHORTEST or longer - shorter > _MOST_LETTERS:
        return False
    start = 0
    while start < shorter and bare[start] == other[start]:
        start += 1
    end = 0
    while end < shorter - start and bare[-1 - end] == other[-1 - end]:
        end += 1
    return longer - start - end <= _MOST_LETTERS


def _refuse(name: str, slip: re.Match[str] | None) -> str:
    what = f"{name[:40]!r} is not the name of a constituent: a comma is missing, or a percent stands in it"
    meant = [part.strip(" ,;:=%") for part in _NUMBER.split(name)[:4]] if slip is not None else []
    if len(meant) >= 3 and meant[0] and meant[2]:
        do = f"write each with its own percent and a comma between them: {meant[0]}: {meant[1]}, {meant[2]}: ..."
    else:
        do = "write each name with its own percent and a comma between them: eugenol: 82, linalool: 3"
    raise NotAQuantity(what, do)
