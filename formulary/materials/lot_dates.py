"""Whether a lot could be, or still was, good on a day: slips in its dates, and what is past its best."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date

from formulary.finding import Finding, Place, warn
from formulary.materials.model import Lot, Material


def check_lot_dates(slug: str, lot: Lot, day: date, place: Place) -> Iterator[Finding]:
    """A warning for a lot of a material that came after the day it is used on, or whose best before is past then.

    day: when it is used, or today. place: where the finding is told.
    """
    yield from check_lot_arrival(slug, lot, day, place)
    if lot.best_before is not None and lot.best_before < day:
        what = f"lot {lot.name} of {slug} was best before {lot.best_before.isoformat()}, which is past"
        do = "smell it and look at it; old oil turns rancid in the bar, so take a fresh lot for what is sold"
        yield warn("lot-expired", what, do, place)


def check_lot_arrival(slug: str, lot: Lot, day: date, place: Place) -> Iterator[Finding]:
    """A warning for a lot that was not there yet on a day."""
    for said, when in (("received", lot.received), ("opened", lot.opened)):
        if when is not None and when > day:
            what = f"lot {lot.name} of {slug} is said to be {said} on {when.isoformat()}, after {day.isoformat()}"
            yield warn("lot-ahead", what, "correct the date of the lot, or the lot", place)
            return


def check_dates_of_chosen(
    materials: Mapping[str, Material], lots: Mapping[str, Iterable[str]], day: date
) -> Iterator[Finding]:
    """`check_lot_dates` of every lot that is known among those chosen. lots: material -> the names of its lots."""
    for slug, names in lots.items():
        known = materials[slug].lots if slug in materials else {}
        for name in names:
            if name in known:
                yield from check_lot_dates(slug, known[name], day, Place())
