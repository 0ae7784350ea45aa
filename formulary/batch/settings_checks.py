"""What the settings name without being it: moulds that are no size, and checks that are none to switch off."""

from __future__ import annotations

from collections.abc import Iterable

from formulary.batch.common_practice import read_common_practice
from formulary.batch.mould import parse_mould
from formulary.errors import InputError
from formulary.finding import Finding, Place, error, warn
from formulary.names import suggest
from formulary.settings import Settings


def check_settings(settings: Settings) -> tuple[Finding, ...]:
    """What is wrong in settings that can be read: told where it stands, and before a batch asks for it."""
    return tuple(_check(settings))


def _check(settings: Settings) -> Iterable[Finding]:
    for name, size in settings.moulds.items():
        try:
            parse_mould(size)
        except InputError as fault:
            (said,) = fault.findings
            place = settings.places.get(f"moulds/{name}", Place())
            yield error("bad-mould", f"the mould {name[:40]} cannot be filled: {said.what}", said.do, place)
    codes = dict.fromkeys(row.code for row in read_common_practice())
    for code in settings.checks_off:
        if code not in codes:
            what = f"{code[:40]!r} is no check of common practice, and only those can be switched off"
            do = suggest(code, codes, f"take it out; there are: {', '.join(codes)}")
            yield warn("unknown-check", what, do, settings.places.get(f"checks/{code}", Place()))
