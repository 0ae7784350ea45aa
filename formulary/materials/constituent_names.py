"""What a constituent of a scent may be called, so that a slip in a list does not become a name that no limit knows."""

from __future__ import annotations

import re

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


def _refuse(name: str, slip: re.Match[str] | None) -> str:
    what = f"{name[:40]!r} is not the name of a constituent: a comma is missing, or a percent stands in it"
    meant = [part.strip(" ,;:=%") for part in _NUMBER.split(name)[:4]] if slip is not None else []
    if len(meant) >= 3 and meant[0] and meant[2]:
        do = f"write each with its own percent and a comma between them: {meant[0]}: {meant[1]}, {meant[2]}: ..."
    else:
        do = "write each name with its own percent and a comma between them: eugenol: 82, linalool: 3"
    raise NotAQuantity(what, do)
