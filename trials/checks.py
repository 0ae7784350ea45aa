"""What a trial as made has to say for itself: is it safe, does it agree with its plan, may it be sold?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from types import MappingProxyType

from formulary.batch.checks import NEVER_OVERRIDDEN, check_pot
from formulary.errors import InputError, StopError
from formulary.finding import Finding, Place, Severity, note, stop, stops, warn
from formulary.materials.lot_dates import check_dates_of_chosen
from formulary.materials.model import Material
from formulary.quantity import format_decimal, format_number
from trials.cure import DRYING_DAYS, end_of_cure, find_cure_begin
from trials.cure import cure_days as days_of_cure
from trials.effective import effective_portion, kept_materials, lot_weights, materials_of, pot_of_bars
from trials.identity import code_of
from trials.likely import check_likely
from trials.minutes import check_minutes
from trials.model import Trial
from trials.observed import check_observed
from trials.on_day import as_it_stood, find_ahead
from trials.outcomes.find import outcome_values
from trials.outcomes.outcome import Outcome
from trials.outcomes.value import OutcomeValue
from trials.rebatch import find_last_rebatch
from trials.recalculate import find_later_limits, find_later_lye

_LOT_TOLERANCE_PERCENT = 1.0  # of the line: scales differ by that much (common practice, no source)
_LITTLE_FAT = ("superfat-low", "superfat-band")
_FREE_ALKALI = ("free-alkali", "free-alkali-untested")
_PRESENT = 2  # the grade of free alkali above a trace


def check_trial(
    trial: Trial,
    outcomes: Mapping[str, Outcome] = MappingProxyType({}),
    today: date | None = None,
    *,
    register: Mapping[str, Material] | None = None,
) -> tuple[Finding, ...]:
    """What makes the batch as made unsafe or unfit to sell, and what in its record does not add up.

    A planned batch that was made as planned repeats what its plan already said. outcomes: by name, for their units.
    today: what is recorded of a later day is told, and counts for nothing, only with it; so is what has come up against
    a loaf that is recorded as sold. register: as it is today; what it says against the lye, and the frozen values do
    not, is told only with it.
    """
    findings = list(_check_made(trial, today, register=register))
    findings += check_observed(trial, outcomes, today)
    if today is not None and "free alkali" in outcomes:
        findings += check_sale(trial, outcomes["free alkali"], today, register=register)
    return tuple(_placed(finding, trial) for finding in findings)


def _check_made(
    trial: Trial, today: date | None = None, *, register: Mapping[str, Material] | None = None
) -> tuple[Finding, ...]:
    """What makes the batch as made unsafe, and what in the record of its making does not add up."""
    findings = list(_check_bars(trial, today))
    if register is not None and (trial.release is None or trial.release.decision != "discard"):
        findings += find_later_lye(as_it_stood(trial, today), register)
    findings += _check_lots(trial)
    used: dict[str, tuple[str, ...]] = {name: (lot,) for name, lot in trial.plan.lots.items()}
    used |= {name: tuple(use.lot for use in uses) for name, uses in trial.lots.items()}
    findings += check_dates_of_chosen(materials_of(trial), used, trial.made)
    findings += check_likely(trial)
    findings += check_minutes(trial)
    return tuple(_placed(finding, trial) for finding in findings)


def _check_bars(trial: Trial, today: date | None) -> Iterable[Finding]:
    """What the grams in the bars decide, by what was worked in until today; stops that are to come are told, too."""
    stood = as_it_stood(trial, today)
    told: set[str] = set()
    for loaf in (stood,) if stood is trial else (stood, trial):
        formula = effective_portion(loaf, as_bars=True)
        found = check_pot(formula.pot, formula.figures, materials_of(loaf), loaf.plan.recipe.purpose)
        yield from (each for each in (found if loaf is stood else stops(found)) if each.code not in told)
        told |= {each.code for each in found}


def fit_to_sell(
    trial: Trial,
    free_alkali: Outcome,
    today: date | None = None,
    *,
    cure_days: Decimal | None = None,
    register: Mapping[str, Material] | None = None,
) -> tuple[Finding, ...]:
    """What still stands between this trial and being sold; empty when nothing does.

    free_alkali: the outcome, whose every reading must be none. today: for the age of the cure, which is not looked at
    without it; what is recorded of a later day counts for nothing with it. cure_days: how long the cure must be; as
    the plan's recipe says, or its settings, unless given. register: as it is today; with it the worse of its values and
    of the frozen ones counts.
    """
    place = Place(trial.path)
    decision = trial.release
    open_points = _find_standing(trial, free_alkali, today, cure_days=cure_days, register=register)
    if decision is None:
        what = "nobody has decided yet whether it is sold"
        open_points.append(note("not-decided", what, "record a decision with name and reason", place))
    elif decision.decision != "sell":
        what = f"{decision.who} decided: {decision.decision} ({decision.why})"
        open_points.append(warn("not-for-sale", what, "", place))
    return tuple(open_points)


def _find_standing(
    trial: Trial,
    free_alkali: Outcome,
    today: date | None,
    *,
    cure_days: Decimal | None = None,
    register: Mapping[str, Material] | None,
) -> list[Finding]:
    """What speaks against selling a trial and is not set aside by its decision (parameters: `fit_to_sell`)."""
    found = check_before_sale(trial, free_alkali, today, cure_days=cure_days, register=register)
    return [each for each in found if not _is_set_aside(trial, each)]


def _is_set_aside(trial: Trial, finding: Finding) -> bool:
    """Whether a trial's decision to sell names a finding that speaks against it, and may."""
    decision = trial.release
    if decision is None or decision.decision != "sell" or is_never_sold(finding):
        return False
    return finding.code in decision.despite


