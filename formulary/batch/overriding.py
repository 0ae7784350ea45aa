"""Stops that a person overrides knowingly, and those that stand."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from formulary.batch.checks import NEVER_OVERRIDDEN
from formulary.batch.model import Batch
from formulary.errors import InputError, StopError
from formulary.finding import Finding, Severity, stops
from formulary.names import suggest

if TYPE_CHECKING:
    from formulary.batch.rescue import Rescue
    from formulary.batch.sitting_model import Sitting


def demand_standing(codes: Iterable[str], standing: Iterable[Finding], *, says: str) -> None:
    """Refuse a code by which nothing stands that could be overridden, and name those by which something does.

    A slip would override nothing, and a code that is kept would cover what comes up by it later. says: of what nothing
    stands, "nothing stops this batch". Raises InputError.
    """
    named = dict.fromkeys(each.code for each in standing)
    can_be = [code for code in named if code not in NEVER_OVERRIDDEN]
    otherwise = f"what does, and can be overridden: {', '.join(can_be)}" if can_be else "leave --despite out"
    unknown = [code for code in dict.fromkeys(codes) if code not in named]
    if unknown:
        raise InputError(
            fault
            for code in unknown
            for fault in InputError.of(
                "nothing-to-override", f"{says} by {code[:40]!r}", suggest(code, can_be, otherwise)
            ).findings
        )


def override_stops(batch: Batch, codes: Iterable[str]) -> Batch:
    """The batch with the stops of these codes turned into warnings that say so; some can never be."""
    findings = _overridden(batch.findings, codes)
    return replace(batch, findings=findings) if findings != batch.findings else batch


def override_rescue_stops(rescue: Rescue, codes: Iterable[str]) -> Rescue:
    """The rescue with the stops of these codes turned into warnings that say so, as in a batch."""
    overridden = replace(rescue, findings=_overridden(rescue.findings, codes))
    return overridden if overridden.is_stopped else replace(overridden, way_out="")


def override_sitting_stops(sitting: Sitting, codes: Iterable[str]) -> Sitting:
    """The sitting with the stops of its loaves together turned into warnings that say so, as in a batch."""
    return replace(sitting, findings=_overridden(sitting.findings, codes))


def _overridden(findings: tuple[Finding, ...], codes: Iterable[str]) -> tuple[Finding, ...]:
    named = set(codes) - NEVER_OVERRIDDEN
    return tuple(
        overridden(finding) if finding.severity is Severity.STOP and finding.code in named else finding
        for finding in findings
    )


def overridden(stop: Finding) -> Finding:
    """A stop that a person overrides knowingly, as the warning that is left of it."""
    return replace(stop, severity=Severity.WARN, what=f"overridden: {stop.what}")


def demand_weighable(batch: Batch, *, despite: Iterable[str] = ()) -> Batch:
    """The batch, when nothing stops it from being weighed out.

    despite: codes of stops that a person overrides knowingly; some can never be.
    Raises StopError with the stops that stand.
    """
    weighable = override_stops(batch, despite)
    standing = stops(weighable.findings)
    if standing:
        raise StopError(standing)
    return weighable
