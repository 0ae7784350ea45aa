"""All that a trial has to say for itself: is it safe, do its lots add up, can it have been observed, may it be sold?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from formulary.finding import Finding
from formulary.materials.model import Material
from formulary.read_only import ReadOnly
from trials.checks.as_made import check_as_made, placed
from trials.checks.free_alkali import check_alkali_ahead, check_found_alkali
from trials.checks.observed import check_observed
from trials.checks.sale import check_day, check_decisions, check_sale, settled
from trials.outcomes.outcome import Outcome
from trials.trial.model import Trial
from trials.trial.on_day import as_it_stood


def check_trial(
    trial: Trial,
    outcomes: Mapping[str, Outcome] = ReadOnly({}),
    today: date | None = None,
    *,
    register: Mapping[str, Material] | None = None,
) -> tuple[Finding, ...]:
    """What makes the batch as made unsafe or unfit to sell, and what in its record does not add up.

    A planned batch that was made as planned repeats what its plan already said. A stop that was decided about, by name
    or by discarding the loaf, is told as a warning. outcomes: by name, for their units.
    today: what is recorded of a later day is told, and counts for nothing, only with it; so is free alkali that was
    found, and what has come up against a loaf that is recorded as sold. register: as it is today; what it says against
    the lye, and the frozen values do not, is told only with it.
    """
    as_made = check_as_made(trial, today, register=register)
    findings = list(as_made)
    findings += check_observed(trial, outcomes, today)
    findings += check_day(trial)
    findings += check_decisions(trial)
    if today is not None:
        stood = as_it_stood(trial, today)
        findings += check_found_alkali(stood)
        findings += check_alkali_ahead(trial, today)
        findings += check_sale(trial, today, register=register, as_made=as_made if stood is trial else None)
    return tuple(placed(settled(trial, finding), trial) for finding in findings)
