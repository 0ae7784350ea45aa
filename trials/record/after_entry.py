"""What an entry of a trial's record brings to light, and what stands against the loaf after it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from formulary.batch.overriding import overridden
from formulary.finding import Finding, Severity, stops
from formulary.materials.model import Material
from formulary.shown_as_text import ShownAsText
from trials.checks.as_made import check_as_made
from trials.checks.checks import check_trial
from trials.checks.free_alkali import FREE_ALKALI
from trials.checks.sale import OF_A_SALE, find_overridden, fit_to_sell, is_never_sold
from trials.outcomes.outcome import Outcome
from trials.trial.model import Trial
from trials.trial.on_day import as_it_stood


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class AfterEntry(ShownAsText):
    """What is said of a trial after an entry.

    new: warnings and notes that it brought; with a decision to sell, every warning of the bars. untested: what a test
    for free alkali that it recorded leaves untested. unfit: what stands against a loaf that is recorded as sold. never,
    undecided: the stops that stand, whoever decides, and until somebody does. aside: what became worse of stops that
    the decision to sell sets aside.
    """

    new: tuple[Finding, ...]
    untested: tuple[Finding, ...]
    unfit: tuple[Finding, ...]
    never: tuple[Finding, ...]
    undecided: tuple[Finding, ...]
    aside: tuple[Finding, ...]

    def __str__(self) -> str:
        found = (*self.never, *self.undecided, *self.unfit, *self.aside, *self.untested, *self.new)
        return "\n".join(map(str, found)) or "Nothing came to light."

    @property
    def is_stopped(self) -> bool:
        """Whether a stop stands."""
        return bool(self.never or self.undecided or self.aside or stops(self.unfit))


def find_after_entry(
    before: Trial,
    recorded: Trial,
    outcomes: Mapping[str, Outcome],
    today: date,
    *,
    register: Mapping[str, Material],
) -> AfterEntry:
    """What an entry brought to light, by the trial without it and with it.

    before: by what was kept of it, so that what today's register says of a lot is told once the entry keeps it.
    """
    told = check_trial(recorded, outcomes, today, register=register)
    known = {(each.code, each.what) for each in check_trial(before, outcomes, today, register=register)}
    known |= {(each.code, each.what) for each in find_overridden(before, today, register=register)}
    if _is_sold_by_it(before, recorded):
        # What is warned of the bars was told before, and is what the decision is about.
        of_bars = check_as_made(recorded, today, register=register)
        known -= {(each.code, each.what) for each in of_bars if each.severity is Severity.WARN}
    grave = [each for each in stops(told) if each.code not in OF_A_SALE]
    now_aside = stops(find_overridden(recorded, today, register=register))
    # What the trial was started in spite of was told before as overridden.
    aside = tuple(
        each for each in now_aside if not known & {(each.code, said.what) for said in (each, overridden(each))}
    )
    known |= {(each.code, overridden(each).what) for each in aside}
    return AfterEntry(
        new=tuple(
            each
            for each in told
            if each not in grave and each.code not in OF_A_SALE and (each.code, each.what) not in known
        ),
        untested=_find_untested(recorded, today, register) if _is_tested(before, recorded, today) else (),
        unfit=tuple(each for each in told if each.code in OF_A_SALE),
        never=tuple(each for each in grave if is_never_sold(each)),
        undecided=tuple(each for each in grave if not is_never_sold(each)),
        aside=aside,
    )


def _is_sold_by_it(before: Trial, recorded: Trial) -> bool:
    """Whether a decision to sell was recorded."""
    decision = recorded.release
    return decision is not None and decision.decision == "sell" and decision != before.release


def _is_tested(before: Trial, recorded: Trial, today: date) -> bool:
    """Whether a test for free alkali was recorded that has been made."""
    tests, earlier = (
        [seen for seen in as_it_stood(trial, today).observations if seen.outcome == FREE_ALKALI]
        for trial in (recorded, before)
    )
    return tests != earlier and bool(tests)


def _find_untested(recorded: Trial, today: date, register: Mapping[str, Material]) -> tuple[Finding, ...]:
    """What is left untested; a stop for a sale alone, so that it is told as a warning here."""
    if recorded.release is not None and recorded.release.decision == "discard":
        return ()
    found = fit_to_sell(recorded, today, register=register)
    return tuple(replace(each, severity=Severity.WARN) for each in found if each.code == "free-alkali-untested")