def find_overridden(
    trial: Trial,
    free_alkali: Outcome,
    today: date | None = None,
    *,
    register: Mapping[str, Material] | None = None,
) -> tuple[Finding, ...]:
    """What speaks against selling a trial today and what its decision to sell sets aside by its code.

    The decision named a code, and what it found then may have become worse since (parameters: `fit_to_sell`).
    """
    found = check_before_sale(trial, free_alkali, today, register=register)
    return tuple(each for each in found if _is_set_aside(trial, each))


def check_sale(
    trial: Trial, free_alkali: Outcome, today: date, *, register: Mapping[str, Material] | None = None
) -> tuple[Finding, ...]:
    """What has come up against a loaf since it was recorded as sold, with what to do; empty for any other loaf.

    A stop where it may hurt someone. Where nothing stands against it today, but something did on the day of the
    decision, that is a warning (parameters: `fit_to_sell`).
    """
    decision = trial.release
    if decision is None or decision.decision != "sell":
        return ()

    place = Place(trial.path, decision.place.line, decision.place.column, "release")
    on = "" if decision.on is None else f" on {decision.on.isoformat()}"
    again = f"formulary trial release {code_of(trial.id)}"
    found = _find_standing(trial, free_alkali, today, register=register)
    if found:
        what = f"it is recorded as sold{on}, but {'; '.join(each.what for each in found)}"
        do = f"sell no more of it, and take the decision back: {again} hold --who NAME --why WHY; ask those who have"
        do += " its bars not to use them; `formulary materials where LOT` tells which other loaves a lot of it is in"
        grave = any(each.severity is Severity.STOP or each.code == "free-alkali" for each in found)
        told = stop if grave else warn
        return (told("sold-unfit", what, do, place),)
    if decision.on is None:
        return ()
    do = f"correct the day of the decision ({again} sell --on DATE ...), or that of what was recorded"
    if decision.on > today:
        return (warn("sold-early", f"it is recorded as sold{on}, which lies ahead of today", do, place),)
    if decision.on < trial.made:
        what = f"it is recorded as sold{on}, before it was made on {trial.made.isoformat()}"
        return (warn("sold-early", what, do, place),)
    if not any(find_ahead(trial, decision.on)):
        return ()  # nothing was recorded later, so that day saw what today sees
    stood = _find_standing(trial, free_alkali, decision.on, register=register)
    then = [each for each in stood if each.severity is not Severity.NOTE]
    if not then:
        return ()
    what = f"it is recorded as sold{on}, but by that day {'; '.join(each.what for each in then)}"
    return (warn("sold-early", what, do, place),)


def check_before_sale(
    trial: Trial,
    free_alkali: Outcome,
    today: date | None = None,
    *,
    cure_days: Decimal | None = None,
    register: Mapping[str, Material] | None = None,
) -> tuple[Finding, ...]:
    """What speaks against selling a trial, whatever was decided about it (parameters: `fit_to_sell`)."""
    place = Place(trial.path)
    trial = as_it_stood(trial, today)
    checked = _check_made(trial, register=register)
    found = [*stops(checked), *(() if register is None else find_later_limits(trial, register))]
    if any(finding.code == "scent-limit-unknown" for finding in checked):
        found.append(warn("limit-unknown", "a scent's limit is not known", "get its certificate before selling", place))
    found += _check_free_alkali(trial, free_alkali, place, [each for each in checked if each.code in _LITTLE_FAT])
    needed = days_of_cure(trial.plan.recipe, trial.plan.settings) if cure_days is None else cure_days
    if today is not None:
        found += _check_cure(trial, today, needed, place)
    return tuple(found)


def _check_cure(trial: Trial, today: date, needed_days: Decimal, place: Place) -> Iterable[Finding]:
    """That the bars have not cured long enough, counted as `ready-by` plans it: from when they were cut and dry."""
    since = "it was rebatched" if find_last_rebatch(trial) is not None else "pouring"
    begin = find_cure_begin(trial)
    needed = format_decimal(needed_days.normalize())
    if begin is None:
        what = f"its cure of {needed} days cannot be counted: it is not recorded when it was rebatched"
        yield note("cure-short", what, "correct the rebatch, with its time", place)
    elif today < (ready := end_of_cure(begin, needed_days)):
        days = max((today - begin).days, 0)
        what = f"it has cured {days} of {needed} days, which count from {DRYING_DAYS} days after {since}"
        yield note("cure-short", what, f"wait until {ready.isoformat()}", place)


