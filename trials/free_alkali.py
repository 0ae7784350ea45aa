"""What the tests for free alkali say of a loaf: which of them count, and what they found."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from formulary.finding import Finding, Place, stop, warn
from trials.effective import effective_portion
from trials.identity import code_of
from trials.model import Trial
from trials.outcomes.find import outcome_values
from trials.outcomes.outcome import Outcome
from trials.outcomes.value import OutcomeValue
from trials.rebatch import find_last_rebatch

_PRESENT = 2  # the grade of free alkali above a trace


def check_free_alkali(trial: Trial, outcome: Outcome, place: Place, little_fat: Sequence[Finding]) -> Iterable[Finding]:
    """What the tests for free alkali say, or that there is none; little_fat: what makes it likely that they would.

    A superfat that is low, or may be, is settled by a test that finds none. Where it may be below nothing, or was
    before the loaf was rebatched, only a test can tell, and nobody can decide without. A rebatch makes older tests
    void, and those of the same age, which may be from before it; and all of them where its time is not recorded.
    """
    rebatch = find_last_rebatch(trial)
    is_timed = rebatch is None or rebatch.ended_h is not None
    last = _last_tests(trial, outcome, None if rebatch is None else rebatch.ended_h) if is_timed else []
    if not last:
        yield from little_fat
        what = f"free alkali was not looked for{' since it was rebatched' if rebatch is not None else ''}"
        do = "test a fresh cut before selling"
        if rebatch is not None:
            do += "; a test of the same age as the rebatch may be from before it"
        if not is_timed:
            what = "it is not recorded when it was rebatched, so no test for free alkali counts"
            do = f'formulary trial after {code_of(trial.id)} rebatched --at "20 h" --correct, with its time; then {do}'
        was_caustic = rebatch is not None and _lowest_superfat_as_poured(trial) < 0
        if was_caustic or any(each.code == "superfat-band" for each in little_fat):
            yield stop("free-alkali-untested", f"{what}, and there may be some", do, place)
        else:
            yield warn("free-alkali-untested", what, do, place)
        return
    if any(value.value for _, value in last):
        yield from little_fat
    for age_days, value in last:
        if value.value:
            grade = outcome.grades[int(value.value)]
            where = f" ({value.portion})" if value.portion else ""
            what = f"free alkali: {grade} at {age_days.normalize():f} d{where}"
            told = stop if value.value >= _PRESENT else warn
            yield told("free-alkali", what, "do not sell or use it; test again after two weeks, or discard it", place)


def _lowest_superfat_as_poured(trial: Trial) -> float:
    """Percent, of the whole batter or of the portion that has least."""
    figures = effective_portion(trial).figures
    portions = [part.superfat_percent for part in figures.portions if part.superfat_percent is not None]
    return min([figures.superfat_effective, *portions])


def _last_tests(trial: Trial, outcome: Outcome, after_h: Decimal | None) -> list[tuple[Decimal, OutcomeValue]]:
    """The last test of each portion, and of the whole, that no later one speaks for.

    after_h: hours, which the tests are older than; None for any.
    """
    last: dict[str | None, tuple[Decimal, OutcomeValue]] = {}
    for age_days in sorted({item.age_days for item in trial.observations if item.outcome == outcome.name}):
        if after_h is None or age_days * 24 > after_h:
            last |= {value.portion: (age_days, value) for value in outcome_values(trial, outcome, age_days)}
    whole = last.get(None)
    if whole is None:
        return list(last.values())
    later = {portion: test for portion, test in last.items() if portion is not None and test[0] > whole[0]}
    each_has_its_own = bool(trial.portions) and all(portion.name in later for portion in trial.portions)
    same_day = {portion: test for portion, test in last.items() if portion is not None and test[0] == whole[0]}
    return [*([] if each_has_its_own else [whole]), *same_day.values(), *later.values()]
