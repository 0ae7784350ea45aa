"""Tests for free alkali: which of them speak for what, what they found, and what still lacks one.

A test of one portion speaks for that portion alone. A test of the whole loaf speaks for all of it, but one that found
none does not clear a portion whose lye is its own, or one in which a test of it alone found some: nobody knows that the
cut went through it. After a rebatch only tests of what it made count: one that found none when it is surely from after
it, one that found some unless it is surely from before; where its time is not recorded neither can be told.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from formulary.batch.superfat_checks import LOW_SUPERFAT_PERCENT
from formulary.finding import Finding, Place, stop, warn
from formulary.quantity import format_decimal
from trials.as_made.effective import effective_portion
from trials.pours.sentences import say_list
from trials.trial.identity import code_of
from trials.trial.model import Observation, Trial
from trials.trial.on_day import find_ahead
from trials.trial.rebatch import Rebatch, find_last_rebatch, rebatched_alone

FREE_ALKALI = "free alkali"
TEST_AGAIN_DAYS = 14  # lye that is left meets the last fat slowly (common practice, no source)
_PRESENT = 2  # the grade above a trace
_ALIKE_POINTS = 0.05  # of superfat, within which a portion is told as the whole is


@dataclass(frozen=True, slots=True)
class Tested:
    """One portion, or the whole of a loaf that is not divided (None), and the tests that speak for it.

    tests: in the order of their ages. rebatch: its last one. is_apart: whether its lye is its own, so that only a test
    of itself clears it. may_be_caustic: whether that may leave free lye in it.
    """

    portion: str | None
    tests: tuple[Observation, ...]
    rebatch: Rebatch | None = None
    is_apart: bool = False
    may_be_caustic: bool = False

    @property
    def last(self) -> tuple[Observation, ...]:
        """Its tests of the greatest age."""
        return tuple(each for each in self.tests if each.age_days == self.tests[-1].age_days)

    @property
    def found(self) -> tuple[Observation, ...]:
        """Those of its last tests that found some."""
        return tuple(each for each in self.last if _grade(each) > 0)

    @property
    def is_cleared_alone(self) -> bool:
        """Whether no test of the whole clears it."""
        return self.is_apart or any(seen.portion is not None for seen in self.found)

    @property
    def is_timed(self) -> bool:
        """Whether it is known when it was rebatched, if it was: else no test clears it."""
        return self.rebatch is None or self.rebatch.ended_h is not None


def find_tested(trial: Trial, by_today: Trial | None = None) -> tuple[Tested, ...]:
    """The portions of a trial in its order, or the whole of an undivided one, each with the tests that speak for it.

    by_today: the trial as today's register has its materials, where that says otherwise; the worse of both counts.
    """
    if not trial.portions:
        rebatch = find_last_rebatch(trial)
        return (Tested(None, _speaking(trial, None, rebatch, is_apart=False), rebatch),)
    alone, low = rebatched_alone(trial), dict(_low_by_themselves(trial))
    for name, may_be_caustic in () if by_today is None else _low_by_themselves(by_today).items():
        low[name] = low.get(name, False) or may_be_caustic
    found = []
    for part in trial.portions:
        rebatch = find_last_rebatch(trial, part.name)
        is_apart = part.name in alone or part.name in low
        tests = _speaking(trial, part.name, rebatch, is_apart=is_apart)
        found.append(Tested(part.name, tests, rebatch, is_apart, low.get(part.name, False)))
    return tuple(found)


def _speaking(trial: Trial, portion: str | None, rebatch: Rebatch | None, *, is_apart: bool) -> tuple[Observation, ...]:
    tests = [seen for seen in trial.observations if seen.outcome == FREE_ALKALI and seen.portion in (None, portion)]
    found = [seen for seen in tests if _grade(seen) > 0 and not (rebatch and rebatch.is_surely_after(seen.age_days))]
    is_of_itself = is_apart or any(seen.portion is not None for seen in found)
    clear = [
        seen
        for seen in tests
        if _grade(seen) == 0
        and (rebatch is None or rebatch.is_surely_before(seen.age_days))
        and (seen.portion == portion or not is_of_itself)
    ]
    return tuple(sorted([*found, *clear], key=lambda seen: seen.age_days))


def _grade(seen: Observation) -> int:
    """The worst of its readings; 0 is none."""
    return max(int(reading.value or 0) for reading in seen.readings)


def _low_by_themselves(trial: Trial) -> Mapping[str, bool]:
    """The portions whose own acid, fat or alkali leaves them little superfat, and less than the whole has.

    Each with whether it may be below nothing, as little as is known of the oils.
    """
    if trial.plan.recipe.purpose != "skin":
        return {}
    whole = effective_portion(trial, as_bars=True).figures
    found: dict[str, bool] = {}
    for part in whole.portions:
        superfat, low = part.superfat_percent, part.superfat_low_percent
        if superfat is None or low is None:
            continue
        is_less = superfat <= whole.superfat_effective - _ALIKE_POINTS or low <= whole.superfat_low - _ALIKE_POINTS
        if is_less and (superfat < LOW_SUPERFAT_PERCENT or low < 0):
            found[part.name] = low < 0
    return found


def check_free_alkali(
    trial: Trial, little_fat: Sequence[Finding], *, by_today: Trial | None = None
) -> Iterable[Finding]:
    """What the tests for free alkali say, or that there is none; little_fat: what makes it likely that they would.

    by_today: as in `find_tested`.

    A superfat that is low, or may be, is settled by tests that find none. Where it may be below nothing, or was before
    the loaf was rebatched, only a test can tell, and nobody can decide without.
    """
    every = find_tested(trial, by_today)
    found = _check_found(every)
    untested: dict[tuple[bool, bool], list[Tested]] = {}
    for each in every:
        if not each.tests or not each.is_timed:
            untested.setdefault((each.is_timed, each.rebatch is not None), []).append(each)
    if untested or found:
        yield from little_fat
    as_known = [trial] if by_today is None else [trial, by_today]
    is_band_low = any(each.code == "superfat-band" for each in little_fat)
    for alike in untested.values():
        what, do = _say_untested(trial, alike, is_all=len(alike) == len(every))
        was_caustic = alike[0].rebatch is not None and min(map(_lowest_superfat_as_poured, as_known)) < 0
        if is_band_low or was_caustic or any(each.may_be_caustic for each in alike):
            yield stop("free-alkali-untested", f"{what}, and there may be some", do, Place(trial.path))
        else:
            yield warn("free-alkali-untested", what, do, Place(trial.path))
    yield from found


def check_found_alkali(trial: Trial) -> tuple[Finding, ...]:
    """What the last tests for free alkali found in a loaf, or in a portion; empty where they found none."""
    if not any(seen.outcome == FREE_ALKALI and _grade(seen) > 0 for seen in trial.observations):
        return ()
    return _check_found(find_tested(trial))


def check_alkali_ahead(trial: Trial, today: date | None) -> Iterable[Finding]:
    """What tests found at an age that the soap has not reached: the age is a slip, and what was found was seen."""
    ahead = () if today is None else find_ahead(trial, today)[1]
    for seen in dict.fromkeys(seen for seen in ahead if seen.outcome == FREE_ALKALI and _grade(seen) > 0):
        do = "correct its age; do not sell or use it until then"
        yield _tell_found(seen, do, more=", an age that is still to come")


def _check_found(every: Iterable[Tested]) -> tuple[Finding, ...]:
    findings = []
    for seen in dict.fromkeys(seen for each in every for seen in each.found):
        itself = f", and {seen.portion} by itself (--portion {seen.portion})" if seen.portion else ""
        do = f"do not sell or use it; test again after {TEST_AGAIN_DAYS} days{itself}, or discard it"
        findings.append(_tell_found(seen, do))
    return tuple(findings)


def _tell_found(seen: Observation, do: str, *, more: str = "") -> Finding:
    """What a test found: a stop from the grade above a trace on."""
    told = stop if _grade(seen) >= _PRESENT else warn
    return told("free-alkali", f"free alkali: {say_test(seen)}{more}", do, seen.place._replace(field="observations"))


def say_test(seen: Observation) -> str:
    """What a test found, at which age and where: "trace at 7 d (clove)"."""
    worst = max(seen.readings, key=lambda reading: reading.value or 0)
    where = f" ({seen.portion})" if seen.portion else ""
    return f"{worst.text} at {format_decimal(seen.age_days.normalize())} d{where}"


def _say_untested(trial: Trial, alike: Sequence[Tested], *, is_all: bool) -> tuple[str, str]:
    """That portions which are alike in their rebatch were not tested, or the whole loaf, and what to do."""
    portions = [each.portion for each in alike if each.portion is not None]
    of = "" if is_all else f" in {say_list(portions)}"
    is_rebatched = alike[0].rebatch is not None
    what = f"free alkali was not looked for{of}{' since it was rebatched' if is_rebatched else ''}"
    do = f"test a fresh cut{' of each' if of and len(portions) > 1 else ' of it' if of else ''} before selling"
    if is_rebatched:
        do += "; a test of the same age as the rebatch may be from before it"
    apart = [each.portion for each in alike if each.portion is not None and each.is_apart]
    if apart and any(seen.outcome == FREE_ALKALI and seen.portion is None for seen in trial.observations):
        do += f"; a test of the whole does not tell of {say_list(apart)}, whose lye is its own: say --portion"
    if not alike[0].is_timed:
        what = f"it is not recorded when it was rebatched, so no test for free alkali{of} clears it"
        do = f"{say_correction(trial, alike[0])}, with its time; then {do}"
    return what, do


def say_correction(trial: Trial, tested: Tested) -> str:
    """The command that gives a rebatch the time that is not recorded of it."""
    of = f" --portion {tested.portion}" if tested.portion in rebatched_alone(trial) else ""
    return f'formulary trial after {code_of(trial.id)} rebatched --at "20 h"{of} --correct'


def _lowest_superfat_as_poured(trial: Trial) -> float:
    """Percent, of the whole batter or of the portion that has least."""
    figures = effective_portion(trial, at_worst=True).figures
    portions = [part.superfat_percent for part in figures.portions if part.superfat_percent is not None]
    return min([figures.superfat_effective, *portions])