def is_never_sold(finding: Finding) -> bool:
    """Whether nobody can decide to sell in spite of it: lye that the fat cannot take up is caustic on skin."""
    return finding.severity is Severity.STOP and (finding.code in NEVER_OVERRIDDEN or finding.code in _FREE_ALKALI)


def demand_possible_day(trial: Trial, today: date) -> None:
    """Hold the day of a decision against the calendar.

    Raises InputError for one that is still to come, or was before the soap was made.
    """
    on = None if trial.release is None else trial.release.on
    if on is None:
        return
    do = f"say --on with the day on which it was decided, from {trial.made.isoformat()} to {today.isoformat()}"
    if on > today:
        raise InputError.of("decision-day", f"{on.isoformat()} lies ahead of today: nothing was decided then", do)
    if on < trial.made:
        do += f"; or correct `made: {trial.made.isoformat()}` in its trial.yaml"
        raise InputError.of("decision-day", f"{on.isoformat()} is before the soap was made", do)


def demand_sellable(trial: Trial, free_alkali: Outcome, today: date, *, register: Mapping[str, Material]) -> None:
    """Hold a decision to sell against what is known of the trial.

    register: as it is today; a certificate or a limit that came after the plan was frozen speaks against it, too.
    Raises StopError with everything that speaks against selling and that the decision does not name in `despite`.
    """
    decision = trial.release
    if decision is None or decision.decision != "sell":
        return
    day = today if decision.on is None else min(decision.on, today)
    standing = _find_standing(trial, free_alkali, day, register=register)
    if not standing:
        return
    never = {each.code for each in standing if is_never_sold(each)}
    if never:
        do = "test it first" if never == {"free-alkali-untested"} else "rework or discard it"
        last = stop("not-sold", "it is not recorded as sold: this can never be overridden", do)
    else:
        codes = " ".join(f"--despite {code}" for code in dict.fromkeys(each.code for each in standing))
        what = "it is not recorded as sold: too much speaks against it"
        last = stop("not-sold", what, f"settle it; or, if you have reasons that you can answer for, add {codes}")
    if any(find_ahead(trial, day)):
        last = replace(last, do=f"{last.do}; nothing counts that is recorded of a later day than {day.isoformat()}")
    raise StopError([*standing, last])


def _check_free_alkali(
    trial: Trial, outcome: Outcome, place: Place, little_fat: Sequence[Finding]
) -> Iterable[Finding]:
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


def _check_lots(trial: Trial) -> Iterable[Finding]:
    """Several lots of a line should make up what was weighed, and what is known of one should be known of all."""
    pot = pot_of_bars(trial)
    for material, uses in trial.lots.items():
        yield from _check_certificates(trial, material)
        grams = [float(use.grams) for use in uses if use.grams is not None]
        weighed_g = sum(line.grams for line in pot.lines if line.material == material)
        if lot_weights(uses) is None:
            what = f"the lots of {material} are not all weighed, so that none of their certificates can hold"
            yield warn("lots-unweighed", what, "write the grams of each under `lots:`")
        if len(grams) < len(uses) or not uses:
            continue
        if abs(sum(grams) - weighed_g) > max(1.0, weighed_g * _LOT_TOLERANCE_PERCENT / 100.0):
            what = (
                f"the lots of {material} make {format_number(sum(grams), 1)} g,"
                f" but {format_number(weighed_g, 1)} g went in"
            )
            yield warn("lots-total", what, "correct the lots, or record what was weighed under as_made")


def _check_certificates(trial: Trial, material: str) -> Iterable[Finding]:
    """A lot of which nothing is kept, where the lye was worked out, or is, by the certificate of another."""
    frozen = kept_materials(trial).get(material)
    used = [use.lot for use in trial.lots[material]]
    kept = {} if frozen is None else frozen.lots
    unknown = [lot for lot in used if lot not in kept]
    if unknown and (material in trial.plan.lots or any(lot in kept for lot in used)):
        what = f"no certificate of lot {' and '.join(unknown)} of {material} is kept with this trial"
        if material in trial.plan.lots:
            what += f", and its lye was weighed for lot {trial.plan.lots[material]}"
        do = "the general values are used for it; look at its certificate before you use the soap"
        yield warn("lot-certificate-missing", what, do)


def _placed(finding: Finding, trial: Trial) -> Finding:
    """The finding said to be in the trial's file; an as-made entry for its material is where it stands."""
    if finding.place.path is not None:
        return finding
    place = trial.place
    for entry in trial.as_made:
        if entry.material and entry.material in finding.what:
            place = entry.place
            break
    return Finding(
        finding.severity,
        finding.code,
        finding.what,
        finding.do,
        Place(trial.path, place.line, place.column, finding.place.field),
        finding.found,
    )
